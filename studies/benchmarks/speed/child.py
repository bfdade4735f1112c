"""One run in a process of its own: makes the instance, solves it, checks what came out."""

from __future__ import annotations

import json
import sys
import time
from dataclasses import replace
from math import inf, isfinite
from pathlib import Path

import numpy as np

from optimizer.assess.agree import require_agreement
from optimizer.assess.assessment import assess
from optimizer.assess.result import Infeasible
from optimizer.errors import DisagreementError
from optimizer.problem.arrays import Problem
from optimizer.solve.layouts import layout_of
from optimizer.solve.place import place
from optimizer.solve.program import Solution, solution_of
from speed.answer import Answer
from speed.instance import Instance
from speed.rivals import SOLVERS, ours
from speed.runs import Record, Task, as_json

#: A small instance that every process solves first, so that what solvers and libraries load when
#: they are first called is not counted.
WARM_UP = ("8x24_identical", 10_000)


def run(task: Task) -> Record:
    """Solve one instance and check the layout found against the study itself."""
    _solved(Instance.of(*WARM_UP), replace(task, top=1))
    instance = Instance.of(task.family, task.seed)
    began = time.perf_counter()
    problem = instance.problem()
    problem_s = time.perf_counter() - began
    # on a problem of its own: it must not look up routes for the solver
    hidden = instance.hidden_solution(instance.problem()).score
    answer = _solved(instance, task, problem)
    score, overstep, fault = None, 0.0, ""
    if answer.found is not None:
        score, overstep, fault = _checked(instance, instance.problem(), answer)
    elif task.solver == "place":
        score = answer.told if isfinite(answer.told) else None
    return Record(
        task,
        answer.status,
        score=score,
        bound=answer.bound if isfinite(answer.bound) else None,
        hidden=hidden,
        overstep=overstep,
        fault=fault,
        solve_s=answer.solve_s,
        write_s=answer.write_s,
        problem_s=problem_s,
        cpu_s=answer.cpu_s,
        peak_mib=peak_mib(),
        nodes=answer.nodes,
        rows=answer.rows,
        columns=answer.columns,
        ranks=answer.ranks,
    )


def peak_mib() -> float:
    """The most memory this program has held, or 0 where the system does not tell.

    What `getrusage` tells is no less than what the parent held when it started the process.
    """
    try:
        status = Path("/proc/self/status").read_text(encoding="ascii", errors="replace")
    except OSError:
        return 0.0
    found = [line.split()[1] for line in status.splitlines() if line.startswith("VmHWM:")]
    return round(float(found[0]) / 1024.0, 1) if found else 0.0


def _solved(instance: Instance, task: Task, problem: Problem | None = None) -> Answer:
    problem = problem or instance.problem()
    if task.solver == "place":
        return _placed(instance, task)
    if task.solver == "ours":
        return ours(problem, task.limit_s, task.threads, task.top)
    return SOLVERS[task.solver](problem, task.limit_s, task.threads)


def _placed(instance: Instance, task: Task) -> Answer:
    """The main job from the setting on: build, search, and assess every layout listed."""
    began, cpu = time.perf_counter(), time.process_time()
    ranking = place(instance.setting, top=task.top, gap=0.0, time_limit_s=task.limit_s)
    solved, cpu = time.perf_counter(), time.process_time() - cpu
    layouts = () if isinstance(ranking, Infeasible) else ranking.layouts
    proofs = [entry.proof for entry in layouts]
    proven = bool(proofs) and all(proof.gap <= 1e-9 for proof in proofs)
    done = proven and (len(proofs) == task.top or getattr(ranking, "exhausted", False))
    return Answer(
        status="infeasible"
        if isinstance(ranking, Infeasible)
        else "optimal"
        if done
        else "time_limit",
        found=None,
        told=proofs[0].score if proofs else inf,
        bound=proofs[0].bound if proofs else -inf,
        nodes=proofs[0].branch_nodes if proofs else 0,
        write_s=0.0,
        solve_s=solved - began,
        cpu_s=cpu,
        rows=0,
        columns=0,
        ranks=len(proofs),
    )


def _checked(
    instance: Instance, problem: Problem, answer: Answer
) -> tuple[float | None, float, str]:
    """The score of a layout from the arrays, its worst overstep, what else is wrong with it."""
    assert answer.found is not None
    try:
        solution = solution_of(problem, *answer.found, problem.objective)
    except ValueError as error:
        return None, inf, str(error)
    overstep = worst_overstep(problem, solution)
    try:
        require_agreement(
            solution, assess(instance.setting, layout_of(instance.setting, problem, solution))
        )
    except DisagreementError as error:
        return solution.score, overstep, str(error)
    fault = broken_rule(problem, solution)
    return solution.score, overstep, fault


def worst_overstep(problem: Problem, solution: Solution) -> float:
    """By how much of itself the worst limit or capacity is overstepped, 0 if none is."""
    chosen = np.array(solution.chosen)
    worst = 0.0
    for limit in problem.limits:
        over = float(solution.quantities @ limit.coefficients) - limit.upper
        worst = max(worst, over / (abs(limit.upper) or 1.0))
    for cap in problem.caps:
        here = chosen[problem.choice_site[chosen] == cap.site]
        worst = max(worst, float(cap.use[here].sum()) / cap.cap - 1.0)
    return worst


def broken_rule(problem: Problem, solution: Solution) -> str:
    """The label of a rule on two parts that a layout breaks, "" if it breaks none."""
    site = problem.choice_site[np.array(solution.chosen)]
    for rule in problem.pairs:
        if rule.forbidden(int(site[rule.slot_a]), int(site[rule.slot_b])):
            return f"breaks: {rule.label}"
    return ""


def main(spec: str) -> int:
    """Run the task given as JSON; prints its record as one line of JSON."""
    record = run(Task(**json.loads(spec)))
    sys.stdout.write(json.dumps(as_json(record)) + "\n")
    return 0
