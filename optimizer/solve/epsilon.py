"""All non-dominated vectors of two or more goals, none missed: nested epsilon constraints.

To list the vectors of goals 0..k under bounds on those above k: list those of goals 0..k-1 with
goal k unbounded, then again with goal k below the greatest value it took among them, and so on
until nothing is left. With goals 0..k-1 bounded by nothing but that, a vector z not yet listed
when the bound of goal k passes below it would have been beaten in goals 0..k-1 by a listed one
whose goal k is no greater than z's: z is then dominated or equal. So none is missed. For two goals
this is the ordinary epsilon-constraint method [1]; for three the recursion of [2] with its reuse:
a solution found under looser bounds that meets the tighter ones answers those too.

Each vector takes two solves: the least of goal 0 within the bounds, then, with goal 0 held there,
the least sum of the others (the exact counterpart of an augmentation term [1], which would trade
goal 0 against the others by its coefficient). The result is beaten by nothing within the bounds.

Values are real numbers, so a bound steps below a value by the goal's `resolution`: vectors that
differ by less in every goal count as one.

References
----------
[1] G. Mavrotas, "Effective implementation of the epsilon-constraint method in multi-objective
    mathematical programming problems", Applied Mathematics and Computation 213 (2009) 455-465.
[2] M. Ozlen, B. A. Burton, C. A. G. MacRae, "Multi-objective integer programming: an improved
    recursive algorithm", J. Optimization Theory and Applications 160 (2014) 470-482.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import inf

import numpy as np

from optimizer.errors import Flaw, InputError, Origin
from optimizer.problem.arrays import Array, LimitRow, Objective
from optimizer.problem.presolve import Reduced, Switches
from optimizer.problem.quantities import INDEX, MASS
from optimizer.solve.goals import Goal, exact_value
from optimizer.solve.program import Solution
from optimizer.solve.rank import rank
from optimizer.study.model import TRUNK

Vector = tuple[float, ...]
TRUNK_LOAD = INDEX[MASS[TRUNK]]
#: What is asked of a study that allows ballast of any mass where that cannot be.
WITHOUT_BALLAST = "counterweight.allowed = false, or ballast as a part with models of given mass"


class SearchStoppedError(Exception):
    """The time limit or Ctrl-C ended the search."""

    def __init__(self, why: str):
        super().__init__(why)
        self.why = why


@dataclass(frozen=True)
class Point:
    """A non-dominated vector, in the order of the goals, with one layout that has it."""

    values: Vector
    solution: Solution


class Search:
    """The search for all non-dominated vectors of some goals over a reduced problem.

    The problem's arrays are made once; bounds come and go as rows over its quantities.
    """

    def __init__(
        self,
        reduced: Reduced,
        goals: Sequence[Goal],
        *,
        switches: Switches = Switches(),  # noqa: B008 - frozen
        seed: int = 0,
        deadline: float = inf,
        on_point: Callable[[int], None] | None = None,
    ):
        if reduced.problem.ballast is not None:
            found = "a counterweight allowed: its mass may be anything, so trade-offs have no end"
            expected = WITHOUT_BALLAST
            raise InputError([Flaw(reduced.problem.ballast.origin, found, expected)])
        # the one goal that may be curved is minimised first, the others are linear rows
        self.order = sorted(range(len(goals)), key=lambda i: goals[i].objective.curve is None)
        self.goals = [goals[i] for i in self.order]
        self._reduced = reduced
        finest = min(goal.resolution for goal in self.goals)
        others = [goal.objective.linear * (finest / goal.resolution) for goal in self.goals[1:]]
        self._others = Objective(np.sum(others, axis=0)) if others else None
        self._switches, self._seed = switches, seed
        self._deadline, self._on_point = deadline, on_point
        self._answers: list[tuple[Vector, Point | None]] = []
        self.found: list[Point] = []
        self.solves = 0

    def run(self) -> None:
        """Fill `found` with every non-dominated vector.

        Raises
        ------
        SearchStoppedError
            When the deadline has passed or on Ctrl-C; `found` keeps what is known by then.
        """
        self._levels(len(self.goals) - 1, [inf] * len(self.goals))

    def values(self, point: Point) -> Vector:
        """A point's values in the order the goals were given."""
        placed = dict(zip(self.order, point.values, strict=True))
        return tuple(placed[i] for i in range(len(self.order)))

    def _levels(self, k: int, bounds: list[float]) -> list[Point]:
        if k == 0:
            point = self._least(tuple(bounds))
            return [] if point is None else [point]
        found: list[Point] = []
        bounds = list(bounds)
        bounds[k] = inf
        while True:
            here = self._levels(k - 1, bounds)
            if not here:
                return found
            found += here
            bounds[k] = max(p.values[k] for p in here) - self.goals[k].resolution

    def _least(self, bounds: Vector) -> Point | None:
        """Least of goal 0 within the bounds, then of the others; None if nothing is within."""
        for looser, answer in self._answers:
            if all(a >= b for a, b in zip(looser, bounds, strict=True)) and (
                answer is None or all(v <= b for v, b in zip(answer.values, bounds, strict=True))
            ):
                return answer
        answer = self._solve_least(bounds)
        self._answers.append((bounds, answer))
        if answer is not None and not self._known(answer):
            self.found.append(answer)
            if self._on_point is not None:
                self._on_point(len(self.found))
        return answer

    def _known(self, point: Point) -> bool:
        return any(
            all(
                abs(a - b) < goal.resolution
                for a, b, goal in zip(point.values, other.values, self.goals, strict=True)
            )
            for other in self.found
        )

    def _solve_least(self, bounds: Vector) -> Point | None:
        goal = self.goals[0]
        rows = [
            _row(other, other.objective.linear, bound)
            for other, bound in zip(self.goals, bounds, strict=True)
            if bound < inf
        ]
        first = self._best(goal.objective, rows)
        if first is None:
            return None
        if self._others is None:
            return Point(self._measure(first), first)
        most = self._measure(first)[0] + 0.5 * goal.resolution
        solution = first
        while True:
            # of a curved goal its tangent where a solution lands: more are added until it holds
            linear, constant = _tangent(goal.objective, solution)
            rows.append(_row(goal, linear, most - constant))
            found = self._best(self._others, rows)
            if found is None:
                return Point(self._measure(solution), solution)
            solution = found
            if self._measure(found)[0] <= most + 0.1 * goal.resolution:
                return Point(self._measure(found), found)

    def _measure(self, solution: Solution) -> Vector:
        """Every goal of a solution, exactly."""
        return tuple(exact_value(goal.objective, solution.quantities) for goal in self.goals)

    def _best(self, objective: Objective, rows: Sequence[LimitRow]) -> Solution | None:
        """The best layout that keeps to further rows; None if there is none."""
        left = inf if self._deadline == inf else self._deadline - time.perf_counter()
        if left <= 0.0:
            raise SearchStoppedError("time_limit")
        problem = self._reduced.problem
        bounded = replace(problem, limits=(*problem.limits, *rows))
        self.solves += 1
        return solve_once(
            replace(self._reduced, problem=bounded),
            objective,
            time_limit_s=left,
            seed=self._seed,
            switches=self._switches,
        )


def solve_once(
    reduced: Reduced,
    objective: Objective | None = None,
    *,
    time_limit_s: float = inf,
    seed: int = 0,
    switches: Switches = Switches(),  # noqa: B008 - frozen
) -> Solution | None:
    """The proven best layout of a reduced problem under an objective; None if there is none.

    Raises
    ------
    SearchStoppedError
        If it was not proven in time, or on Ctrl-C.
    """
    ranked = rank(
        reduced, objective, top=1, time_limit_s=time_limit_s, seed=seed, switches=switches
    )
    if ranked.status != "optimal":
        raise SearchStoppedError(ranked.status)
    return ranked.found[0][1] if ranked.found else None


def _row(goal: Goal, coefficients: Array, upper: float) -> LimitRow:
    return LimitRow("goal", goal.name, goal.title, coefficients, upper, goal.unit, 1.0, Origin(""))


def _tangent(objective: Objective, solution: Solution) -> tuple[Array, float]:
    """A linear form and a constant that touch an objective at a solution, and lie below it."""
    if objective.curve is None or objective.curve_slope is None:
        return objective.linear, 0.0
    load = float(solution.quantities[TRUNK_LOAD])
    slope = objective.curve_slope(load)
    linear = objective.linear.copy()
    linear[TRUNK_LOAD] += objective.curve_weight * slope
    return linear, objective.curve_weight * (objective.curve(load) - slope * load)
