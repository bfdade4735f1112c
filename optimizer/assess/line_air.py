"""What an air tube of a layout really does: times to fill and to vent, drop, air inside."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from optimizer.assess.figures import Figures, budgeted
from optimizer.assess.lookup import Lookup
from optimizer.assess.result import LineReport
from optimizer.lines.air import ATMOSPHERE_PA, REFERENCE_PRESSURE_PA
from optimizer.lines.air_ends import (
    AirEnds,
    air_ends,
    feeding_reservoir_m3,
    fitting_of,
    outlet_path,
)
from optimizer.lines.air_line import AirLine, time_to_pressure, time_to_vent
from optimizer.lines.air_path import Restriction, series
from optimizer.lines.line_limits import chamber_of, steady_drop_pa, vent_start_pa
from optimizer.lines.tube import inside_volume_m3_per_m, tube_restriction
from optimizer.setting import Setting
from optimizer.study.model import Line, LineOption, PartModel

Models = tuple[PartModel, PartModel]


def air_figures(
    setting: Setting, line: Line, option: LineOption, models: Models, report: LineReport
) -> Figures:
    """Figures of one air tube; empty where nothing is known to work them out from.

    `dead_volume_cm3` is the air inside the whole tube, `air_per_stride_anr_cm3` what
    filling it once a stride takes, without the chamber.
    """
    p = option.physics
    figures: Figures = {}
    if option.bore_m is None:
        return figures
    volume = tube_volume_m3(option, report.length_m)
    figures["dead_volume_cm3"] = volume * 1e6
    if p.max_drop_pa is not None and p.supply_pa is not None:
        drop = _drop_pa(option, models[1], report.length_m)
        budgeted(figures, "drop", "kpa", drop * 1e-3, p.max_drop_pa * 1e-3)
    joined = valve_and_chamber(setting, line, models)
    if joined is None:
        return figures
    ends, valve, actuator = joined
    if ends.inward and p.target_pa is not None:
        used = volume * (p.target_pa - ATMOSPHERE_PA) / REFERENCE_PRESSURE_PA
        figures["air_per_stride_anr_cm3"] = used * 1e6
    for name, seconds, budget in _times(ends, valve, actuator, option, report.length_m):
        budgeted(figures, name, "ms", seconds * 1e3, None if budget is None else budget * 1e3)
    return figures


def shared_chamber(
    setting: Setting,
    line: Line,
    option: LineOption,
    models: Models,
    hung_m3: float,
    report: LineReport,
    figures: Figures,
) -> list[str]:
    """Times with the air of all tubes that hang on the chamber; cautions where they are too long.

    A line's own budget counts its tube and `extra_cm3`. Where the layout's other tubes on the
    same chamber hold more than that, `fill_all_ms` and `vent_all_ms` are added. `hung_m3` is the
    air inside all tubes that end at the chamber.
    """
    joined = valve_and_chamber(setting, line, models)
    if joined is None or option.bore_m is None:
        return []
    ends, valve, actuator = joined
    unit = report.unit_b if ends.inward else report.unit_a
    hung = hung_m3 - tube_volume_m3(option, report.length_m)
    counted = option.physics.extra_m3
    if hung <= counted:
        return []
    real = replace(option, physics=replace(option.physics, extra_m3=hung))
    cautions = []
    for name, seconds, budget in _times(ends, valve, actuator, real, report.length_m):
        figures[f"{name}_all_ms"] = seconds * 1e3
        if budget is not None and seconds > budget:
            cautions.append(
                f"the other tubes on {unit} hold {hung * 1e6:.2g} cm3 and extra_cm3 counts "
                f"{counted * 1e6:.2g}: with them it takes {seconds * 1e3:.0f} ms to {name}, more "
                f"than the {budget * 1e3:.0f} ms asked for"
            )
    return cautions


def valve_and_chamber(
    setting: Setting, line: Line, models: Models
) -> tuple[AirEnds, PartModel, PartModel] | None:
    """The ends of a line between a valve and a chamber with their models, else None."""
    ends = setting.once(_ends_by_line).get(line.name)
    if ends is None:
        return None
    valve, actuator = models if ends.inward else models[::-1]
    if valve.physics.valve_c is None or actuator.physics.chamber_m3 is None:
        return None
    return ends, valve, actuator


def tube_volume_m3(option: LineOption, length_m: float) -> float:
    """Air inside a tube."""
    return 0.0 if option.bore_m is None else float(inside_volume_m3_per_m(option.bore_m)) * length_m


def _ends_by_line(setting: Setting) -> dict[str, AirEnds | None]:
    parts = {part.name: part for part in setting.study.parts}
    lines = setting.study.lines
    return {line.name: air_ends(parts, lines, line) for line in lines}


def hung_volumes_m3(setting: Setting, lines: Iterable[LineReport]) -> dict[str, float]:
    """Air inside all air tubes that end at a unit, by unit."""
    lookup = setting.once(Lookup)
    hung: dict[str, float] = {}
    for line in lines:
        if line.kind == "air_tube":
            volume = tube_volume_m3(lookup.option(line.line, line.option), line.length_m)
            for unit in {line.unit_a, line.unit_b}:
                hung[unit] = hung.get(unit, 0.0) + volume
    return hung


def chamber_end(setting: Setting, line: LineReport) -> str | None:
    """The unit with the chamber that an air tube leads to or from, by what its parts may be."""
    ends = setting.once(_ends_by_line).get(line.line.split("#")[0])
    if line.kind != "air_tube" or ends is None:
        return None
    return line.unit_b if ends.inward else line.unit_a


def _times(
    ends: AirEnds, valve: PartModel, actuator: PartModel, option: LineOption, length_m: float
) -> list[tuple[str, float, float | None]]:
    """What the line is asked for or could tell: (fill or vent, seconds, budget)."""
    p = option.physics
    if p.supply_pa is None and vent_start_pa(option) is None:
        return []
    assert valve.physics.valve_c is not None and valve.physics.valve_b is not None
    opening = Restriction(valve.physics.valve_c, valve.physics.valve_b)
    beyond = outlet_path(ends.outlets) if p.vent_pa is not None else None
    tube = AirLine(
        bore_m=option.bore_m or 0.0,
        chamber=chamber_of(actuator, option),
        supply_pa=p.supply_pa or vent_start_pa(option) or 0.0,
        upstream=(opening,),
        downstream=fitting_of(option),
        exhaust=(opening, beyond) if beyond is not None else (opening,),
        reservoir_m3=feeding_reservoir_m3(ends.feeders),
        exponent=p.exponent,
        switch_s=valve.physics.valve_delay_s,
    )
    found: list[tuple[str, float, float | None]] = []
    if ends.inward and p.target_pa is not None and p.supply_pa is not None:
        found.append(("fill", float(time_to_pressure(tube, length_m, p.target_pa)), p.response_s))
    if p.vent_pa is not None:
        seconds = time_to_vent(tube, length_m, p.vent_pa, vent_start_pa(option))
        found.append(("vent", float(seconds), p.vent_s))
    return found


def _drop_pa(option: LineOption, end: PartModel, length_m: float) -> float:
    """Pressure lost at the flow written, else at that of the open valve at the far end."""
    p = option.physics
    assert option.bore_m is not None and p.supply_pa is not None
    path = series(tube_restriction(option.bore_m, length_m), *fitting_of(option))
    if p.flow_anr_m3_s is not None:
        return float(steady_drop_pa(p.supply_pa, path, None, p.flow_anr_m3_s))
    assert end.physics.valve_c is not None and end.physics.valve_b is not None
    valve = Restriction(end.physics.valve_c, end.physics.valve_b)
    return float(steady_drop_pa(p.supply_pa, path, valve, None))
