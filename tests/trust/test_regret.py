"""The layout of least worst regret against listing every layout in every draw."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.assess.assessment import assess
from optimizer.joint.world import make_world
from optimizer.trust.draws import draw, world_studies
from optimizer.trust.regret import least_regret
from optimizer.trust.scenario import scenario_setting
from optimizer.trust.search import solve_rows
from optimizer.trust.spread import Ranges, make_spread
from tests.instances import random_study
from tests.solve.oracle import Enumeration
from tests.trust.small import listed_scores

ROWS = list(range(5))
#: Random studies with a few to 150 layouts, curved and straight trunk models among them.
SEEDS = (0, 1, 3, 7, 8, 9, 11, 12, 13)


@pytest.mark.parametrize("seed", SEEDS)
def test_least_worst_regret_equals_listing_everything(seed: int) -> None:
    here = random_study(seed, parts=3, sites=4)
    spread = make_spread(here.energy)
    world = make_world(here)
    draws = draw(here, world.setting, spread, len(ROWS), seed)
    answers = solve_rows(world, draws, ROWS)
    listed = np.array(listed_scores(here, [world], draws, ROWS))
    assert len(listed) >= 2
    best = listed.min(axis=0)
    assert [one["value"] for one in answers] == pytest.approx(best.tolist(), rel=1e-6)
    found = least_regret([world], draws, ROWS, [one["value"] for one in answers])
    expected = (listed - best).max(axis=1).min()
    assert found.proven
    assert found.plan is not None
    assert world.fits(found.plan)
    assert found.regret == pytest.approx(expected, abs=1e-6)
    assert found.bound <= found.regret + 1e-9


def test_regret_over_several_bodies_equals_listing_everything() -> None:
    compared = 0
    for seed in SEEDS[:7]:
        here = random_study(seed, parts=3, sites=4)
        ranges = Ranges(stature_m=(1.6, 1.8), mass_kg=(60.0, 85.0), worlds=2)
        spread = make_spread(here.energy, ranges=ranges)
        studies = world_studies(here, spread, 3)
        worlds = [make_world(each) for each in studies]
        draws = draw(here, worlds[0].setting, spread, 4, 3)
        values, lists = [], []
        for row in range(4):
            w = int(draws.world[row])
            one = solve_rows(worlds[w], draws, [row])[0]
            truth = Enumeration(worlds[w].setting)
            setting = scenario_setting(worlds[w], draws, row)
            by_key = {}
            for i in range(len(truth.scores)):
                layout = truth.layout(i)
                key = (layout.placements, tuple(r.option for r in layout.routings))
                by_key[key] = assess(setting, layout).score
            lists.append(by_key)
            values.append(one["value"])
        if any(not each for each in lists):
            assert any(value is None for value in values)
            continue
        common = set.intersection(*(set(each) for each in lists))
        found = least_regret(worlds, draws, range(4), values)
        if not common:
            assert found.plan is None
            continue
        least = [min(each.values()) for each in lists]
        assert values == pytest.approx(least, rel=1e-6)
        expected = min(
            max(each[key] - best for each, best in zip(lists, least, strict=True)) for key in common
        )
        assert found.regret == pytest.approx(expected, abs=1e-6)
        compared += 1
    assert compared >= 4
