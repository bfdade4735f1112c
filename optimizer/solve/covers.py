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

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.pairwise import Pairwise
from optimizer.solve.relaxation import Cut

Mask = NDArray[np.bool_]
#: Relative room left when weights are compared with a capacity.
_ROOM = 1e-9
#: Less of a choice than this is none.
_NONE = 1e-6


@dataclass
class _Knapsack:
    """One kind of capacity of one site: its choices, their weights and slots."""

    site: int
    here: IntArray
    weight: Array
    slot: IntArray
    at_least: Mask | None = None
    """Per choice, those of its slot that weigh no less; made when first asked for."""
    seen: tuple[bytes, float, float] | None = None
    """The point last found to overstep nothing."""

    def heavier(self) -> Mask:
        """(n, n) per choice, those of its slot that weigh no less."""
        if self.at_least is None:
            same = self.slot[:, None] == self.slot[None, :]
            self.at_least = same & (self.weight[None, :] >= self.weight[:, None] - 1e-12)
        return self.at_least


class Covers:
    """Looks for violated cover cuts of one problem."""

    def __init__(self, model: Pairwise, u: IntArray):
        self._model, self._u = model, u
        self._knapsacks: list[_Knapsack] = []
        order = np.argsort(model.site, kind="stable")
        for use in model.capacity_use.T:
            some = order[use[order] > 0.0]
            heaviest = np.zeros((model.n_sites, model.n_slots))
            np.maximum.at(heaviest, (model.site[some], model.slot[some]), use[some])
            full = heaviest.sum(axis=1) > 1.0 + _ROOM
            full &= np.count_nonzero(heaviest, axis=1) > 1
            sites = np.flatnonzero(full)
            begin = np.searchsorted(model.site[some], sites)
            end = np.searchsorted(model.site[some], sites, side="right")
            for site, first, last in zip(sites.tolist(), begin, end, strict=True):
                here = some[first:last]
                self._knapsacks.append(_Knapsack(site, here, use[here], model.slot[here]))
        self._known: set[tuple[bytes, int, int]] = set()

    def use(self, u: IntArray) -> None:
        """Read points of another relaxation of the same model, given its columns of sites."""
        self._u = u

    def violated(self, value: Array, least: float) -> list[Cut]:
        """Cuts that a fractional point oversteps by more than `least`."""
        cuts = []
        x = value[: len(self._model.choice)]
        fractional = self._model.site[(x > _NONE) & (x < 1.0 - _NONE)]
        # where every choice is made or not, what is there fits
        torn = np.bincount(fractional, minlength=self._model.n_sites) > 0
        for knapsack in self._knapsacks:
            if not torn[knapsack.site] or self._u[knapsack.site] < 0:
                continue
            used = float(value[self._u[knapsack.site]])
            if used < _NONE:
                continue
            mine = x[knapsack.here]
            seen = (mine.tobytes(), used, least)
            if knapsack.seen == seen:
                continue
            cut = self._cut(knapsack, mine, used, least)
            if cut is not None:
                cuts.append(cut)
            else:
                knapsack.seen = seen
        return cuts

    def _cut(self, knapsack: _Knapsack, x: Array, used: float, least: float) -> Cut | None:
        site, here, weight = knapsack.site, knapsack.here, knapsack.weight
        own, at_least = knapsack.slot, knapsack.heavier()
        # how much of each slot sits here with at least a choice's weight
        some = np.flatnonzero(x)
        held = at_least[:, some] @ x[some] / used
        candidates = np.flatnonzero(held > _NONE)
        if not len(candidates):
            return None
        order = candidates[np.argsort((1.0 - held[candidates]) / weight[candidates], kind="stable")]
        cover: list[int] = []
        taken: set[int] = set()
        total = 0.0
        for c, slot, more in zip(
            order.tolist(), own[order].tolist(), weight[order].tolist(), strict=True
        ):
            if slot in taken:
                continue
            cover.append(c)
            taken.add(slot)
            total += more
            if total > 1.0 + _ROOM:
                break
        if total <= 1.0 + _ROOM:
            return None
        for c in sorted(cover, key=lambda c: held[c]):
            if total - weight[c] > 1.0 + _ROOM:
                cover.remove(c)
                total -= float(weight[c])
        members = at_least[cover].any(axis=0)
        covered = np.zeros(self._model.n_slots, dtype=bool)
        covered[own[cover]] = True
        members |= ~covered[own] & (weight >= weight[cover].max() - 1e-12)
        size = len(cover) - 1
        if float(x[members].sum()) - size * used <= least:
            return None
        name = (members.tobytes(), size, site)
        if name in self._known:
            return None
        self._known.add(name)
        columns = np.append(here[members], self._u[site])
        return Cut(columns, np.append(np.ones(int(members.sum())), -float(size)), 0.0, of_site=True)
