"""What a layout's lines do: budgets with their margins, air while walking, joints crossed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from rich.console import Group

from optimizer.assess.figures import JUDGED
from optimizer.assess.result import AirReport, Assessment, LineReport
from optimizer.views.quantity import number
from optimizer.views.table import Cell, Column, section, table
from optimizer.views.words import Words, bullets, listing

#: Further figures worth a column's room -> in words, unit, decimals.
_BESIDE = {
    "drop_v": ("lost", "V", 2),
    "heat_w": ("heat", "W", 2),
    "force_loss_n": ("lost", "N", 0),
    "motor_force_n": ("pull at the motor", "N", 0),
    "stretch_mm": ("stretch", "mm", 1),
    "efficiency_gait_least_pct": ("efficiency through gait from", "%", 0),
    "efficiency_gait_mean_pct": ("on average", "%", 0),
    "dead_volume_cm3": ("air inside", "cm3", 1),
    "air_per_stride_anr_cm3": ("free air of the tube alone a stride", "cm3", 1),
    "fill_all_ms": ("with all tubes on the chamber", "ms to fill", 0),
    "vent_all_ms": ("with all tubes on the chamber", "ms to vent", 0),
}
_NARROW = ("drop_v", "force_loss_n", "stretch_mm", "air_per_stride_anr_cm3")


def line_physics_view(assessment: Assessment, wide: bool) -> Group | None:
    """The lines that something is asked of, how they stand, and what their air costs."""
    blocks: list[Group | Words] = []
    judged = judged_table(assessment.lines, wide)
    if judged is not None:
        blocks.append(judged)
    blocks += bullets(assessment.line_notes)
    crossed = crossing_words(assessment.joint_crossings)
    if crossed:
        blocks.append(Words(crossed, "quiet"))
    sections = [section("What the lines do", *blocks)] if blocks else []
    if assessment.air is not None:
        sections.append(section("Air while walking", *air_words(assessment.air)))
    return Group(*sections) if sections else None


def judged_table(lines: Sequence[LineReport], wide: bool) -> Group | None:
    """One row for every figure a line may be judged by; None where there is none."""
    columns = [Column("line", words=True), Column("what", words=True)]
    columns += [Column("is"), Column("may be"), Column("unit", words=True), Column("margin", "%")]
    columns += [Column("besides", words=True)]
    rows: list[list[Cell] | None] = []
    for line in lines:
        first = True
        for judged in JUDGED:
            if f"{judged.name}_{judged.suffix}" not in line.physics:
                continue
            budget = judged.budget(line.physics)
            digits = 1 if judged.unit == "ms" else 2
            row: list[Cell] = [
                Words(line.line),
                Words(judged.words),
                number(judged.value(line.physics), digits),
                number(budget, digits),
                Words(judged.unit),
                number(line.physics.get(f"{judged.name}_margin_pct"), 1),
                Words(_beside(line, wide) if first else "", "quiet"),
            ]
            rows.append(row)
            first = False
    return Group(table(columns, rows)) if rows else None


def _beside(line: LineReport, wide: bool) -> str:
    phrases = [
        f"{words} {number(line.physics[name], digits)} {unit}"
        for name, (words, unit, digits) in _BESIDE.items()
        if name in line.physics and (wide or name in _NARROW)
    ]
    return ", ".join(phrases)


def crossing_words(crossings: dict[str, int]) -> str:
    """ "Lines across joints: right hip 5, right knee 7." """
    if not crossings:
        return ""
    named = [
        f"{side} {joint} {n}"
        for joint, side, n in ((*key.split("."), n) for key, n in crossings.items())
    ]
    return f"Lines across joints: {', '.join(named)}."


def air_words(air: AirReport) -> list[Words]:
    """What a stride takes, and what pump, reservoir and battery make of it."""
    per_stride = number(air.air_per_stride_m3 * 1e6, 1)
    dead = number(air.dead_volume_m3 * 1e6, 1)
    sentences = [
        f"A stride takes {per_stride} cm3 of free air (ANR); the tubes on the "
        f"{listing([c.unit for c in air.chambers])} hold {dead} cm3, filled and thrown away each "
        f"time. At {number(air.cadence_per_min, 0)} steps a minute that is "
        f"{number(air.pump_needed_m3_s * 6e4, 2)} L/min."
    ]
    if air.pump_rated_m3_s is not None:
        share = 100.0 * air.pump_needed_m3_s / air.pump_rated_m3_s
        text = f"The pump gives {number(air.pump_rated_m3_s * 6e4, 2)} L/min: it is busy "
        text += f"{number(share, 0)} % of the time"
        if air.pump_w is not None:
            text += f" and draws {number(air.pump_w, 1)} W on average"
        sentences.append(text + ".")
    if air.dip_pa is not None and air.reservoir_m3 is not None:
        sentences.append(
            f"One stride taken at once lets {number(air.reservoir_m3 * 1e6, 0)} cm3 of reservoir "
            f"fall by {number(air.dip_pa * 1e-3, 1)} kPa."
        )
    if air.walking_h is not None and air.battery_kg_per_h is not None:
        sentences.append(
            f"With {number(air.other_w, 1)} W for everything else the battery walks for "
            f"{number(air.walking_h, 2)} h; every hour takes "
            f"{number(air.battery_kg_per_h * 1e3, 0)} g of such battery."
        )
    return [Words(" ".join(sentences))]


def air_document(air: AirReport) -> dict[str, Any]:
    """The air of a layout as JSON, SI; flows and air are ANR."""
    return {
        "chambers": [
            {
                "unit": c.unit,
                "high_pa": c.high_pa,
                "supply_pa": c.supply_pa,
                "dead_volume_m3": c.dead_volume_m3,
                "air_m3": c.air_m3,
            }
            for c in air.chambers
        ],
        "cadence_per_min": air.cadence_per_min,
        "air_per_stride_m3": air.air_per_stride_m3,
        "dead_volume_m3": air.dead_volume_m3,
        "pump_needed_m3_s": air.pump_needed_m3_s,
        "pump_rated_m3_s": air.pump_rated_m3_s,
        "reservoir_m3": air.reservoir_m3,
        "dip_pa": air.dip_pa,
        "pump_w": air.pump_w,
        "other_w": air.other_w,
        "pump_efficiency": air.pump_efficiency,
        "battery_j": air.battery_j,
        "walking_h": air.walking_h,
        "battery_kg_per_h": air.battery_kg_per_h,
        "cautions": list(air.cautions),
    }
