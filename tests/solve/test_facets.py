"""Facets of what fits together, against the linear program that defines them."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from numpy.typing import NDArray

from optimizer.problem.arrays import Array
from optimizer.solve.facets import facet
from optimizer.solve.highs_lp import LiveLinear, Rows


def packed(rng: np.random.Generator) -> NDArray[np.bool_]:
    """Sets of items within a capacity, listed item by item; some pairs as coordinates of their own.

    In the order of `Packing.listed`: every set after its subsets.
    """
    weight = rng.uniform(0.15, 0.7, size=rng.integers(3, 8))
    members = np.zeros((1, 0), dtype=bool)
    for k in range(len(weight)):
        fits = members @ weight[:k] + weight[k] <= 1.0
        without = np.column_stack([members, np.zeros(len(members), dtype=bool)])
        joined = np.column_stack([members[fits], np.ones(fits.sum(), dtype=bool)])
        members = np.concatenate([without, joined])
    pairs = [pair for pair in combinations(range(len(weight)), 2) if rng.random() < 0.3]
    together = [members[:, i] & members[:, j] for i, j in pairs]
    held = np.column_stack([members, *together])
    return np.asarray(held[:, held.any(axis=0)])


def deepest(held: NDArray[np.bool_], point: Array, used: float) -> float:
    """By how much a facet is overstepped at most, as HiGHS has it; the middle oversteps by -1."""
    n, d = held.shape
    row, column = np.nonzero(np.column_stack([held, np.ones(n, dtype=bool)]))
    value = np.where(column < d, 1.0, -1.0)
    # every coefficient as its positive and its negative part; c is not negative
    rows = Rows(
        np.concatenate([row, row[column < d], np.full(2 * d + 1, n)]),
        np.concatenate([column, column[column < d] + d + 1, np.arange(2 * d + 1)]),
        np.concatenate(
            [value, -value[column < d], -held.mean(axis=0), [1.0], held.mean(axis=0)],
        ),
        np.full(n + 1, -np.inf),
        np.append(np.zeros(n), 1.0),
    )
    live = LiveLinear(np.concatenate([-point, [used], point]), np.full(2 * d + 1, 1e6), rows)
    assert live.solve() == "optimal"
    return -live.objective


@pytest.mark.parametrize("seed", range(60))
def test_a_point_is_cut_off_by_the_facet_crossed_last(seed: int) -> None:
    rng = np.random.default_rng(seed)
    held = packed(rng)
    used = float(rng.choice([0.4, 1.0]))
    point = used * rng.dirichlet(np.ones(len(held)) * 0.05) @ held
    point = np.maximum(point + rng.uniform(0.0, 0.2, size=len(point)), 0.01)
    normal, deep = facet(held, point, used), deepest(held, point, used)
    if normal is None:
        assert deep < 1e-7
        return
    most = float((held @ normal).max())
    depth = (normal @ point - most * used) / (most - held.mean(axis=0) @ normal)
    assert depth == pytest.approx(deep, rel=1e-5, abs=1e-7)
    assert np.abs(normal).max() == 1.0


@pytest.mark.parametrize("seed", range(30))
def test_a_mixture_of_sets_is_not_cut_off(seed: int) -> None:
    rng = np.random.default_rng(seed)
    held = packed(rng)
    used = float(rng.uniform(0.2, 1.0))
    share = rng.dirichlet(np.ones(len(held)))
    assert facet(held, used * share @ held, used) is None


def test_what_is_in_no_set_is_cut_off_whatever_else_there_is() -> None:
    held = np.array([[False, False], [True, False]])
    normal = facet(held, np.array([0.5, 0.25]))
    assert normal is not None
    assert normal.tolist() == [0.0, 1.0]
