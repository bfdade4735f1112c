"""What `optimizer.solve.site_hulls` does, by compiled parts where there are any.

There all sets that fit a site are listed, and of a site with many likely choices only the sets of
the likeliest are: a cut then sees less than there is. Here no set is listed. The simplex method
that looks for a facet is handed one set at a time, the one that brings most (native/packing.c,
native/hull_cut.c), so the hull is that of everything the site could hold; the right side is the
most that any set comes to, and choices that come in afterwards get what an exact search leaves
them. Sets found are kept for later points, where they mostly do.

References
----------
[1] E. A. Boyd, "Fenchel cutting planes for integer programs", Operations Research 42 (1994) 53-64:
    cuts from an oracle that optimises over what fits.
"""

from __future__ import annotations

import ctypes
from dataclasses import dataclass

import numpy as np

from optimizer.native import library
from optimizer.native.library import FULL, KNOWN, NO_MEMORY, OVER_BUDGET
from optimizer.native.structures import HullCut, Overstep, Packing
from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.pairwise import Pairwise
from optimizer.solve.facets import NONE
from optimizer.solve.packing import LEAST_LIFT, MOST_ITEMS, ROOM, Mask, Words, members_of, words
from optimizer.solve.relaxation import Cut, Relaxation
from optimizer.solve.site_hulls import Site, SiteHulls

#: Partial sets that may be looked at for one cut.
BUDGET = 400_000


def hulls_of_sites(model: Pairwise, relaxation: Relaxation, *, compiled: bool) -> SiteHulls:
    """The compiled ones if they are wanted and there are any, else those on lists."""
    if compiled and library() is not None:
        return CompiledSiteHulls(model, relaxation)
    return SiteHulls(model, relaxation)


@dataclass
class _Items:
    """Places of a site's choices that count now, what of them fits together, and sets known of it.

    `weight` and `clash` as `Packing` has them, `excluded` and `known` as words over these places.
    """

    at: IntArray
    weight: Array
    clash: Mask
    excluded: Words
    known: Words
    n_known: int = 0

    def known_among(self, at: IntArray) -> Words:
        """The sets known that are of some places only, as words over these."""
        known = self.known[: min(self.n_known, KNOWN)]
        members = members_of(known, len(self.at))
        same = self.at[:, None] == at
        whole = ~members[:, ~same.any(axis=1)].any(axis=1)
        return words(members[whole] @ same)


class CompiledSiteHulls(SiteHulls):
    """Looks for violated inequalities of the sites' hulls, compiled."""

    def __init__(self, model: Pairwise, relaxation: Relaxation):
        super().__init__(model, relaxation)
        self._items: dict[int, _Items] = {}

    def use(self, relaxation: Relaxation) -> None:
        """Read points of another relaxation of the same model from now on."""
        super().use(relaxation)
        self._open = relaxation.open

    def _cuts(self, number: int, site: Site, value: Array, least: float) -> list[Cut]:
        native = library()
        assert native is not None
        x = value[site.own]
        items = self._counting(number, site, x)
        weight, live = items.weight, x[items.at] > NONE
        if not len(site.within.first) and (weight[live].sum(axis=0) <= 1.0 + ROOM).all():
            return []
        place = np.full(len(site.own), -1)
        place[items.at] = np.arange(len(items.at))
        ends = np.stack([place[site.within.first], place[site.within.second]])
        amount = site.within.amounts(value)
        pairs = np.flatnonzero((ends >= 0).all(axis=0) & (amount > NONE))
        pairs = pairs[live[ends[:, pairs]].all(axis=0)]
        a, b = ends[:, pairs]
        apart = items.clash[a, b] | (weight[a] + weight[b] > 1.0 + ROOM).any(axis=1)
        cuts = site.apart(pairs[apart], amount[pairs[apart]], least)
        pairs, a, b = pairs[~apart], a[~apart], b[~apart]
        n = len(items.at)
        cut = HullCut(
            coefficient=np.zeros(n + len(pairs)),
            most=0.0,
            known=items.known,
            n_known=items.n_known,
        )
        end = native.limbtrim_hull_cut(
            Packing(
                n_items=n,
                n_kinds=weight.shape[1],
                n_pairs=len(pairs),
                weight=weight,
                clash=items.excluded,
                pair_a=a,
                pair_b=b,
            ),
            Overstep(
                point=np.concatenate([np.where(live, x[items.at], 0.0), amount[pairs]]),
                used=float(value[self._u[number]]),
                least=least,
                least_lift=LEAST_LIFT,
                budget=BUDGET,
            ),
            ctypes.byref(cut),
        )
        items.n_known = cut.n_known
        if end in (OVER_BUDGET, NO_MEMORY):
            return super()._cuts(number, site, value, least)
        if end != FULL:
            return cuts
        of = cut.arrays["coefficient"]
        return [*cuts, self._cut(number, (items.at, of[:n]), (pairs, of[n:]), cut.most)]

    def _counting(self, number: int, site: Site, x: Array) -> _Items:
        """The choices still open, the heaviest first; the likeliest if they are many."""
        at = site.heavy_first[self._open[site.own[site.heavy_first]]]
        if len(at) > MOST_ITEMS:
            likely = np.argsort(-x[at], kind="stable")[:MOST_ITEMS]
            at = at[np.sort(likely)]
        items = self._items.get(number)
        if items is None or not np.array_equal(items.at, at):
            packing = self._packing(site)
            clash = packing.clash[at[:, None], at]
            earlier = np.zeros(0, dtype=np.uint64) if items is None else items.known_among(at)
            known = np.zeros(KNOWN, dtype=np.uint64)
            known[: len(earlier)] = earlier
            items = _Items(at, packing.weights[at], clash, words(clash), known, len(earlier))
            self._items[number] = items
        return items
