"""Cuts from everything a site could hold: what sits there, and which lines stay within it.

The relaxation shares parts among sites and so pays for neither holders nor lines in full. What
can really be at a site is a list: the sets of choices that fit its capacities together, each with
the lines that then stay within the site. A fractional point whose part at the site is no mixture
of these sets, weighed by how much the site is in use, is cut off by the inequality

    sum a_i x[i at s] + sum b_ij y[i and j at s] <= c u[s],     a.P + b.(pairs within P) <= c
                                                               for every set P that fits,

with the coefficients of a facet of the cone that the sets span, seen from its middle. Choices that
the point does not use come in afterwards one by one, each with the largest coefficient that keeps
every set (sequential lifting).

References
----------
[1] E. A. Boyd, "Fenchel cutting planes for integer programs", Operations Research 42 (1994) 53-64.
[2] C. E. Ferreira, A. Martin, C. C. de Souza, R. Weismantel, L. A. Wolsey, "Formulations and valid
    inequalities for the node capacitated graph partitioning problem", Math. Programming 74
    (1996) 247-266: what lines within a knapsack bring; their inequalities are among these.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.pairwise import Pairwise
from optimizer.solve.highs_lp import LiveLinear, Rows
from optimizer.solve.relaxation import Cut, Relaxation

Mask = NDArray[np.bool_]
#: Relative room left when weights are compared with a capacity.
_ROOM = 1e-9
#: Less of a choice than this is none.
_NONE = 1e-6
#: Sets listed at most for a site; with more, the choices used least are left out.
MOST_SETS = 3000
#: Sets while choices are lifted, and the least coefficient worth having (of the largest).
LIFTED_SETS, LEAST_LIFT = 6000, 0.02
#: Coefficients smaller than this are none.
_TINY = 1e-6
#: Coefficients are held within this while a facet is looked for.
_BOX = 1e4


@dataclass
class _Sets:
    """Sets of items that fit together: members (n, items), loads (n, kinds)."""

    members: Mask
    loads: Array


class SiteHulls:
    """Looks for violated inequalities of the sites' hulls."""

    def __init__(self, model: Pairwise, relaxation: Relaxation):
        self._m = model
        self.use(relaxation)
        #: Per site, the point last found to be within the hull.
        self._seen: dict[int, tuple[bytes, float]] = {}
        self._own: dict[int, IntArray] = {}
        for site in np.unique(model.site).tolist():
            here = np.flatnonzero(model.site == site)
            if len(here) > 1:
                self._own[site] = here

    def use(self, relaxation: Relaxation) -> None:
        """Read points of another relaxation of the same model from now on."""
        self._u = relaxation.u
        self._within = relaxation.within_sites()

    def violated(self, value: Array, least: float) -> list[Cut]:
        """Cuts that a fractional point oversteps by more than `least` (largest coefficient 1)."""
        found = []
        for site, own in self._own.items():
            x = value[own]
            if np.count_nonzero((x > _NONE) & (x < 1.0 - _NONE)) < 2:
                continue
            seen = (np.rint(x * 1e5).astype(np.int32).tobytes(), least)
            if self._seen.get(site) == seen:
                continue
            cut = self._cut(site, own, value, least)
            if cut is not None:
                found.append(cut)
            else:
                self._seen[site] = seen
        return found

    def _cut(self, site: int, own: IntArray, value: Array, least: float) -> Cut | None:
        m = self._m
        items = own[value[own] > _NONE]
        # the likeliest first: those left out when there are too many sets are the last
        items = items[np.argsort(-value[items], kind="stable")]
        sets, items = self._sets(items)
        if len(items) < 2:
            return None
        at = {int(c): k for k, c in enumerate(items)}
        pairs = [
            (at[i], at[j], columns)
            for i, j, columns in self._within.get(site, ())
            if i in at and j in at
        ]
        if not pairs and (m.capacity_use[items].sum(axis=0) <= 1.0 + _ROOM).all():
            return None
        together = [sets.members[:, i] & sets.members[:, j] for i, j, _ in pairs]
        held = np.column_stack([sets.members, *together]).astype(float)
        point = np.concatenate([value[items], [value[columns].sum() for _, _, columns in pairs]])
        used = float(value[self._u[site]])
        normal = _facet(held, point, used)
        if normal is None:
            return None
        scale = np.abs(normal).max()
        if scale <= 0.0:
            return None
        normal = normal / scale
        normal[np.abs(normal) < _TINY] = 0.0
        worth = held @ normal
        most = max(float(worth.max()), 0.0)
        if float(normal @ point) - most * used <= least:
            return None
        row: dict[int, float] = dict(zip(items.tolist(), normal.tolist(), strict=False))
        for (_, _, columns), b in zip(pairs, normal[len(items) :].tolist(), strict=True):
            row.update(dict.fromkeys(columns.tolist(), b))
        self._lift(row, own, items, sets, worth, most)
        row[int(self._u[site])] = -most
        kept = {column: each for column, each in row.items() if each != 0.0}
        return Cut(np.array(list(kept)), np.array(list(kept.values())), 0.0)

    def _sets(self, items: IntArray) -> tuple[_Sets, IntArray]:
        """All sets of items that fit together, of the first items only if there are too many."""
        weight = self._m.capacity_use[items]
        members = np.zeros((1, len(items)), dtype=bool)
        loads = np.zeros((1, weight.shape[1]))
        for k in range(len(items)):
            fits = self._fits(items[:k], members[:, :k], loads, int(items[k]))
            if len(members) + np.count_nonzero(fits) > MOST_SETS:
                return _Sets(members[:, :k], loads), items[:k]
            more = members[fits]
            more[:, k] = True
            members = np.concatenate([members, more])
            loads = np.concatenate([loads, loads[fits] + weight[k]])
        return _Sets(members, loads), items

    def _fits(self, items: IntArray, members: Mask, loads: Array, added: int) -> Mask:
        """Which sets of items another choice fits into."""
        m = self._m
        fits: Mask = np.asarray((loads + m.capacity_use[added] <= 1.0 + _ROOM).all(axis=1))
        slot = int(m.slot[added])
        barred = m.slot[items] == slot
        for k, other in enumerate(items.tolist()):
            beside = int(m.slot[other])
            key = (min(slot, beside), max(slot, beside))
            pair = m.pairs.get(key) if slot != beside else None
            if pair is not None:
                low, high = (added, other) if slot < beside else (other, added)
                barred[k] = not pair.ok[low - m.first[key[0]], high - m.first[key[1]]]
        if barred.any():
            fits &= ~members[:, barred].any(axis=1)
        return fits

    def _lift(
        self,
        row: dict[int, float],
        own: IntArray,
        items: IntArray,
        sets: _Sets,
        worth: Array,
        most: float,
    ) -> None:
        """Give the site's other choices coefficients, heaviest first."""
        m = self._m
        members, loads = sets.members, sets.loads
        others = np.setdiff1d(own, items, assume_unique=True)
        others = others[np.argsort(-m.capacity_use[others].max(axis=1, initial=0.0), kind="stable")]
        for added in others.tolist():
            fits = self._fits(items, members, loads, added)
            coefficient = most - float(worth[fits].max(initial=0.0))
            if coefficient < LEAST_LIFT or len(members) + np.count_nonzero(fits) > LIFTED_SETS:
                continue
            row[added] = coefficient
            more = np.column_stack([members[fits], np.ones(np.count_nonzero(fits), dtype=bool)])
            members = np.column_stack([members, np.zeros(len(members), dtype=bool)])
            members = np.concatenate([members, more])
            loads = np.concatenate([loads, loads[fits] + m.capacity_use[added]])
            worth = np.concatenate([worth, worth[fits] + coefficient])
            items = np.append(items, added)


def _facet(held: Array, point: Array, used: float) -> Array | None:
    """Coefficients of the facet that a point oversteps most, seen from the middle of the sets.

    held (n, d): sets as points; the cone they span at use 1. None if the point is in the cone.
    """
    n, d = held.shape
    middle = held.mean(axis=0)
    # columns: the coefficients, and that of use; rows: sets so far, and the middle
    cost = np.concatenate([-point, [used]])
    start = _spread(held, point)
    chosen = np.zeros(n, dtype=bool)
    chosen[start] = True
    live = _live(held[start], middle, cost)
    for _ in range(60):
        if live.solve() != "optimal" or live.objective > -1e-9:
            return None
        normal, _ = live.solution()
        over = held @ normal[:d] - normal[d]
        over[chosen] = -inf
        worst = np.argsort(-over, kind="stable")[:8]
        worst = worst[over[worst] > 1e-9 * max(1.0, float(np.abs(normal).max()))]
        if not len(worst):
            return normal[:d]
        chosen[worst] = True
        for k in worst.tolist():
            here = np.flatnonzero(held[k])
            live.add_row(np.append(here, d), np.append(np.ones(len(here)), -1.0), -inf, 0.0)
    return normal[:d]


def _spread(held: Array, point: Array) -> IntArray:
    """Sets to begin with: the largest by the point's measure."""
    merit = held @ np.maximum(point, 1e-3)
    return np.argsort(-merit, kind="stable")[: 8 * held.shape[1]]


def _live(held: Array, middle: Array, cost: Array) -> LiveLinear:
    n, d = held.shape
    row, column = np.nonzero(held)
    rows = Rows(
        np.concatenate([row, np.arange(n), np.full(d + 1, n)]),
        np.concatenate([column, np.full(n, d), np.arange(d + 1)]),
        np.concatenate([np.ones(len(row)), -np.ones(n), -middle, [1.0]]),
        np.full(n + 1, -inf),
        np.append(np.zeros(n), 1.0),
    )
    live = LiveLinear(cost, np.full(d + 1, _BOX), rows, 0)
    live.set_bounds(np.arange(d), np.full(d, -_BOX), np.full(d, _BOX))
    return live
