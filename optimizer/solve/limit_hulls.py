"""Cuts from everything that a study's limits let a layout do together.

A limit such as the mass on a thigh is a knapsack over the whole layout: what each slot's choice
brings, and the sites in use and the lines besides. Lines are shared out between the choices at
their ends so that none is counted higher than it is; each slot's least is taken off both sides.
What is left is a knapsack with one choice per slot, in as many kinds as limits are tight. A
fractional point outside the hull of what fits is cut off by a facet (`optimizer.solve.facets`);
choices it does not use come in afterwards (sequential lifting), as with what a site could hold.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.pairwise import Pairwise
from optimizer.solve.facets import NONE, facet
from optimizer.solve.packing import Packing
from optimizer.solve.relaxation import Cut, Relaxation

Mask = NDArray[np.bool_]
#: Choices of a slot whose weights differ by less than this share of the capacity are one item.
GRAIN = 0.02
#: A limit is tight if less of it is left than this share.
TIGHT = 0.005
#: Weights and capacities smaller than this are none.
_TINY = 1e-9


@dataclass
class _Items:
    """What slots and sites in use bring to some limits beyond their least, and what of it fits.

    Item k stands for `columns[starts[k]:starts[k + 1]]`.
    """

    packing: Packing
    columns: IntArray
    starts: IntArray

    def amounts(self, value: Array) -> Array:
        """(n,) how much of every item there is at a point."""
        return np.asarray(np.add.reduceat(value[self.columns], self.starts[:-1]))


class LimitHulls:
    """Looks for violated inequalities of what the tight limits let through."""

    def __init__(self, model: Pairwise, relaxation: Relaxation):
        self._m = model
        self.use(relaxation)

    def use(self, relaxation: Relaxation) -> None:
        """Read points of another relaxation of the same model from now on."""
        self._relaxation = relaxation
        self._weights: dict[int, Array] = {}
        #: Per group of limits what there is to pack.
        self._known: dict[tuple[int, ...], _Items | None] = {}

    def violated(self, value: Array, least: float) -> list[Cut]:
        """Cuts that a fractional point oversteps by more than `least` (largest coefficient 1).

        One of all tight limits together, or else one of each.
        """
        tight = self._relaxation.tight_limits(TIGHT).tolist()
        groups = [tight] if len(tight) > 1 else []
        for group in (*groups, *([f] for f in tight)):
            cut = self._cut(group, value, least)
            if cut is not None:
                return [cut]
        return []

    def _cut(self, group: list[int], value: Array, least: float) -> Cut | None:
        if tuple(group) not in self._known:
            self._known[tuple(group)] = self._items(group, value)
        known = self._known[tuple(group)]
        if known is None:
            return None
        amount, packing = known.amounts(value), known.packing
        heavy = packing.weights.max(axis=1)
        support = np.flatnonzero(amount > NONE)
        support = support[np.argsort(-(amount * heavy)[support], kind="stable")]
        sets, items = packing.listed(support)
        if len(items) < 2:
            return None
        point, members = amount[items], sets.members(len(items))
        normal = facet(members, point)
        if normal is None:
            return None
        worth = members @ normal
        most = max(float(worth.max()), 0.0)
        if float(normal @ point) - most <= least:
            return None
        others = np.setdiff1d(np.arange(len(heavy)), items)
        others = others[np.argsort(-heavy[others], kind="stable")]
        coefficient = np.zeros(len(heavy))
        coefficient[items] = normal
        for k, a in packing.lifted(sets, items, worth, most, others).items():
            coefficient[k] = a
        values = coefficient.repeat(np.diff(known.starts))
        kept = values != 0.0
        return Cut(known.columns[kept], values[kept], most, of_limits=True)

    def _items(self, group: list[int], value: Array) -> _Items | None:
        """What there is to pack, each limit's capacity scaled to 1; None where it is all used."""
        m, relaxation = self._m, self._relaxation
        weight = np.column_stack([self._weight(f, value) for f in group])
        room = m.upper[group] - len(m.pieces) * np.minimum(m.piece_form[group], 0.0)
        use = m.use_form[relaxation.used][:, group]
        room = room - np.minimum(use, 0.0).sum(axis=0)
        use = np.maximum(use, 0.0)
        weight[~relaxation.open] = np.inf
        least = np.minimum.reduceat(weight, m.first[:-1])
        room = room - least.sum(axis=0)
        if (room <= _TINY).any():
            return None
        own = np.flatnonzero(relaxation.open)
        weight, use = (weight[own] - least[m.slot[own]]) / room, use / room
        weight[weight < _TINY] = 0.0
        some = weight.any(axis=1)
        own, weight = own[some], weight[some]
        sites = use.any(axis=1)
        if not len(own) and not sites.any():
            return None
        # alike: of one slot and in one grain of every weight
        grain = np.column_stack([m.slot[own], np.floor(weight / GRAIN).astype(np.int64)])
        order = np.lexsort(grain.T[::-1])
        grain = grain[order]
        new = np.ones(len(order), dtype=bool)
        new[1:] = (grain[1:] != grain[:-1]).any(axis=1)
        starts = np.flatnonzero(new)
        least_alike = np.minimum.reduceat(weight[order], starts) if len(starts) else weight[:0]
        # a site in use excludes nothing but itself
        n = len(starts)
        slot = np.concatenate([grain[starts, 0], -1 - np.arange(np.count_nonzero(sites))])
        columns = np.concatenate([own[order], relaxation.u[relaxation.used[sites]]])
        starts = np.concatenate([starts, len(order) + np.arange(len(slot) - n + 1)])
        packing = Packing(np.concatenate([least_alike, use[sites]]), slot[:, None] == slot[None, :])
        return _Items(packing, columns, starts)

    def _weight(self, f: int, value: Array) -> Array:
        """(n_c,) what every choice brings to a limit at least, its share of lines included.

        Each line is shared out the way that counts most of it at a point.
        """
        if f in self._weights:
            return self._weights[f].copy()
        m, relaxation = self._m, self._relaxation
        weight = m.form[:, f].copy()
        for key, pair in m.pairs.items():
            form = np.where(relaxation.allows(key), pair.least_form[..., f], np.inf)
            if not pair.lines or not form[np.isfinite(form)].any():
                continue
            a, b = (slice(m.first[slot], m.first[slot + 1]) for slot in key)
            ways = [_shares(form), _shares(form.T)[::-1]]
            worth = [float(of_a @ value[a] + of_b @ value[b]) for of_a, of_b in ways]
            of_a, of_b = ways[int(worth[1] > worth[0] + _TINY)]
            weight[a] += of_a
            weight[b] += of_b
        self._weights[f] = weight
        return weight.copy()


def _shares(table: Array) -> tuple[Array, Array]:
    """Shares of rows and columns that add up to no more than any entry; inf: no such pair."""
    first = _finite(table.min(axis=1))
    return first, _finite((table - first[:, None]).min(axis=0))


def _finite(least: Array) -> Array:
    return np.where(np.isfinite(least), least, 0.0)
