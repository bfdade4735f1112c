"""What fits together, listed and lifted, against every set looked at one by one."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from optimizer.problem.arrays import IntArray
from optimizer.solve import packing as module
from optimizer.solve.packing import ROOM, Packing

SEEDS = range(40)


def drawn(seed: int, n: int = 9) -> tuple[np.random.Generator, Packing]:
    """Items of two kinds of weight, some of which exclude each other."""
    rng = np.random.default_rng(seed)
    weights = rng.uniform(0.1, 0.6, size=(n, 2)) * (rng.random((n, 2)) < 0.8)
    clash = np.triu(rng.random((n, n)) < 0.25, 1)
    return rng, Packing(weights, clash | clash.T | np.eye(n, dtype=bool))


def every_set(packing: Packing, items: IntArray) -> set[frozenset[int]]:
    """All sets that fit, by going through all there are."""
    found = set()
    for taken in product((False, True), repeat=len(items)):
        own = items[np.array(taken, dtype=bool)]
        apart = packing.clash[own[:, None], own].sum() == len(own)
        if apart and (packing.weights[own].sum(axis=0) <= 1.0 + ROOM).all():
            found.add(frozenset(own.tolist()))
    return found


@pytest.mark.parametrize("seed", SEEDS)
def test_every_set_that_fits_is_listed_once_and_after_its_subsets(seed: int) -> None:
    rng, packing = drawn(seed)
    order = rng.permutation(9)[:7]
    sets, items = packing.listed(order)
    assert items.tolist() == order.tolist()
    listed = [frozenset(items[own].tolist()) for own in sets.members(7)]
    assert len(listed) == len(set(listed))
    assert set(listed) == every_set(packing, order)
    loads = sets.members(7).astype(float) @ packing.weights[items]
    assert np.allclose(sets.loads.T, loads)
    place = {each: k for k, each in enumerate(listed)}
    for each, k in place.items():
        assert all(place[each - {i}] < k for i in each)


def test_the_items_named_last_are_left_out_of_too_many_sets(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(module, "MOST_SETS", 9)
    packing = Packing(np.full((6, 1), 0.01), np.eye(6, dtype=bool))
    sets, items = packing.listed(np.arange(6))
    assert items.tolist() == [0, 1, 2] and len(sets.words) == 8


@pytest.mark.parametrize("seed", SEEDS)
def test_lifted_items_get_the_most_that_keeps_every_set(seed: int) -> None:
    rng, packing = drawn(seed)
    sets, items = packing.listed(np.arange(4))
    normal = rng.uniform(0.1, 1.0, size=4)
    worth = sets.members(4) @ normal
    most = float(worth.max())
    others = 4 + rng.permutation(5)
    found = packing.lifted(sets, items, worth, most, others)
    of = dict(enumerate(normal.tolist()))
    for added in others.tolist():
        known = np.array([*of, added])
        left = [
            most - sum(of[i] for i in each if i != added)
            for each in every_set(packing, known)
            if added in each
        ]
        coefficient = min([most, *left])
        assert found.get(added, 0.0) == pytest.approx(
            coefficient if coefficient >= module.LEAST_LIFT else 0.0, abs=1e-9
        )
        if added in found:
            of[added] = found[added]


def test_items_left_out_of_a_point_are_told_by_place() -> None:
    packing = Packing(np.full((3, 1), 0.3), np.eye(3, dtype=bool))
    sets, _ = packing.listed(np.arange(3))
    without = sets.without(np.array([False, True, False]))
    assert without.tolist() == (~sets.members(3)[:, 1]).tolist()


def test_no_more_items_come_in_than_a_set_has_bits_for() -> None:
    n = module.MOST_ITEMS + 6
    packing = Packing(np.full((n, 1), 0.6), np.eye(n, dtype=bool))
    sets, items = packing.listed(np.arange(n))
    assert len(items) == module.MOST_ITEMS
    found = packing.lifted(
        sets, items[:60], np.append(0.0, np.full(64, 0.5)), 1.0, np.arange(64, n)
    )
    assert len(found) == 4
