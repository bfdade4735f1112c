"""Small devices with one line each, made in SI; and random studies whose lines obey physics."""

from __future__ import annotations

from dataclasses import replace
from math import inf

import numpy as np
from scipy.optimize import brentq

from optimizer.lines import cable, hose, wire
from optimizer.lines.air_chamber import Chamber
from optimizer.lines.air_line import AirLine, time_to_pressure, time_to_vent
from optimizer.lines.air_path import Restriction, series
from optimizer.lines.tube import tube_restriction
from optimizer.study.model import Line, LineOption, Part, PartModel, Study
from optimizer.study.physics import LinePhysics, PartPhysics
from tests.instances import HERE, PLACES, few_routes, line_option, model, site, study

DM3_S_BAR = 1e-8
VALVES = (
    PartPhysics(valve_c=0.12 * DM3_S_BAR, valve_b=0.3, valve_delay_s=0.010),
    PartPhysics(valve_c=0.2 * DM3_S_BAR, valve_b=0.35, valve_delay_s=0.015),
)
CYLINDERS = (
    PartPhysics(chamber_m3=12e-6),
    PartPhysics(chamber_m3=14e-6, stroke_m=0.04, piston_m=0.02, load_n=40.0, spring_n_m=1500.0),
)
SILENCER = PartPhysics(valve_c=0.6 * DM3_S_BAR, valve_b=0.4)
FILLS = LinePhysics(
    supply_pa=6e5, target_pa=5e5, response_s=0.15, fitting_c=0.4 * DM3_S_BAR, extra_m3=2e-6
)
VENTS = LinePhysics(
    supply_pa=6e5, target_pa=5e5, vent_pa=1.15e5, vent_s=0.28, fitting_c=0.4 * DM3_S_BAR
)
FEEDS = LinePhysics(supply_pa=6.5e5, max_drop_pa=8e4, fitting_c=0.6 * DM3_S_BAR)
WIRE = LinePhysics(current_a=2.0, peak_current_a=5.0, voltage_v=14.4, max_drop_share=0.01)
HOSE = LinePhysics(flow_m3_s=2e-5, liquid="water 20C", max_drop_pa=8e4)
CABLE = LinePhysics(friction_mu=0.08, min_efficiency=0.75, force_n=200.0, rope="7x7 stainless")


def part(name: str, physics: tuple[PartPhysics, ...], sites: tuple[str, ...]) -> Part:
    """A part with a model for each set of figures, the later ones heavier."""
    models = tuple(
        replace(model(f"m{k}", 0.1 + 0.02 * k, sites), physics=p) for k, p in enumerate(physics)
    )
    return Part(name, models, 1, HERE)


def option(name: str, bore_mm: float, physics: LinePhysics, size: str = "") -> LineOption:
    """A line option of some bore; the wider the heavier."""
    base = line_option(name, 0.004 + 0.003 * bore_mm, inf)
    return replace(base, size=size or name, bore_m=bore_mm * 1e-3, physics=physics)


def device(kind: str, physics: LinePhysics, **ends: tuple[PartPhysics, ...]) -> Study:
    """Two parts, each with one place of its own, joined by one line of one option.

    `a`, `b` are the figures of the parts' models.
    """
    near = PLACES[0] if kind == "pull_cable" else PLACES[9]  # a cable is to cross joints
    garment = (site("here", near), site("there", PLACES[5]))
    size = "AWG 20" if kind == "wire" else "4x2.5"
    return study(
        parts=(
            part("a", ends.get("a", (PartPhysics(),)), ("here",)),
            part("b", ends.get("b", (PartPhysics(),)), ("there",)),
        ),
        sites=garment,
        lines=(Line("joins", kind, "a", "b", 0.0, (option("o", 2.5, physics, size),), HERE),),
        routes=few_routes(),
    )


def with_slack(old: Study, slack_m: float) -> Study:
    """The device with so much service slack on its line."""
    (line,) = old.lines
    return replace(old, lines=(replace(line, slack_m=slack_m),))


# -- the same physics once more, forwards, one line at a time -----------------------------------


def forward(line: Line, bought: LineOption, a: PartModel, b: PartModel, length_m: float) -> float:
    """What the line does at a length as a share of what it may: over 1 is too much."""
    p, bore = bought.physics, bought.bore_m
    if line.kind == "wire" and p.max_drop_share is not None:
        # copper at 40 degC: 1 + 0.00393 x 20 of what it has at 20 degC
        ohm = 1.0786 * wire.wire_size(bought.size).resistance_ohm_per_m
        assert p.peak_current_a is not None and p.voltage_v is not None
        return 2.0 * length_m * ohm * p.peak_current_a / (p.max_drop_share * p.voltage_v)
    if line.kind == "hose" and p.max_drop_pa is not None:
        water = hose.liquid(p.liquid)
        assert bore is not None and p.flow_m3_s is not None
        drop = hose.pressure_drop_pa(
            p.flow_m3_s, length_m, bore, water.viscosity_pa_s, water.density_kg_m3
        )
        return float(drop) / p.max_drop_pa
    shares = [0.0]
    if line.kind == "air_tube" and p.response_s is not None and p.target_pa is not None:
        tube = _tube(bought, a, b, "fill")
        shares.append(float(time_to_pressure(tube, length_m, p.target_pa)) / p.response_s)
    if line.kind == "air_tube" and p.vent_s is not None and p.vent_pa is not None:
        # listed from the chamber on, or through the same valve that fills
        valve, chamber = (b, a) if b.physics.valve_c is not None else (a, b)
        tube = _tube(bought, valve, chamber, "vent")
        shares.append(float(time_to_vent(tube, length_m, p.vent_pa, p.target_pa)) / p.vent_s)
    if line.kind == "air_tube" and p.max_drop_pa is not None and p.supply_pa is not None:
        assert bore is not None and b.physics.valve_c is not None and p.fitting_c is not None
        path = series(tube_restriction(bore, length_m), Restriction(p.fitting_c, p.fitting_b))
        shares.append(_drop_by_root(path, b.physics, p.supply_pa) / p.max_drop_pa)
    return max(shares)


def _drop_by_root(path: Restriction, valve: PartPhysics, supply_pa: float) -> float:
    """Drop at which the tube passes just what the open valve takes from what is left."""
    from optimizer.lines.air import flow_anr_m3_s

    assert valve.valve_c is not None
    takes = valve.valve_c

    def excess(drop: float) -> float:
        left = supply_pa - drop
        passed = flow_anr_m3_s(path.conductance, path.critical_ratio, supply_pa, left)
        return float(passed) - takes * left

    return float(brentq(excess, 0.0, supply_pa, xtol=1e-9, rtol=1e-14))


def _tube(bought: LineOption, valve: PartModel, chamber: PartModel, way: str) -> AirLine:
    p, v, c = bought.physics, valve.physics, chamber.physics
    assert v.valve_c is not None and v.valve_b is not None and c.chamber_m3 is not None
    volume = c.chamber_m3 + p.extra_m3
    room = Chamber(volume)
    if c.piston_m is not None and c.stroke_m is not None:
        swept = np.pi / 4 * c.piston_m**2 * c.stroke_m
        room = Chamber.cylinder(
            c.piston_m, c.stroke_m, volume - swept, load_n=c.load_n, spring_n_m=c.spring_n_m
        )
    opening = Restriction(v.valve_c, v.valve_b)
    fitting = () if p.fitting_c is None else (Restriction(p.fitting_c, p.fitting_b),)
    assert bought.bore_m is not None and p.supply_pa is not None
    return AirLine(
        bought.bore_m,
        room,
        p.supply_pa,
        upstream=(opening,),
        downstream=fitting,
        exhaust=(opening,) if way == "vent" else (),
        switch_s=v.valve_delay_s,
    )


def longest_by_root(line: Line, bought: LineOption, a: PartModel, b: PartModel) -> float:
    """Greatest length at which `forward` stays within 1, -1 if none does."""
    if forward(line, bought, a, b, 0.0) > 1.0:
        return -1.0
    most = 64.0
    if forward(line, bought, a, b, most) <= 1.0:
        return inf

    def excess(length_m: float) -> float:
        return min(forward(line, bought, a, b, length_m), 1e3) - 1.0

    return float(brentq(excess, 0.0, most, xtol=1e-13))


def most_bend_rad(line: Line, bought: LineOption) -> float:
    """Bend at which a cable's efficiency falls to its floor."""
    p = bought.physics
    if line.kind != "pull_cable" or p.min_efficiency is None or not p.friction_mu:
        return inf
    bend = float(np.log(1.0 / p.min_efficiency) / p.friction_mu)
    assert float(cable.efficiency(p.friction_mu, bend)) > p.min_efficiency - 1e-12
    return bend
