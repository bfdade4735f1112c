"""What must hold of every answer, whatever the study."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.assess.assessment import assess
from optimizer.assess.result import Infeasible, Layout, Placement, Ranking
from optimizer.problem.presolve import Switches
from optimizer.setting import build_setting
from optimizer.solve.place import place
from optimizer.study.model import Line, Part, Site, Study, WearerSpec
from tests.depth import some
from tests.instances import few_routes, model, random_study, site, study
from tests.solve.comparing import answerable, assert_same_answer, best
from tests.solve.oracle import Enumeration, layout_from
from tests.solve.small import part
from tests.solve.test_independent_solver import medium

LEG = ("thigh", "shank")
ROOT = Path(__file__).parents[2]


# -- swing inertia -------------------------------------------------------------------------------


def hip_inertia(place_at: tuple[str, float], front: float, outside: float, pose: str) -> float:
    """Added inertia about the hip of one part on the right leg."""
    here = site("s", (place_at[0], "right", place_at[1], front, outside))
    one = study(parts=(part("p", 0.3, "s"),), sites=(here,), inertia_pose=pose)
    setting = build_setting(replace(one, routes=few_routes()))
    found = assess(setting, Layout((Placement("p", "p", "m", "s"),), ()))
    return next(s.added_kg_m2 for s in found.swing_inertia if (s.joint, s.side) == ("hip", "right"))


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(LEG),
    st.floats(0.0, 1.0),
    st.sampled_from(LEG),
    st.floats(0.0, 1.0),
    st.floats(-0.1, 0.1),
    st.floats(0.0, 0.12),
    st.sampled_from(("straight", "swing")),
)
def test_moving_a_part_distally_never_lowers_swing_inertia(
    segment: str,
    along: float,
    other: str,
    further: float,
    front: float,
    outside: float,
    pose: str,
) -> None:
    """On thigh and shank; the heel, behind the ankle, is nearer to the hip than the toe only."""
    upper, lower = sorted(
        [(segment, along), (other, further)], key=lambda p: (LEG.index(p[0]), p[1])
    )
    if pose == "swing" and upper[0] != lower[0]:
        front = 0.0  # what hangs in front of a bent knee comes nearer to the hip
    least, most = (hip_inertia(p, front, outside, pose) for p in (upper, lower))
    assert most >= least - 1e-12


# -- limits --------------------------------------------------------------------------------------


def tightened(study: Study, rng: np.random.Generator) -> list[Study]:
    """The study with one limit after another tightened by a tenth to a half."""
    found = []

    def share() -> float:
        return float(rng.uniform(0.5, 0.9))

    for i, limit in enumerate(study.limits):
        less = replace(limit, value=limit.value * share())
        found.append(replace(study, limits=(*study.limits[:i], less, *study.limits[i + 1 :])))
    for i, here in enumerate(study.sites):
        less_here = replace(
            here,
            max_mass_kg=min(here.max_mass_kg, 0.5) * share(),
            volume_m3=min(here.volume_m3, 4e-4) * share(),
        )
        found.append(replace(study, sites=(*study.sites[:i], less_here, *study.sites[i + 1 :])))
    for i, line in enumerate(study.lines):
        options = tuple(
            replace(o, max_length_m=max(min(o.max_length_m, 1.0) * share(), line.slack_m))
            for o in line.options
        )
        shorter = replace(line, options=options)
        found.append(replace(study, lines=(*study.lines[:i], shorter, *study.lines[i + 1 :])))
    return found


@pytest.mark.parametrize("seed", some(range(500, 508), 5))
def test_tightening_a_limit_never_improves_the_optimum(seed: int) -> None:
    study = random_study(seed)
    score = best(place(study, top=1))
    for tighter in tightened(study, np.random.default_rng(seed))[::2]:
        assert best(place(tighter, top=1)) >= score - 1e-6


# -- names and order -----------------------------------------------------------------------------


@pytest.mark.parametrize("seed", some(range(520, 530), 6))
def test_order_of_rows_changes_nothing(seed: int) -> None:
    study = random_study(seed)
    rng = np.random.default_rng(seed)
    parts = tuple(study.parts[i] for i in rng.permutation(len(study.parts)))
    sites = tuple(study.sites[i] for i in rng.permutation(len(study.sites)))
    lines = tuple(study.lines[i] for i in rng.permutation(len(study.lines)))
    limits = tuple(study.limits[i] for i in rng.permutation(len(study.limits)))
    shuffled = replace(study, parts=parts, sites=sites, lines=lines, limits=limits)
    assert_same_answer(study, place(study, top=3), place(shuffled, top=3))


@pytest.mark.parametrize("seed", some(range(540, 546), 4))
def test_swapping_identical_parts_changes_nothing(seed: int) -> None:
    """Two parts alike but for their names, as two rows: either may play the other's role."""
    drawn = random_study(seed)
    twin = replace(drawn.parts[0], name="twin")
    drawn = replace(drawn, parts=(*drawn.parts, twin))
    names = {"p0": "twin", "twin": "p0"}

    def swapped(name: str) -> str:
        return names.get(name, name)

    lines = tuple(
        replace(ln, part_a=swapped(ln.part_a), part_b=swapped(ln.part_b)) for ln in drawn.lines
    )
    rules = tuple(
        replace(r, part_a=swapped(r.part_a), part_b=swapped(r.part_b)) for r in drawn.rules
    )
    other = replace(drawn, lines=lines, rules=rules)

    def renamed(layout: Layout) -> Layout:
        spots = tuple(
            replace(p, unit=swapped(p.unit), part=swapped(p.part)) for p in layout.placements
        )
        return replace(layout, placements=spots)

    assert_same_answer(drawn, place(drawn, top=3), place(other, top=3), renamed)


@pytest.mark.parametrize("seed", some(range(560, 566), 4))
def test_copies_are_one_layout_however_they_are_numbered(seed: int) -> None:
    """A part twice, and the same part in two rows: as two rows, swaps count as different."""
    drawn = random_study(seed)
    p0, others = drawn.parts[0], tuple(p for p in drawn.parts[1:] if p.count == 1)
    kept = {p.name for p in others}
    lines = tuple(ln for ln in drawn.lines if {ln.part_a, ln.part_b} <= kept)
    drawn = replace(drawn, lines=lines, rules=())
    twice = place(replace(drawn, parts=(replace(p0, count=2), *others)), top=4)
    rows = place(replace(drawn, parts=(p0, replace(p0, name="again"), *others)), top=8)
    assert isinstance(twice, Infeasible) == isinstance(rows, Infeasible)
    if isinstance(twice, Infeasible) or isinstance(rows, Infeasible):
        return

    def spots(layout: Layout) -> tuple[object, ...]:
        alike = sorted((p.model, p.site) for p in layout.placements if p.part in ("p0", "again"))
        return (*alike, *((p.part, p.model, p.site) for p in layout.placements if p.part in kept))

    different: dict[tuple[object, ...], float] = {}
    for entry in rows.layouts:
        different.setdefault(spots(entry.assessment.layout), entry.assessment.score)
    assert len({spots(entry.assessment.layout) for entry in twice.layouts}) == len(twice.layouts)
    for entry, score in zip(twice.layouts, different.values(), strict=False):
        assert entry.assessment.score == pytest.approx(score, abs=1e-6)


# -- sides ---------------------------------------------------------------------------------------


def mirrored(study: Study) -> Study:
    """Left for right, and what lies right of the midline to its left."""
    other = {"left": "right", "right": "left", "centre": "centre"}

    def reflect(here: Site) -> Site:
        outside = -here.outside_m if here.side == "centre" else here.outside_m
        return replace(here, side=other[here.side], outside_m=outside)

    return replace(study, sites=tuple(reflect(s) for s in study.sites))


@pytest.mark.parametrize("seed", some(range(580, 590), 6))
def test_mirrored_study_gives_the_mirrored_answer(seed: int) -> None:
    study = random_study(seed)
    assert_same_answer(study, place(study, top=3), place(mirrored(study), top=3))


# -- speed-ups -----------------------------------------------------------------------------------

SPEED_UPS = tuple(f.name for f in fields(Switches))
#: Off one by one, together, and one by one where the program is solved rank by rank.
OFF = (
    *((name,) for name in SPEED_UPS),
    tuple(name for name in SPEED_UPS if name != "search"),
    *(("search", name) for name in ("arc_consistency", "reach_rows", "order_copies")),
    SPEED_UPS,
)
EACH_OFF = [Switches(**dict.fromkeys(names, False)) for names in OFF]


@pytest.mark.parametrize("seed", some(range(600, 608), 5))
def test_speed_ups_change_no_answer(seed: int) -> None:
    study = random_study(seed)
    answer = place(study, top=3)
    for switches in EACH_OFF:
        assert_same_answer(study, answer, place(study, top=3, switches=switches))


def test_speed_ups_change_no_answer_of_a_larger_study() -> None:
    study = medium(304)
    answer = place(study, top=2)
    assert isinstance(answer, Ranking)
    for switches in EACH_OFF:
        assert_same_answer(study, answer, place(study, top=2, switches=switches))


# -- hand-made layouts ---------------------------------------------------------------------------


@pytest.mark.parametrize("seed", some(range(620, 632), 7))
def test_no_layout_made_by_hand_beats_the_proven_best(seed: int) -> None:
    study = random_study(seed)
    setting = build_setting(study)
    truth = Enumeration(setting)
    answer = place(setting, top=1)
    rng = np.random.default_rng(seed)
    for _ in range(60):
        spots, options = {}, []
        for unit in truth.units:
            chosen = unit.part.models[int(rng.integers(len(unit.part.models)))]
            spots[unit.name] = (chosen.name, str(rng.choice(chosen.sites)))
        for drawn in truth.lines:
            options.append(int(rng.integers(len(drawn.line.options))))
        found = assess(setting, layout_from(truth, spots, options))
        if found.feasible:
            assert isinstance(answer, Ranking)
            assert found.score >= best(answer) - 1e-6


def test_a_layout_better_than_the_best_breaks_a_limit() -> None:
    """All on the trunk is better than the proven best of studies that forbid it."""
    cheaper = 0
    for seed in range(640, 660):
        study = random_study(seed)
        trunk = [s.name for s in study.sites if s.segment == "trunk"]
        setting = build_setting(study)
        answer = place(setting, top=1)
        if not trunk or isinstance(answer, Infeasible):
            continue
        truth = Enumeration(setting)
        spots = {u.name: (u.part.models[0].name, trunk[0]) for u in truth.units}
        found = assess(setting, layout_from(truth, spots, [0] * len(truth.lines)))
        if found.score < best(answer) - 1e-6:
            cheaper += 1
            assert not found.feasible
    assert cheaper >= 3


# -- reproducibility -----------------------------------------------------------------------------


def without_seconds(answer: Ranking) -> Ranking:
    layouts = tuple(
        replace(entry, proof=replace(entry.proof, seconds=0.0)) for entry in answer.layouts
    )
    return replace(answer, seconds=0.0, layouts=layouts)


@pytest.mark.parametrize("number", range(3))
def test_the_same_study_gives_the_same_ranking(number: int) -> None:
    study = answerable(800)[number]
    first, second = place(study, top=4), place(study, top=4)
    assert isinstance(first, Ranking)
    assert isinstance(second, Ranking)
    assert without_seconds(first) == without_seconds(second)


CHILD = """
from optimizer.solve.place import place
from tests.solve.comparing import answerable

for entry in place(answerable(800)[0], top=4).layouts:
    print(entry.assessment.layout, entry.assessment.score)
"""


def test_the_ranking_does_not_hang_on_the_order_of_sets() -> None:
    """Another process, which hashes names in another order, prints the very same."""
    said = []
    for seed in ("1", "2"):
        paths = [str(ROOT), os.environ.get("PYTHONPATH", "")]
        env = {**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": os.pathsep.join(paths)}
        child = subprocess.run(
            [sys.executable, "-c", CHILD],
            cwd=ROOT,
            env=env,
            capture_output=True,
            text=True,
            check=False,
        )
        assert child.returncode == 0, child.stderr
        said.append(child.stdout)
    assert said[0].count("Layout(") == 4
    assert said[0] == said[1]


@pytest.mark.parametrize("seed", [1, 7])
def test_the_seed_changes_no_score(seed: int) -> None:
    study = answerable(810)[0]
    other = replace(study, solve=replace(study.solve, seed=seed))
    assert_same_answer(study, place(study, top=4), place(other, top=4))


def test_wearers_are_told_apart() -> None:
    """A larger, heavier wearer without limits: the best costs a different share of walking."""
    drawn = answerable(820)[0]
    free = replace(drawn, limits=(), lines=())
    other = replace(free, wearer=WearerSpec("male", 1.95, 110.0))
    assert abs(best(place(free, top=1)) - best(place(other, top=1))) > 1e-3


def test_parts_without_lines_or_limits_go_where_each_is_cheapest() -> None:
    sites = (
        site("foot", ("foot", "right", 0.6, 0.05, 0.0)),
        site("thigh", ("thigh", "right", 0.5, 0.0, 0.08)),
        site("belt", ("trunk", "right", 0.2, 0.05, 0.12)),
    )
    names = tuple(s.name for s in sites)
    parts = tuple(
        Part(f"p{i}", (model("m", 0.1 + 0.1 * i, names),), 1, s.origin) for i, s in enumerate(sites)
    )
    answer = place(study(parts=parts, sites=sites, routes=few_routes()), top=1)
    assert isinstance(answer, Ranking)
    assert {p.site for p in answer.layouts[0].assessment.layout.placements} == {"belt"}


def test_lines_pull_parts_together() -> None:
    """A heavy line makes a part follow the one it is joined to down the leg."""
    from tests.solve.small import line, small

    ends = (part("a", 0.05, "foot_right"), part("b", 0.05, "belt", "thigh_right", "shank_right"))
    spots = []
    for rate in (0.001, 0.5):
        joined: tuple[Line, ...] = (line("l", "a", "b", rate=rate),)
        answer = place(small(*ends, lines=joined), top=1)
        assert isinstance(answer, Ranking)
        spots.append(answer.layouts[0].assessment.lines[0].site_b)
    assert spots == ["belt", "shank_right"]
