"""Items that fit together: sets of them listed, and coefficients for items that come in later.

Items are numbers that mean something to a packing: choices at a site, or what a slot brings to a
limit. Every item has a weight in some kinds of capacity, all scaled to 1; some exclude each other.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, IntArray

Mask = NDArray[np.bool_]
#: Relative room left when weights are compared with a capacity.
ROOM = 1e-9
#: Sets listed at most; with more, the items named last are left out.
MOST_SETS = 3000
#: Sets while items are lifted, and the least coefficient worth having (of the largest).
LIFTED_SETS, LEAST_LIFT = 6000, 0.02


@dataclass
class Sets:
    """Sets of items that fit together: members (n, items), loads (n, kinds)."""

    members: Mask
    loads: Array

    def joined(self, fits: Mask, weight: Array) -> Sets:
        """These sets, and those that a further item fits into together with it."""
        n = int(np.count_nonzero(fits))
        members = np.zeros((len(self.members) + n, self.members.shape[1] + 1), dtype=bool)
        members[: len(self.members), :-1] = self.members
        members[len(self.members) :, :-1] = self.members[fits]
        members[len(self.members) :, -1] = True
        return Sets(members, np.concatenate([self.loads, self.loads[fits] + weight]))

    def within(self, kept: Mask) -> tuple[Sets, Mask]:
        """The sets of these items only, and which of all sets they are."""
        whole: Mask = np.asarray(~self.members[:, ~kept].any(axis=1))
        return Sets(self.members[whole][:, kept], self.loads[whole]), whole


class Packing:
    """What fits together; `weight` and `barred` tell about single items."""

    kinds: int

    def weight(self, item: int) -> Array:
        """(kinds,) what an item takes up."""
        raise NotImplementedError

    def barred(self, items: IntArray, added: int) -> Mask:
        """Which of some items cannot be together with another one."""
        raise NotImplementedError

    def listed(self, items: IntArray) -> tuple[Sets, IntArray]:
        """All sets of items that fit together, of the first items only if there are too many."""
        sets = Sets(np.zeros((1, 0), dtype=bool), np.zeros((1, self.kinds)))
        for k, item in enumerate(items.tolist()):
            fits = self._fits(sets, items[:k], item)
            if len(sets.members) + np.count_nonzero(fits) > MOST_SETS:
                return sets, items[:k]
            sets = sets.joined(fits, self.weight(item))
        return sets, items

    def lifted(
        self, sets: Sets, items: IntArray, worth: Array, most: float, others: Iterable[int]
    ) -> dict[int, float]:
        """The largest coefficients with which other items, one by one, keep every set.

        Parameters
        ----------
        worth, most : what the coefficients of `items` come to in every set, and the right side
        """
        found: dict[int, float] = {}
        for added in others:
            fits = self._fits(sets, items, added)
            coefficient = most - float(worth[fits].max(initial=0.0))
            if coefficient < LEAST_LIFT:
                continue
            if len(sets.members) + np.count_nonzero(fits) > LIFTED_SETS:
                continue
            found[added] = coefficient
            sets = sets.joined(fits, self.weight(added))
            worth = np.concatenate([worth, worth[fits] + coefficient])
            items = np.append(items, added)
        return found

    def _fits(self, sets: Sets, items: IntArray, added: int) -> Mask:
        """Which sets of items another one fits into."""
        fits: Mask = np.asarray((sets.loads + self.weight(added) <= 1.0 + ROOM).all(axis=1))
        if len(items):
            barred = self.barred(items, added)
            if barred.any():
                fits &= ~sets.members[:, barred].any(axis=1)
        return fits
