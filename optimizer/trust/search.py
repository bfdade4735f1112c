"""Finding the layouts worth comparing: the best of each of many draws, solved exactly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from optimizer.joint.program import JointProgram
from optimizer.joint.world import Plan, World, make_world
from optimizer.parallel import fingerprint
from optimizer.problem.presolve import reduce
from optimizer.solve.rank import can_search, rank
from optimizer.study.model import Study
from optimizer.trust.costs import points_of
from optimizer.trust.draws import Draws, draw, world_studies
from optimizer.trust.scenario import Forms
from optimizer.trust.spread import Spread

#: Draws solved one after the other in one task, on one body. Part of what makes results the same
#: whatever the number of workers, so never derived from it.
CHUNK = 4


@dataclass(frozen=True, slots=True)
class Task:
    """Draws to solve, all of them on one body."""

    study: Study
    spread: Spread
    seed: int
    world: int
    rows: tuple[int, ...]
    start: Plan | None


def tasks_of(
    study: Study, spread: Spread, seed: int, world_of: Sequence[int], start: Plan | None
) -> list[Task]:
    """Tasks for the draws 0, 1, ..., whose bodies are given."""
    tasks = []
    for world in sorted(set(world_of)):
        rows = [row for row, w in enumerate(world_of) if w == world]
        for i in range(0, len(rows), CHUNK):
            chunk = tuple(rows[i : i + CHUNK])
            tasks.append(Task(study, spread, seed, world, chunk, start))
    return sorted(tasks, key=lambda task: task.rows)


def solve_chunk(task: Task) -> list[dict[str, Any]]:
    """The best layout of each draw of a task: "row", "status", "value", and "plan" if any."""
    world, draws = _prepared(task.study, task.spread, task.seed, task.world, max(task.rows) + 1)
    return solve_rows(world, draws, task.rows, task.study.solve.seed, task.start)


def solve_rows(
    world: World, draws: Draws, rows: Sequence[int], seed: int = 0, start: Plan | None = None
) -> list[dict[str, Any]]:
    """The best layout of some draws that fall to one body."""
    found: list[dict[str, Any]] = []
    if world.emptied:
        return [{"row": row, "status": "infeasible", "value": None, "plan": None} for row in rows]
    program = JointProgram([world], seed=seed)
    forms = Forms(program, 0, points_of(world.setting))
    known = program.columns_of(start) if start is not None and world.fits(start) else None
    for row in rows:
        answer = program.least_mean([forms.form(draws, row)], start=known)
        plan = None if answer.plan is None else plan_record(answer.plan)
        value = None if answer.plan is None else answer.value
        found.append({"row": row, "status": answer.status, "value": value, "plan": plan})
        known = answer.columns if answer.columns is not None else known
    return found


class _Held:
    """What a worker keeps between tasks."""

    def __init__(self, study: Study, spread: Spread, seed: int):
        self.studies = world_studies(study, spread, seed)
        self.study, self.spread, self.seed = study, spread, seed
        self.worlds: dict[int, World] = {}

    def world(self, number: int) -> World:
        if number not in self.worlds:
            self.worlds[number] = make_world(self.studies[number])
        return self.worlds[number]


#: The study a worker is at, by its mark: the next task is likely to be of the same.
_HELD: dict[str, _Held] = {}


def _prepared(study: Study, spread: Spread, seed: int, world: int, n: int) -> tuple[World, Draws]:
    mark = fingerprint(study, spread, seed)
    if mark not in _HELD:
        _HELD.clear()
        _HELD[mark] = _Held(study, spread, seed)
    made = _HELD[mark].world(world)
    return made, draw(study, made.setting, spread, n, seed)


def plan_record(plan: Plan) -> dict[str, Any]:
    """A plan as plain JSON values."""
    return {
        "choices": [list(choice) for choice in plan.choices],
        "options": list(plan.options),
        "ballast": [list(each) for each in plan.ballast],
    }


def plan_from(record: dict[str, Any]) -> Plan:
    """A plan from its record."""
    return Plan(
        tuple((int(p), int(k), int(s)) for p, k, s in record["choices"]),
        tuple(int(o) for o in record["options"]),
        tuple((int(s), float(kg)) for s, kg in record["ballast"]),
    )


def ranked_plans(world: World, top: int, seed: int = 0) -> list[Plan]:
    """The best different layouts of a world by its own score, best first, proven.

    By the search that `place` ranks with where it knows all that the study has, so that of layouts
    that score the same `place`'s best is the first.

    Raises
    ------
    KeyboardInterrupt
        On Ctrl-C.
    """
    reduced = reduce(world.problem)
    if reduced.emptied:
        return []
    if not can_search(reduced):
        return _solved_plans(world, top, seed)
    ranked = rank(reduced, top=top, seed=seed)
    if ranked.status == "interrupted":
        raise KeyboardInterrupt
    return [world.plan_of(solution) for _, solution in ranked.found]


def _solved_plans(world: World, top: int, seed: int) -> list[Plan]:
    """The same by the program, solved again for each."""
    program = JointProgram([world], seed=seed)
    form = program.form(0)
    plans: list[Plan] = []
    seen = set()
    while len(plans) < top:
        answer = program.least_mean([form])
        if answer.plan is None or not answer.proven:
            break
        key = world.key(answer.plan)
        if key not in seen:
            seen.add(key)
            plans.append(answer.plan)
        program.exclude(answer.plan)
    return plans
