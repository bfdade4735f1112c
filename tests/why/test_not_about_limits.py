"""Where no limit is to blame: parts that no line can join, and sites closed outright."""

from __future__ import annotations

from dataclasses import replace

from optimizer.assess.result import Infeasible
from optimizer.solve.place import place
from tests.instances import few_routes
from tests.solve.small import line, part, small


def test_a_leg_cut_off_from_the_body_is_told_with_the_line_that_cannot_run():
    study = small(
        part("pump", 0.4, "belt", "back"),
        part("valve", 0.1, "shank_right"),
        part("radio", 0.1, "belt"),
        lines=(line("tube", "pump", "valve"), line("wire", "radio", "pump")),
    )
    knees = ("knee_outer_left", "knee_outer_right")
    routes = few_routes()
    study = replace(study, routes=replace(routes, forbid_anchors=(*routes.forbid_anchors, *knees)))
    found = place(study)
    assert isinstance(found, Infeasible)
    assert found.parts == ("pump", "valve")
    assert "no route joins that by tube" in found.obstacles[0].text
    assert {o.kind for o in found.obstacles} == {"allowed_sites"}


def test_a_part_whose_only_site_is_closed_is_told_so():
    study = small(
        part("pump", 0.4, "belt"), part("pack", 0.4, "back"), sites={"belt": {"volume_m3": 0.0}}
    )
    found = place(study)
    assert isinstance(found, Infeasible)
    assert found.unplaceable == ("pump",) and found.parts == ("pump",)
    (obstacle,) = found.obstacles
    assert "closed by a 0" in obstacle.text


def test_two_clashes_are_told_one_after_the_other():
    study = small(
        part("pump", 0.4, "belt"),
        part("pack", 0.5, "back"),
        sites={"belt": {"max_mass_kg": 0.3}, "back": {"max_mass_kg": 0.2}},
    )
    found = place(study)
    assert isinstance(found, Infeasible)
    assert [o.subject for o in found.obstacles] == ["belt"]
    assert [o.subject for o in found.further[0].obstacles] == ["back"]
    # neither alone is enough, and it is not said to be
    for obstacle in (*found.obstacles, *found.further[0].obstacles):
        assert not obstacle.enough and "not all" in obstacle.least_change_text
    assert found.obstacles[0].needed_value == 400.0


def test_ctrl_c_while_changes_are_looked_for_keeps_the_clash(monkeypatch):
    def stopped(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr("optimizer.solve.least_change.least_change", stopped)
    study = small(part("pump", 0.4, "belt"), sites={"belt": {"max_mass_kg": 0.3}})
    found = place(study)
    assert isinstance(found, Infeasible) and not found.complete
    assert [o.subject for o in found.obstacles] == ["belt"]
    assert found.obstacles[0].least_change_text == ""
