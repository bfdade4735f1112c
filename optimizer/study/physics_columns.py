"""Columns of the lines and parts tables that carry physics, all optional, units in their names.

Lines (each row is an option, so a figure may differ from option to option)
---------------------------------------------------------------------------
Air tube, absolute pressures:

- `supply_kpa`: pressure at the inlet: before the valve of a line from a valve to a chamber, at the
  start of a supply tube;
- `target_kpa`, `response_ms`: a line between a valve (`valve_c`) and a chamber (`chamber_cm3`)
  brings the chamber from the atmosphere to this pressure within this time of the signal;
- `vent_kpa`, `vent_ms`: it lets the chamber down from `target_kpa` (else `supply_kpa`) to
  `vent_kpa` within this time, through the valve and, if a line of the list leads from the valve to
  a part with `valve_c` (a silencer), through that line at its `max_length_mm` and through it;
- `fitting_c`, `fitting_b`: sonic conductance [dm3/(s bar)] and critical ratio of both ends'
  fittings together (b 0.3 unless said, a judgement);
- `extra_cm3`: air space filled beside chamber and tube: other tubes that hang on the chamber;
- `polytropic`: 1 isothermal (default, the safe side) to 1.4 no heat loss;
- `max_drop_kpa`: pressure a tube may lose at `flow_anr_dm3_min`, or where that is blank and the
  line leads to a valve, while that valve stands open into an empty chamber.

Wire (`size` is a gauge): `current_a` (RMS), `peak_current_a`, `voltage_v`, `max_drop_pct` of it,
out and back. Pull-cable (`bore_mm` is its diameter): `friction_mu`, `min_efficiency_pct`,
`force_n` at the far end, `rope` (construction and material), `housing_stiffness_n`. Hose:
`flow_ml_s`, `liquid`, `max_drop_kpa`. All: `min_bend_radius_mm` (blank: the tube table's, if the
size is in it).

Parts
-----
`chamber_cm3` (at the end of the stroke, ports included), `stroke_mm`; with `piston_mm` the stroke
is part of the chamber and is made as the pressure rises against `load_n` and `spring_n_mm`;
without it the chamber keeps its volume. `valve_c` [dm3/(s bar)], `valve_b`, `valve_delay_ms`: of a
valve, or of a regulator or silencer. `pump_flow_anr_dm3_min`, `reservoir_cm3`, `battery_wh`.
"""

from __future__ import annotations

from typing import Annotated

from optimizer.lines.air import DM3_PER_S_BAR
from optimizer.study.cells import Number, Text
from optimizer.study.physics import LinePhysics, PartPhysics
from optimizer.study.tables import RowSchema
from optimizer.study.units import CM3_PER_M3, MM_PER_M, PERCENT

PA_PER_KPA = 1e3
MS_PER_S = 1e3
S_PER_MIN = 60.0
DM3_PER_M3 = 1e3
J_PER_WH = 3600.0


class PartPhysicsColumns(RowSchema):
    """Physics columns of a parts table."""

    chamber_cm3: Annotated[float | None, Number("cm3", above=0, optional=True)]
    stroke_mm: Annotated[float | None, Number("mm", above=0, optional=True)]
    piston_mm: Annotated[float | None, Number("mm", above=0, optional=True)]
    load_n: Annotated[float, Number("N", least=0, optional=True, blank=0.0)]
    spring_n_mm: Annotated[float, Number("N/mm", least=0, optional=True, blank=0.0)]
    valve_c: Annotated[float | None, Number("dm3/(s bar)", above=0, optional=True)]
    valve_b: Annotated[float | None, Number(optional=True)]
    valve_delay_ms: Annotated[float, Number("ms", least=0, optional=True, blank=0.0)]
    pump_flow_anr_dm3_min: Annotated[float | None, Number("dm3/min", above=0, optional=True)]
    reservoir_cm3: Annotated[float | None, Number("cm3", above=0, optional=True)]
    battery_wh: Annotated[float | None, Number("Wh", above=0, optional=True)]


class LinePhysicsColumns(RowSchema):
    """Physics columns of a lines table."""

    supply_kpa: Annotated[float | None, Number("kPa", above=0, optional=True)]
    target_kpa: Annotated[float | None, Number("kPa", above=0, optional=True)]
    vent_kpa: Annotated[float | None, Number("kPa", above=0, optional=True)]
    response_ms: Annotated[float | None, Number("ms", above=0, optional=True)]
    vent_ms: Annotated[float | None, Number("ms", above=0, optional=True)]
    fitting_c: Annotated[float | None, Number("dm3/(s bar)", above=0, optional=True)]
    fitting_b: Annotated[float, Number(optional=True, blank=0.3)]
    extra_cm3: Annotated[float, Number("cm3", least=0, optional=True, blank=0.0)]
    polytropic: Annotated[float, Number(least=1, most=1.4, optional=True, blank=1.0)]
    flow_anr_dm3_min: Annotated[float | None, Number("dm3/min", above=0, optional=True)]
    max_drop_kpa: Annotated[float | None, Number("kPa", above=0, optional=True)]
    flow_ml_s: Annotated[float | None, Number("ml/s", above=0, optional=True)]
    liquid: Annotated[str, Text("a liquid", optional=True)]
    current_a: Annotated[float | None, Number("A", least=0, optional=True)]
    peak_current_a: Annotated[float | None, Number("A", least=0, optional=True)]
    voltage_v: Annotated[float | None, Number("V", above=0, optional=True)]
    max_drop_pct: Annotated[float | None, Number("%", above=0, most=100, optional=True)]
    friction_mu: Annotated[float | None, Number(least=0, optional=True)]
    min_efficiency_pct: Annotated[float | None, Number("%", above=0, most=100, optional=True)]
    force_n: Annotated[float | None, Number("N", least=0, optional=True)]
    rope: Annotated[str, Text("a rope's construction and material", optional=True)]
    housing_stiffness_n: Annotated[float | None, Number("N", above=0, optional=True)]
    min_bend_radius_mm: Annotated[float | None, Number("mm", above=0, optional=True)]


def part_physics(row: PartPhysicsColumns) -> PartPhysics:
    """The figures of a row in SI."""
    return PartPhysics(
        chamber_m3=_per(row.chamber_cm3, CM3_PER_M3),
        stroke_m=_per(row.stroke_mm, MM_PER_M),
        piston_m=_per(row.piston_mm, MM_PER_M),
        load_n=row.load_n,
        spring_n_m=row.spring_n_mm * MM_PER_M,
        valve_c=_times(row.valve_c, DM3_PER_S_BAR),
        valve_b=row.valve_b,
        valve_delay_s=row.valve_delay_ms / MS_PER_S,
        pump_flow_m3_s=_per(row.pump_flow_anr_dm3_min, DM3_PER_M3 * S_PER_MIN),
        reservoir_m3=_per(row.reservoir_cm3, CM3_PER_M3),
        battery_j=_times(row.battery_wh, J_PER_WH),
    )


def line_physics(row: LinePhysicsColumns) -> LinePhysics:
    """The figures of a row in SI."""
    return LinePhysics(
        supply_pa=_times(row.supply_kpa, PA_PER_KPA),
        target_pa=_times(row.target_kpa, PA_PER_KPA),
        vent_pa=_times(row.vent_kpa, PA_PER_KPA),
        response_s=_per(row.response_ms, MS_PER_S),
        vent_s=_per(row.vent_ms, MS_PER_S),
        fitting_c=_times(row.fitting_c, DM3_PER_S_BAR),
        fitting_b=row.fitting_b,
        extra_m3=row.extra_cm3 / CM3_PER_M3,
        exponent=row.polytropic,
        flow_anr_m3_s=_per(row.flow_anr_dm3_min, DM3_PER_M3 * S_PER_MIN),
        max_drop_pa=_times(row.max_drop_kpa, PA_PER_KPA),
        flow_m3_s=_per(row.flow_ml_s, CM3_PER_M3),
        liquid=row.liquid,
        current_a=row.current_a,
        peak_current_a=row.peak_current_a,
        voltage_v=row.voltage_v,
        max_drop_share=_per(row.max_drop_pct, PERCENT),
        friction_mu=row.friction_mu,
        min_efficiency=_per(row.min_efficiency_pct, PERCENT),
        force_n=row.force_n,
        rope=row.rope,
        housing_stiffness_n=row.housing_stiffness_n,
        min_bend_radius_m=_per(row.min_bend_radius_mm, MM_PER_M),
    )


def _per(value: float | None, units: float) -> float | None:
    return None if value is None else value / units


def _times(value: float | None, unit: float) -> float | None:
    return None if value is None else value * unit
