"""Whether ballast on the sound leg pays: the best layout with it allowed, and without."""

from __future__ import annotations

from dataclasses import replace
from math import inf

from optimizer.assess.result import Ballast, CounterweightReport, RankedLayout
from optimizer.problem.presolve import Reduced, Switches
from optimizer.solve.highs import SolveInterrupted
from optimizer.solve.program import Program


def counterweight_report(
    reduced: Reduced,
    best: RankedLayout,
    *,
    switches: Switches = Switches(),  # noqa: B008 - frozen
    gap: float = 0.0,
    time_limit_s: float = inf,
    seed: int = 0,
    threads: int = 1,
) -> CounterweightReport | None:
    """Compare the best layout found with the best one without any ballast.

    None if the study allows no ballast. Where the best layout needs none it is the answer to
    both; else the study is solved again with no ballast.
    """
    problem = reduced.problem
    if problem.ballast is None:
        return None
    ballast: tuple[Ballast, ...] = best.assessment.layout.ballast
    proven = best.proof.status == "optimal"
    if not ballast:
        return CounterweightReport((), best.assessment.score, best.assessment.score, proven)
    plain = replace(reduced, problem=replace(problem, ballast=None))
    program = Program(plain, switches=switches, seed=seed, threads=threads)
    try:
        outcome, solution = program.solve(gap=gap, time_limit_s=max(time_limit_s, 0.0))
    except SolveInterrupted as stop:
        x = stop.outcome.x
        outcome, solution = stop.outcome, None if x is None else program.read(x)
    without = None if solution is None else solution.score
    proven = proven and outcome.status in ("optimal", "infeasible")
    return CounterweightReport(ballast, best.assessment.score, without, proven)
