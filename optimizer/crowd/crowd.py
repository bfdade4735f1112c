"""The best layout for each body, and the one best for all of them.

Exactness: each wearer's own best is solved for and proven. The common layout is solved for over
all who are served at once: places and options are common, every body has its own routes, lengths,
costs and limits (`optimizer.joint`), so least mean and least worst are proven for that group. Only
where no layout fits everybody is the group itself a choice: then the layout that serves most among
the own bests and the study's is taken to say who is left out, which is not proven to be the most.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from math import inf
from pathlib import Path
from typing import Any

from optimizer.assess.agree import require_agreement
from optimizer.assess.assessment import assess
from optimizer.assess.result import Assessment, Layout, Placement
from optimizer.crowd.result import Common, Crowd, CutLength, Served, ShortLine
from optimizer.crowd.wearers import Person
from optimizer.interrupts import stoppable
from optimizer.joint.heed import summed_up
from optimizer.joint.program import Joint, JointProgram
from optimizer.joint.world import Plan, World, make_world
from optimizer.parallel import Sink, fingerprint, run
from optimizer.solve.program import Solution, case_of
from optimizer.study.model import Study, WearerSpec
from optimizer.trust.search import plan_from, plan_record

#: Wearers solved in one task; never derived from the number of workers.
CHUNK = 4


@dataclass(frozen=True, slots=True)
class Task:
    """Some bodies to find the best layout for."""

    study: Study
    wearers: tuple[WearerSpec, ...]


def solve_chunk(task: Task) -> list[dict[str, Any]]:
    """The best layout of every body of a task: "status", "value", "plan"."""
    found: list[dict[str, Any]] = []
    for spec in task.wearers:
        world = make_world(replace(task.study, wearer=spec))
        if world.emptied:
            found.append({"status": "infeasible", "value": None, "plan": None})
            continue
        program = JointProgram([world], seed=task.study.solve.seed)
        answer = program.least_mean([program.form(0)])
        if answer.plan is not None:
            _assessed(world, answer.plan)  # the two roads must agree
        plan = None if answer.plan is None else plan_record(answer.plan)
        value = None if answer.plan is None else answer.value
        found.append({"status": answer.status, "value": value, "plan": plan})
    return found


def crowd(
    study: Study,
    people: Sequence[Person],
    *,
    workers: int | None = None,
    executor: Executor | None = None,
    results_file: str | Path | None = None,
    on_progress: Sink | None = None,
) -> Crowd:
    """Serve many bodies with one garment.

    Each layout's score on a body is a percentage of that body's own values, so mean and worst
    weigh all wearers alike. Ctrl-C ends the search for own bests; what is known by then is
    returned. See `optimizer.parallel.run` for workers, executor and results file.

    Raises
    ------
    InputError
        If a body or a results file cannot be used.
    DisagreementError
        If the program and the assessment disagree about a layout.
    """
    started = time.perf_counter()
    specs = [person.spec for person in people]
    tasks = [Task(study, tuple(specs[i : i + CHUNK])) for i in range(0, len(specs), CHUNK)]
    tasks.append(Task(study, (study.wearer,)))
    results = run(
        solve_chunk,
        tasks,
        what="groups of wearers solved",
        workers=workers,
        executor=executor,
        results_file=results_file,
        mark=fingerprint("crowd", study, specs),
        on_progress=on_progress,
    )
    answers: list[dict[str, Any] | None] = []
    for task, chunk in zip(tasks, results.values, strict=True):
        answers += [None] * len(task.wearers) if chunk is None else chunk
    worlds = [make_world(replace(study, wearer=spec)) for spec in specs]
    names = _Names(make_world(study))
    own = [_plan(answer) for answer in answers[:-1]]
    study_plan = _plan(answers[-1])
    complete = not results.interrupted
    mean: Joint | None = None
    worst: Joint | None = None
    group = [i for i, plan in enumerate(own) if plan is not None]
    everyone = False
    if complete and group:
        tried = list(dict.fromkeys([*(p for p in own if p), *([study_plan] if study_plan else [])]))
        try:
            with stoppable():
                mean, worst, group = _common(study, worlds, group, tried)
        except KeyboardInterrupt:
            complete = False
        everyone = mean is not None and len(group) == len(people)
    plans = {
        "mean": None if mean is None else mean.plan,
        "worst": None if worst is None else worst.plan,
    }
    labels = [None if plan is None else names.name(plan) for plan in own]
    served = tuple(
        _served(person, world, answers[i], labels[i], plans["mean"], plans["worst"], study_plan)
        for i, (person, world) in enumerate(zip(people, worlds, strict=True))
    )
    made = {
        kind: None if found is None else _made(kind, found, names, worlds[group[0]], len(group))
        for kind, found in (("mean", mean), ("worst", worst))
    }
    cuts: tuple[CutLength, ...] = ()
    if mean is not None and mean.plan is not None:
        cuts = cut_lengths([(people[i].size, worlds[i]) for i in group], mean.plan)
    return Crowd(
        study.name,
        served,
        names.layouts(),
        made["mean"],
        made["worst"],
        everyone,
        cuts,
        complete,
        time.perf_counter() - started,
        (*study.warnings, *_summed_up(study, served)),
    )


class _Names:
    """Names for layouts in the order they are met; the same layout has one name."""

    def __init__(self, world: World):
        self.world = world
        self._plans: dict[tuple[object, ...], Plan] = {}

    def name(self, plan: Plan) -> str:
        key = self._key(plan)
        self._plans.setdefault(key, plan)
        return f"L{list(self._plans).index(key) + 1}"

    def _key(self, plan: Plan) -> tuple[object, ...]:
        try:
            return self.world.key(plan)
        except KeyError:  # a place that the study's own wearer cannot use
            return (plan,)

    def layouts(self) -> dict[str, Any]:
        """Layouts by name, routed for the study's wearer where they fit there."""
        made: dict[str, Layout] = {}
        p = self.world.problem
        for plan in self._plans.values():
            solution = self.world.solution(plan)
            if solution is not None:
                made[self.name(plan)] = self.world.layout(solution)
                continue
            placements = tuple(
                Placement(
                    p.slots[slot].unit, p.slots[slot].part, p.slots[slot].models[model],
                    p.site_names[site],
                )
                for slot, model, site in plan.choices
            )  # fmt: skip
            made[self.name(plan)] = Layout(placements, ())
        return made


def _plan(answer: dict[str, Any] | None) -> Plan | None:
    return None if answer is None or answer["plan"] is None else plan_from(answer["plan"])


def _common(
    study: Study, worlds: Sequence[World], group: list[int], tried: Sequence[Plan]
) -> tuple[Joint | None, Joint | None, list[int]]:
    """Least mean and least worst over the wearers that one layout can serve."""
    found = _solve(study, [worlds[i] for i in group], tried)
    if found is None:
        fits = {plan: [i for i in group if worlds[i].fits(plan)] for plan in tried}
        most = max(fits.values(), key=len)
        if not most:
            return None, None, []
        group = most
        found = _solve(study, [worlds[i] for i in group], tried)
        assert found is not None
    return *found, group


def _solve(
    study: Study, worlds: Sequence[World], tried: Sequence[Plan]
) -> tuple[Joint, Joint] | None:
    program = JointProgram(worlds, seed=study.solve.seed, threads=study.solve.threads)
    forms = [program.form(w) for w in range(len(worlds))]
    start, least = None, inf
    for plan in tried:
        if all(world.fits(plan) for world in worlds):
            x = program.columns_of(plan)
            value = sum(form.value(x) for form in forms)
            if value < least:
                start, least = x, value
    mean = program.least_mean(forms, start=start)
    if mean.plan is None:
        return None
    worst = program.least_worst(forms, start=mean.columns)
    return mean, worst


def _made(kind: str, found: Joint, names: _Names, world: World, served: int) -> Common | None:
    if found.plan is None:
        return None
    solution = world.solution(found.plan)
    assert solution is not None
    return Common(
        kind,
        names.name(found.plan),
        found.plan,
        world.layout(solution),
        found.value,
        found.bound,
        found.proven,
        served,
    )


def _summed_up(study: Study, served: Sequence[Served]) -> tuple[str, ...]:
    """The wearers' warnings; those of the study itself are told already."""
    told = [
        (w.person.name, [text for text in w.warnings if text not in study.warnings]) for w in served
    ]
    return summed_up(told, "wearers")


def _fitting(world: World, plan: Plan | None) -> Solution | None:
    """A plan on a body; None where it does not fit."""
    solution = None if plan is None else world.solution(plan)
    return None if solution is None or world.broken(solution) else solution


def _assessed(world: World, plan: Plan | None) -> Assessment | None:
    """A plan assessed on a body, both roads agreeing; None where it does not fit."""
    solution = _fitting(world, plan)
    if solution is None:
        return None
    found = assess(world.setting, world.layout(solution))
    require_agreement(solution, found)
    return found


def _score(world: World, plan: Plan | None) -> float | None:
    """A plan's score on a body, by the program's road alone; None where it does not fit."""
    solution = _fitting(world, plan)
    return None if solution is None else solution.score


def _served(
    person: Person,
    world: World,
    answer: dict[str, Any] | None,
    own_name: str | None,
    mean: Plan | None,
    worst: Plan | None,
    study_plan: Plan | None,
) -> Served:
    common = _assessed(world, mean)
    return Served(
        person,
        own_name,
        None if answer is None else answer["value"],
        answer is not None and answer["status"] == "optimal",
        None if common is None else common.score,
        _score(world, worst),
        _score(world, study_plan),
        () if study_plan is None else short_lines(world, study_plan),
        () if study_plan is None else _amiss(world, study_plan),
        () if mean is None else short_lines(world, mean),
        () if mean is None else _amiss(world, mean),
        world.setting.warnings if common is None else common.warnings,
    )


def _amiss(world: World, plan: Plan) -> tuple[str, ...]:
    """In words, what of a plan does not fit a body, lines too short left out."""
    if any(choice not in world.choice_number for choice in plan.choices):
        return ("a place of the layout is out of this wearer's reach",)
    solution = world.solution(plan)
    return () if solution is None else world.broken(solution)


def short_lines(world: World, plan: Plan) -> tuple[ShortLine, ...]:
    """Lines of a plan that are too short for a body however they run, with what they would need."""
    p, found = world.problem, []
    site = {slot: s for slot, _, s in plan.choices}
    model = {slot: k for slot, k, _ in plan.choices}
    for line, option in zip(p.lines, plan.options, strict=True):
        case = case_of(line, option, model[line.slot_a], model[line.slot_b])
        if case is None:
            continue
        routes = p.routes.routes(site[line.slot_a], site[line.slot_b])
        need = min((route.length_m for route in routes), default=inf) + line.slack_m
        if need > case.max_length_m * (1.0 + 1e-9):
            found.append(ShortLine(line.name, need, case.max_length_m))
    return tuple(found)


def cut_lengths(worn: Sequence[tuple[str, World]], plan: Plan) -> tuple[CutLength, ...]:
    """How long to cut every line of a plan, by size: the longest that a wearer of it needs.

    Raises
    ------
    ValueError
        If the plan does not fit one of the bodies.
    """
    lengths: dict[tuple[int, str], list[float]] = {}
    for size, world in worn:
        solution = world.solution(plan)
        if solution is None:
            raise ValueError("the layout does not fit every body")
        for number, (line, (_, route)) in enumerate(
            zip(world.problem.lines, solution.routes, strict=True)
        ):
            lengths.setdefault((number, size), []).append(route.length_m + line.slack_m)
    lines = worn[0][1].problem.lines
    return tuple(
        CutLength(
            lines[number].name,
            lines[number].options[plan.options[number]],
            size,
            len(each),
            max(each),
            min(each),
        )
        for (number, size), each in sorted(lengths.items(), key=lambda item: item[0][0])
    )
