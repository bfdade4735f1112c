"""Cuts from everything the limits of a study let a layout do together.

A limit such as a thigh's mass is a knapsack over the whole layout: what each slot's choice brings,
what the sites in use and the lines bring. Lines are shared out between the choices at their ends
so that no line is counted higher than it is; each slot's least is taken off both sides. What is
left is a knapsack with one choice per slot, in as many kinds as limits are tight. A fractional
point outside the hull of what fits is cut off by a facet; choices it does not use come in
afterwards (`optimizer.solve.site_hulls`, the same for a site's capacities).

References
----------
[1] E. A. Boyd, "Fenchel cutting planes for integer programs", Operations Research 42 (1994) 53-64.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.pairwise import Pairwise
from optimizer.solve.relaxation import Cut, Relaxation
from optimizer.solve.site_hulls import _facet

Mask = NDArray[np.bool_]
_ROOM = 1e-9
_NONE = 1e-6
_TINY = 1e-6
#: Choices of a slot whose weights differ by less than this share of the capacity are one item.
GRAIN = 0.02
MOST_SETS, LIFTED_SETS, LEAST_LIFT = 3000, 6000, 0.02
#: A limit is looked at if so little of it is left.
TIGHT = 0.005


@dataclass
class _Items:
    slot: IntArray
    """-1: a site in use."""
    weight: Array
    """(n, kinds)"""
    columns: list[IntArray]
    value: Array


class LimitHulls:
    def __init__(self, model: Pairwise, relaxation: Relaxation):
        self._m = model
        self.use(relaxation)

    def use(self, relaxation: Relaxation) -> None:
        self._relaxation = relaxation
        self._weights: dict[int, tuple[Array, float]] = {}
        self._seen = b""

    def violated(self, value: Array, least: float) -> list[Cut]:
        m = self._m
        if not m.n_limits:
            return []
        tight = self._relaxation.tight_limits(TIGHT)
        if not len(tight):
            return []
        cuts = []
        groups = [tight] if len(tight) == 1 else [tight, *([f] for f in tight)]
        for group in groups:
            cut = self._cut(list(group), value, least)
            if cut is not None:
                cuts.append(cut)
                if len(group) > 1:
                    break
        return cuts

    def _weight(self, f: int, value: Array) -> tuple[Array, float]:
        """Per choice what it brings to a limit with its share of lines, beyond nothing counted."""
        if f in self._weights:
            return self._weights[f]
        m, open_ = self._m, self._relaxation.open
        weight = m.form[:, f].copy()
        constant = 0.0
        for key, pair in m.pairs.items():
            if not pair.lines:
                continue
            a, b = m.first[key[0]], m.first[key[1]]
            n_a, n_b = pair.ok.shape
            own_a = np.flatnonzero(open_[a : a + n_a])
            own_b = np.flatnonzero(open_[b : b + n_b])
            ok = pair.ok & self._relaxation._allowed.get(key, True)
            form = np.where(ok, pair.least_form[..., f], np.inf)[np.ix_(own_a, own_b)]
            if not np.isfinite(form).any():
                continue
            if not form[np.isfinite(form)].any():
                continue
            x_a, x_b = value[a + own_a], value[b + own_b]
            best = None
            for first in (0, 1):
                if first == 0:
                    al = form.min(axis=1)
                    al = np.where(np.isfinite(al), al, 0.0)
                    be = (form - al[:, None]).min(axis=0)
                    be = np.where(np.isfinite(be), be, 0.0)
                else:
                    be = form.min(axis=0)
                    be = np.where(np.isfinite(be), be, 0.0)
                    al = (form - be[None, :]).min(axis=1)
                    al = np.where(np.isfinite(al), al, 0.0)
                worth = float(al @ x_a + be @ x_b)
                if best is None or worth > best[0] + 1e-12:
                    best = worth, al, be
            weight[a + own_a] += best[1]
            weight[b + own_b] += best[2]
        self._weights[f] = weight, constant
        return self._weights[f]

    def _items(self, group: list[int], value: Array) -> _Items | None:
        m, relaxation = self._m, self._relaxation
        open_ = relaxation.open
        w = np.column_stack([self._weight(f, value)[0] for f in group])
        room = m.upper[group].astype(float).copy()
        room -= len(m.pieces) * np.minimum(m.piece_form[group], 0.0)
        used = relaxation.used
        e = m.use_form[used][:, group]
        room -= np.minimum(e, 0.0).sum(axis=0)
        e = np.maximum(e, 0.0)
        slots: list[int] = []
        weights: list[Array] = []
        columns: list[IntArray] = []
        for p in range(m.n_slots):
            own = m.first[p] + np.flatnonzero(open_[m.first[p] : m.first[p + 1]])
            least = w[own].min(axis=0)
            room -= least
            w[own] -= least
        if (room <= 1e-9).any():
            return None
        w, e = w / room, e / room
        w[w < 1e-9] = 0.0
        for p in range(m.n_slots):
            own = m.first[p] + np.flatnonzero(open_[m.first[p] : m.first[p + 1]])
            own = own[w[own].any(axis=1)]
            if not len(own):
                continue
            level = np.floor(w[own] / GRAIN).astype(np.int64)
            _, back = np.unique(level, axis=0, return_inverse=True)
            back = back.ravel()
            for k in range(back.max() + 1):
                at = own[back == k]
                slots.append(p)
                weights.append(w[at].min(axis=0))
                columns.append(at)
        for s, site in enumerate(used.tolist()):
            if e[s].any():
                slots.append(-1)
                weights.append(e[s])
                columns.append(relaxation.u[[site]])
        if not slots:
            return None
        return _Items(
            np.array(slots),
            np.array(weights),
            columns,
            np.array([float(value[c].sum()) for c in columns]),
        )

    def _cut(self, group: list[int], value: Array, least: float) -> Cut | None:
        found = self._items(group, value)
        if found is None:
            return None
        support = np.flatnonzero((found.value > _NONE) & found.weight.any(axis=1))
        # the most fractional and heaviest first
        merit = found.value[support] * found.weight[support].max(axis=1)
        support = support[np.argsort(-merit, kind="stable")]
        members = np.zeros((1, 0), dtype=bool)
        loads = np.zeros((1, len(group)))
        items: list[int] = []
        for k in support.tolist():
            fits = self._fits(found, items, members, loads, k)
            if len(members) + np.count_nonzero(fits) > MOST_SETS:
                break
            members, loads = self._with(found, members, loads, fits, k)
            items.append(k)
        if len(items) < 2:
            return None
        held = members.astype(float)
        point = found.value[items]
        normal = _facet(held, point, 1.0)
        if normal is None:
            return None
        scale = np.abs(normal).max()
        if scale <= 0.0:
            return None
        normal = normal / scale
        normal[np.abs(normal) < _TINY] = 0.0
        worth = held @ normal
        most = max(float(worth.max()), 0.0)
        if float(normal @ point) - most <= least:
            return None
        row: dict[int, float] = {}
        for k, a in zip(items, normal.tolist(), strict=True):
            row.update(dict.fromkeys(found.columns[k].tolist(), a))
        others = np.setdiff1d(np.arange(len(found.slot)), items)
        others = others[np.argsort(-found.weight[others].max(axis=1), kind="stable")]
        for k in others.tolist():
            fits = self._fits(found, items, members, loads, k)
            a = most - float(worth[fits].max(initial=0.0))
            if a < LEAST_LIFT or len(members) + np.count_nonzero(fits) > LIFTED_SETS:
                continue
            row.update(dict.fromkeys(found.columns[k].tolist(), a))
            worth = np.concatenate([worth, worth[fits] + a])
            members, loads = self._with(found, members, loads, fits, k)
            items.append(k)
        kept = {c: a for c, a in row.items() if a != 0.0}
        return Cut(np.array(list(kept)), np.array(list(kept.values())), most)

    def _fits(self, found: _Items, items: list[int], members: Mask, loads: Array, k: int) -> Mask:
        fits: Mask = np.asarray((loads + found.weight[k] <= 1.0 + _ROOM).all(axis=1))
        if found.slot[k] >= 0 and items:
            barred = found.slot[items] == found.slot[k]
            if barred.any():
                fits &= ~members[:, barred].any(axis=1)
        return fits

    def _with(
        self, found: _Items, members: Mask, loads: Array, fits: Mask, k: int
    ) -> tuple[Mask, Array]:
        more = np.column_stack([members[fits], np.ones(np.count_nonzero(fits), dtype=bool)])
        members = np.column_stack([members, np.zeros(len(members), dtype=bool)])
        return np.concatenate([members, more]), np.concatenate(
            [loads, loads[fits] + found.weight[k]]
        )
