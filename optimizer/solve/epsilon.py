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
from dataclasses import dataclass
from math import inf

import numpy as np

from optimizer.errors import Flaw, InputError
from optimizer.problem.arrays import Array, Objective
from optimizer.problem.presolve import Reduced, Switches
from optimizer.solve.goals import Goal, exact_value
from optimizer.solve.highs import SolveInterrupted
from optimizer.solve.program import Program, Solution

Vector = tuple[float, ...]


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
    """The search for all non-dominated vectors of some goals over a reduced problem."""

    def __init__(
        self,
        reduced: Reduced,
        goals: Sequence[Goal],
        *,
        switches: Switches = Switches(),  # noqa: B008 - frozen
        seed: int = 0,
        threads: int = 1,
        deadline: float = inf,
        on_point: Callable[[int], None] | None = None,
    ):
        if reduced.problem.ballast is not None:
            found = "a counterweight allowed: its mass may be anything, so trade-offs have no end"
            expected = "a study without counterweight, or the ballast as a part with given masses"
            raise InputError([Flaw(reduced.problem.ballast.origin, found, expected)])
        # the one goal that may be curved is minimised first, the others are linear rows
        self.order = sorted(range(len(goals)), key=lambda i: goals[i].objective.curve is None)
        self.goals = [goals[i] for i in self.order]
        self.problem = reduced.problem
        self.program = Program(
            reduced,
            self.goals[0].objective,
            switches=switches,
            seed=seed,
            threads=threads,
            curve_tolerance=1e-8,
            feasibility=1e-9,
        )
        self.rows = [
            self.program.add_quantity_row(
                goal.objective.linear,
                inf,
                curve_weight=goal.objective.curve_weight,
                tolerance=0.1 * goal.resolution,
            )
            for goal in self.goals
        ]
        finest = min(goal.resolution for goal in self.goals)
        others = [goal.objective.linear * (finest / goal.resolution) for goal in self.goals[1:]]
        self._others = Objective(np.sum(others, axis=0)) if others else None
        self._deadline, self._on_point = deadline, on_point
        self._answers: list[tuple[Vector, Point | None]] = []
        self.found: list[Point] = []
        self._x: Array | None = None
        self.solves = 0
        self.seconds = 0.0

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
        program, goal = self.program, self.goals[0]
        for row, bound in zip(self.rows, bounds, strict=True):
            program.set_quantity_upper(row, bound)
        program.set_objective(goal.objective)
        first = self._solve()
        if first is None:
            return None
        if self._others is None:
            return Point(self._measure(first), first)
        least = self._measure(first)[0]
        program.set_quantity_upper(self.rows[0], least + 0.5 * goal.resolution)
        program.set_objective(self._others)
        second = self._solve(start=True)
        program.set_quantity_upper(self.rows[0], inf)
        solution = first if second is None else second
        return Point(self._measure(solution), solution)

    def _measure(self, solution: Solution) -> Vector:
        """Every goal of a solution, exactly."""
        return tuple(exact_value(goal.objective, solution.quantities) for goal in self.goals)

    def _solve(self, start: bool = False) -> Solution | None:
        left = inf if self._deadline == inf else self._deadline - time.perf_counter()
        if left <= 0.0:
            raise SearchStoppedError("time_limit")
        if start and self._x is not None:
            self.program.live.set_start(self._x)
        try:
            outcome, solution = self.program.solve(gap=0.0, time_limit_s=left)
        except SolveInterrupted:
            raise SearchStoppedError("interrupted") from None
        self.solves += 1
        self.seconds += outcome.seconds
        self._x = outcome.x
        if outcome.status == "infeasible":
            return None
        if outcome.status != "optimal":
            raise SearchStoppedError(outcome.status)
        return solution
