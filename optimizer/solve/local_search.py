"""Good layouts early: populations are annealed and what they found is merged.

A round anneals a population from the relaxation's values, then hands all choices that its best
layouts and its last members make to a small exact search, which finds the best layout that can be
put together from them (merging solutions: construct, merge, solve). The next round starts from
the relaxation and the best layouts so far.

References
----------
[1] C. Blum, P. Pinacho, M. López-Ibáñez, J. A. Lozano, "Construct, Merge, Solve & Adapt: a new
    general algorithm for combinatorial optimization", Computers & Operations Research 68 (2016)
    75-88.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from math import inf

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.pairwise import Pairwise
from optimizer.solve.annealing import Population, Tables
from optimizer.solve.shortlist import Shortlist

Mask = NDArray[np.bool_]
#: Given choices, layouts known within them, how many of the best are wanted and a number of nodes:
#: layouts within them and their scores.
Merge = Callable[[Mask, IntArray, int, int], tuple[IntArray, Array]]
#: Members of a population, sweeps between looks at them.
SIZE, EVERY = 32, 10
#: Temperatures from which and to which a population is cooled, in degrees.
HOT, COLD = 1.8, 0.15
#: Layouts merged, and nodes of the search that merges them.
MERGED, NODES = 20, 30
#: Problems of fewer combinations (decimal logarithm) are left to the tree, and those where bound
#: and threshold are so few degrees apart.
SMALL, LEAST_GAP = 27.0, 1.0
#: Sweeps of a round per combinations more than that, and the most; how many more are worth another
#: round, and the most rounds.
SWEEPS_PER_SIZE, MOST_SWEEPS, SIZE_PER_ROUND, MOST_ROUNDS = 4.0, 80, 8.0, 4


def improve(
    model: Pairwise,
    value: Array,
    shortlist: Shortlist,
    merge: Merge,
    left: Callable[[], tuple[float, float]],
    *,
    seed: int = 0,
    deadline: float = inf,
) -> None:
    """Offer better layouts to the shortlist, with an effort that follows from a problem's size.

    Parameters
    ----------
    value : the relaxation's values, choices first
    merge : finds the best layouts within some choices
    left : decimal logarithm of how many combinations of choices are left under the shortlist's
        threshold, and how far the bound is below it [score]
    """
    size, gap = left()
    unit = degree(model)
    if size < SMALL or gap < LEAST_GAP * unit:
        return
    search = LocalSearch(model, value[: len(model.choice)], shortlist, merge, unit, seed)
    rounds = int(min(np.ceil((size - SMALL) / SIZE_PER_ROUND), MOST_ROUNDS))
    for _ in range(rounds):
        sweeps = int(min(SWEEPS_PER_SIZE * (size - SMALL) + EVERY, MOST_SWEEPS))
        search.round(sweeps, deadline)
        size, gap = left()
        if time.perf_counter() > deadline:
            return
        if size < SMALL or gap < LEAST_GAP * unit:
            break
    if shortlist.top > 1:
        search.merge_for_ranks()


@dataclass
class LocalSearch:
    """Rounds of annealing and merging on one problem; every layout found goes to the shortlist."""

    model: Pairwise
    value: Array
    """(n_c,) the relaxation's values of the choices."""
    shortlist: Shortlist
    merge: Merge
    unit: float
    """The degree of temperature [score]."""
    seed: int = 0
    _found: dict[bytes, tuple[float, IntArray]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._rng = np.random.default_rng(self.seed)
        self._tables = Tables(self.model, self.unit)

    def round(self, sweeps: int, deadline: float = inf) -> None:
        """One round; so many sweeps over all slots."""
        share = np.maximum(self.value, 0.0) + 1e-9
        population = Population(self._tables, SIZE, share, self._rng)
        unit = self.unit
        before = set(self._found)
        annealed = population.anneal(sweeps, HOT * unit, COLD * unit, EVERY, deadline)
        for rows, scores in annealed:
            for row, score in zip(self._in_order(rows), scores.tolist(), strict=True):
                self._found.setdefault(row.tobytes(), (score, row))
        self._offer([key for key in self._found if key not in before])
        if time.perf_counter() > deadline:
            return
        best = sorted(self._found.values(), key=lambda each: each[0])
        self._found = {row.tobytes(): (score, row) for score, row in best[: 4 * MERGED]}
        self._merge([row for _, row in best[:MERGED]], population.chosen, 1)

    def merge_for_ranks(self) -> None:
        """Look for as many layouts as there are ranks near the best ones found."""
        best = sorted(self._found.values(), key=lambda each: each[0])[: 4 * MERGED]
        rows = [row for _, row in best]
        if rows:
            self._merge(rows, np.array(rows), self.shortlist.top)

    def _merge(self, known: list[IntArray], chosen: IntArray, top: int) -> None:
        """Search among the choices of known layouts and of some more assignments."""
        m = self.model
        rows = np.array(known, dtype=np.int64).reshape(-1, m.n_slots)
        open_ = np.zeros(len(m.choice), dtype=bool)
        open_[rows] = True
        open_[chosen] = True
        merged, scores = self.merge(open_, rows, top, NODES)
        self.shortlist.offer(merged)
        for row, score in zip(merged, scores.tolist(), strict=True):
            self._found[row.tobytes()] = (score, row)

    def _offer(self, keys: list[bytes]) -> None:
        m = self.model
        if not keys:
            return
        rows = [self._found[key] for key in keys]
        rows.sort(key=lambda each: each[0])
        most = 4 * self.shortlist.top + 64
        self.shortlist.offer(np.array([row for _, row in rows[:most]]).reshape(-1, m.n_slots))

    def _in_order(self, rows: IntArray) -> IntArray:
        """Interchangeable copies in the order of their choices."""
        m = self.model
        rows = rows.copy()
        for group in m.problem.exchange:
            counts = {tuple(int(m.first[s + 1] - m.first[s]) for s in bundle) for bundle in group}
            if len(counts) > 1:
                continue
            offset = np.array([[rows[:, s] - m.first[s] for s in bundle] for bundle in group])
            order = np.argsort(offset[:, 0], axis=0, kind="stable")
            for n, bundle in enumerate(group):
                for k, s in enumerate(bundle):
                    rows[:, s] = m.first[s] + offset[order[n], k, np.arange(len(rows))]
        return rows


def degree(model: Pairwise) -> float:
    """What a choice more or less typically costs: a temperature that moves many parts [score]."""
    cost = model.cost.copy()
    for pair in model.pairs.values():
        for slot, axis in ((pair.slot_a, 1), (pair.slot_b, 0)):
            known = np.where(pair.ok, pair.cost, 0.0).sum(axis=axis)
            cost[model.first[slot] : model.first[slot + 1]] += known / np.maximum(
                pair.ok.sum(axis=axis), 1
            )
    spread = [
        float(np.std(cost[a:b]))
        for a, b in zip(model.first[:-1], model.first[1:], strict=True)
        if b - a > 1
    ]
    middle = float(np.median(spread)) if spread else 0.0
    return middle or float(np.mean(spread or [0.0])) or 1e-6
