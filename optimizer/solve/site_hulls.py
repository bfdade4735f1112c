"""Cuts from everything a site could hold: what sits there, and which lines stay within it.

The relaxation shares parts among sites and so pays for neither holders nor lines in full. What
can really be at a site is a list: the sets of choices that fit its capacities together, each with
the lines that then stay within the site. A fractional point whose part at the site is no mixture
of these sets, weighed by how much the site is in use, is cut off by the inequality

    sum a_i x[i at s] + sum b_ij y[i and j at s] <= c u[s],     a.P + b.(pairs within P) <= c
                                                               for every set P that fits,

with the coefficients of a facet of the cone that the sets span (`optimizer.solve.facets`). Choices
that the point does not use come in afterwards one by one, each with the largest coefficient that
keeps every set (sequential lifting).

References
----------
[1] C. E. Ferreira, A. Martin, C. C. de Souza, R. Weismantel, L. A. Wolsey, "Formulations and valid
    inequalities for the node capacitated graph partitioning problem", Math. Programming 74
    (1996) 247-266: what lines within a knapsack bring; their inequalities are among these.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.pairwise import Pairwise
from optimizer.solve.facets import NONE, Facets
from optimizer.solve.packing import ROOM, Packing, Sets
from optimizer.solve.relaxation import Cut, Relaxation

Mask = NDArray[np.bool_]
#: Points at most for which a site is left alone.
LONGEST_REST = 2
#: Two choices, and the columns that say that a line stays between them.
_Within = dict[tuple[int, int], IntArray]


@dataclass
class _Hull:
    """What a site could hold: choices, pairs of them, sets, and their facets."""

    items: IntArray
    pairs: list[tuple[int, int]]
    sets: Sets
    facets: Facets


class _Choices(Packing):
    """Choices fit together as capacities, one choice per slot and rules on pairs allow."""

    def __init__(self, model: Pairwise):
        self._m = model
        self.kinds = model.capacity_use.shape[1]

    def weight(self, item: int) -> Array:
        return np.asarray(self._m.capacity_use[item])

    def barred(self, items: IntArray, added: int) -> Mask:
        m = self._m
        slot = int(m.slot[added])
        barred: Mask = np.asarray(m.slot[items] == slot)
        for k, other in enumerate(items.tolist()):
            beside = int(m.slot[other])
            key = (min(slot, beside), max(slot, beside))
            pair = m.pairs.get(key) if slot != beside else None
            if pair is not None:
                low, high = (added, other) if slot < beside else (other, added)
                barred[k] = not pair.ok[low - m.first[key[0]], high - m.first[key[1]]]
        return barred


class SiteHulls:
    """Looks for violated inequalities of the sites' hulls."""

    def __init__(self, model: Pairwise, relaxation: Relaxation):
        self._m = model
        self._packing = _Choices(model)
        #: Per site, how often in a row it had no cut, and how many points it is left alone for.
        self._fruitless: dict[int, int] = {}
        self._rest: dict[int, int] = {}
        self._hulls: dict[int, _Hull] = {}
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
        self._columns: dict[int, _Within] = {
            site: {(i, j): columns for i, j, columns in several}
            for site, several in relaxation.within_sites().items()
        }

    def violated(self, value: Array, least: float, *, sparing: bool = False) -> list[Cut]:
        """Cuts that a fractional point oversteps by more than `least` (largest coefficient 1).

        `sparing`: a site whose hull cut nothing off is left alone for a while.
        """
        found = []
        for site, own in self._own.items():
            x = value[own]
            if np.count_nonzero((x > NONE) & (x < 1.0 - NONE)) < 2:
                continue
            seen = (np.rint(x * 1e5).astype(np.int32).tobytes(), least)
            if self._seen.get(site) == seen:
                continue
            if sparing and self._rest.get(site, 0) > 0:
                self._rest[site] -= 1
                continue
            cut = self._cut(site, own, value, least)
            if cut is not None:
                found.append(cut)
                self._fruitless[site] = 0
            else:
                self._seen[site] = seen
                self._fruitless[site] = self._fruitless.get(site, 0) + 1
                self._rest[site] = min(self._fruitless[site], LONGEST_REST)
        return found

    def _cut(self, site: int, own: IntArray, value: Array, least: float) -> Cut | None:
        hull = self._hull(site, own[value[own] > NONE], value)
        if hull is None:
            return None
        items, columns = hull.items, [self._columns[site][pair] for pair in hull.pairs]
        point = np.concatenate([value[items], [value[each].sum() for each in columns]])
        used = float(value[self._u[site]])
        normal = hull.facets.of(point, used)
        if normal is None:
            return None
        # choices of earlier points that this one does not use are lifted with the rest
        live = value[items] > NONE
        sets, whole = hull.sets.within(live)
        worth = hull.facets.held[whole] @ normal
        most = max(float(worth.max()), 0.0)
        if float(normal @ point) - most * used <= least:
            return None
        row: dict[int, float] = dict(zip(items.tolist(), normal.tolist(), strict=False))
        for each, b in zip(columns, normal[len(items) :].tolist(), strict=True):
            row.update(dict.fromkeys(each.tolist(), b))
        others = np.setdiff1d(own, items[live], assume_unique=True)
        heavy = self._m.capacity_use[others].max(axis=1, initial=0.0)
        others = others[np.argsort(-heavy, kind="stable")]
        row.update(self._packing.lifted(sets, items[live], worth, most, others.tolist()))
        row[int(self._u[site])] = -most
        kept = {column: each for column, each in row.items() if each != 0.0}
        return Cut(np.array(list(kept)), np.array(list(kept.values())), 0.0)

    def _hull(self, site: int, support: IntArray, value: Array) -> _Hull | None:
        """The sets of what a point has at a site; those last listed, where they have all of it."""
        # the likeliest first: those left out when there are too many sets are the last
        support = support[np.argsort(-value[support], kind="stable")]
        hull, columns = self._hulls.get(site), self._columns.get(site, {})
        if hull is not None:
            missing = np.setdiff1d(support, hull.items, assume_unique=True)
            if not len(missing) and hull.pairs == _pairs(columns, hull.items):
                return hull
            earlier = np.setdiff1d(hull.items, support, assume_unique=True)
            support = np.concatenate([support, earlier])
        sets, items = self._packing.listed(support)
        if len(items) < 2:
            return None
        pairs = _pairs(columns, items)
        if not pairs and (self._m.capacity_use[items].sum(axis=0) <= 1.0 + ROOM).all():
            return None
        at = {int(c): k for k, c in enumerate(items)}
        together = [sets.members[:, at[i]] & sets.members[:, at[j]] for i, j in pairs]
        held = np.column_stack([sets.members, *together]).astype(float)
        self._hulls[site] = hull = _Hull(items, pairs, sets, Facets(held))
        return hull


def _pairs(columns: _Within, items: IntArray) -> list[tuple[int, int]]:
    known = set(items.tolist())
    return [(i, j) for i, j in columns if i in known and j in known]
