"""What the cheapest layout through a choice costs under the multipliers of a bound.

Under multipliers a layout costs so much for every choice and every pair that lines join, and
nothing for what limits, capacities and sites in use tie together. The lines of a device are nearly
a tree, so the cheapest layout of these costs can be found exactly by elimination: slot after slot
is taken out, its choices replaced by what the best of them costs for every combination of its
neighbours (bucket elimination, up the tree; down again for every choice's and every pair's own
best). A choice or pair whose cheapest layout costs more than the threshold is in no layout worth
having. That closes far more than a choice's own reduced cost.

Where neighbours have too many combinations, what is tied to the slot is split into groups and
each group takes the choice it likes best (mini-buckets): less is closed then, still nothing wrong.

References
----------
[1] R. Dechter, "Bucket elimination: a unifying framework for reasoning", Artificial Intelligence
    113 (1999) 41-85.
[2] R. Dechter, I. Rish, "Mini-buckets: a general scheme for bounded inference", Journal of the ACM
    50 (2003) 107-153.
"""

from __future__ import annotations

import ctypes
from dataclasses import dataclass
from itertools import pairwise as neighbours
from math import inf

import numpy as np
from numpy.typing import NDArray

from optimizer.native import library
from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.pairwise import Pairwise
from optimizer.problem.presolve import Switches
from optimizer.solve.bounds import Bound, Key, reduced_costs

Mask = NDArray[np.bool_]
#: Combinations of one slot and its neighbours at most; with more they are split into groups.
MOST_CELLS = 60_000


@dataclass
class Marginals:
    """`value`: no layout over the open choices costs less.

    `beyond` (n_c) tells how much more than `value` the cheapest layout through a choice costs,
    `pairs` the same of the pairs that lines join or rules forbid, over all choices of both slots;
    inf where closed.
    """

    value: float
    beyond: Array
    pairs: dict[Key, Array]


@dataclass
class _Factor:
    """A cost over the choices of some slots (in order); `bag` is where it came from, if any."""

    scope: tuple[int, ...]
    table: Array
    bag: int = -1
    key: Key | None = None


@dataclass
class _Bag:
    """A slot taken out: what it and its neighbours cost, and what is handed on."""

    slot: int
    scope: tuple[int, ...]
    table: Array
    up: Array
    parent: int = -1


def marginals(
    model: Pairwise, bound: Bound, open_: Mask, *, pairs: bool = False, compiled: bool = False
) -> Marginals:
    """The cheapest layouts under a bound's multipliers, limits and capacities left out.

    Parameters
    ----------
    open_ : (n_c,) choices to consider
    pairs : whether pairs of choices are wanted too

    compiled : by the compiled elimination, if there is one

    Returns a value of inf where there is no layout at all.
    """
    if not np.logical_or.reduceat(open_, model.first[:-1]).all():
        return Marginals(inf, np.full(len(open_), inf), {})
    found = _compiled(model, bound, open_, pairs) if compiled else None
    return found or _Elimination(model, bound, open_).run(pairs)


def _compiled(model: Pairwise, bound: Bound, open_: Mask, pairs: bool) -> Marginals | None:
    """The same by the compiled elimination; None if there is none, or no memory for it."""
    native = library()
    if native is None:
        return None
    value, beyond = ctypes.c_double(), np.full(len(open_), inf)
    bytes_open = np.ascontiguousarray(open_, dtype=np.uint8)
    told: dict[Key, Array] = {}
    cells = np.full(sum(pair.ok.size for pair in model.pairs.values()) if pairs else 0, inf)
    done = native.limbtrim_marginals(
        model.compiled,
        bound.compiled(model),
        bytes_open.ctypes.data,
        MOST_CELLS,
        value,
        beyond.ctypes.data,
        cells.ctypes.data if pairs else None,
    )
    if not done:
        return None
    if pairs and np.isfinite(value.value):
        start = 0
        for key, pair in model.pairs.items():
            told[key] = cells[start : start + pair.ok.size].reshape(pair.ok.shape)
            start += pair.ok.size
    return Marginals(value.value, beyond, told)


def priced(
    model: Pairwise, bound: Bound, open_: Mask, switches: Switches, *, pairs: bool = False
) -> Marginals:
    """The marginals, or a choice's own reduced cost in their place (and no pairs)."""
    if switches.marginals:
        return marginals(model, bound, open_, pairs=pairs, compiled=switches.compiled)
    return Marginals(*reduced_costs(model, bound, open_), {})


class _Elimination:
    def __init__(self, model: Pairwise, bound: Bound, open_: Mask):
        self._m, self._bound = model, bound
        spans = list(neighbours(model.first.tolist()))
        self._own: list[IntArray] = [np.flatnonzero(open_[a:b]) for a, b in spans]
        self._size = [len(own) for own in self._own]
        cost = bound.choice + bound.share
        self._cost = [cost[a + own] for (a, _), own in zip(spans, self._own, strict=True)]
        self._bags: list[_Bag] = []
        self._value = bound.constant
        self._at: list[list[int]] = [[] for _ in self._own]
        self._of_pair: dict[Key, int] = {}

    def run(self, pairs: bool) -> Marginals:
        m = self._m
        self._up(self._factors())
        beyond = np.full(len(m.choice), inf)
        if not np.isfinite(self._value):
            return Marginals(inf, beyond, {})
        beliefs = self._down()
        for slot, own in enumerate(self._own):
            # of several bags, each a bound of its own, the highest counts
            each = [_least(beliefs[n], self._bags[n].scope, (slot,)) for n in self._at[slot]]
            beyond[m.first[slot] + own] = np.max(each, axis=0) if each else 0.0
        return Marginals(self._value, beyond, self._pairs(beliefs, beyond) if pairs else {})

    def _pairs(self, beliefs: list[Array], beyond: Array) -> dict[Key, Array]:
        """Per pair of slots; where one has a single choice, the other's choice tells all."""
        m, found = self._m, {}
        for key, table in self._bound.table.items():
            (a, own_a), (b, own_b) = ((m.first[p], self._own[p]) for p in key)
            at = np.ix_(own_a, own_b)
            if key in self._of_pair:
                n = self._of_pair[key]
                each = _least(beliefs[n], self._bags[n].scope, key)
            else:
                each = np.maximum(beyond[a + own_a][:, None], beyond[b + own_b][None, :])
                each[np.isinf(table[at])] = inf
            found[key] = np.full(table.shape, inf)
            found[key][at] = each
        return found

    def _factors(self) -> list[_Factor]:
        """One factor per pair of slots that both have several choices; the others are added in."""
        factors = []
        size, own, cost = self._size, self._own, self._cost
        for (a, b), table in self._bound.table.items():
            if size[a] == 1 and size[b] == 1:
                self._value += float(table[own[a][0], own[b][0]])
            elif size[a] == 1:
                cost[b] = cost[b] + table[own[a][0], own[b]]
            elif size[b] == 1:
                cost[a] = cost[a] + table[own[a], own[b][0]]
            else:
                factors.append(_Factor((a, b), table[own[a][:, None], own[b][None, :]], key=(a, b)))
        return factors

    # -- up --------------------------------------------------------------------------------

    def _up(self, factors: list[_Factor]) -> None:
        several = [slot for slot, size in enumerate(self._size) if size > 1]
        for slot, size in enumerate(self._size):
            if size == 1:
                self._value += float(self._cost[slot][0])
        tied: dict[int, list[_Factor]] = {slot: [] for slot in several}
        beside: dict[int, set[int]] = {slot: set() for slot in several}
        for factor in factors:
            a, b = factor.scope
            tied[a].append(factor)
            tied[b].append(factor)
            beside[a].add(b)
            beside[b].add(a)
        cells = {slot: self._cells(slot, beside[slot]) for slot in several}
        while cells:
            slot = min(cells, key=cells.__getitem__)
            del cells[slot]
            mine = tied.pop(slot)
            for factor in mine:
                for other in factor.scope:
                    if other != slot:
                        tied[other].remove(factor)
            around = beside.pop(slot)
            for other in around:
                beside[other].discard(slot)
            for number, (scope, group) in enumerate(self._groups(slot, mine)):
                handed = self._take_out(slot, scope, group, number == 0)
                for other in handed.scope:
                    tied[other].append(handed)
                    beside[other].update(each for each in handed.scope if each != other)
                if not handed.scope:
                    self._value += float(handed.table)
            for other in around:
                cells[other] = self._cells(other, beside[other])

    def _cells(self, slot: int, beside: set[int]) -> float:
        cells = float(self._size[slot])
        for other in beside:
            cells *= self._size[other]
        return cells

    def _groups(
        self, slot: int, factors: list[_Factor]
    ) -> list[tuple[tuple[int, ...], list[_Factor]]]:
        """Factors of a slot in groups whose slots have not too many combinations."""
        groups: list[tuple[set[int], list[_Factor]]] = []
        for factor in sorted(factors, key=lambda each: -each.table.size):
            for scope, group in groups:
                if self._cells(slot, (scope | set(factor.scope)) - {slot}) <= MOST_CELLS:
                    scope.update(factor.scope)
                    group.append(factor)
                    break
            else:
                groups.append((set(factor.scope), [factor]))
        if not groups:
            groups.append(({slot}, []))
        return [(tuple(sorted(scope)), group) for scope, group in groups]

    def _take_out(
        self, slot: int, scope: tuple[int, ...], factors: list[_Factor], priced: bool
    ) -> _Factor:
        number = len(self._bags)
        table = np.zeros([self._size[each] for each in scope])
        if priced:
            table += _spread(self._cost[slot], (slot,), scope)
        for factor in factors:
            table += _spread(factor.table, factor.scope, scope)
            if factor.bag >= 0:
                self._bags[factor.bag].parent = number
            elif factor.key is not None:
                self._of_pair[factor.key] = number
        up = table.min(axis=scope.index(slot))
        self._bags.append(_Bag(slot, scope, table, up))
        self._at[slot].append(number)
        return _Factor(tuple(each for each in scope if each != slot), up, number)

    # -- down ------------------------------------------------------------------------------

    def _down(self) -> list[Array]:
        """Per bag, what the cheapest layout costs beyond the value, over the bag's choices."""
        beliefs: list[Array] = [bag.table for bag in self._bags]
        for n in range(len(self._bags) - 1, -1, -1):
            bag = self._bags[n]
            if bag.parent < 0:
                beliefs[n] = bag.table - bag.up  # a number
                continue
            rest = tuple(each for each in bag.scope if each != bag.slot)
            above = self._bags[bag.parent]
            from_above = _least(beliefs[bag.parent], above.scope, rest)
            with np.errstate(invalid="ignore"):
                message = from_above - bag.up
            # what is barred below is barred above
            message[np.isinf(bag.up)] = inf
            beliefs[n] = bag.table + _spread(message, rest, bag.scope)
        return beliefs


def _spread(table: Array, scope: tuple[int, ...], over: tuple[int, ...]) -> Array:
    """A table over some slots, shaped to be added to one over more."""
    if scope == over:
        return table
    shape = [1] * len(over)
    for size, slot in zip(table.shape, scope, strict=True):
        shape[over.index(slot)] = size
    return table.reshape(shape)


def _least(table: Array, scope: tuple[int, ...], over: tuple[int, ...]) -> Array:
    """The least over all slots but some."""
    axes = tuple(n for n, slot in enumerate(scope) if slot not in over)
    return table.min(axis=axes) if axes else table
