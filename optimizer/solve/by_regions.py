"""All layouts below a threshold, put together from what the trunk and each leg can be by itself.

A tree over all slots goes through what one leg can be for every way that the trunk can be. Where
little joins them it is quicker to list each by itself: with a region's cheapest known, what the
threshold leaves beyond the cheapest of all regions together is what each may cost more. Lists are
made a little at a time, since what is put together from short ones may lower the threshold.
"""

from __future__ import annotations

from collections.abc import Callable
from math import inf

import numpy as np

from optimizer.problem.arrays import IntArray
from optimizer.problem.pairwise import Pairwise
from optimizer.solve.joining import Listed, joined
from optimizer.solve.regions import Apart, Region
from optimizer.solve.shortlist import TIE, Entry, Shortlist

#: Nodes of a search for a region's cheapest layout, and for a list of its layouts.
LEAST_NODES, LIST_NODES = 100, 150
#: Layouts of a region listed at most.
MOST_LISTED = 5_000
#: The share of what the threshold leaves that is listed at first; then it is doubled.
FIRST = 0.25
#: Layouts put together that are scored at once.
SCORED = 2000

#: Given a region's model, layouts known, how many of the best are wanted, the most that they may
#: score and a number of nodes: the layouts, best first; None where so many nodes are not enough.
Find = Callable[[Pairwise, IntArray, int, float, int], list[Entry] | None]


class ByRegions:
    """Lists the layouts of regions and puts them together."""

    def __init__(self, model: Pairwise, regions: Apart, find: Find):
        self._m, self._apart, self._find = model, regions, find

    def run(self, shortlist: Shortlist) -> bool:
        """Offer layouts to a shortlist; whether there are no others below its threshold."""
        regions = self._apart.regions
        best = np.searchsorted(self._m.choice, np.array(shortlist.leader().chosen))
        cheapest: dict[int, float] = {}
        # the one most likely to be too much comes first
        for n in sorted(range(len(regions)), key=lambda n: -len(regions[n].slots)):
            least = self._least(regions[n], best)
            if least is None:
                return False
            cheapest[n] = least
        bound = self._apart.constant + sum(cheapest.values())
        step, before = FIRST * self._left(shortlist, bound), -inf
        while True:
            left = self._left(shortlist, bound)
            if left < 0.0:
                return True
            step = min(step, left)
            lists = []
            for n, region in enumerate(regions):
                listed = self._listed(region, cheapest[n], step, before)
                if listed is None:
                    return False
                lists.append(listed)
            together = joined(self._m, lists, self._apart.between, left)
            if together is None:
                return False
            new = np.flatnonzero(~together.known)
            for begin in range(0, len(new), SCORED):
                if together.beyond[new[begin]] > self._left(shortlist, bound):
                    break
                shortlist.offer(together.chosen[new[begin : begin + SCORED]])
            if step >= self._left(shortlist, bound):
                return True
            step, before = 2.0 * step, step

    @staticmethod
    def _left(shortlist: Shortlist, bound: float) -> float:
        """What the threshold leaves beyond the cheapest, and some more for rounding."""
        return shortlist.threshold - bound + TIE * max(1.0, abs(bound))

    def _least(self, region: Region, best: IntArray) -> float | None:
        """What a region's cheapest layout costs; None if that takes too long."""
        known = np.searchsorted(region.choices, best[region.slots])
        if (region.choices[np.minimum(known, len(region.choices) - 1)] != best[region.slots]).any():
            return None  # the best is among what is closed: then a tie for it is all that is left
        found = self._find(region.model, known[None], 1, inf, LEAST_NODES)
        return found[0].score if found else None

    def _listed(
        self, region: Region, cheapest: float, beyond: float, before: float
    ) -> Listed | None:
        """A region's layouts up to so much beyond its cheapest; None if that takes too long.

        `before`: up to how much beyond the last list went.
        """
        none = np.zeros((0, len(region.slots)), dtype=np.int64)
        most = cheapest + beyond
        found = self._find(region.model, none, MOST_LISTED, most, LIST_NODES)
        if found is None or len(found) >= MOST_LISTED:
            return None
        chosen = np.full((len(found), self._m.n_slots), -1, dtype=np.int64)
        rows = np.array([entry.chosen for entry in found], dtype=np.int64)
        chosen[:, region.slots] = np.searchsorted(
            self._m.choice, rows.reshape(-1, len(region.slots))
        )
        over = np.maximum(np.array([entry.score for entry in found]) - cheapest, 0.0)
        # what is at the edge of the last list may not have been in it
        known = over < before - TIE * max(1.0, abs(cheapest))
        return Listed(region.slots, chosen, over, known)
