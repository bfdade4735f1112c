"""Finding the points of a front, slowness to respond included.

How fast air chambers fill is no sum over the parts of a layout but its slowest line, and enters the
program as the longest length a line may have. So it is the outermost goal: all non-dominated
vectors of the others are listed, then again with every chamber to be filled faster than the
slowest of those listed, until nothing fits. Lines take the cheapest route that keeps to the time
then asked for, as they would if it had been written in the study.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from math import inf

from optimizer.assess.agree import require_agreement
from optimizer.assess.assessment import assess
from optimizer.assess.result import Assessment, Infeasible
from optimizer.interrupts import stoppable
from optimizer.problem.arrays import Problem
from optimizer.problem.build import build_problem
from optimizer.problem.presolve import Switches, reduce
from optimizer.setting import Setting, build_setting
from optimizer.solve.epsilon import Search, SearchStoppedError, Vector
from optimizer.solve.figures import slowest_fill
from optimizer.solve.goals import Goal, exact_value
from optimizer.solve.infeasible import explain
from optimizer.solve.layouts import layout_of
from optimizer.solve.program import Solution
from optimizer.study.model import Line, LineOption, PartModel, Study

#: The goal that is no sum: the slowest filling of an air chamber.
RESPONSE = "response"
RESPONSE_MS = 0.01
"""Times nearer to each other than this [ms] count as equal."""
MS_PER_S = 1e3


@dataclass
class Points:
    """Points found: their values in the order of the goals asked for, and their layouts."""

    vectors: list[Vector] = field(default_factory=list)
    assessments: list[Assessment] = field(default_factory=list)
    stopped: str | None = None
    solves: int = 0
    infeasible: Infeasible | None = None

    def add(self, vector: Vector, assessment: Assessment) -> None:
        """Add a point."""
        self.vectors.append(vector)
        self.assessments.append(assessment)


def find_points(
    setting: Setting,
    goals: Sequence[Goal],
    *,
    deadline: float = inf,
    on_point: Callable[[int], None] | None = None,
    switches: Switches = Switches(),  # noqa: B008 - frozen
) -> Points:
    """All non-dominated points of sums (goals of the program), unless stopped."""
    found = Points()
    started = time.perf_counter()
    problem = build_problem(setting)
    reduced = reduce(problem, switches)
    if reduced.emptied:
        found.infeasible = explain(
            setting, reduced, time.perf_counter() - started, deadline=deadline
        )
        return found
    spec = setting.study.solve
    search = Search(
        reduced,
        goals,
        switches=switches,
        seed=spec.seed,
        deadline=deadline,
        on_point=on_point,
    )
    try:
        with stoppable():
            search.run()
    except SearchStoppedError as stop:
        found.stopped = stop.why
    except KeyboardInterrupt:  # between two solves
        found.stopped = "interrupted"
    found.solves = search.solves
    if not search.found and found.stopped is None:
        found.infeasible = explain(
            setting, reduced, time.perf_counter() - started, deadline=deadline
        )
    for point in sorted(search.found, key=search.values):
        found.add(search.values(point), _assess(setting, problem, point.solution))
    return found


def find_points_with_response(
    setting: Setting,
    goals: Sequence[Goal],
    place_of_response: int,
    *,
    deadline: float = inf,
    on_point: Callable[[int], None] | None = None,
    switches: Switches = Switches(),  # noqa: B008 - frozen
) -> Points:
    """The same with the slowest filling [ms] as one more goal, at a place among the others."""
    everything = Points()
    here = setting
    while True:
        known = len(everything.vectors)

        def tell(n: int, known: int = known) -> None:
            if on_point is not None:
                on_point(known + n)

        found = find_points(here, goals, deadline=deadline, on_point=tell, switches=switches)
        everything.solves += found.solves
        if found.infeasible is not None:
            if not everything.vectors:
                everything.infeasible = found.infeasible
            break
        times = [slowest_fill(here.study, a) for a in found.assessments]
        for vector, ms, assessment in zip(found.vectors, times, found.assessments, strict=True):
            i = place_of_response
            everything.add((*vector[:i], ms, *vector[i:]), assessment)
        if found.stopped is not None:
            everything.stopped = found.stopped
            break
        slowest = max(times)
        if slowest <= RESPONSE_MS:
            break
        here = build_setting(_faster(setting.study, (slowest - RESPONSE_MS) / MS_PER_S))
    resolution = [goal.resolution for goal in goals]
    resolution.insert(place_of_response, RESPONSE_MS)
    return _undominated(everything, resolution)


def _assess(setting: Setting, problem: Problem, solution: Solution) -> Assessment:
    """Everything true of a solution, its score being the study's own."""
    scored = replace(solution, score=exact_value(problem.objective, solution.quantities))
    assessment = assess(setting, layout_of(setting, problem, scored))
    require_agreement(scored, assessment)
    return assessment


def _faster(study: Study, seconds: float) -> Study:
    """The study with every chamber to be filled within a time, or within its own if shorter."""

    with_valve = _parts_with(study, lambda m: m.physics.valve_c is not None)
    with_chamber = _parts_with(study, lambda m: m.physics.chamber_m3 is not None)

    def option(o: LineOption) -> LineOption:
        if o.physics.target_pa is None or o.physics.supply_pa is None:
            return o
        own = o.physics.response_s
        within = seconds if own is None else min(own, seconds)
        return replace(o, physics=replace(o.physics, response_s=within))

    def line(one: Line) -> Line:
        fills = one.part_a in with_valve and one.part_b in with_chamber
        if one.kind != "air_tube" or not fills:
            return one
        return replace(one, options=tuple(option(o) for o in one.options))

    return replace(study, lines=tuple(line(one) for one in study.lines))


def _parts_with(study: Study, has: Callable[[PartModel], bool]) -> frozenset[str]:
    return frozenset(part.name for part in study.parts if any(has(m) for m in part.models))


def _undominated(points: Points, resolution: Sequence[float]) -> Points:
    """Without the points that another beats or equals."""
    kept = Points(stopped=points.stopped, solves=points.solves, infeasible=points.infeasible)
    order = sorted(range(len(points.vectors)), key=lambda i: points.vectors[i])
    for i in order:
        vector = points.vectors[i]
        if not any(
            all(k <= v + r for k, v, r in zip(other, vector, resolution, strict=True))
            for other in kept.vectors
        ):
            kept.add(vector, points.assessments[i])
    return kept
