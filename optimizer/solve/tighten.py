"""The root of the search: cuts until they bring little, and a smaller relaxation in between.

Cuts raise the bound; with a threshold at hand a higher bound closes choices and pairs of choices
for good; a relaxation without them is smaller and quicker, and further cuts see more clearly.
"""

from __future__ import annotations

import time
from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.presolve import Switches
from optimizer.solve.bounds import Bound, Key, combinations
from optimizer.solve.compiled_hulls import hulls_of_sites
from optimizer.solve.covers import Covers
from optimizer.solve.limit_hulls import LimitHulls
from optimizer.solve.marginals import priced
from optimizer.solve.relaxation import Cut, Optimum, Relaxation
from optimizer.solve.site_hulls import SiteHulls
from optimizer.solve.usage import Usage

Mask = NDArray[np.bool_]
#: By how much a point must overstep a cut at the root.
LEAST = 1e-3
#: Rounds of cover cuts and of hull cuts at most. Hulls see what further covers would.
COVER_ROUNDS, HULL_ROUNDS = 2, 60
#: A round that raises the bound by less than this share of what is left to the threshold (or of
#: the bound, without a threshold) is fruitless; after so many of them cutting ends. Where more
#: combinations (decimal logarithm) than `LARGE` are left, smaller gains are worth more rounds.
LITTLE_OF_GAP, LITTLE, FRUITLESS = 0.05, 2e-5, 2
LARGE, LITTLE_WHERE_LARGE, FRUITLESS_WHERE_LARGE = 30.0, 0.01, 3
#: The smaller gains of a node other than the root: splitting it costs less, and there are many.
LITTLE_AT_NODE = 0.03
#: Combinations left (decimal logarithm) that are listed without further cuts.
FEW = 8.0
#: A relaxation is made anew once so much less of its choices or pairs is left.
SHRUNK = 0.75


@dataclass
class Root:
    """What cutting ended with: nothing left below the threshold if `done`."""

    done: bool
    out_of_time: bool = False


class Tightener:
    """Tightens the relaxation of one problem's root, or of another node.

    `node`: its choices, and what is said of sites; a solved relaxation of it is what is begun with.
    `known`: what looks for cuts, from earlier relaxations.
    """

    def __init__(
        self,
        relaxation: Relaxation,
        switches: Switches,
        deadline: float,
        *,
        node: tuple[Mask, Usage] | None = None,
        known: tuple[Covers, SiteHulls] | None = None,
    ):
        self._m, self._switches, self._deadline = relaxation.model, switches, deadline
        self.relaxation = relaxation
        self.covers, self.hulls = known or (
            Covers(self._m, relaxation.u),
            hulls_of_sites(self._m, relaxation, compiled=switches.compiled),
        )
        self.limits = LimitHulls(self._m, relaxation)
        self._little_where_large = LITTLE_AT_NODE if node else LITTLE_WHERE_LARGE
        self.open, self.usage = node or (relaxation.open.copy(), Usage.free(self._m))
        self.rounds = 0
        self.value = -inf
        self.bound: Bound | None = None
        self._optimum: Optimum | None = relaxation.optimum()

    def left(self, threshold: float) -> tuple[float, float]:
        """Combinations (decimal logarithm) left below a threshold, and how far the bound is."""
        return combinations(self._m, self.below(threshold)), threshold - self.value

    def below(self, threshold: float) -> Mask:
        """The choices of layouts that may score below a threshold."""
        return self.open & (self._beyond <= threshold - self.value)

    def likely(self, size: float) -> Mask:
        """The choices of the cheapest layouts: so many combinations (decimal logarithm) of them."""
        beyond = np.unique(self._beyond[np.isfinite(self._beyond)])
        kept = bisect_right(
            beyond, size, key=lambda most: combinations(self._m, self._beyond <= most)
        )
        return self.open & (self._beyond <= beyond[max(kept - 1, 0)])

    def cover(self) -> Root:
        """Rounds of cover cuts, from a solved relaxation."""
        if self._switches.cover_cuts:
            relaxation = self.relaxation
            for _ in range(COVER_ROUNDS):
                cuts = self.covers.violated(relaxation.value, LEAST)
                if not cuts or time.perf_counter() > self._deadline:
                    break
                before = relaxation.lp.objective
                root = self._cut(cuts)
                if root.done or root.out_of_time:
                    return root
                if relaxation.lp.objective - before < 1e-6 * abs(before):
                    break
        self.bounded()
        return Root(False)

    def hull(
        self,
        threshold: Callable[[], float],
        settled: Callable[[], bool] = lambda: False,
        stopped: Callable[[], bool] = lambda: False,
    ) -> Root:
        """Rounds of hull cuts; choices closed and the relaxation made smaller on the way.

        `settled` is asked every round whether what is left has been seen to otherwise, `stopped`
        whether to leave it at that.
        """
        fruitless = 0
        for _ in range(HULL_ROUNDS):
            if self.value > threshold():
                return Root(True)
            closed = self._close(threshold())
            if closed is not None:
                return closed
            if self.few:
                break
            if settled():
                return Root(True)
            if stopped():
                break
            self.rounds += 1
            cuts = self._overstepped()
            if not cuts or time.perf_counter() > self._deadline:
                break
            before = self.value
            root = self._cut(cuts)
            if root.done or root.out_of_time:
                return root
            self.bounded()
            large = combinations(self._m, self.open) > LARGE
            gap = threshold() - self.value
            share = self._little_where_large if large else LITTLE_OF_GAP
            little = share * gap if gap < inf else LITTLE * abs(before)
            fruitless = fruitless + 1 if self.value - before < little else 0
            if fruitless >= (FRUITLESS_WHERE_LARGE if large else FRUITLESS):
                break
        return Root(self.value > threshold())

    @property
    def few(self) -> bool:
        """Whether so few combinations are left that listing them is quicker than cutting."""
        return self._switches.enumeration and combinations(self._m, self.open) <= FEW

    def _overstepped(self) -> list[Cut]:
        """Cuts of the sites' hulls and of the limits'."""
        value, cuts = self.relaxation.value, []
        if self._switches.hull_cuts:
            cuts += self.hulls.violated(value, LEAST)
        if self._switches.limit_cuts:
            cuts += self.limits.violated(value, LEAST)
        return cuts

    def _cut(self, cuts: list[Cut]) -> Root:
        self.relaxation.add_cuts(cuts)
        return self._solve()

    def _solve(self) -> Root:
        status = self.relaxation.solve(self._deadline - time.perf_counter())
        if status == "optimal":
            self._optimum = self.relaxation.optimum()
        return Root(status == "infeasible", status == "stopped")

    def bounded(self) -> None:
        """Work out the bound of a solved relaxation, and what it tells of choices and pairs."""
        m = self._m
        bound = self.relaxation.bound(self.usage)
        found = priced(m, bound, self.open, self._switches, pairs=True)
        if found.value > self.value or self.bound is None:
            self.value, self.bound = found.value, bound
            self._beyond, self._pairs = found.beyond, found.pairs

    def shrinks(self, threshold: float) -> bool:
        """Whether so much could be closed under a threshold that a new start pays."""
        return self._smaller(threshold) is not None

    def _smaller(self, threshold: float) -> dict[Key, Mask] | None:
        """The pairs of choices left under a threshold, where a new start without the others pays.

        That is where few enough choices are left, or few enough pairs.
        """
        if not (self._switches.reduced_costs and self._switches.shrinking) or self.bound is None:
            return None
        m, room = self._m, threshold - self.value
        allowed: dict[Key, Mask] = {}
        pairs = 0
        for key, table in self.bound.table.items():
            a, b = m.first[key[0]], m.first[key[1]]
            if key in self._pairs:
                allowed[key] = self._pairs[key] <= room
            else:
                beyond_a = self._beyond[a : a + table.shape[0], None]
                beyond_b = self._beyond[None, b : b + table.shape[1]]
                allowed[key] = table + beyond_a + beyond_b <= room
            pairs += int(np.count_nonzero(allowed[key])) if m.pairs[key].lines else 0
        old, left = self.relaxation, np.count_nonzero(self.open & (self._beyond <= room))
        pays = left <= SHRUNK * np.count_nonzero(old.open) or pairs <= SHRUNK * old.n_pairs
        return allowed if pays else None

    def _close(self, threshold: float) -> Root | None:
        """Close what costs too much; a smaller relaxation where that is much."""
        if not self._switches.reduced_costs or threshold == inf or self.bound is None:
            return None
        m = self._m
        allowed = self._smaller(threshold)
        self.open = self.open & (self._beyond <= threshold - self.value)
        if not np.logical_or.reduceat(self.open, m.first[:-1]).all():
            return Root(True)
        if allowed is None:
            return None
        new, optimum = self.relaxation.smaller(self.open, allowed, self._optimum)
        self.relaxation = new
        self.covers.use(new.u)
        self.hulls.use(new)
        self.limits.use(new)
        self._optimum = optimum
        if optimum is None:
            root = self._solve()
            if root.done or root.out_of_time:
                return root
        self.bounded()
        return None
