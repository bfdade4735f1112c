"""What fits together and is worth most, and cuts from it, against every set there is."""

from __future__ import annotations

import ctypes
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pytest
from numpy.typing import NDArray

from optimizer.native import library
from optimizer.native.library import ALL, FULL, KNOWN, OVER_BUDGET
from optimizer.native.structures import HullCut, Overstep, Packing
from optimizer.problem.arrays import Array, IntArray
from optimizer.solve.compiled_hulls import _Items
from optimizer.solve.highs_lp import LiveLinear, Rows
from optimizer.solve.packing import MOST_ITEMS, ROOM, members_of, words
from tests.depth import some
from tests.native import NEEDS_COMPILED

pytestmark = NEEDS_COMPILED
SEEDS = some(range(9100, 9180), 40)
Mask = NDArray[np.bool_]
#: A budget that is never used up here.
PLENTY = 10_000_000
#: The least coefficient with which an item comes in: as it is asked for, and so much that many
#: items stay out.
LEAST_LIFT, MUCH = 0.01, 0.9


@dataclass
class Items:
    """Items with weights, what they exclude, pairs that count besides; `held` (sets, items and
    pairs) is every set that fits, one by one."""

    weight: Array
    clash: Mask
    pairs: IntArray
    held: Array

    @property
    def n(self) -> int:
        """How many items there are."""
        return len(self.weight)

    def with_pairs(self, kept: Mask) -> Items:
        """The same with some of the pairs."""
        held = np.delete(self.held, self.n + np.flatnonzero(~kept), axis=1)
        return Items(self.weight, self.clash, self.pairs[kept], held)

    def packing(self) -> Packing:
        """As the compiled parts take it."""
        return Packing(
            n_items=self.n,
            n_kinds=self.weight.shape[1],
            n_pairs=len(self.pairs),
            weight=self.weight,
            clash=words(self.clash),
            pair_a=self.pairs[:, 0],
            pair_b=self.pairs[:, 1],
        )


def drawn(seed: int) -> tuple[np.random.Generator, Items]:
    """Tight or loose, one to three kinds of capacity, few pairs or many."""
    rng = np.random.default_rng(seed)
    n, kinds = int(rng.integers(4, 11)), int(rng.integers(1, 4))
    weight = rng.uniform(0.05, rng.choice([0.3, 0.7]), size=(n, kinds))
    weight[rng.random((n, kinds)) < 0.2] = 0.0
    clash = np.triu(rng.random((n, n)) < rng.choice([0.0, 0.2]), 1)
    clash = clash | clash.T | np.eye(n, dtype=bool)
    members = (np.arange(2**n)[:, None] >> np.arange(n)) & 1
    fit = (members @ weight <= 1.0 + ROOM).all(axis=1)
    fit &= ((members @ clash) * members).sum(axis=1) == members.sum(axis=1)
    members = members[fit].astype(float)
    share = rng.choice([0.0, 0.3, 0.7])
    pairs = [
        (i, j)
        for i, j in combinations(range(n), 2)
        if rng.random() < share and (members[:, i] * members[:, j]).any()
    ]
    ends = np.array(pairs, dtype=np.int64).reshape(-1, 2)
    held = np.column_stack([members, members[:, ends[:, 0]] * members[:, ends[:, 1]]])
    return rng, Items(weight, clash, ends, held)


def heaviest(items: Items, worth: Array, budget: int = PLENTY) -> tuple[int, IntArray, float]:
    """How it ended, the items of the set found and what it is worth."""
    native = library()
    assert native is not None
    found, value = ctypes.c_uint64(), ctypes.c_double()
    worth = np.ascontiguousarray(worth)
    end = native.limbtrim_heaviest(
        items.packing(), worth.ctypes.data, budget, ctypes.byref(found), ctypes.byref(value)
    )
    return end, np.flatnonzero([found.value >> k & 1 for k in range(items.n)]), value.value


@pytest.mark.parametrize("seed", SEEDS)
def test_the_set_found_is_worth_most_of_all(seed: int) -> None:
    rng, items = drawn(seed)
    for _ in range(8):
        worth = rng.normal(rng.choice([-0.3, 0.3]), 1.0, size=items.held.shape[1])
        worth[rng.random(len(worth)) < 0.1] = 0.0
        end, taken, value = heaviest(items, worth)
        assert end == ALL
        assert value == pytest.approx(float((items.held @ worth).max()), abs=1e-9)
        row = np.isin(np.arange(items.n), taken)
        same = (items.held[:, : items.n] == row).all(axis=1)
        assert same.any() and float((items.held[same] @ worth)[0]) == pytest.approx(value)


def test_too_small_a_budget_is_told() -> None:
    _, items = drawn(9103)
    assert heaviest(items, np.ones(items.held.shape[1]), 1)[0] == OVER_BUDGET


def cut_off(
    items: Items,
    point: Array,
    used: float,
    known: HullCut | None = None,
    budget: int = PLENTY,
    least_lift: float = LEAST_LIFT,
) -> tuple[int, HullCut]:
    """How it ended, and the cut."""
    native = library()
    assert native is not None
    cut = HullCut(
        coefficient=np.zeros(items.held.shape[1]),
        most=0.0,
        known=np.zeros(KNOWN, dtype=np.uint64) if known is None else known.arrays["known"],
        n_known=0 if known is None else known.n_known,
    )
    asked = Overstep(point=point, used=used, least=1e-6, least_lift=least_lift, budget=budget)
    return native.limbtrim_hull_cut(items.packing(), asked, ctypes.byref(cut)), cut


def within(held: Array, point: Array, used: float) -> bool:
    """Whether HiGHS finds a mixture of the sets that is the point."""
    row, column = np.nonzero(np.vstack([held.T, np.ones(len(held))]))
    right = np.append(point, used)
    rows = Rows(
        row,
        column,
        np.append(held.T[held.T != 0.0], np.ones(len(held))),
        right - 1e-9,
        right + 1e-9,
    )
    return LiveLinear(np.zeros(len(held)), np.full(len(held), np.inf), rows).solve() == "optimal"


def beside(items: Items, rng: np.random.Generator) -> tuple[Array, float]:
    """A point near a mixture of few sets, within or not; nothing of some items."""
    rows = items.held[rng.integers(len(items.held), size=4)]
    used = float(rng.choice([1.0, 0.6]))
    point = used * rng.dirichlet(np.ones(4)) @ rows
    n = items.n
    point[:n] = np.where(point[:n] > 0.0, point[:n] + rng.uniform(-0.05, 0.25, n), 0.0)
    point[:n][point[:n] < 0.02] = 0.0
    both = (point[items.pairs[:, 0]] > 0.0) & (point[items.pairs[:, 1]] > 0.0)
    moved = point[n:] + rng.uniform(-0.1, 0.2, len(both))
    point[n:] = np.where(both, np.maximum(moved, 0.02), 0.0)
    return point, used


@pytest.mark.parametrize("lift", [LEAST_LIFT, MUCH])
@pytest.mark.parametrize("seed", SEEDS)
def test_points_out_of_the_hull_are_cut_off_and_no_others(seed: int, lift: float) -> None:
    rng, drawn_items = drawn(seed)
    n, remembered, cuts = drawn_items.n, None, 0
    for _ in range(12):
        point, used = beside(drawn_items, rng)
        # pairs there is nothing of are no coordinate
        items = drawn_items.with_pairs(point[n:] > 0.0)
        point = np.append(point[:n], point[n:][point[n:] > 0.0])
        there = point > 0.0
        without = (items.held[:, ~there] == 0.0).all(axis=1)
        inside = within(items.held[without][:, there], point[there], used)
        end, cut = cut_off(items, point, used, least_lift=lift)
        assert end == (ALL if inside else FULL)
        # with sets remembered from other points it may be another facet
        assert cut_off(items, point, used, remembered)[0] == end
        if inside:
            continue
        cuts, remembered = cuts + 1, cut
        a = cut.arrays["coefficient"]
        worth = items.held @ a
        assert worth.max() == pytest.approx(cut.most, abs=1e-9)
        assert float(a @ point) > cut.most * used + 1e-6
        assert np.abs(a[there]).max() == pytest.approx(1.0)
        # one by one the rest gets what the sets leave it
        of = np.where(there, a, 0.0)
        for k in np.flatnonzero(~there):
            left = cut.most - max(float((items.held @ of)[items.held[:, k] > 0.0].max()), 0.0)
            of[k] = left if left > lift else 0.0
        assert a == pytest.approx(of, abs=1e-9)
    assert cuts > 0


def test_what_cannot_be_told_in_time_is_told() -> None:
    rng, items = drawn(9103)
    while True:
        point, used = beside(items, rng)
        if cut_off(items, point, used)[0] == FULL:
            break
    assert cut_off(items, point, used, budget=1)[0] == OVER_BUDGET


def test_more_items_than_a_word_has_bits_are_not_taken() -> None:
    n = MOST_ITEMS + 1
    native = library()
    assert native is not None
    packing = Packing(
        n_items=n,
        n_kinds=1,
        n_pairs=0,
        weight=np.full(n, 0.5),
        clash=np.zeros(n),
        pair_a=[],
        pair_b=[],
    )
    cut = HullCut(coefficient=np.zeros(n), most=0.0, known=np.zeros(KNOWN), n_known=0)
    asked = Overstep(point=np.ones(n), used=1.0, least=1e-6, least_lift=LEAST_LIFT, budget=PLENTY)
    assert native.limbtrim_hull_cut(packing, asked, ctypes.byref(cut)) == OVER_BUDGET


def test_sets_known_go_along_to_other_choices_that_have_all_of_them() -> None:
    """Items that went take their sets with them; those that stay may stand elsewhere."""
    members = np.array([[1, 1, 0, 0], [0, 1, 1, 0], [0, 0, 0, 1], [0, 0, 0, 0]], dtype=bool)
    known = np.zeros(KNOWN, dtype=np.uint64)
    known[: len(members)] = words(members)
    at, apart = np.array([7, 2, 9, 4]), np.eye(4, dtype=bool)
    items = _Items(at, np.zeros((4, 1)), apart, words(apart), known, 4)
    now = np.array([11, 9, 2, 4])
    found = members_of(items.known_among(now), len(now))
    sets = [frozenset(now[each].tolist()) for each in found]
    assert sets == [frozenset({2, 9}), frozenset({4}), frozenset()]
