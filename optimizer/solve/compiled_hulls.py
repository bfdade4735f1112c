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
from optimizer.native.library import FULL, KNOWN, MOST_ITEMS, NO_MEMORY, OVER_BUDGET
from optimizer.native.structures import HullCut, Overstep, Packing
from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.pairwise import Pairwise
from optimizer.solve.facets import NONE
from optimizer.solve.packing import LEAST_LIFT, ROOM, Words, words
from optimizer.solve.relaxation import Cut, Relaxation
from optimizer.solve.site_hulls import Site, SiteHulls

#: Partial sets that may be looked at for one cut.
BUDGET = 100_000


def hulls_of_sites(model: Pairwise, relaxation: Relaxation, *, compiled: bool) -> SiteHulls:
    """The compiled ones if they are wanted and there are any, else those on lists."""
    if compiled and library() is not None:
        return CompiledSiteHulls(model, relaxation)
    return SiteHulls(model, relaxation)


@dataclass
class _Known:
    """Sets found at a site, as words over the places in `items`."""

    items: IntArray
    words: Words
    n: int = 0


class CompiledSiteHulls(SiteHulls):
    """Looks for violated inequalities of the sites' hulls, compiled."""

    def __init__(self, model: Pairwise, relaxation: Relaxation):
        super().__init__(model, relaxation)
        self._known: dict[int, _Known] = {}

    def _cuts(self, number: int, site: Site, value: Array, least: float) -> list[Cut]:
        native = library()
        assert native is not None
        x = value[site.own]
        items = self._items(site, x)
        packing = self._packing(site)
        weight, live = packing.weights[items], x[items] > NONE
        if not len(site.within.first) and (weight[live].sum(axis=0) <= 1.0 + ROOM).all():
            return []
        place = np.full(len(site.own), -1)
        place[items] = np.arange(len(items))
        ends = np.stack([place[site.within.first], place[site.within.second]])
        amount = site.within.amounts(value)
        pairs = np.flatnonzero((ends >= 0).all(axis=0) & (amount > NONE))
        pairs = pairs[live[ends[:, pairs]].all(axis=0)]
        a, b = ends[:, pairs]
        clash = packing.clash[items[:, None], items]
        apart = clash[a, b] | (weight[a] + weight[b] > 1.0 + ROOM).any(axis=1)
        cuts = site.apart(pairs[apart], amount[pairs[apart]], least)
        pairs, a, b = pairs[~apart], a[~apart], b[~apart]
        known = self._sets_known(number, items)
        cut = HullCut(
            coefficient=np.zeros(len(items) + len(pairs)),
            most=0.0,
            known=known.words,
            n_known=known.n,
        )
        end = native.limbtrim_hull_cut(
            Packing(
                n_items=len(items),
                n_kinds=weight.shape[1],
                n_pairs=len(pairs),
                weight=weight,
                clash=words(clash),
                pair_a=a,
                pair_b=b,
            ),
            Overstep(
                point=np.concatenate([np.where(live, x[items], 0.0), amount[pairs]]),
                used=float(value[self._u[number]]),
                least=least,
                least_lift=LEAST_LIFT,
                budget=BUDGET,
            ),
            ctypes.byref(cut),
        )
        known.n = cut.n_known
        if end in (OVER_BUDGET, NO_MEMORY):
            return super()._cuts(number, site, value, least)
        if end != FULL:
            return cuts
        of = cut.arrays["coefficient"]
        of_items, of_pairs = of[: len(items)], of[len(items) :]
        return [*cuts, self._cut(number, (items, of_items), (pairs, of_pairs), cut.most)]

    def _items(self, site: Site, x: Array) -> IntArray:
        """Places of the choices still open, the heaviest first; the likeliest if they are many."""
        items = site.heavy_first[self._open[site.own[site.heavy_first]]]
        if len(items) > MOST_ITEMS:
            likely = np.argsort(-x[items], kind="stable")[:MOST_ITEMS]
            items = items[np.sort(likely)]
        return items

    def _sets_known(self, number: int, items: IntArray) -> _Known:
        """The sets found at a site, none if others of its choices count now."""
        known = self._known.get(number)
        if known is None or not np.array_equal(known.items, items):
            known = self._known[number] = _Known(items, np.zeros(KNOWN, dtype=np.uint64))
        return known
