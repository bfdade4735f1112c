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
from optimizer.solve.facets import NONE, Facets
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
class _Items(Packing):
    """What slots and sites in use bring to some limits beyond their least; slot -1: a site."""

    slot: IntArray
    weights: Array
    columns: list[IntArray]

    def __post_init__(self) -> None:
        self.kinds = self.weights.shape[1]

    def weight(self, item: int) -> Array:
        return np.asarray(self.weights[item])

    def barred(self, items: IntArray, added: int) -> Mask:
        slot = int(self.slot[added])
        return np.asarray((self.slot[items] == slot) & (slot >= 0))


class LimitHulls:
    """Looks for violated inequalities of what the tight limits let through."""

    def __init__(self, model: Pairwise, relaxation: Relaxation):
        self._m = model
        self.use(relaxation)

    def use(self, relaxation: Relaxation) -> None:
        """Read points of another relaxation of the same model from now on."""
        self._relaxation = relaxation
        self._weights: dict[int, Array] = {}

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
        packing = self._items(group, value)
        if packing is None:
            return None
        amount = np.array([float(value[columns].sum()) for columns in packing.columns])
        heavy = packing.weights.max(axis=1)
        support = np.flatnonzero(amount > NONE)
        support = support[np.argsort(-(amount * heavy)[support], kind="stable")]
        sets, items = packing.listed(support)
        if len(items) < 2:
            return None
        facets, point = Facets(sets.members.astype(float)), amount[items]
        normal = facets.of(point)
        if normal is None:
            return None
        worth = facets.held @ normal
        most = max(float(worth.max()), 0.0)
        if float(normal @ point) - most <= least:
            return None
        coefficient = dict(zip(items.tolist(), normal.tolist(), strict=True))
        others = np.setdiff1d(np.arange(len(heavy)), items)
        others = others[np.argsort(-heavy[others], kind="stable")]
        coefficient |= packing.lifted(sets, items, worth, most, others.tolist())
        kept = [(k, a) for k, a in coefficient.items() if a != 0.0]
        columns = [packing.columns[k] for k, _ in kept]
        values = [np.full(len(packing.columns[k]), a) for k, a in kept]
        return Cut(np.concatenate(columns), np.concatenate(values), most)

    def _items(self, group: list[int], value: Array) -> _Items | None:
        """What there is to pack, each limit's capacity scaled to 1; None where it is all used."""
        m, relaxation = self._m, self._relaxation
        weight = np.column_stack([self._weight(f, value) for f in group])
        room = m.upper[group] - len(m.pieces) * np.minimum(m.piece_form[group], 0.0)
        use = m.use_form[relaxation.used][:, group]
        room = room - np.minimum(use, 0.0).sum(axis=0)
        use = np.maximum(use, 0.0)
        own = [
            m.first[p] + np.flatnonzero(relaxation.open[m.first[p] : m.first[p + 1]])
            for p in range(m.n_slots)
        ]
        for each in own:
            least = weight[each].min(axis=0)
            weight[each] -= least
            room = room - least
        if (room <= _TINY).any():
            return None
        weight, use = weight / room, use / room
        weight[weight < _TINY] = 0.0
        slots: list[int] = []
        weights: list[Array] = []
        columns: list[IntArray] = []
        for p, each in enumerate(own):
            some = each[weight[each].any(axis=1)]
            grain = np.floor(weight[some] / GRAIN).astype(np.int64)
            _, group_of = np.unique(grain, axis=0, return_inverse=True)
            for k in range(int(group_of.max(initial=-1)) + 1):
                alike = some[group_of.ravel() == k]
                slots.append(p)
                weights.append(weight[alike].min(axis=0))
                columns.append(alike)
        for site, mine in zip(relaxation.used.tolist(), use, strict=True):
            if mine.any():
                slots.append(-1)
                weights.append(mine)
                columns.append(relaxation.u[[site]])
        return _Items(np.array(slots), np.array(weights), columns) if slots else None

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
