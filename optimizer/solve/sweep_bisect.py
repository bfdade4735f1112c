"""The best layouts along a number that moves the problem in any way: bracket and bisect.

The study is built and solved anew at points of a grid. Where neighbours differ, the value at which
the one's layout stops scoring better than the other's is found without solving (both are assessed
as the number turns), and both sides of it are solved: either this confirms the switch, or a third
layout turns up and both halves are looked at again. A layout that wins only between two
neighbouring points of the grid with equal answers is missed; how fine the grid is, is told.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from math import inf

from optimizer.assess.agree import require_agreement
from optimizer.assess.assessment import assess
from optimizer.assess.result import Assessment, Layout
from optimizer.problem.arrays import Problem
from optimizer.problem.build import build_problem
from optimizer.problem.presolve import Reduced, reduce
from optimizer.setting import Setting
from optimizer.solve.epsilon import SearchStoppedError, solve_once
from optimizer.solve.highs import SolveInterrupted
from optimizer.solve.layouts import layout_of
from optimizer.solve.program import Program, Solution
from optimizer.solve.rank import can_search
from optimizer.solve.relay import layout_key, relay
from optimizer.solve.sweep_dial import Dial

#: Intervals of the grid.
GRID = 12
#: Share of the range to which a switch point is found.
BRACKET = 1e-6
#: Scores closer than this, relative to their size or 1, are equal.
EQUAL = 2e-9
#: Whole numbers of which every one is solved rather than bracketed.
ALL_WHOLE = 60


@dataclass(frozen=True)
class Held:
    """From `low` to `high` (values of the number) `layout` is best; None where nothing fits."""

    layout: Layout | None
    low: float
    high: float


class BisectSweep:
    """The search along a dial; `held` fills from low to high."""

    def __init__(
        self,
        dial: Dial,
        low: float,
        high: float,
        *,
        grid: int = GRID,
        deadline: float = inf,
        on_solve: Callable[[int], None] | None = None,
    ):
        self.dial, self.low, self.high = dial, low, high
        self.width = BRACKET * (high - low)
        self._grid, self._deadline, self._on_solve = grid, deadline, on_solve
        self._best: dict[float, tuple[Layout | None, float]] = {}
        self._problems: dict[float, Problem] = {}
        self.held: list[Held] = []
        self.solves = 0

    @property
    def points(self) -> list[float]:
        """The grid."""
        if self.dial.whole:
            return [float(v) for v in range(round(self.low), round(self.high) + 1)]
        step = (self.high - self.low) / self._grid
        return [self.low + i * step for i in range(self._grid)] + [self.high]

    def run(self) -> None:
        """Fill `held`.

        Raises
        ------
        SearchStoppedError
            When the deadline has passed or on Ctrl-C; what is known by then is kept.
        InputError
            If the study cannot be used at some value.
        """
        points = self.points
        best = self.best(points[0])
        self._hold(best, points[0], points[0])
        for a, b in pairwise(points):
            if self.dial.whole:
                self._hold(self.best(b), b, b)
            else:
                self._between(a, b)

    def best(self, value: float) -> Layout | None:
        """The best layout at a value, by solving; None if nothing fits."""
        return self._solve(value)[0]

    def _between(self, a: float, b: float) -> None:
        """Settle what is best from a to b; both ends are solved."""
        first, last = self.best(a), self.best(b)
        if self._same(first, last) or self._as_good(first, b):
            # of equals the one that was best before stays
            self._best[b] = (first, self._best[b][1])
            self._hold(first, a, b)
            return
        if self._as_good(last, a):
            self._hold(last, a, b)
            return
        if b - a <= self.width:
            self._hold(first, a, (a + b) / 2)
            self._hold(last, (a + b) / 2, b)
            return
        left, right = self._turn(first, last, a, b)
        confirmed = self._as_good(first, left), self._as_good(last, right)
        if all(confirmed):
            self._hold(first, a, (left + right) / 2)
            self._hold(last, (left + right) / 2, b)
            return
        if not confirmed[0]:
            self._between(a, left)
        else:
            self._hold(first, a, left)
        self._between(left, right)
        if not confirmed[1]:
            self._between(right, b)
        else:
            self._hold(last, right, b)

    def _turn(
        self, first: Layout | None, last: Layout | None, a: float, b: float
    ) -> tuple[float, float]:
        """Values, close together, between which `last` overtakes `first`; nothing is solved."""
        left, right = a, b
        guessed = self._crossing(first, last, a, b)
        if guessed is not None:
            near = (guessed - 0.4 * self.width, guessed + 0.4 * self.width)
            left = near[0] if near[0] > a and not self._overtaken(first, last, near[0]) else a
            right = near[1] if near[1] < b and self._overtaken(first, last, near[1]) else b
        while right - left > self.width:
            middle = (left + right) / 2
            if self._overtaken(first, last, middle):
                right = middle
            else:
                left = middle
        return left, right

    def _crossing(
        self, first: Layout | None, last: Layout | None, a: float, b: float
    ) -> float | None:
        """Where the two score the same, both being allowed at both ends; None if that is not so."""
        ahead = {v: self.score(last, v) - self.score(first, v) for v in (a, b)}
        if not all(abs(gap) < inf for gap in ahead.values()) or ahead[a] * ahead[b] >= 0.0:
            return None
        from scipy.optimize import brentq

        def gap(value: float) -> float:
            found = self.score(last, value) - self.score(first, value)
            # where one is not allowed only bisecting will do; any number ends this soon
            return found if abs(found) < inf else ahead[b]

        return float(brentq(gap, a, b, xtol=0.2 * self.width))

    def _overtaken(self, first: Layout | None, last: Layout | None, value: float) -> bool:
        if last is None:
            return self.score(first, value) == inf
        return self.score(last, value) < self.score(first, value)

    def _hold(self, layout: Layout | None, low: float, high: float) -> None:
        if self.held and self._same(self.held[-1].layout, layout):
            self.held[-1] = Held(layout, self.held[-1].low, high)
            return
        if self.held and not self.dial.whole:
            before = self.held.pop()
            self.held.append(Held(before.layout, before.low, low))
        self.held.append(Held(layout, low, high))

    @staticmethod
    def _same(a: Layout | None, b: Layout | None) -> bool:
        if a is None or b is None:
            return a is b
        return layout_key(a) == layout_key(b)

    def _as_good(self, layout: Layout | None, value: float) -> bool:
        """Whether a layout is allowed at a value and scores as well as the best there."""
        best, least = self._solve(value)
        if layout is None or best is None:
            return layout is best
        return self.score(layout, value) <= least + EQUAL * max(1.0, abs(least))

    def score(self, layout: Layout | None, value: float) -> float:
        """What a layout scores at a value; infinite where it breaks a limit."""
        if layout is None:
            return inf
        found = self.assessed(layout, value)
        return found.score if found is not None and found.feasible else inf

    def assessed(self, layout: Layout, value: float) -> Assessment | None:
        """A layout assessed at a value."""
        setting = self.dial.setting_at(value)
        if value not in self._problems:
            if len(self._problems) > 32:
                self._problems.clear()
            self._problems[value] = build_problem(setting)
        there = relay(setting, layout, self._problems[value])
        return None if there is None else assess(setting, there)

    def _solve(self, value: float) -> tuple[Layout | None, float]:
        if value not in self._best:
            left = inf if self._deadline == inf else self._deadline - time.perf_counter()
            if left <= 0.0:
                raise SearchStoppedError("time_limit")
            self._best[value] = best_layout(self.dial.setting_at(value), left)
            self.solves += 1
            if self._on_solve is not None:
                self._on_solve(self.solves)
        return self._best[value]


def best_layout(setting: Setting, time_limit_s: float = inf) -> tuple[Layout | None, float]:
    """The proven best layout and its score, assessed; (None, inf) if none meets every limit.

    Raises
    ------
    SearchStoppedError
        If it was not proven in time.
    """
    problem = build_problem(setting)
    reduced = reduce(problem)
    if reduced.emptied:
        return None, inf
    solution = _proven(setting, reduced, time_limit_s)
    if solution is None:
        return None, inf
    layout = layout_of(setting, problem, solution)
    require_agreement(solution, assess(setting, layout))
    return layout, solution.score


def _proven(setting: Setting, reduced: Reduced, time_limit_s: float) -> Solution | None:
    spec = setting.study.solve
    if can_search(reduced):
        return solve_once(reduced, time_limit_s=time_limit_s, seed=spec.seed)
    program = Program(reduced, seed=spec.seed, threads=spec.threads)
    try:
        outcome, solution = program.solve(gap=0.0, time_limit_s=time_limit_s)
    except SolveInterrupted:
        raise SearchStoppedError("interrupted") from None
    if outcome.status not in ("optimal", "infeasible"):
        raise SearchStoppedError(outcome.status)
    return solution
