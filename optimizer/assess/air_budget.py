"""What a layout's air costs while walking: per stride, at the pump, in the battery.

Assumptions, all on the side of too much air: every chamber is filled once a stride to the target
of its line (else its supply), the valve closing there, and let down to the atmosphere; all tubes
that end at the chamber are filled and emptied with it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from optimizer.assess.line_air import hung_volumes_m3, valve_and_chamber
from optimizer.assess.lookup import Lookup
from optimizer.assess.result import AirReport, Assessment, ChamberAir, LineReport, PartReport
from optimizer.body.gait import cadence_per_min, leg_length_of_stature
from optimizer.lines.air import ATMOSPHERE_PA
from optimizer.lines.line_limits import chamber_of
from optimizer.lines.stride_air import (
    air_per_stride_m3,
    battery_hours,
    battery_mass_kg,
    compression_work_j_per_m3,
    pump_flow_m3_s,
    reservoir_dip_pa,
)
from optimizer.setting import Setting
from optimizer.study.model import PartModel

J_PER_WH = 3600.0
#: m^3/s as L/min.
L_MIN = 6.0e4


def air_report(setting: Setting, assessment: Assessment) -> AirReport | None:
    """The air of an assessed layout; None where no line fills a chamber."""
    lookup = setting.once(Lookup)
    models = {p.unit: lookup.model(p.part, p.model) for p in assessment.parts}
    hung = hung_volumes_m3(setting, assessment.lines)
    chambers = [
        chamber_air(
            setting, line, (models[line.unit_a], models[line.unit_b]), hung.get(line.unit_b, 0.0)
        )
        for line in assessment.lines
    ]
    return air_of(setting, models, assessment.parts, chambers)


def air_of(
    setting: Setting,
    models: Mapping[str, PartModel],
    parts: Sequence[PartReport],
    filled: Iterable[ChamberAir | None],
) -> AirReport | None:
    """The same from what an assessment is made of; `models` by unit, `filled` line by line."""
    chambers = _chambers(filled)
    speed = setting.study.task.speed_m_s
    if not chambers or speed <= 0.0:
        return None
    cadence = cadence_per_min(speed, leg_length_of_stature(setting.wearer.stature_m))
    air = sum(c.air_m3 for c in chambers)
    needed = float(pump_flow_m3_s(air, cadence))
    pumps = {u: m for u, m in models.items() if m.physics.pump_flow_m3_s is not None}
    rated = sum(m.physics.pump_flow_m3_s or 0.0 for m in pumps.values()) or None
    reservoir = sum(m.physics.reservoir_m3 or 0.0 for m in models.values()) or None
    duty = None if rated is None else needed / rated
    full_w = sum(m.power_w for m in pumps.values()) or None
    pump_w = None if duty is None or full_w is None else full_w * min(duty, 1.0)
    other_w = sum(m.power_w for unit, m in models.items() if unit not in pumps)
    batteries = {u: m for u, m in models.items() if m.physics.battery_j is not None}
    stored_j = sum(m.physics.battery_j or 0.0 for m in batteries.values()) or None
    total_w = None if pump_w is None else pump_w + other_w
    hours = per_hour = None
    if stored_j is not None and total_w:
        hours = float(battery_hours(stored_j / J_PER_WH, total_w))
        weight = sum(part.mass_kg for part in parts if part.unit in batteries)
        per_hour = float(battery_mass_kg(total_w, 1.0, stored_j / J_PER_WH / weight))
    discharge = max((c.supply_pa for c in chambers), default=ATMOSPHERE_PA)
    efficiency = None
    if rated is not None and full_w is not None:
        efficiency = float(compression_work_j_per_m3(discharge)) * rated / full_w
    return AirReport(
        chambers=chambers,
        cadence_per_min=cadence,
        air_per_stride_m3=air,
        dead_volume_m3=sum(c.dead_volume_m3 for c in chambers),
        pump_needed_m3_s=needed,
        pump_rated_m3_s=rated,
        reservoir_m3=reservoir,
        dip_pa=None if reservoir is None else float(reservoir_dip_pa(air, reservoir)),
        pump_w=pump_w,
        other_w=other_w,
        pump_efficiency=efficiency,
        battery_j=stored_j,
        walking_h=hours,
        battery_kg_per_h=per_hour,
        cautions=tuple(_cautions(rated, needed, efficiency, discharge)),
    )


def chamber_air(
    setting: Setting, report: LineReport, models: tuple[PartModel, PartModel], hung_m3: float
) -> ChamberAir | None:
    """What a stride takes at the chamber that a line fills; None where it fills none.

    `models` are those of the line's ends, `hung_m3` the air in all tubes that end at the second.
    """
    line = setting.once(Lookup).line(report.line)
    option = setting.once(Lookup).option(report.line, report.option)
    joined = None
    if line.kind == "air_tube":
        joined = valve_and_chamber(setting, line, models)
    p = option.physics
    high = p.supply_pa if p.target_pa is None else p.target_pa
    if joined is None or not joined[0].inward or high is None:
        return None
    bare = replace(option, physics=replace(p, extra_m3=0.0))
    air = float(air_per_stride_m3(chamber_of(joined[2], bare), high, dead_volume_m3=hung_m3))
    return ChamberAir(report.unit_b, high, p.supply_pa or high, hung_m3, air)


def _chambers(filled: Iterable[ChamberAir | None]) -> tuple[ChamberAir, ...]:
    """Each chamber once: of the lines that fill it the one that takes most air."""
    found: dict[str, ChamberAir] = {}
    for chamber in filled:
        if chamber is None:
            continue
        if chamber.unit not in found or chamber.air_m3 > found[chamber.unit].air_m3:
            found[chamber.unit] = chamber
    return tuple(found.values())


def _cautions(
    rated: float | None, needed: float, efficiency: float | None, discharge: float
) -> Iterator[str]:
    if rated is not None and needed > rated:
        yield (
            f"walking takes {needed * L_MIN:.2f} L/min of free air, {needed / rated:.3g} times "
            f"the {rated * L_MIN:.2f} that the pump gives: the pressure will fall stride by stride"
        )
    if efficiency is not None and efficiency > 1.0:
        yield (
            f"the pump's flow to {discharge * 1e-3:.0f} kPa would take {100 * efficiency:.0f} % of "
            "its electrical power even without losses: flow or power is wrong"
        )
