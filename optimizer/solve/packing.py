"""Items that fit together: sets of them listed, and coefficients for items that come in later.

Items are numbers that mean something to a packing: choices at a site, or what a slot brings to a
limit. Every item has a weight in some kinds of capacity, all scaled to 1; some exclude each other.
Sets are words of bits, so what an item excludes in thousands of them is one comparison.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, IntArray

Mask = NDArray[np.bool_]
Words = NDArray[np.uint64]
#: Relative room left when weights are compared with a capacity.
ROOM = 1e-9
#: Sets listed at most; with more, the items named last are left out.
MOST_SETS = 3000
#: Sets while items are lifted, and the least coefficient worth having (of the largest).
LIFTED_SETS, LEAST_LIFT = 6000, 0.02
#: Items that a word has bits for: none come in beyond that.
MOST_ITEMS = 64
#: What stands for the presence of every item.
_BITS: Words = np.uint64(1) << np.arange(MOST_ITEMS, dtype=np.uint64)
_NONE = np.uint64(0)


@dataclass
class Sets:
    """Sets of items that fit together: words (n,), loads (kinds, n).

    The k-th item is in the sets whose k-th bit is set. The first is the empty set, and every
    set comes after its subsets.
    """

    words: Words
    loads: Array

    @staticmethod
    def empty(kinds: int) -> Sets:
        """The empty set alone."""
        return Sets(np.zeros(1, dtype=np.uint64), np.zeros((kinds, 1)))

    def members(self, n_items: int) -> Mask:
        """(n, n_items) which items every set has."""
        return members_of(self.words, n_items)

    def fitting(self, excluded: np.uint64, weight: Array) -> Mask:
        """Which sets a further item fits into that excludes some items."""
        fits: Mask = np.asarray((self.words & excluded) == _NONE)
        for load, more in zip(self.loads, weight.tolist(), strict=True):
            if more > 0.0:
                fits &= load <= 1.0 + ROOM - more
        return fits

    def joined(self, fits: Mask, k: int, weight: Array) -> Sets:
        """These sets, and those that a further item, the k-th, fits into together with it."""
        return Sets(
            np.concatenate([self.words, self.words[fits] | _BITS[k]]),
            np.concatenate([self.loads, self.loads[:, fits] + weight[:, None]], axis=1),
        )

    def without(self, items: Mask) -> Mask:
        """Which sets have none of some items, told by position."""
        without: Mask = np.asarray((self.words & words(items)) == _NONE)
        return without


@dataclass
class Packing:
    """What fits together: weights (n, kinds), and which items exclude each other (n, n).

    Every item excludes itself.
    """

    weights: Array
    clash: Mask

    def listed(self, items: IntArray) -> tuple[Sets, IntArray]:
        """All sets of items that fit together, of the first items only if there are too many."""
        items = items[:MOST_ITEMS]
        sets = Sets.empty(self.weights.shape[1])
        excluded = words(self.clash[items[:, None], items])
        weights = self.weights[items]
        for k in range(len(items)):
            # of later items no set has any yet
            fits = sets.fitting(excluded[k], weights[k])
            if len(sets.words) + np.count_nonzero(fits) > MOST_SETS:
                return sets, items[:k]
            sets = sets.joined(fits, k, weights[k])
        return sets, items

    def lifted(
        self, sets: Sets, items: IntArray, worth: Array, most: float, others: IntArray
    ) -> dict[int, float]:
        """The largest coefficients with which other items, one by one, keep every set.

        Parameters
        ----------
        sets, items : the sets, and what stands for their bits
        worth, most : what the coefficients of `items` come to in every set, and the right side
        """
        found: dict[int, float] = {}
        if most < LEAST_LIFT:
            return found
        excluded = words(self.clash[others[:, None], items])
        # what fits into a set that leaves too little of the right side gets nothing
        full = worth > most - LEAST_LIFT
        kept = ~self._fit_any(sets.words[full], sets.loads[:, full], excluded, others)
        for added, known in zip(others[kept].tolist(), excluded[kept], strict=True):
            if len(items) + len(found) >= MOST_ITEMS:
                break
            word = known
            if found:
                come_in = self.clash[added, np.array(list(found))]
                word = word | (words(come_in) << np.uint64(len(items)))
            fits = sets.fitting(word, self.weights[added])
            coefficient = most - float(worth[fits].max(initial=0.0))
            if coefficient < LEAST_LIFT:
                continue
            if len(sets.words) + np.count_nonzero(fits) > LIFTED_SETS:
                continue
            sets = sets.joined(fits, len(items) + len(found), self.weights[added])
            found[added] = coefficient
            worth = np.concatenate([worth, worth[fits] + coefficient])
        return found

    def _fit_any(self, words: Words, loads: Array, excluded: Words, others: IntArray) -> Mask:
        """(others,) which items fit into any of some sets."""
        fits = (words & excluded[:, None]) == _NONE
        for load, more in zip(loads, self.weights[others].T, strict=True):
            fits &= load <= 1.0 + ROOM - more[:, None]
        fit_any: Mask = np.asarray(fits.any(axis=1))
        return fit_any


def words(items: Mask) -> Words:
    """(..., n) which items as words (...)."""
    return np.asarray((items * _BITS[: items.shape[-1]]).sum(axis=-1, dtype=np.uint64))


def members_of(sets: Words, n_items: int) -> Mask:
    """(n, n_items) which items every set has, told as words (n,)."""
    members: Mask = np.asarray((sets[:, None] & _BITS[:n_items]) != _NONE)
    return members
