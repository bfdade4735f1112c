"""What each line of a layout really does: times, drops, losses, worked out at its own length.

Each figure is computed forwards, by the functions of `optimizer.lines`, from the length and bend
the line has. The longest length that the program kept to is worked out elsewhere, backwards; a
layout is judged here, by the time, the drop or the loss itself. Figures bear their unit at the end
of their name; pressures are absolute, "anr" is air at 20 degC and 100 kPa.
"""

from __future__ import annotations

from dataclasses import replace
from math import inf

import numpy as np

from optimizer.assess.figures import Figures, budgeted
from optimizer.assess.line_air import air_figures, shared_chamber
from optimizer.assess.lookup import Lookup
from optimizer.assess.result import LineReport
from optimizer.body.gait import joint_angle, joint_ranges
from optimizer.lines import cable, hose, wire
from optimizer.lines.tube import bulge_radius_m, known_tube_size
from optimizer.setting import Setting
from optimizer.study.model import Line, LineOption, PartModel

#: How much sharper than one circle a loop bends whose ends are held straight (`bulge_radius_m`).
SHARPEST = 2.57
_PHASES = np.linspace(0.0, 1.0, 101)


def with_physics(
    setting: Setting, report: LineReport, models: tuple[PartModel, PartModel], hung_m3: float
) -> LineReport:
    """The report of a line with its figures, its longest length and what is to be careful of.

    `models` are those of its ends; `hung_m3` is the air inside all tubes on the chamber it ends
    at (`line_air.hung_volumes_m3`).
    """
    line = setting.once(Lookup).line(report.line)
    option = setting.once(Lookup).option(report.line, report.option)
    figures = figures_of(setting, line, option, models, report)
    cautions = [*report.cautions]
    if line.kind == "air_tube":
        cautions += shared_chamber(setting, line, option, models, hung_m3, report, figures)
    elif line.kind == "wire":
        cautions += _heating(option)
    figures |= _sitting(setting, report)
    cautions += _loops(setting, line, option, report)
    return replace(
        report,
        max_length_m=_longest(setting, line, option, models),
        cautions=tuple(dict.fromkeys(cautions)),
        physics={**report.physics, **figures},
    )


def figures_of(
    setting: Setting,
    line: Line,
    option: LineOption,
    ends: tuple[PartModel, PartModel],
    report: LineReport,
) -> Figures:
    """What a line does at the length and bend of `report`, by itself."""
    if line.kind == "air_tube":
        return air_figures(setting, line, option, ends, report)
    if line.kind == "wire":
        return _wire(option, report)
    if line.kind == "pull_cable":
        return _cable(setting, option, report)
    return _hose(option, report)


def _longest(
    setting: Setting, line: Line, option: LineOption, ends: tuple[PartModel, PartModel]
) -> float | None:
    """The longest the line may be with these models; None: no limit, 0: no length will do."""
    parts = setting.once(Lookup).parts
    a, b = (
        [m.name for m in parts[name].models].index(model.name)
        for name, model in zip((line.part_a, line.part_b), ends, strict=True)
    )
    number = [o.name for o in line.options].index(option.name)
    for limit in setting.line_limits[line.name]:
        if limit.option == number and limit.model_a in (None, a) and limit.model_b in (None, b):
            return limit.max_length_m if limit.max_length_m < inf else None
    return 0.0


def _wire(option: LineOption, report: LineReport) -> Figures:
    p = option.physics
    current = p.highest_current_a
    figures: Figures = {}
    if current is None or not option.size:
        return figures
    ohm_per_m = wire.worn_ohm_per_m(wire.wire_size(option.size))
    drop = float(wire.loop_drop_v(current, report.length_m, ohm_per_m))
    figures["drop_v"] = drop
    if p.voltage_v is not None:
        allowed = None if p.max_drop_share is None else 100.0 * p.max_drop_share
        budgeted(figures, "drop", "pct", 100.0 * drop / p.voltage_v, allowed)
    if p.current_a is not None:
        figures["heat_w"] = float(wire.loop_loss_w(p.current_a, report.length_m, ohm_per_m))
    return figures


def _heating(option: LineOption) -> list[str]:
    if option.physics.current_a is None or not option.size:
        return []
    size, current = wire.wire_size(option.size), option.physics.current_a
    # the milder rule, for bundles, is said once for all wires (`line_notes`)
    too_much = current > np.asarray(wire.free_air_rating_a(size.area_m2)).item()
    caution = wire.heating_caution(size, current) if too_much else None
    return [] if caution is None else [caution]


def _cable(setting: Setting, option: LineOption, report: LineReport) -> Figures:
    """Efficiency at the bend that is counted, and through gait with the joints as they move."""
    p = option.physics
    figures: Figures = {}
    if p.friction_mu is None:
        return figures
    share = float(cable.efficiency(p.friction_mu, report.bend_rad))
    figures["efficiency_pct"] = 100.0 * share
    allowed = None if p.min_efficiency is None else 100.0 * (1.0 - p.min_efficiency)
    budgeted(figures, "force_loss", "pct", 100.0 * (1.0 - share), allowed)
    through = cable.efficiency(p.friction_mu, _bend_through_gait(setting, report))
    figures["efficiency_gait_least_pct"] = 100.0 * float(through.min())
    figures["efficiency_gait_mean_pct"] = 100.0 * float(through.mean())
    if p.force_n is None:
        return figures
    pull = float(cable.input_force_n(p.force_n, p.friction_mu, report.bend_rad))
    figures["motor_force_n"] = pull
    figures["force_loss_n"] = pull - p.force_n
    if option.bore_m is not None and p.rope:
        construction, _, material = p.rope.partition(" ")
        stiffness = cable.rope_stiffness_n(option.bore_m, construction, material)
        lost = cable.lost_motion_m(
            pull, report.length_m, stiffness, friction=p.friction_mu, bend_rad=report.bend_rad,
            housing_stiffness_n=inf if p.housing_stiffness_n is None else p.housing_stiffness_n,
        )  # fmt: skip
        figures["stretch_mm"] = 1e3 * float(lost)
    return figures


def _bend_through_gait(setting: Setting, report: LineReport) -> np.ndarray:
    """Total bend at each instant of gait; the legs half a cycle apart."""
    graph = setting.graph
    arcs = graph.route_arcs(report.nodes)
    still = report.bend_rad - float(sum(graph.flex_rad[a] for a in arcs))
    angles = []
    for joint in report.joints:
        name, side = joint.split(".")
        angles.append(joint_angle(name, _PHASES + (0.5 if side == "left" else 0.0)))
    stacked = np.array(angles).reshape(len(angles), _PHASES.size)
    return cable.bend_through_gait_rad(max(still, 0.0), stacked)


def _hose(option: LineOption, report: LineReport) -> Figures:
    p = option.physics
    figures: Figures = {}
    if option.bore_m is None or p.flow_m3_s is None or not p.liquid:
        return figures
    fluid = hose.liquid(p.liquid)
    drop = hose.pressure_drop_pa(
        p.flow_m3_s, report.length_m, option.bore_m, fluid.viscosity_pa_s, fluid.density_kg_m3
    )
    allowed = None if p.max_drop_pa is None else p.max_drop_pa * 1e-3
    budgeted(figures, "drop", "kpa", float(drop) * 1e-3, allowed)
    return figures


def _sitting(setting: Setting, report: LineReport) -> Figures:
    """How much longer the line must be cut for its wearer to sit down, beyond what it is."""
    seated = joint_ranges("sit")
    extra = 0.0
    for arc in setting.graph.route_arcs(report.nodes):
        for crossed in setting.graph.crossings[arc]:
            least, greatest = seated[crossed.joint.split(".")[0]]
            needed = max(0.0, crossed.rate_m * greatest, crossed.rate_m * least)
            extra += max(0.0, needed - crossed.slack_m)
    return {"sitting_extra_mm": 1e3 * extra} if extra > 1e-9 else {}


def _loops(setting: Setting, line: Line, option: LineOption, report: LineReport) -> list[str]:
    """Cautions where a joint at the end of its range folds the line sharper than it may be."""
    least = option.physics.min_bend_radius_m
    if least is None and line.kind in ("air_tube", "hose"):
        tube = known_tube_size(option.size)
        least = None if tube is None else tube.min_bend_radius_m
    if least is None:
        return []
    graph, cautions = setting.graph, []
    for arc in graph.route_arcs(report.nodes):
        stored = float(graph.stored_m[arc])
        span = float(graph.length_m[arc]) - stored
        if stored <= 0.0 or not graph.crossings[arc]:
            continue
        radius = float(bulge_radius_m(stored, max(span, 0.0))) / SHARPEST
        if radius < least:
            joint = graph.crossings[arc][0].joint
            name, side = joint.split(".")
            cautions.append(
                f"at the {side} {name} {stored * 1e3:.0f} mm of it hang slack at one end of the "
                f"joint's range: held straight at both ends it may bend to a radius of "
                f"{radius * 1e3:.0f} mm, {report.option} takes {least * 1e3:.0f} mm; leave the "
                f"holders further apart"
            )
    return cautions
