"""Cover cuts for pockets: parts that cannot all sit in one site.

For a capacity sum of w_c x_c <= u and a set C of slots whose least weights (from some threshold
up) add up to more than 1, at most |C| - 1 of them sit there with that much weight:

    sum over slots of C, over their choices at the site at least as heavy, x <= (|C| - 1) u.

Choices of other slots at least as heavy as the heaviest of C join the left side.

References
----------
[1] E. Balas, "Facets of the knapsack polytope", Math. Programming 8 (1975) 146-164 (covers and
    their extension). Choices of one slot exclude each other: L. A. Wolsey, "Valid inequalities
    for 0-1 knapsacks and MIPs with generalised upper bound constraints", Discrete Applied
    Mathematics 29 (1990) 251-261.
"""

from __future__ import annotations

import numpy as np

from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.pairwise import Pairwise
from optimizer.solve.relaxation import Cut

#: Relative room left when weights are compared with a capacity.
_ROOM = 1e-9


class Covers:
    """Looks for violated cover cuts of one problem."""

    def __init__(self, model: Pairwise, u: IntArray):
        self._model, self._u = model, u
        self._knapsacks: list[tuple[int, IntArray, Array, IntArray]] = []
        for k in range(model.capacity_use.shape[1]):
            for site in np.unique(model.site):
                here = np.flatnonzero((model.site == site) & (model.capacity_use[:, k] > 0.0))
                weight = model.capacity_use[here, k]
                slots = model.slot[here]
                _, own = np.unique(slots, return_inverse=True)
                heaviest = np.zeros(int(own.max(initial=-1)) + 1)
                np.maximum.at(heaviest, own, weight)
                if heaviest.sum() > 1.0 + _ROOM and len(heaviest) > 1:
                    self._knapsacks.append((int(site), here, weight, own))
        self._known: set[tuple[bytes, int, int]] = set()

    def use(self, u: IntArray) -> None:
        """Read points of another relaxation of the same model, given its columns of sites."""
        self._u = u

    def violated(self, value: Array, least: float) -> list[Cut]:
        """Cuts that a fractional point oversteps by more than `least`."""
        cuts = []
        for site, here, weight, own in self._knapsacks:
            if self._u[site] < 0:
                continue
            used = float(value[self._u[site]])
            if used < 1e-6:
                continue
            cut = self._cut(site, here, weight, own, value[here], used, least)
            if cut is not None:
                cuts.append(cut)
        return cuts

    def _cut(
        self,
        site: int,
        here: IntArray,
        weight: Array,
        own: IntArray,
        x: Array,
        used: float,
        least: float,
    ) -> Cut | None:
        # how much of each slot sits here with at least a choice's weight
        at_least = (own[:, None] == own[None, :]) & (weight[None, :] >= weight[:, None] - 1e-12)
        held = at_least @ x / used
        candidates = np.flatnonzero(held > 1e-6)
        if not len(candidates):
            return None
        order = candidates[np.argsort((1.0 - held[candidates]) / weight[candidates], kind="stable")]
        cover: list[int] = []
        taken: set[int] = set()
        total = 0.0
        for c in order.tolist():
            if int(own[c]) in taken:
                continue
            cover.append(c)
            taken.add(int(own[c]))
            total += float(weight[c])
            if total > 1.0 + _ROOM:
                break
        if total <= 1.0 + _ROOM:
            return None
        for c in sorted(cover, key=lambda c: held[c]):
            if total - weight[c] > 1.0 + _ROOM:
                cover.remove(c)
                total -= float(weight[c])
        members = np.zeros(len(here), dtype=bool)
        for c in cover:
            members |= at_least[c]
        covered = np.isin(own, own[cover])
        members |= ~covered & (weight >= weight[cover].max() - 1e-12)
        size = len(cover) - 1
        if float(x[members].sum()) - size * used <= least:
            return None
        name = (members.tobytes(), size, site)
        if name in self._known:
            return None
        self._known.add(name)
        columns = np.append(here[members], self._u[site])
        return Cut(columns, np.append(np.ones(int(members.sum())), -float(size)), 0.0)
