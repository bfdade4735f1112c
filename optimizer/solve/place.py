"""The main job: the ranked, proven-best layouts of a study."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import inf

from optimizer.assess.agree import require_agreement
from optimizer.assess.assessment import assess
from optimizer.assess.result import Infeasible, Proof, RankedLayout, Ranking
from optimizer.interrupts import stoppable
from optimizer.problem.build import build_problem
from optimizer.problem.presolve import Reduced, Switches, reduce
from optimizer.setting import Setting, build_setting
from optimizer.solve.counterweight import counterweight_report
from optimizer.solve.highs import Outcome, SolveInterrupted, Tick
from optimizer.solve.infeasible import explain
from optimizer.solve.layouts import LayoutNames, identity
from optimizer.solve.program import Program, Solution
from optimizer.solve.rank import RankedSolutions, can_search, rank
from optimizer.study.model import Study


@dataclass(frozen=True)
class Progress:
    """Where a run stands: the rank being sought, the best score known and the proven bound."""

    rank: int
    seconds: float
    incumbent: float | None
    bound: float | None
    gap: float | None
    found: int


ProgressSink = Callable[[Progress], None]


def place(
    study: Study | Setting,
    top: int | None = None,
    gap: float | None = None,
    time_limit_s: float | None = None,
    on_progress: ProgressSink | None = None,
    switches: Switches = Switches(),  # noqa: B008 - frozen
) -> Ranking | Infeasible:
    """The `top` best different layouts of a study, best first, each with its proof.

    Ctrl-C or the time limit end the search early; what was found by then is returned, with the
    gap left. Every layout is assessed anew from the study and must agree with the program.

    Raises
    ------
    DisagreementError
        If the program and the assessment disagree about a layout.
    """
    started = time.perf_counter()
    setting = study if isinstance(study, Setting) else build_setting(study)
    spec = setting.study.solve
    top = spec.top if top is None else top
    problem = build_problem(setting)
    reduced = reduce(problem, switches)
    gap = spec.gap if gap is None else gap
    budget = spec.time_limit_s if time_limit_s is None else time_limit_s
    deadline = started + budget
    if reduced.emptied:
        return explain(setting, reduced, time.perf_counter() - started, deadline=deadline)
    if switches.search and can_search(reduced):
        ranked = rank(
            reduced,
            top=top,
            gap=gap,
            time_limit_s=deadline - time.perf_counter(),
            seed=spec.seed,
            on_tick=None if on_progress is None else _teller(on_progress, 1, started),
            switches=switches,
        )
    else:
        program = Program(reduced, switches=switches, seed=spec.seed, threads=spec.threads)
        ranked = _rank_by_rank(program, top, gap, budget, started, on_progress)
    found, exhausted = ranked.found, ranked.exhausted
    if exhausted and not found:
        return explain(setting, reduced, time.perf_counter() - started, deadline=deadline)
    if not found and not exhausted:
        return Ranking(
            setting.study.name,
            (),
            False,
            time.perf_counter() - started,
            _sizes(reduced, ranked.shape),
            ("stopped before any layout was found", *setting.warnings),
        )
    layouts: list[RankedLayout] = []
    names = LayoutNames(setting, problem)
    while len(layouts) < len(found):
        outcome, solution = found[len(layouts)]
        try:
            with stoppable():
                assessment = assess(setting, names.layout(solution))
                require_agreement(solution, assessment)
        except KeyboardInterrupt:
            if not layouts:
                continue  # the best is shown whatever happens
            exhausted = False
            break
        layouts.append(RankedLayout(len(layouts) + 1, assessment, proof_of(outcome, solution)))
    ballast = None
    if layouts:
        ballast = counterweight_report(
            reduced,
            layouts[0],
            switches=switches,
            gap=gap,
            time_limit_s=deadline - time.perf_counter(),
            seed=spec.seed,
            threads=spec.threads,
        )
    return Ranking(
        setting.study.name,
        tuple(layouts),
        exhausted,
        time.perf_counter() - started,
        _sizes(reduced, ranked.shape),
        setting.warnings,
        ballast,
    )


def proof_of(outcome: Outcome, solution: Solution) -> Proof:
    """What was proven of one solution; a bound above its score is rounding, and is cut off."""
    proven = outcome.status == "optimal" and outcome.gap <= 1e-9
    bound = solution.score if proven else min(outcome.bound, solution.score)
    gap = 0.0 if proven else (solution.score - bound) / max(abs(solution.score), 1e-12)
    return Proof(outcome.status, solution.score, bound, gap, outcome.seconds, outcome.nodes)


def _rank_by_rank(
    program: Program,
    top: int,
    gap: float,
    budget_s: float,
    started: float,
    on_progress: ProgressSink | None,
) -> RankedSolutions:
    """Solve, cut the layout off, solve again: the reference for the search, and for ballast."""
    found: list[tuple[Outcome, Solution]] = []
    seen = set()
    exhausted = False
    status = "time_limit"
    try:
        with stoppable():
            for outcome, solution in _search(program, gap, budget_s, started, on_progress):
                status = outcome.status
                if solution is None:
                    exhausted = outcome.status == "infeasible"
                    break
                key = identity(program.problem, solution.chosen)
                if key not in seen:
                    seen.add(key)
                    found.append((outcome, solution))
                if outcome.status != "optimal" or len(found) >= top:
                    break
                program.exclude(solution.chosen)
    except KeyboardInterrupt:
        status = "interrupted"  # between two solves: what was found by then stands
    found.sort(key=lambda pair: round(pair[1].score, 9))
    return RankedSolutions(found, exhausted, status, program.live.shape)


def _search(
    program: Program,
    gap: float,
    budget_s: float,
    started: float,
    on_progress: ProgressSink | None,
) -> Iterator[tuple[Outcome, Solution | None]]:
    """Solve again and again; the caller excludes what it has seen in between."""
    rank = 0
    while True:
        rank += 1
        left = inf if budget_s == inf else budget_s - (time.perf_counter() - started)
        if left <= 0:
            return
        tell = None
        if on_progress is not None:
            tell = _teller(on_progress, rank, started)
        try:
            yield program.solve(gap=gap, time_limit_s=left, on_tick=tell)
        except SolveInterrupted as stop:
            solution = None if stop.outcome.x is None else program.read(stop.outcome.x)
            if solution is not None and program.breaks_a_limit(solution):
                solution = None
            yield stop.outcome, solution
            return


def _teller(sink: ProgressSink, rank: int, started: float) -> Callable[[Tick], None]:
    def tell(tick: Tick) -> None:
        gap = None
        if tick.incumbent is not None and tick.bound is not None:
            gap = (tick.incumbent - tick.bound) / max(abs(tick.incumbent), 1e-12)
        sink(
            Progress(rank, time.perf_counter() - started, tick.incumbent, tick.bound, gap, rank - 1)
        )

    return tell


def _sizes(reduced: Reduced, shape: tuple[int, int]) -> dict[str, int]:
    problem = reduced.problem
    rows, columns = shape
    return {
        **problem.counts,
        "choices": len(problem.choice_slot),
        "choices_after_presolve": int(reduced.open.sum()),
        "rows": rows,
        "columns": columns,
    }
