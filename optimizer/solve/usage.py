"""What a node of the search tree says of the sites in use: which ones, and how many of a group.

Groups are the sites of one body segment, and all sites. How many of them a layout uses is a whole
number; where the relaxation makes it a fraction, asking whether it is more or fewer moves the
bound on both sides, while single sites much like one another take each other's place.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array
from optimizer.problem.pairwise import Pairwise

Mask = NDArray[np.bool_]


def groups(model: Pairwise) -> Mask:
    """(n_g, n_s) the groups of sites that are counted: of several sites, no two the same."""
    there = np.zeros(model.n_sites, dtype=bool)
    there[model.site] = True
    segment = np.full(model.n_sites, -1, dtype=np.int64)
    segment[model.site] = model.segment
    found = [there & (segment == each) for each in np.unique(model.segment)]
    if len(found) > 1:
        found.append(there)
    several = [group for group in found if np.count_nonzero(group) > 1]
    return np.array(several, dtype=bool).reshape(-1, model.n_sites)


@dataclass(frozen=True)
class Usage:
    """Sites that must and that may be used (n_s), and how many of each group at least and most.

    `least`, `most` are (n_g,).
    """

    must: Mask
    may: Mask
    least: Array
    most: Array

    @staticmethod
    def free(model: Pairwise) -> Usage:
        """Nothing said."""
        size = np.count_nonzero(groups(model), axis=1).astype(float)
        none = np.zeros(model.n_sites, dtype=bool)
        return Usage(none, ~none, np.zeros(len(size)), size)

    def of_site(self, site: int, used: bool) -> Usage:
        """With one site in use, or not."""
        changed = (self.must if used else self.may).copy()
        changed[site] = used
        return replace(self, must=changed) if used else replace(self, may=changed)

    def of_group(self, group: int, level: int, more: bool) -> Usage:
        """With more than so many sites of a group in use, or no more than that."""
        changed = (self.least if more else self.most).copy()
        changed[group] = level + 1 if more else level
        return replace(self, least=changed) if more else replace(self, most=changed)
