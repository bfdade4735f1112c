"""What `why` says against the enumeration of all layouts."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from math import inf

import numpy as np
import pytest

from optimizer.assess.result import Infeasible
from optimizer.errors import InputError
from optimizer.setting import build_setting
from optimizer.solve.place import place
from optimizer.solve.why import why
from optimizer.study.relax import eased, study_limits
from tests.depth import some
from tests.solve.comparing import answerable
from tests.solve.oracle import Enumeration
from tests.solve.small import line, part, small
from tests.why.impossible import IMPOSSIBLE

pytestmark = pytest.mark.xdist_group("why")

STUDIES = answerable(4000)
MANY = len(some(range(16), 9))


@cache
def report(i):
    found = why(STUDIES[i])
    assert found is not None and not isinstance(found, Infeasible) and found.complete
    return found


@cache
def table(i):
    return Enumeration(build_setting(STUDIES[i]))


def at(found, part_name, sites):
    """How many copies of a part each layout of the table has at some sites."""
    names = [site.name for site in found.study.sites]
    counts = np.zeros(len(found.rows), dtype=int)
    for u, unit in enumerate(found.units):
        if unit.part.name == part_name:
            where = np.array([names[s] for _, s in unit.choices])[found.chosen[found.rows, u]]
            counts += np.isin(where, sites)
    return counts


def cheapest(found, rows):
    return float(found.scores[rows].min(initial=inf))


@pytest.mark.parametrize("i", range(MANY))
def test_the_next_best_site_of_each_part_costs_what_enumeration_says(i):
    found, truth = report(i), table(i)
    best = float(truth.scores.min())
    assert found.best.score == pytest.approx(best, abs=1e-6)
    for told in found.parts:
        elsewhere = at(truth, told.part, [told.site]) < len(told.units)
        expected = cheapest(truth, elsewhere)
        if told.next_best is None:
            assert expected == inf
            assert told.allowed == 1 or told.only
        else:
            assert told.next_best.score == pytest.approx(expected - best, abs=1e-6)
            assert told.next_best.proven and told.next_best.assessment.feasible


@pytest.mark.parametrize("i", range(MANY))
def test_sites_better_by_themselves_cost_in_all_what_enumeration_says(i):
    found, truth = report(i), table(i)
    for told in found.parts:
        for other in told.others:
            assert other.gain > 0.0
            now = sum(
                p.part == told.part and p.site in other.sites for p in found.best.layout.placements
            )
            there = at(truth, told.part, other.sites) > now
            there &= at(truth, told.part, [told.site]) < len(told.units)
            expected = cheapest(truth, there)
            if other.barred:
                assert expected == inf
            else:
                assert other.alternative is not None
                score = other.alternative.assessment.score
                assert score == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("i", range(MANY))
def test_a_part_asked_for_by_name_has_every_allowed_site_looked_at(i):
    study, truth = STUDIES[i], table(i)
    name = study.parts[-1].name
    found = why(study, name)
    assert found is not None and not isinstance(found, Infeasible)
    assert {told.part for told in found.parts} == {name} and found.limits == ()
    allowed = {site for model in study.parts[-1].models for site in model.sites}
    for told in found.parts:
        assert {told.site, *(s for o in told.others for s in o.sites)} == allowed
        for other in told.others:
            (site,) = other.sites
            now = sum(p.part == name and p.site == site for p in found.best.layout.placements)
            there = at(truth, name, [site]) > now
            there &= at(truth, name, [told.site]) < len(told.units)
            expected = cheapest(truth, there)
            assert bool(other.barred) == (expected == inf)
            if other.alternative is not None:
                assert other.alternative.assessment.score == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("i", range(MANY))
def test_loosening_a_limit_is_worth_what_enumeration_says(i):
    found, study = report(i), STUDIES[i]
    setting = build_setting(study)
    best = float(table(i).scores.min())
    told = {(w.kind, w.subject): w.alternative for w in found.limits}
    limits = study_limits(study)
    assert len(told) + found.worthless == len(limits) and found.unsettled == 0
    for limit in limits:
        changed = Enumeration(replace(setting, study=eased(study, limit, found.share)))
        saved = best - float(changed.scores.min())
        alternative = told.get((limit.kind, limit.subject))
        if alternative is None:
            assert saved <= 2e-6, limit
        else:
            assert -alternative.score == pytest.approx(saved, abs=1e-6)
            assert alternative.proven


def test_limits_are_told_most_worth_first():
    for i in range(MANY):
        worth = [-limit.alternative.score for limit in report(i).limits]
        assert worth == sorted(worth, reverse=True) and all(w > 0.0 for w in worth)


def test_a_full_pocket_is_told_with_who_would_have_to_move():
    study = small(
        part("pump", 0.4, "belt", "back", volume_m3=3e-4),
        part("valve", 0.1, "thigh_right", "belt", volume_m3=1e-4),
        sites={"belt": {"volume_m3": 3.5e-4}, "back": {"holder_mass_kg": 0.3}},
    )
    found = why(study)
    assert found is not None and not isinstance(found, Infeasible)
    valve = next(p for p in found.parts if p.part == "valve")
    assert valve.site == "thigh_right"
    (other,) = valve.others
    assert other.sites == ("belt",) and other.alternative is not None
    places = {p.part: p.site for p in other.alternative.assessment.layout.placements}
    assert places == {"pump": "back", "valve": "belt"}


def test_a_line_too_short_is_told_with_the_length_it_would_take():
    study = small(
        part("pump", 0.4, "foot_right"), part("valve", 0.1, "foot_right", "belt"),
        lines=(line("tube", "pump", "valve", longest=0.4),),
    )  # fmt: skip
    found = why(study)
    assert found is not None and not isinstance(found, Infeasible)
    valve = next(p for p in found.parts if p.part == "valve")
    (reason,) = valve.others[0].barred
    assert reason.kind == "line_length" and reason.subject == "tube"
    assert "400 mm" in reason.text and "to pump it is" in reason.text


def test_a_need_and_a_thickness_are_told_by_name():
    study = small(
        part("pump", 0.4, "belt", "shank_right", needs=frozenset({"cool"})),
        part("pack", 0.4, "back", "thigh_right", size_m=(0.1, 0.05, 0.06)),
        sites={
            "shank_right": {"offers": frozenset({"cool"})},
            "back": {"max_thickness_m": 0.05},
        },
    )
    found = why(study)
    assert found is not None and not isinstance(found, Infeasible)
    reasons = {p.part: [b for o in p.others for b in o.barred] for p in found.parts}
    assert [r.text for r in reasons["pump"]] == ["pump needs cool"]
    assert [r.text for r in reasons["pack"]] == ["back takes parts up to 50 mm thick"]


def test_ctrl_c_keeps_what_is_known_by_then():
    asked = []

    def stop(progress):
        asked.append(progress.done)
        if progress.done >= 2:
            raise KeyboardInterrupt

    found = why(STUDIES[0], on_progress=stop)
    assert found is not None and not isinstance(found, Infeasible)
    assert not found.complete and len(found.parts) == 2
    whole = report(0)
    known = {p.units: p for p in whole.parts}
    for told in found.parts:
        same = known[told.units]
        assert (told.next_best is None) == (same.next_best is None)
        if told.next_best is not None and same.next_best is not None:
            assert told.next_best.score == pytest.approx(same.next_best.score, abs=1e-9)


def test_no_time_at_all_gives_nothing_rather_than_something_unproven():
    assert why(STUDIES[0], time_limit_s=0.0) is None


def test_progress_counts_up_to_all_parts_and_limits():
    seen = []
    found = why(STUDIES[1], on_progress=seen.append)
    assert found is not None and not isinstance(found, Infeasible)
    assert [p.done for p in seen] == sorted(p.done for p in seen)
    assert seen[-1].total == len(found.parts) + len(study_limits(STUDIES[1]))


def test_where_nothing_fits_the_clash_is_told():
    setting = IMPOSSIBLE[0]
    found = why(setting)
    assert isinstance(found, Infeasible) and found.obstacles


def test_an_unknown_part_is_named_with_the_nearest():
    with pytest.raises(InputError) as error:
        why(small(part("pump", 0.4, "belt")), "pmup")
    assert error.value.flaws[0].nearest == "pump"


def test_a_copy_stands_for_its_part():
    study = small(
        part("cell", 0.2, "belt", "back", "thigh_right", count=2),
        part("pump", 0.3, "belt"),
        sites={"back": {"holder_mass_kg": 0.1}},
    )
    found = why(study, "cell#2")
    assert found is not None and not isinstance(found, Infeasible)
    assert [p.units for p in found.parts] == [("cell#1", "cell#2")]
    # one of the two goes elsewhere: the belt's holder stays, the back's comes on top
    assert found.parts[0].next_best is not None
    places = [p.site for p in found.parts[0].next_best.assessment.layout.placements]
    assert sorted(places) == ["back", "belt", "belt"]


def test_the_best_layout_is_that_of_place():
    for i in (0, 3):
        ranking = place(STUDIES[i], top=1)
        assert not isinstance(ranking, Infeasible)
        best = ranking.layouts[0].assessment.score
        assert report(i).best.score == pytest.approx(best, abs=1e-6)


def test_parts_that_need_not_move_stay_where_they_are():
    # mirror images cost the same: without a preference some would be turned round at random
    study = small(
        *(part(f"cell{i}", 0.1, "thigh_left", "thigh_right") for i in range(5)),
        part("pump", 0.4, "belt", "back"),
        sites={"back": {"holder_mass_kg": 0.1}},
    )
    found = why(study)
    assert found is not None and not isinstance(found, Infeasible)
    before = {p.unit: p.site for p in found.best.layout.placements}
    for told in found.parts:
        assert told.next_best is not None
        after = {p.unit: p.site for p in told.next_best.assessment.layout.placements}
        assert [unit for unit in before if before[unit] != after[unit]] == list(told.units)
