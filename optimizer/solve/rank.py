"""The K best layouts from one search tree, as the solver's outcomes and solutions."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf

from optimizer.problem.arrays import Objective
from optimizer.problem.presolve import Reduced, Switches
from optimizer.problem.quantities import DISCOMFORT, INDEX
from optimizer.solve.highs import Outcome, Tick
from optimizer.solve.program import Solution, solution_of
from optimizer.solve.search import Search
from optimizer.solve.shortlist import TIE


@dataclass(frozen=True)
class RankedSolutions:
    """Solutions best first, each with what was proven of it.

    `exhausted`: there are no further layouts. `shape` is (rows, columns) of the relaxation.
    """

    found: list[tuple[Outcome, Solution]]
    exhausted: bool
    status: str
    shape: tuple[int, int]


def can_search(reduced: Reduced, objective: Objective | None = None) -> bool:
    """Whether the search knows all that the problem has.

    Ballast is a continuous amount and soft limits must cost, not pay: else the program is solved.
    """
    problem = reduced.problem
    objective = objective or problem.objective
    convex = not problem.soft or float(objective.linear[INDEX[DISCOMFORT]]) >= 0.0
    rising = objective.curve_slope is None or objective.curve_slope(0.0) >= 0.0
    return problem.ballast is None and convex and rising


def rank(
    reduced: Reduced,
    objective: Objective | None = None,
    *,
    top: int = 1,
    gap: float = 0.0,
    time_limit_s: float = inf,
    seed: int = 0,
    on_tick: Callable[[Tick], None] | None = None,
    switches: Switches = Switches(),  # noqa: B008 - frozen
) -> RankedSolutions:
    """The `top` best different layouts of a reduced problem, equal scores in garment order.

    Ctrl-C and the time limit end the search early with what was found by then; a layout whose
    score is at most the bound then left is proven all the same.
    """
    search = Search(
        reduced,
        objective,
        top=top,
        gap=gap,
        time_limit_s=time_limit_s,
        seed=seed,
        on_tick=on_tick,
        switches=switches,
    )
    result = search.run()
    found = []
    for entry in result.entries:
        solution = solution_of(
            reduced.problem,
            entry.chosen,
            entry.options,
            objective or reduced.problem.objective,
        )
        proven = solution.score <= result.bound + TIE * max(1.0, abs(solution.score))
        bound = solution.score if proven else result.bound
        left = 0.0 if proven else (solution.score - bound) / max(abs(solution.score), 1e-12)
        status = "optimal" if proven or result.status == "optimal" else result.status
        outcome = Outcome(status, None, solution.score, bound, left, result.nodes, result.seconds)
        found.append((outcome, solution))
        if status != "optimal":
            break  # the best so far; what ranks after it is anybody's guess
    exhausted = result.status == "optimal" and len(found) < top
    return RankedSolutions(found, exhausted, result.status, result.shape)


def best_of(
    reduced: Reduced,
    objective: Objective | None = None,
    *,
    gap: float = 0.0,
    time_limit_s: float = inf,
    seed: int = 0,
    on_tick: Callable[[Tick], None] | None = None,
    switches: Switches = Switches(),  # noqa: B008 - frozen
) -> tuple[Outcome, Solution | None]:
    """The best layout, as the program would tell it; None if there is none, or not in time.

    Raises
    ------
    KeyboardInterrupt
        On Ctrl-C.
    """
    if reduced.emptied:
        return Outcome("infeasible", None, inf, inf, 0.0, 0, 0.0), None
    ranked = rank(
        reduced,
        objective,
        gap=gap,
        time_limit_s=time_limit_s,
        seed=seed,
        on_tick=on_tick,
        switches=switches,
    )
    if ranked.status == "interrupted":
        raise KeyboardInterrupt
    if ranked.found:
        return ranked.found[0]
    status = "infeasible" if ranked.exhausted else ranked.status
    return Outcome(status, None, inf, -inf, inf, 0, 0.0), None
