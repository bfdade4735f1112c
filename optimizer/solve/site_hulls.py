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
from optimizer.solve.facets import NONE, facet
from optimizer.solve.hands import side_by_side
from optimizer.solve.packing import ROOM, Packing, Sets
from optimizer.solve.relaxation import Cut, Relaxation, Within

Mask = NDArray[np.bool_]
#: A site without lines within it.
_NO_LINES = Within(*(np.zeros(0, dtype=np.int64) for _ in range(4)))


@dataclass
class _Hull:
    """What a site could hold, by places in its list of choices.

    The sets of some `items`; the numbers of the `pairs` that `within` has of them, which two items
    (2, pairs) each joins, and which are in no set, so `apart`; `held` (sets, items and pairs)
    tells what every set has.
    """

    items: IntArray
    sets: Sets
    within: Within
    pairs: IntArray
    ends: IntArray
    apart: Mask
    held: Mask


@dataclass
class Site:
    """One site: its choices, what of them fits together, and what is known of its hull."""

    own: IntArray
    heavy_first: IntArray
    """Places in `own`, what takes up most of a capacity first."""
    within: Within
    """The pairs that lines join there, by places in `own`."""
    packing: Packing | None = None
    hull: _Hull | None = None
    seen: tuple[bytes, float] | None = None
    """The point last found to be within the hull."""

    def apart(self, pairs: IntArray, amount: Array, least: float) -> list[Cut]:
        """The cut that pairs which are in no set are not there, if there is more of them."""
        if amount.sum() <= least:
            return []
        columns = np.concatenate([self.within.columns_of(k) for k in pairs.tolist()])
        return [Cut(columns, np.ones(len(columns)), 0.0)]


class SiteHulls:
    """Looks for violated inequalities of the sites' hulls."""

    def __init__(self, model: Pairwise, relaxation: Relaxation):
        self._m = model
        self._sites: dict[int, Site] = {}
        order = np.argsort(model.site, kind="stable")
        sites, starts = np.unique(model.site[order], return_index=True)
        heavy = model.capacity_use.max(axis=1, initial=0.0)
        for site, own in zip(sites.tolist(), np.split(order, starts[1:]), strict=True):
            self._sites[site] = Site(own, np.argsort(-heavy[own], kind="stable"), _NO_LINES)
        self.use(relaxation)

    def use(self, relaxation: Relaxation) -> None:
        """Read points of another relaxation of the same model from now on."""
        self._u = relaxation.u
        within = relaxation.within_sites
        for number, site in self._sites.items():
            each = within.get(number, _NO_LINES)
            first, second = (np.searchsorted(site.own, end) for end in (each.first, each.second))
            site.within = Within(first, second, each.columns, each.starts)

    def violated(self, value: Array, least: float) -> list[Cut]:
        """Cuts that a fractional point oversteps by more than `least` (largest coefficient 1)."""
        found: list[Cut] = []
        x = value[: len(self._m.choice)]
        fractional = self._m.site[(x > NONE) & (x < 1.0 - NONE)]
        several = np.flatnonzero(np.bincount(fractional, minlength=self._m.n_sites) >= 2)
        looked_at: list[tuple[int, Site, tuple[bytes, float]]] = []
        for number in several.tolist():
            site = self._sites[number]
            seen = (np.rint(x[site.own] * 1e5).astype(np.int32).tobytes(), least)
            if site.seen != seen:
                looked_at.append((number, site, seen))
        several_cuts = side_by_side(
            lambda each: self._cuts(each[0], each[1], value, least), looked_at
        )
        for (_, site, seen), cuts in zip(looked_at, several_cuts, strict=True):
            found += cuts
            if not cuts:
                site.seen = seen
        return found

    def _cuts(self, number: int, site: Site, value: Array, least: float) -> list[Cut]:
        x = value[site.own]
        hull = self._hull(site, x)
        if hull is None:
            return []
        # choices of earlier points that this one does not use are lifted with the rest
        live = x[hull.items] > NONE
        amount = site.within.amounts(value)[hull.pairs]
        cuts = site.apart(hull.pairs[hull.apart], amount[hull.apart], least)
        told = (amount > NONE) & live[hull.ends].all(axis=0) & ~hull.apart
        items, pairs = hull.items[live], hull.pairs[told]
        point = np.concatenate([x[items], amount[told]])
        used = float(value[self._u[number]])
        whole = hull.sets.without(~live)
        held = hull.held[whole][:, np.concatenate([live, told])]
        normal = facet(held, point, used)
        if normal is None:
            return cuts
        worth = held @ normal
        most = max(float(worth.max()), 0.0)
        if float(normal @ point) - most * used <= least:
            return cuts
        others = np.ones(len(site.own), dtype=bool)
        others[items] = False
        come_in = self._packing(site).lifted(
            Sets(hull.sets.words[whole], hull.sets.loads[:, whole]),
            hull.items,
            worth,
            most,
            site.heavy_first[others[site.heavy_first]],
        )
        lifted = np.fromiter(come_in, dtype=np.int64, count=len(come_in))
        of_items = np.concatenate([normal[: len(items)], np.array(list(come_in.values()))])
        items = np.concatenate([items, lifted])
        of_pairs = normal[len(normal) - len(pairs) :]
        return [*cuts, self._cut(number, (items, of_items), (pairs, of_pairs), most)]

    def _cut(
        self,
        number: int,
        items: tuple[IntArray, Array],
        pairs: tuple[IntArray, Array],
        most: float,
    ) -> Cut:
        """The cut of a site with these coefficients of places and of pairs within it."""
        site = self._sites[number]
        several = [site.within.columns_of(k) for k in pairs[0].tolist()]
        of_pairs = pairs[1].repeat([len(each) for each in several])
        columns = np.concatenate([site.own[items[0]], *several, self._u[[number]]])
        values = np.concatenate([items[1], of_pairs, [-most]])
        kept = values != 0.0
        return Cut(columns[kept], values[kept], 0.0, of_site=True)

    def _hull(self, site: Site, x: Array) -> _Hull | None:
        """The sets of what a point has at a site; those last listed, where they have all of it."""
        support = np.flatnonzero(x > NONE)
        # the likeliest first: those left out when there are too many sets are the last
        support = support[np.argsort(-x[support], kind="stable")]
        hull = site.hull
        if hull is not None:
            if np.isin(support, hull.items, kind="table").all():
                if hull.within is not site.within:
                    site.hull = hull = _paired(site, hull.items, hull.sets)
                return hull
            earlier = np.setdiff1d(hull.items, support, assume_unique=True)
            support = np.concatenate([support, earlier])
        packing = self._packing(site)
        sets, items = packing.listed(support)
        if len(items) < 2:
            return None
        hull = _paired(site, items, sets)
        if not len(hull.pairs) and (packing.weights[items].sum(axis=0) <= 1.0 + ROOM).all():
            return None
        site.hull = hull
        return hull

    def _packing(self, site: Site) -> Packing:
        """Choices fit together as capacities, one choice per slot and rules on pairs allow."""
        if site.packing is None:
            m = self._m
            slot = m.slot[site.own]
            clash = slot[:, None] == slot[None, :]
            begin = np.searchsorted(site.own, m.first)
            here = set(slot.tolist())
            for (a, b), pair in m.pairs.items():
                if a in here and b in here:
                    of_a, of_b = (slice(begin[p], begin[p + 1]) for p in (a, b))
                    i, j = site.own[of_a] - m.first[a], site.own[of_b] - m.first[b]
                    barred = ~pair.ok[i[:, None], j]
                    clash[of_a, of_b] = barred
                    clash[of_b, of_a] = barred.T
            site.packing = Packing(m.capacity_use[site.own], clash)
        return site.packing


def _paired(site: Site, items: IntArray, sets: Sets) -> _Hull:
    """The sets of some items, with what lines tell of them."""
    place = np.full(len(site.own), -1)
    place[items] = np.arange(len(items))
    ends = np.stack([place[site.within.first], place[site.within.second]])
    pairs = np.flatnonzero((ends >= 0).all(axis=0))
    ends = ends[:, pairs]
    members = sets.members(len(items))
    held = np.concatenate([members, members[:, ends[0]] & members[:, ends[1]]], axis=1)
    apart: Mask = np.asarray(~held[:, len(items) :].any(axis=0))
    return _Hull(items, sets, site.within, pairs, ends, apart, held)
