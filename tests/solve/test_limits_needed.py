"""Every group of rows is there for a reason: without it the answer is wrong."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Literal

import pytest

from optimizer.assess.result import Assessment, Infeasible, Ranking
from optimizer.errors import DisagreementError
from optimizer.problem.presolve import Switches
from optimizer.setting import build_setting
from optimizer.solve import place as place_module
from optimizer.solve import program as program_module
from optimizer.solve.formulation import Formulation, Row
from optimizer.solve.place import place
from optimizer.study.limits import LIMIT_FLAGS, LIMIT_KEYS, PARAMETERS
from optimizer.study.model import LimitSpec, PairRule, Part, Study
from optimizer.study.physics import PartPhysics
from optimizer.study.units import S_PER_H
from tests.instances import HERE, line_option, model, random_study
from tests.solve.oracle import TIED, Enumeration, legs_of
from tests.solve.small import line, part, small
from tests.wearability.test_limits_brute_force import KINDS

#: No presolve that would do a dropped row's work.
BARE = Switches(arc_consistency=False, reach_rows=False, search=False)
#: Layouts come from the program's rows, not from the search, which has none to drop.
BY_ROWS = Switches(search=False)


@contextmanager
def rows_dropped(drop: Callable[[Row, Formulation], bool]) -> Iterator[None]:
    """The program without some of its rows, and nobody comparing it with the assessment."""
    whole = program_module.formulate

    def partly(*args: object, **more: object) -> Formulation:
        formulation = whole(*args, **more)  # type: ignore[arg-type]
        formulation.rows[:] = [row for row in formulation.rows if not drop(row, formulation)]
        return formulation

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(program_module, "formulate", partly)
        patch.setattr(place_module, "require_agreement", lambda solution, assessment: None)
        yield


def of_kind(kind: str) -> Callable[[Row, Formulation], bool]:
    """Rows of one group; rows of the study's limits go by the limit's own kind."""

    def drop(row: Row, formulation: Formulation) -> bool:
        if row.group != "limit":
            return row.group == kind
        return formulation.reduced.problem.limits[int(str(row.subject))].kind == kind

    return drop


def broken(assessment: Assessment) -> set[str]:
    return {limit.kind for limit in assessment.limits if not limit.met}


def limited(full: Study, kind: str, value: float, subject: str = "") -> Study:
    return replace(full, limits=(LimitSpec(kind, subject, value, HERE),))


def ruled(full: Study, kind: Literal["same_place", "apart"], distance_m: float = 0.0) -> Study:
    return replace(full, rules=(PairRule(kind, "a", "b", distance_m, HERE),))


A, B = part("a", 0.2, "belt", "thigh_right"), part("b", 0.2, "belt", "thigh_right")
BOTH = small(A, B)
#: A part fixed to the left foot and one that could balance it.
UNEVEN = small(part("c", 0.3, "foot_left"), part("a", 0.2, "belt", "foot_right"))
#: A heavy model for the belt or a light one for the foot.
EITHER = small(
    Part("a", (model("heavy", 0.4, ("belt",)), model("light", 0.2, ("foot_right",))), 1, HERE)
)
#: Room for one part in each of two places of the trunk, for both on the thigh.
SPREAD = small(
    *(part(name, 0.2, "belt", "back", "thigh_right") for name in ("a", "b")),
    sites={"belt": {"volume_m3": 2e-4}, "back": {"volume_m3": 2e-4}},
)
#: A heavy battery lasts for four hours, a light one for two.
LASTING = small(
    Part(
        "a",
        tuple(
            model(name, mass, ("belt",), power_w=1.0, physics=PartPhysics(battery_j=h * S_PER_H))
            for name, mass, h in (("heavy", 0.4, 4.0), ("light", 0.2, 2.0))
        ),
        1,
        HERE,
    )
)
#: One study for every limit that makes rows of its own; those on the load of the trunk, on contact
#: and on comfort are tried in `tests/wearability/test_limits_brute_force.py`.
STUDIES: dict[str, Study] = {
    "site_volume": small(A, B, sites={"belt": {"volume_m3": 3e-4}}),
    "site_mass": small(A, B, sites={"belt": {"max_mass_kg": 0.3}}),
    "segment_mass": limited(BOTH, "segment_mass", 0.3, "trunk"),
    "device_mass": limited(EITHER, "device_mass", 0.3),
    "left_right_mass": limited(UNEVEN, "left_right_mass", 0.15),
    "left_right_swing_inertia": limited(UNEVEN, "left_right_swing_inertia", 5.0),
    "sites_in_use": limited(SPREAD, "sites_in_use", 1),
    "walking_time": limited(LASTING, "walking_time", 3.0 * S_PER_H),
    "same_place": ruled(small(A, part("b", 0.2, "thigh_right")), "same_place"),
    "apart": ruled(BOTH, "apart"),
}


def test_every_limit_that_can_be_written_is_left_out_in_some_test() -> None:
    kinds = {key.kind for key in LIMIT_KEYS.values()} | set(LIMIT_FLAGS.values())
    tried = {*STUDIES, *(kind.split(".")[0] for kind in KINDS)}
    untried = kinds - tried - PARAMETERS
    assert not untried, f"give {untried} a study in STUDIES on which dropping its rows shows"


@pytest.mark.parametrize("kind", STUDIES)
def test_without_its_rows_a_limit_is_broken(kind: str) -> None:
    setting = build_setting(STUDIES[kind])
    answer = place(setting, top=1)
    assert isinstance(answer, Ranking)
    assert answer.layouts[0].assessment.feasible
    with rows_dropped(of_kind(kind)):
        wrong = place(setting, top=1, switches=BARE)
    assert isinstance(wrong, Ranking)
    assert broken(wrong.layouts[0].assessment) == {kind}


def test_parts_stay_as_far_apart_as_asked() -> None:
    sites = ("belt", "back", "thigh_right", "shank_right")
    pair = (part("a", 0.2, *sites), part("b", 0.2, *sites))
    on_trunk = {"belt", "back"}
    for distance, off_trunk in ((0.1, set()), (0.35, {"thigh_right"})):
        answer = place(ruled(small(*pair), "apart", distance), top=1)
        assert isinstance(answer, Ranking)
        spots = {p.site for p in answer.layouts[0].assessment.layout.placements}
        assert len(spots) == 2
        assert spots - on_trunk == off_trunk


@pytest.mark.parametrize(
    ("kind", "study"),
    [
        ("needs", small(part("a", 0.2, "belt", "thigh_right", needs=frozenset({"dry"})),
                        sites={"thigh_right": {"offers": frozenset({"dry"})}})),
        ("site_thickness", small(A, sites={"belt": {"max_thickness_m": 0.01}})),
    ],
)  # fmt: skip
def test_without_its_check_an_unfit_site_is_taken(
    kind: str, study: Study, monkeypatch: pytest.MonkeyPatch
) -> None:
    setting = build_setting(study)
    answer = place(setting, top=1)
    assert isinstance(answer, Ranking)
    assert answer.layouts[0].assessment.parts[0].site == "thigh_right"
    monkeypatch.setattr("optimizer.problem.build.unfit", lambda *_: None)
    monkeypatch.setattr(place_module, "require_agreement", lambda solution, assessment: None)
    wrong = place(setting, top=1)
    assert isinstance(wrong, Ranking)
    assert broken(wrong.layouts[0].assessment) == {kind}


def _crowded_shank() -> Study:
    """c fills the shank, so b goes to the foot, so a must come down to the thigh."""
    return small(
        part("a", 0.2, "belt", "thigh_right"),
        part("b", 0.2, "shank_right", "foot_right"),
        part("c", 0.2, "shank_right"),
        sites={"shank_right": {"volume_m3": 2e-4}},
        lines=(line("l", "a", "b", longest=1.0),),
    )


def test_without_its_row_a_line_is_led_further_than_it_reaches() -> None:
    setting = build_setting(_crowded_shank())
    answer = place(setting, top=1)
    assert isinstance(answer, Ranking)
    spots = {p.unit: p.site for p in answer.layouts[0].assessment.layout.placements}
    assert spots == {"a": "thigh_right", "b": "foot_right", "c": "shank_right"}
    with rows_dropped(of_kind("line_length")), pytest.raises(ValueError, match="out of reach"):
        place(setting, top=1, switches=BARE)


def _full_shank_and_thigh() -> Study:
    """a goes to the belt and b to the foot; the light option reaches from either but not both."""
    options = (line_option("light", 0.01, 1.0), line_option("heavy", 0.05, 2.0))
    return small(
        part("a", 0.2, "belt", "thigh_right"),
        part("b", 0.2, "shank_right", "foot_right"),
        part("c", 0.2, "shank_right"),
        part("d", 0.2, "thigh_right"),
        sites={"shank_right": {"volume_m3": 2e-4}, "thigh_right": {"volume_m3": 2e-4}},
        lines=(replace(line("l", "a", "b"), options=options),),
    )


def test_a_line_does_not_borrow_the_reach_of_another_option() -> None:
    answer = place(build_setting(_full_shank_and_thigh()), top=1, switches=BARE)
    assert isinstance(answer, Ranking)
    (report,) = answer.layouts[0].assessment.lines
    assert (report.site_a, report.site_b, report.option) == ("belt", "foot_right", "heavy")


def _empty_holder() -> Study:
    """The right foot's holder, worn empty, would balance the left foot."""
    free = small(
        part("c", 0.3, "foot_left"),
        part("a", 0.05, "belt", "foot_right"),
        sites={"foot_right": {"holder_mass_kg": 0.2}},
    )
    return limited(free, "left_right_mass", 0.15)


def test_an_empty_holder_is_no_ballast() -> None:
    setting = build_setting(_empty_holder())
    answer = place(setting, top=2)
    assert isinstance(answer, Ranking)
    assert answer.exhausted
    (only,) = answer.layouts
    assert {p.site for p in only.assessment.layout.placements} == {"foot_left", "foot_right"}
    with rows_dropped(of_kind("empty")):
        wrong = place(setting, top=1, switches=BARE)
    assert isinstance(wrong, Ranking)
    assert broken(wrong.layouts[0].assessment) == {"left_right_mass"}


def unbalanced() -> Study:
    """The right foot outweighs whatever can be put on the left, were it not for a longer line.

    The line's ends may be either way round, so it could run up and down the left leg once more.
    """
    ends = ("belt", "foot_left")
    free = small(
        part("a", 0.2, *ends),
        part("b", 0.05, *ends),
        part("c", 0.9, "foot_right"),
        lines=(line("l", "a", "b", rate=0.1),),
    )
    tally = Enumeration(build_setting(free)).tally
    beyond = tally[:, legs_of("right")].sum(axis=1) - tally[:, legs_of("left")].sum(axis=1)
    return limited(free, "left_right_mass", float(beyond.min()) - 0.01)


@pytest.mark.reasons
def test_a_detour_is_no_ballast() -> None:
    setting = build_setting(unbalanced())
    assert not Enumeration(setting).feasible
    answer = place(setting, top=1)
    assert isinstance(answer, Infeasible)
    assert [o.kind for o in answer.obstacles] == ["left_right_mass"]
    with rows_dropped(of_kind("cheapest_route")):
        wrong = place(setting, top=1, switches=BY_ROWS)
    assert isinstance(wrong, Ranking)
    assert broken(wrong.layouts[0].assessment) == {"left_right_mass"}


@pytest.mark.parametrize("group", ["use", "flow", "line_start", "line_end", "trunk_load"])
def test_without_a_group_of_rows_some_study_is_answered_wrongly(group: str) -> None:
    for seed in range(80):
        setting = build_setting(random_study(seed))
        truth = Enumeration(setting)
        if not truth.feasible:
            continue
        with rows_dropped(of_kind(group)):
            try:
                answer = place(setting, top=1, switches=BARE)
            except (ValueError, DisagreementError):
                return
        if not isinstance(answer, Ranking):
            return
        best = answer.layouts[0].assessment
        if not best.feasible or best.score > truth.best_score + TIED:
            return
    pytest.fail(f"rows {group} make no difference")
