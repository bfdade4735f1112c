"""One layout taken over into another study: the same places, its lines run by that study's rule."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import replace

from optimizer.assess.assessment import assess
from optimizer.assess.result import Assessment, Layout, Routing
from optimizer.problem.arrays import LineRow, Problem
from optimizer.problem.build import build_problem
from optimizer.problem.presolve import route_of
from optimizer.setting import Setting
from optimizer.solve.program import case_of


def layout_key(layout: Layout) -> Hashable:
    """What makes a layout different from another: models, places and line options."""
    placed = frozenset((p.unit, p.model, p.site) for p in layout.placements)
    bought = frozenset((r.line, r.option) for r in layout.routings)
    return placed, bought


def relay(setting: Setting, layout: Layout, problem: Problem | None = None) -> Layout | None:
    """The layout in another study: the same models at the same sites, the same line options.

    Lines take the route they would take there; one out of reach takes the route it would take
    without a limit, so that the limit it breaks can be told. None where a part, model, site, line
    or option of the layout is not in the study, or the study has further ones.
    """
    problem = build_problem(setting) if problem is None else problem
    slots = {slot.unit: p for p, slot in enumerate(problem.slots)}
    sites = {name: s for s, name in enumerate(problem.site_names)}
    lines = {line.name: line for line in problem.lines}
    if slots.keys() != {p.unit for p in layout.placements}:
        return None
    if lines.keys() != {r.line for r in layout.routings}:
        return None
    at: dict[str, tuple[int, int]] = {}
    for placed in layout.placements:
        models = problem.slots[slots[placed.unit]].models
        if placed.model not in models or placed.site not in sites:
            return None
        at[placed.unit] = (models.index(placed.model), sites[placed.site])
    routings = []
    for routing in layout.routings:
        line = lines[routing.line]
        if routing.option not in line.options:
            return None
        nodes = _nodes(problem, line, routing, at)
        if nodes is None:
            return None
        names = tuple(setting.graph.nodes[n] for n in nodes)
        routings.append(replace(routing, nodes=names, measured_length_m=None))
    return replace(layout, routings=tuple(routings))


def _nodes(
    problem: Problem, line: LineRow, routing: Routing, at: dict[str, tuple[int, int]]
) -> tuple[int, ...] | None:
    (model_a, site_a), (model_b, site_b) = at[routing.unit_a], at[routing.unit_b]
    case = case_of(line, line.options.index(routing.option), model_a, model_b)
    route = None if case is None else route_of(problem, line, case, site_a, site_b)
    if route is None:
        route = problem.routes.best(site_a, site_b)
    return None if route is None else route.nodes


def assess_there(setting: Setting, layout: Layout) -> Assessment | None:
    """A layout of another study assessed in this one; None if it cannot be made there."""
    moved = relay(setting, layout)
    return None if moved is None else assess(setting, moved)
