"""One layout for several bodies against listing every layout on every body."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from optimizer.assess.assessment import assess
from optimizer.crowd.crowd import crowd, cut_lengths, short_lines
from optimizer.crowd.result import Crowd
from optimizer.crowd.wearers import Person
from optimizer.joint.world import Plan, make_world
from optimizer.setting import build_setting
from optimizer.study.model import Line, Study, WearerSpec
from optimizer.views.crowd import crowd_document
from optimizer.views.json import encode
from tests.instances import HERE, line_option, model, random_study, site, study
from tests.solve.oracle import Enumeration
from tests.trust.small import SHANK, THIGH, TRUNK

BODIES = (
    Person("short", "S", WearerSpec("female", 1.58, 55.0)),
    Person("middle", "M", WearerSpec("male", 1.72, 72.0)),
    Person("heavy", "M", WearerSpec("male", 1.74, 95.0)),
)
Table = dict[object, float]


@cache
def listed(seed: int, number: int) -> Table:
    """Score of every feasible layout of a random study on one body, by places and options."""
    here, spec = random_study(seed, parts=3, sites=4), BODIES[number].spec
    setting = build_setting(replace(here, wearer=spec))
    truth = Enumeration(setting)
    found = {}
    for i in range(len(truth.scores)):
        layout = truth.layout(i)
        key = (layout.placements, tuple(r.option for r in layout.routings))
        found[key] = assess(setting, layout).score
    return found


SEEDS = (0, 1, 3, 6, 7, 10, 12, 14)


@pytest.mark.parametrize("seed", SEEDS)
def test_common_layout_equals_listing_everything(seed: int) -> None:
    here = random_study(seed, parts=3, sites=4)
    tables = [listed(seed, number) for number in range(len(BODIES))]
    found = crowd(here, BODIES, workers=1)
    for served, table in zip(found.wearers, tables, strict=True):
        if not table:
            assert served.own_score is None
            continue
        assert served.own_score == pytest.approx(min(table.values()), rel=1e-6)
        assert served.own_proven
    common = set.intersection(*(set(table) for table in tables))
    assert found.everyone == bool(common)
    if not common:
        return
    means = {key: float(np.mean([table[key] for table in tables])) for key in common}
    worsts = {key: max(table[key] for table in tables) for key in common}
    assert found.mean is not None
    assert found.worst is not None
    assert found.mean.proven
    assert found.worst.proven
    assert found.mean.value == pytest.approx(min(means.values()), rel=1e-6)
    assert found.worst.value == pytest.approx(min(worsts.values()), rel=1e-6)
    scores = [w.mean_score for w in found.wearers]
    assert np.mean([s for s in scores if s is not None]) == pytest.approx(found.mean.value)
    assert all(w.regret is not None and w.regret > -1e-6 for w in found.wearers)


def test_some_of_the_studies_have_a_common_layout_and_some_have_none() -> None:
    fits = [bool(set.intersection(*(set(listed(s, n)) for n in range(3)))) for s in SEEDS]
    assert 4 <= sum(fits) <= len(SEEDS)


def wired(longest_m: float) -> Study:
    """A wire from the trunk to the shank that tall wearers may find too short."""
    from optimizer.study.model import Part, Weights

    parts = (
        Part("pack", (model("m", 0.3, ("back",)),), 1, HERE),
        Part("valve", (model("m", 0.1, ("thigh", "shank")),), 1, HERE),
    )
    sites = (site("back", TRUNK), site("thigh", THIGH), site("shank", SHANK))
    option = line_option("only", 0.02, longest_m)
    line = Line("wire", "wire", "pack", "valve", 0.04, (option,), HERE)
    return study(parts=parts, sites=sites, lines=(line,), weights=Weights(1.0, 0.0, 0.0))


def test_cut_lengths_are_the_longest_of_each_size() -> None:
    here = wired(9.0)
    worlds = [make_world(replace(here, wearer=p.spec)) for p in BODIES]
    plan = Plan(((0, 0, 0), (1, 0, 2)), (0,))
    worn = [(p.size, w) for p, w in zip(BODIES, worlds, strict=True)]
    cuts = {c.size: c for c in cut_lengths(worn, plan)}
    lengths = []
    for world in worlds:
        solution = world.solution(plan)
        assert solution is not None
        lengths.append(assess(world.setting, world.layout(solution)).lines[0].length_m)
    assert cuts["S"].cut_m == pytest.approx(lengths[0])
    assert cuts["M"].cut_m == pytest.approx(max(lengths[1:]))
    assert cuts["M"].shortest_m == pytest.approx(min(lengths[1:]))
    assert (cuts["S"].wearers, cuts["M"].wearers) == (1, 2)


def test_a_line_too_short_for_some_is_told_with_what_they_need() -> None:
    free = wired(9.0)
    plan = Plan(((0, 0, 0), (1, 0, 2)), (0,))
    needs = []
    for person in BODIES:
        world = make_world(replace(free, wearer=person.spec))
        solution = world.solution(plan)
        assert solution is not None
        needs.append(0.04 + min(r.length_m for r in world.problem.routes.routes(0, 2)))
    limit = 0.5 * (needs[0] + needs[1])
    tight = wired(limit)
    for person, need in zip(BODIES, needs, strict=True):
        world = make_world(replace(tight, wearer=person.spec))
        short = short_lines(world, plan)
        assert bool(short) == (need > limit)
        assert world.fits(plan) == (not short)
        if short:
            assert short[0].need_m == pytest.approx(need)
            assert short[0].longest_m == pytest.approx(limit)
    # on the shank for the short one only: the common layout puts the valve on the thigh
    found = crowd(tight, BODIES, workers=1)
    assert found.everyone


def test_who_cannot_be_served_is_left_out_and_named() -> None:
    from optimizer.study.model import LimitSpec

    here = replace(wired(9.0), limits=(LimitSpec("left_right_swing_inertia", "", 1.2, HERE),))
    worlds = [make_world(replace(here, wearer=p.spec)) for p in BODIES]
    able = [any(w.fits(Plan(((0, 0, 0), (1, 0, s)), (0,))) for s in (1, 2)) for w in worlds]
    found = crowd(here, BODIES, workers=1)
    assert [w.own_score is not None for w in found.wearers] == able
    assert not all(able) or found.everyone


def test_one_worker_and_two_give_the_same_bytes() -> None:
    here = random_study(3, parts=3, sites=4)
    documents = []
    for workers in (1, 2):
        found = crowd(here, BODIES * 3, workers=workers)
        assert isinstance(found, Crowd)
        documents.append(encode(crowd_document(here, found)))
    assert documents[0] == documents[1]


def test_ctrl_c_while_the_common_layout_is_sought_keeps_the_own_bests(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    here = random_study(SEEDS[0], parts=3, sites=4)
    whole = crowd(here, BODIES, workers=1)

    def stopped(*given: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("optimizer.crowd.crowd._solve", stopped)
    found = crowd(here, BODIES, workers=1)
    assert whole.complete and not found.complete
    assert found.mean is None and found.worst is None
    assert [w.own_score for w in found.wearers] == [w.own_score for w in whole.wearers]
