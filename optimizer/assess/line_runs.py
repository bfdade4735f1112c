"""A line along its route: how long it is cut, how it bends, and the masses it puts on the wearer.

A line built longer or shorter than planned is spread over its route in proportion. Half of each
stretch weighs where its own half of the arc is, the service slack half at either end. A built line
that is too short for its route would pass as a lighter one: it is told, and one shorter than the
straight way between its ends, which no route or body can excuse, breaks a limit (`line_limits`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from optimizer.assess.figures import Figures
from optimizer.assess.loads import Load, Places, load_of
from optimizer.assess.lookup import Lookup
from optimizer.assess.result import LineReport, Routing
from optimizer.setting import Setting
from optimizer.study.model import OFF_BODY

#: Less than this is cut off, or on, by any workshop.
_WORTH_SAYING_M = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """A line as routed. `report` has no figures yet, and only the leg's share of its watts."""

    report: LineReport
    load: Load


def line_run(setting: Setting, routing: Routing, site_a: str, site_b: str) -> Run:
    """A line from one site to another the way it is routed."""
    line = setting.once(Lookup).line(routing.line)
    option = setting.once(Lookup).option(routing.line, routing.option)
    graph, places = setting.graph, setting.once(Places)
    arcs = graph.route_arcs(routing.nodes)
    lengths = [float(graph.length_m[a]) for a in arcs]
    planned = line.slack_m + float(sum(lengths))
    measured = routing.measured_length_m
    stretch = 1.0 if measured is None or planned <= 0 else measured / planned
    rate = option.mass_kg_per_m * stretch
    joint_slack = float(sum(graph.slack_m[a] for a in arcs))
    end_kg = 0.5 * line.slack_m * rate + option.end_mass_kg
    masses = [(places.site(site_a), end_kg), (places.site(site_b), end_kg)]
    for arc, length in zip(arcs, lengths, strict=True):
        masses += [(half, 0.5 * rate * length) for half in places.arc(arc)]
    load = load_of(masses)
    report = LineReport(
        line=routing.line,
        kind=line.kind,
        option=option.name,
        size=option.size,
        unit_a=routing.unit_a,
        unit_b=routing.unit_b,
        site_a=site_a,
        site_b=site_b,
        nodes=routing.nodes,
        length_m=planned if measured is None else measured,
        slack_m=line.slack_m + joint_slack,
        bend_rad=float(sum(graph.bend_rad[a] for a in arcs)),
        joints=tuple(joint for a in arcs for joint in graph.joints[a]),
        mass_kg=load.mass_kg,
        metabolic_w=load.leg_w,
        swing_inertia_kg_m2=load.hip_inertia_kg_m2,
        max_length_m=option.max_length_m if np.isfinite(option.max_length_m) else None,
        cautions=(
            *_too_short(measured, planned - line.slack_m, joint_slack),
            *dict.fromkeys(str(graph.cautions[a]) for a in arcs if graph.cautions[a]),
        ),
        physics={} if measured is None else _straight(setting, site_a, site_b),
    )
    return Run(report, load)


def _too_short(measured_m: float | None, needed_m: float, joint_slack_m: float) -> Iterator[str]:
    """A caution where a built line is shorter than its route with what the joints ask for."""
    missing = 0.0 if measured_m is None else needed_m - measured_m
    if missing >= _WORTH_SAYING_M:
        reaches = missing <= joint_slack_m + _WORTH_SAYING_M
        yield f"built {missing * 1e3:.0f} mm too short " + (
            f"for the joints: they ask for {joint_slack_m * 1e3:.0f} mm of slack on its route"
            if reaches
            else f"for its route, which is {needed_m * 1e3:.0f} mm long with slack for the joints"
        )


def _straight(setting: Setting, site_a: str, site_b: str) -> Figures:
    """The straight way between the ends, standing; nothing where one is off the body."""
    sites, places = setting.once(Lookup).sites, setting.once(Places)
    if OFF_BODY in (sites[site_a].key, sites[site_b].key):
        return {}
    between = places.site(site_a).position - places.site(site_b).position
    return {"straight_mm": 1e3 * float(np.linalg.norm(between))}
