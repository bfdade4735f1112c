"""The front against plain enumeration, and what is said of it."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from optimizer.assess.result import Infeasible
from optimizer.setting import build_setting
from optimizer.solve.front import Front, front
from tests.instances import random_study
from tests.solve.oracle import HIP, KEYS, LEG_W, Enumeration

Table = NDArray[np.float64]
#: Values nearer than this are one; the goals' own resolution is 1e-6.
SAME = 5e-6


def all_vectors(truth: Enumeration, names: tuple[str, ...]) -> Table:
    """Goal values of every feasible layout, from what the enumeration adds up."""
    energy, tally = truth.setting.energy, truth.tally
    watts = tally[:, LEG_W] + np.asarray(energy.trunk_cost(tally[:, 0]))
    columns = {
        "metabolic": 100.0 * watts / energy.walking_w,
        "swing_inertia": 100.0 * tally[:, list(HIP.values())].sum(axis=1) / truth.scale.bare,
        "comfort": truth.discomfort,
        "device_mass": tally[:, : len(KEYS) - 1].sum(axis=1),
    }
    return np.stack([columns[name] for name in names], axis=1)


def non_dominated(vectors: Table) -> list[Table]:
    """Brute force: vectors that no other beats; those within SAME of each other count once."""
    kept: list[Table] = []
    for v in vectors[np.lexsort(vectors.T[::-1])]:
        if not any(np.all(k <= v + SAME) for k in kept):
            kept.append(v)
    return kept


def assert_same_vectors(found: Front, expected: list[Table]) -> None:
    listed = [np.array(point.values) for point in found.points]
    for vector in expected:
        assert any(np.allclose(vector, v, rtol=0, atol=SAME) for v in listed), vector
    for vector in listed:
        assert any(np.allclose(vector, v, rtol=0, atol=SAME) for v in expected), vector
    assert len(listed) == len(expected)


@pytest.mark.parametrize("seed", range(20))
def test_front_of_two_goals_equals_enumeration(seed: int) -> None:
    setting = build_setting(random_study(seed))
    truth = Enumeration(setting)
    found = front(setting)
    if not truth.feasible:
        assert isinstance(found, Infeasible)
        return
    assert isinstance(found, Front)
    assert found.complete
    assert_same_vectors(found, non_dominated(all_vectors(truth, ("metabolic", "swing_inertia"))))


@pytest.mark.parametrize("third", ["comfort", "device_mass"])
@pytest.mark.parametrize("seed", range(40, 48))
def test_front_of_three_goals_equals_enumeration(seed: int, third: str) -> None:
    setting = build_setting(random_study(seed))
    truth = Enumeration(setting)
    found = front(setting, third=third)
    if not truth.feasible:
        assert isinstance(found, Infeasible)
        return
    assert isinstance(found, Front)
    names = ("metabolic", "swing_inertia", third)
    assert_same_vectors(found, non_dominated(all_vectors(truth, names)))
