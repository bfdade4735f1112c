"""Ours and its competitors: each a function of (problem, time limit, threads) to an `Answer`.

`ours` is timed from the problem's arrays to the proof; a rival's `write_s`, what it takes us to
write the problem in its form, is told apart from `solve_s`, what the rival itself takes.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from importlib.util import find_spec
from math import inf

from optimizer.problem.arrays import Problem
from optimizer.problem.presolve import reduce
from optimizer.solve.highs import LiveModel, Outcome
from optimizer.solve.program import FEASIBLE_TO, Program
from optimizer.solve.search import Search
from speed.answer import Answer
from speed.cp_sat import cp_sat
from speed.forms import Form, flow_form, goes_astray, with_epigraph
from speed.pair_form import pair_form
from speed.scip import scip as solve_scip
from speed.switches import all_off

Layout = tuple[tuple[int, ...], tuple[int, ...]]
Solver = Callable[[Problem, float, int], Answer]


def ours(problem: Problem, limit_s: float, threads: int, top: int = 1) -> Answer:
    """Reduce and search, the `top` best; all of it is timed as solving.

    `threads` is not handed on: the search runs with what it takes by default.
    """
    del threads
    began, cpu = time.perf_counter(), time.process_time()
    reduced = reduce(problem)
    if reduced.emptied:
        spent = time.perf_counter() - began, time.process_time() - cpu
        return Answer("infeasible", None, inf, inf, 0, 0.0, *spent, 0, 0, 0)
    result = Search(reduced, top=top, time_limit_s=limit_s).run()
    solved, cpu = time.perf_counter(), time.process_time() - cpu
    first = result.entries[0] if result.entries else None
    rows, columns = result.shape
    return Answer(
        status="infeasible" if result.status == "optimal" and first is None else result.status,
        found=None if first is None else (first.chosen, first.options),
        told=inf if first is None else first.score,
        bound=result.bound if first is None else min(result.bound, first.score),
        nodes=result.nodes,
        write_s=0.0,
        solve_s=solved - began,
        cpu_s=cpu,
        rows=rows,
        columns=columns,
        ranks=len(result.entries),
    )


def flow(problem: Problem, limit_s: float, threads: int) -> Answer:
    """Our program with all `Switches` off, given to HiGHS, whose own presolve stays on.

    Lines are flows over all choices and the arcs of all their routes. A curved trunk model is
    solved again and again with more tangents, until the curve lies within 1e-7 of the score above
    them; a line led astray is held to its route likewise. Feasibility tolerance: DEVELOPERS.md.
    """
    began = time.perf_counter()
    switches = all_off()
    program = Program(reduce(problem, switches), switches=switches, threads=threads)
    written, cpu = time.perf_counter(), time.process_time()
    outcome, solution = program.solve(gap=0.0, time_limit_s=limit_s)
    solved, cpu = time.perf_counter(), time.process_time() - cpu
    found = None
    if solution is not None:
        found = solution.chosen, tuple(option for option, _ in solution.routes)
    return _by_highs(outcome, found, program.live, (began, written, solved), cpu)


def pairs(problem: Problem, limit_s: float, threads: int) -> Answer:
    """The pairwise-linearised form, given to HiGHS; a curve as an epigraph over fine tangents."""
    began = time.perf_counter()
    form = with_epigraph(pair_form(problem))
    live = LiveModel(form.matrix, threads=threads, feasibility=FEASIBLE_TO)
    written, cpu = time.perf_counter(), time.process_time()
    outcome = live.solve(gap=0.0, time_limit_s=limit_s)
    solved, cpu = time.perf_counter(), time.process_time() - cpu
    found = None if outcome.x is None else form.read(outcome.x)
    return _by_highs(outcome, found, live, (began, written, solved), cpu)


def _by_highs(
    outcome: Outcome,
    found: Layout | None,
    live: LiveModel,
    at_s: tuple[float, float, float],
    cpu_s: float,
) -> Answer:
    """What HiGHS ended with; `at_s`: when writing began, was done, and when it was solved."""
    began, written, solved = at_s
    rows, columns = live.shape
    return Answer(
        status=outcome.status,
        found=found,
        told=outcome.objective,
        bound=outcome.bound,
        nodes=outcome.nodes,
        write_s=written - began,
        solve_s=solved - written,
        cpu_s=cpu_s,
        rows=rows,
        columns=columns,
    )


def cpsat(problem: Problem, limit_s: float, threads: int) -> Answer:
    """The flow form given to CP-SAT, one worker per thread.

    Tried besides, on pilots at 24x48 and 32x48, in processor seconds (geometric means of eight
    instances; the machine was shared): flow form 0.48, with 8 workers on the two cores 0.51, with
    linearization_level 2 0.48; pairwise form 0.64 (`cpsat_pairs`); the pairwise form with the
    places of a line, its cost and its share of every limit in one table of allowed assignments
    2 to 9 times the pairwise form's.
    """
    return _routes_held(problem, limit_s, lambda form, limit: cp_sat(form, limit, threads))


def cpsat_pairs(problem: Problem, limit_s: float, threads: int) -> Answer:
    """The pairwise-linearised form given to CP-SAT."""
    return _form_first(pair_form, problem, lambda form: cp_sat(form, limit_s, threads))


def scip(problem: Problem, limit_s: float, threads: int) -> Answer:
    """The flow form given to SCIP, on one thread.

    On the seven of CP-SAT's pilots that it solved within 25 s it took 0.44 processor seconds
    (geometric mean), the pairwise form (`scip_pairs`) 0.90.
    """
    del threads

    def solve(form: Form, limit: float) -> Answer:
        return solve_scip(with_epigraph(form), limit)

    return _routes_held(problem, limit_s, solve)


def scip_pairs(problem: Problem, limit_s: float, threads: int) -> Answer:
    """The pairwise-linearised form given to SCIP, on one thread."""
    del threads
    return _form_first(pair_form, problem, lambda form: solve_scip(with_epigraph(form), limit_s))


def _form_first(
    write: Callable[[Problem], Form], problem: Problem, solve: Callable[[Form], Answer]
) -> Answer:
    began = time.perf_counter()
    form = write(problem)
    write_s = time.perf_counter() - began
    answer = solve(form)
    return replace(answer, write_s=answer.write_s + write_s)


def _routes_held(
    problem: Problem, limit_s: float, solve: Callable[[Form, float], Answer]
) -> Answer:
    """Solve the flow form; if a line was led astray for a limit's sake, again with all held."""
    answer = _form_first(flow_form, problem, lambda form: solve(form, limit_s))
    if answer.found is None or not goes_astray(problem, answer.found, answer.told):
        return answer
    every = frozenset(range(len(problem.lines)))
    left = max(limit_s - answer.solve_s, 0.1)
    again = _form_first(lambda p: flow_form(p, every), problem, lambda form: solve(form, left))
    return replace(
        again,
        nodes=answer.nodes + again.nodes,
        write_s=answer.write_s + again.write_s,
        solve_s=answer.solve_s + again.solve_s,
        cpu_s=answer.cpu_s + again.cpu_s,
    )


def installed(name: str) -> bool:
    """Whether a competitor's package is there."""
    needed = {"cpsat": "ortools", "scip": "pyscipopt"}.get(name.removesuffix("_pairs"))
    return needed is None or find_spec(needed) is not None


#: All that can be raced.
SOLVERS: dict[str, Solver] = {
    "ours": ours,
    "flow": flow,
    "pairs": pairs,
    "cpsat": cpsat,
    "scip": scip,
    "cpsat_pairs": cpsat_pairs,
    "scip_pairs": scip_pairs,
}
