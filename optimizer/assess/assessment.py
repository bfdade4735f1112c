"""One layout, everything true of it, from the study itself.

This is the second road to every number: it walks parts, holders and lines one by one through
the wearer's geometry and the energy model, and shares no array with the program.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from optimizer.assess.air_budget import air_of
from optimizer.assess.balance import balance_of
from optimizer.assess.limits import layout_limits
from optimizer.assess.line_notes import line_notes
from optimizer.assess.line_physics import with_physics
from optimizer.assess.result import (
    Assessment,
    Layout,
    LineReport,
    PartReport,
    Placement,
    Routing,
    SwingInertia,
)
from optimizer.assess.wear_limits import soft_points
from optimizer.body.inertia import bare_leg_inertia, box_inertia_ml, squared_distance
from optimizer.body.places import is_belt
from optimizer.energy.assist import assist_power_w
from optimizer.setting import PointCost, Setting
from optimizer.study.model import (
    LEG_SEGMENTS,
    SIDES,
    TRUNK,
    Line,
    LineOption,
    PartModel,
    SegmentKey,
    Site,
)

Vector = NDArray[np.float64]
#: Reporting order of segments: vest first, foot last.
ORDER = ("trunk", *LEG_SEGMENTS, "off_body")
PROXIMAL_OF = {"hip": LEG_SEGMENTS, "knee": LEG_SEGMENTS[1:], "ankle": LEG_SEGMENTS[2:]}
BEST_COMFORT = 10.0


@dataclass
class Lump:
    """A point mass moving with a segment, with the moment of inertia it has of its own."""

    key: SegmentKey
    position: Vector
    mass_kg: float
    own_inertia_kg_m2: float = 0.0
    on_belt: bool = False


@dataclass
class Tally:
    """Running sums over lumps."""

    setting: Setting
    mass_kg: dict[SegmentKey, float] = field(default_factory=dict)
    leg_w: float = 0.0
    leg_w_by_key: dict[SegmentKey, float] = field(default_factory=dict)
    inertia: dict[tuple[str, str], float] = field(default_factory=dict)
    lumps: list[Lump] = field(default_factory=list)

    def add(self, lump: Lump) -> tuple[float, float]:
        """Add one lump; returns its leg watts and what it adds to its own hip's inertia."""
        segment, side = lump.key
        self.lumps.append(lump)
        self.mass_kg[lump.key] = self.mass_kg.get(lump.key, 0.0) + lump.mass_kg
        if segment not in LEG_SEGMENTS:
            return 0.0, 0.0
        per_kg, squares = point_cost(self.setting, lump.key, lump.position)
        watts = lump.mass_kg * per_kg
        self.leg_w += watts
        self.leg_w_by_key[lump.key] = self.leg_w_by_key.get(lump.key, 0.0) + watts
        at_hip = 0.0
        for joint, square in squares:
            added = lump.mass_kg * square + lump.own_inertia_kg_m2
            self.inertia[joint, side] = self.inertia.get((joint, side), 0.0) + added
            if joint == "hip":
                at_hip = added
        return watts, at_hip


def point_cost(setting: Setting, key: SegmentKey, position: Vector) -> PointCost:
    """Leg watts and squared distances from the joints of one kilogram at a place of a leg."""
    place = (key, position.tobytes())
    if place not in setting.point_costs:
        reach = sagittal_distance(setting, key, position)
        per_kg = float(np.asarray(setting.energy.leg_cost(key[0], reach)).item())
        pose, at = setting.study.inertia_pose, position.reshape(1, 3)
        squares = tuple(
            (joint, float(squared_distance(setting.wearer, key, at, joint, pose)[0]))
            for joint, moving in PROXIMAL_OF.items()
            if key[0] in moving
        )
        setting.point_costs[place] = (per_kg, squares)
    return setting.point_costs[place]


def sagittal_distance(setting: Setting, key: SegmentKey, position: Vector) -> float:
    """Distance from the hip's mediolateral axis, standing [m]; from mid-hip for the trunk."""
    hip = setting.wearer.joint("hip", key[1]) if key[1] in SIDES else np.zeros(3)
    return float(np.hypot(position[0] - hip[0], position[1] - hip[1]))


def assess(setting: Setting, layout: Layout) -> Assessment:
    """Everything true of one layout, measured masses and lengths taken where given."""
    study, energy = setting.study, setting.energy
    sites = {site.name: site for site in study.sites}
    parts = {part.name: part for part in study.parts}
    models = {
        p.unit: next(m for m in parts[p.part].models if m.name == p.model)
        for p in layout.placements
    }
    at = {p.unit: sites[p.site] for p in layout.placements}
    tally = Tally(setting)

    holders: dict[str, float] = {}
    used = {here.name for here in at.values()} | {b.site for b in layout.ballast}
    for site in study.sites:
        if site.name in used:
            holders[site.name] = site.holder_mass_kg
            tally.add(_lump(setting, site, site.holder_mass_kg))
    for ballast in layout.ballast:
        tally.add(_lump(setting, sites[ballast.site], ballast.mass_kg))
    part_rows = [(p, *_add_part(tally, p, models[p.unit], at[p.unit])) for p in layout.placements]
    line_rows = [_add_line(tally, routing, at) for routing in layout.routings]

    trunk_kg = tally.mass_kg.get(TRUNK, 0.0)
    trunk_w = float(energy.trunk_cost(trunk_kg))
    per_trunk_kg = float(energy.trunk_slope(trunk_kg))
    metabolic_w = tally.leg_w + trunk_w
    bare = {
        (joint, side): bare_leg_inertia(setting.wearer, side, joint, study.inertia_pose)
        for joint in PROXIMAL_OF
        for side in SIDES
    }
    swing = tuple(
        SwingInertia(side, joint, bare[joint, side], tally.inertia.get((joint, side), 0.0))
        for side in SIDES
        for joint in PROXIMAL_OF
    )
    one_leg = bare["hip", "right"]
    swing_pct = 100.0 * sum(s.added_kg_m2 for s in swing if s.joint == "hip") / one_leg
    balance = balance_of(setting, tally.lumps, [sites[name] for name in holders])
    discomfort = sum(
        BEST_COMFORT - (BEST_COMFORT if (c := sites[name].comfort) is None else c)
        for name in holders
    ) + soft_points(setting, at, models, balance)
    weights = study.weights

    def score(watts: float, inertia_pct: float) -> float:
        return (
            weights.metabolic * 100.0 * watts / energy.walking_w
            + weights.swing_inertia * inertia_pct
        )

    reports = []
    for placement, mass, leg_w, inertia in part_rows:
        site = at[placement.unit]
        watts = mass * per_trunk_kg if site.key == TRUNK else leg_w
        reports.append(
            PartReport(
                unit=placement.unit,
                part=placement.part,
                model=placement.model,
                site=site.name,
                segment=site.segment,
                side=site.side,
                mass_kg=mass,
                distance_m=sagittal_distance(setting, site.key, site_position(setting, site)),
                metabolic_w=watts,
                metabolic_pct=100.0 * watts / energy.walking_w,
                swing_inertia_kg_m2=inertia,
                score=score(watts, 100.0 * inertia / one_leg),
            )
        )
    site_order = {site.name: i for i, site in enumerate(study.sites)}
    reports.sort(key=lambda r: (ORDER.index(r.segment), site_order[r.site], r.unit))
    lines = with_physics(setting, [report(per_trunk_kg) for report in line_rows], models)

    air = air_of(setting, models, reports, lines)

    by_segment = {
        _name(key): tally.mass_kg.get(key, 0.0)
        for key in (TRUNK, *((seg, side) for seg in LEG_SEGMENTS for side in SIDES))
    }
    legs_kg = {
        segment: sum(mass for key, mass in tally.mass_kg.items() if key[0] == segment)
        for segment in ("trunk", *LEG_SEGMENTS)
    }
    return Assessment(
        layout=layout,
        parts=tuple(reports),
        lines=lines,
        holder_mass_kg=holders,
        mass_kg=by_segment,
        total_mass_kg=sum(by_segment.values()),
        off_body_mass_kg=tally.mass_kg.get(("off_body", "centre"), 0.0),
        leg_w=tally.leg_w,
        trunk_w=trunk_w,
        metabolic_w=metabolic_w,
        metabolic_pct=100.0 * metabolic_w / energy.walking_w,
        walking_w=energy.walking_w,
        assist_w=assist_power_w(metabolic_w),
        swing_inertia=swing,
        swing_inertia_pct=swing_pct,
        discomfort=discomfort,
        score=score(metabolic_w, swing_pct) + weights.comfort * discomfort,
        limits=layout_limits(
            setting, at, models, tally.mass_kg, swing, reports, lines, balance, layout.ballast
        ),
        warnings=(*setting.study.warnings, *setting.wearer.warnings, *energy.warnings(legs_kg)),
        balance=balance,
        air=air,
        line_notes=line_notes(study, lines),
        metabolic_w_by_segment={
            "trunk": trunk_w,
            **{
                _name((segment, side)): tally.leg_w_by_key.get((segment, side), 0.0)
                for segment in LEG_SEGMENTS
                for side in SIDES
            },
        },
    )


def layout_lumps(setting: Setting, layout: Layout) -> list[Lump]:
    """All worn masses of a layout: holders, ballast, parts, lines."""
    tally = Tally(setting)
    sites = {site.name: site for site in setting.study.sites}
    parts = {part.name: part for part in setting.study.parts}
    at = {p.unit: sites[p.site] for p in layout.placements}
    for name in dict.fromkeys([*(s.name for s in at.values()), *(b.site for b in layout.ballast)]):
        tally.add(_lump(setting, sites[name], sites[name].holder_mass_kg))
    for ballast in layout.ballast:
        tally.add(_lump(setting, sites[ballast.site], ballast.mass_kg))
    for placement in layout.placements:
        model = next(m for m in parts[placement.part].models if m.name == placement.model)
        _add_part(tally, placement, model, at[placement.unit])
    for routing in layout.routings:
        _add_line(tally, routing, at)
    return tally.lumps


def site_position(setting: Setting, site: Site) -> Vector:
    """Where the centre of mass of what a site holds is counted [m]."""
    return np.asarray(setting.wearer.position(site), dtype=float)


def _lump(setting: Setting, site: Site, mass_kg: float, own_kg_m2: float = 0.0) -> Lump:
    place = site_position(setting, site)
    return Lump(site.key, place, mass_kg, own_kg_m2, on_belt=is_belt(site))


def _name(key: SegmentKey) -> str:
    return f"{key[0]}.{key[1]}" if key[1] in SIDES else key[0]


def _add_part(
    tally: Tally, placement: Placement, model: PartModel, site: Site
) -> tuple[float, float, float]:
    measured = placement.measured_mass_kg
    mass = model.mass_kg if measured is None else measured
    sideways = abs(site.outside_m) > abs(site.front_m)
    own = box_inertia_ml(mass, model.size_m, sideways)
    watts, inertia = tally.add(_lump(tally.setting, site, mass, own))
    return mass, watts, inertia


class _LineRow:
    """A routed line, ready to report once the cost of a trunk kilogram is known."""

    def __init__(self, fields: Mapping[str, object], trunk_kg: float, leg_w: float, inertia: float):
        self._fields, self._trunk_kg = fields, trunk_kg
        self._leg_w, self._inertia = leg_w, inertia

    def __call__(self, per_trunk_kg: float) -> LineReport:
        watts = self._leg_w + self._trunk_kg * per_trunk_kg
        return LineReport(
            **self._fields,  # type: ignore[arg-type]
            metabolic_w=watts,
            swing_inertia_kg_m2=self._inertia,
        )


def _add_line(tally: Tally, routing: Routing, at: Mapping[str, Site]) -> _LineRow:
    setting = tally.setting
    line = next(ln for ln in setting.study.lines if ln.name == routing.line.split("#")[0])
    option = next(o for o in line.options if o.name == routing.option)
    site_a, site_b = at[routing.unit_a], at[routing.unit_b]
    graph = setting.graph
    arcs = graph.route_arcs(routing.nodes)
    planned = line.slack_m + float(sum(graph.length_m[a] for a in arcs))
    measured = routing.measured_length_m
    # a line built longer or shorter than planned is spread over its route in proportion
    stretch = 1.0 if measured is None or planned <= 0 else measured / planned
    trunk_kg = leg_w = inertia = mass = 0.0
    for lump in _line_lumps(setting, line, option, arcs, (site_a, site_b), stretch):
        watts, added = tally.add(lump)
        leg_w, inertia, mass = leg_w + watts, inertia + added, mass + lump.mass_kg
        if lump.key == TRUNK:
            trunk_kg += lump.mass_kg
    fields = {
        "line": routing.line,
        "kind": line.kind,
        "option": option.name,
        "size": option.size,
        "unit_a": routing.unit_a,
        "unit_b": routing.unit_b,
        "site_a": site_a.name,
        "site_b": site_b.name,
        "nodes": routing.nodes,
        "length_m": planned if measured is None else measured,
        "slack_m": line.slack_m + float(sum(graph.slack_m[a] for a in arcs)),
        "bend_rad": float(sum(graph.bend_rad[a] for a in arcs)),
        "joints": tuple(joint for a in arcs for joint in graph.joints[a]),
        "mass_kg": mass,
        "max_length_m": option.max_length_m if np.isfinite(option.max_length_m) else None,
        "cautions": tuple(dict.fromkeys(str(graph.cautions[a]) for a in arcs if graph.cautions[a])),
    }
    return _LineRow(fields, trunk_kg, leg_w, inertia)


def _line_lumps(
    setting: Setting,
    line: Line,
    option: LineOption,
    arcs: Sequence[int],
    ends: tuple[Site, Site],
    stretch: float,
) -> list[Lump]:
    graph, rate = setting.graph, option.mass_kg_per_m * stretch
    lumps = [_lump(setting, site, 0.5 * line.slack_m * rate + option.end_mass_kg) for site in ends]
    for a in arcs:
        for half in (0, 1):
            lumps.append(
                Lump(
                    graph.half_keys[a][half],
                    np.asarray(graph.half_points[a, half], dtype=float),
                    0.5 * rate * float(graph.length_m[a]),
                )
            )
    return lumps
