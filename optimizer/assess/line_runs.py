"""A line along its route: how long it is cut, how it bends, and the masses it puts on the wearer.

A line built longer or shorter than planned is spread over its route in proportion. Half of each
stretch weighs where its own half of the arc is, the service slack half at either end.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from optimizer.assess.loads import Load, Places, load_of
from optimizer.assess.lookup import Lookup
from optimizer.assess.result import LineReport, Routing
from optimizer.setting import Setting


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
        slack_m=line.slack_m + float(sum(graph.slack_m[a] for a in arcs)),
        bend_rad=float(sum(graph.bend_rad[a] for a in arcs)),
        joints=tuple(joint for a in arcs for joint in graph.joints[a]),
        mass_kg=load.mass_kg,
        metabolic_w=load.leg_w,
        swing_inertia_kg_m2=load.hip_inertia_kg_m2,
        max_length_m=option.max_length_m if np.isfinite(option.max_length_m) else None,
        cautions=tuple(dict.fromkeys(str(graph.cautions[a]) for a in arcs if graph.cautions[a])),
    )
    return Run(report, load)
