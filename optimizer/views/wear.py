"""How a layout wears and swings: balance, the load on the swinging legs, counterweight."""

from __future__ import annotations

from typing import Any

from rich.console import Group

from optimizer.assess.dynamics import SwingReport
from optimizer.assess.result import Balance, CounterweightReport
from optimizer.views.quantity import number
from optimizer.views.table import Cell, Column, section, table
from optimizer.views.words import Words


def wear_view(
    balance: Balance | None,
    swing: SwingReport | None,
    counterweight: CounterweightReport | None = None,
) -> Group | None:
    """One table on the legs' swing, with what else is to be said of wearing the layout."""
    words = [Words(text) for text in counterweight_words(counterweight)]
    words += [Words(text, "quiet") for text in balance_words(balance)]
    if swing is None:
        return section("Wearing it", *words) if words else None
    words += [Words(text, "quiet") for text in swing_words(swing)]
    loaded = any(leg.added_kg > 0.0 for leg in swing.legs)
    return section("Wearing and swinging it", *([_swing_table(swing)] if loaded else []), *words)


def _swing_table(swing: SwingReport) -> Group:
    columns = [
        Column("leg", words=True),
        Column("joint", words=True),
        Column("moment", "bare N m"),
        Column("added", "N m"),
        Column("power", "bare W"),
        Column("added", "W"),
        Column("work", "bare J"),
        Column("added", "J"),
    ]
    rows: list[list[Cell] | None] = []
    for leg in swing.legs:
        if leg.added_kg <= 0.0:
            continue  # the bare leg is told beside the loaded one
        for joint in leg.joints:
            first = joint is leg.joints[0]
            rows.append(
                [
                    Words(leg.side if first else ""),
                    Words(joint.joint),
                    number(joint.peak_bare_moment_nm, 1),
                    number(joint.peak_extra_moment_nm, 2),
                    number(joint.peak_bare_power_w, 1),
                    number(joint.peak_extra_power_w, 2),
                    number(joint.bare_positive_work_j, 2),
                    number(joint.extra_positive_work_j, 3),
                ]
            )
    return Group(table(columns, rows))


def swing_words(swing: SwingReport) -> list[str]:
    """What the table leaves to say."""
    said = [
        "Peaks of the net joint moment and power through swing, and positive work of one swing; "
        "added is the change the worn mass makes."
    ]
    for leg in swing.legs:
        if leg.added_kg <= 0.0:
            said.append(f"The {leg.side} leg carries nothing.")
            continue
        said.append(
            f"The {leg.side} leg: {number(leg.added_kg * 1e3, 0)} g on it, "
            f"{number(leg.extra_positive_power_w, 2)} W of extra positive joint power over the "
            f"stride; as a pendulum {number(leg.natural_frequency_bare_hz, 3)} Hz bare, "
            f"{number(leg.natural_frequency_loaded_hz, 3)} Hz loaded."
        )
    lower = [part for part in swing.clearances if not part.unaffected]
    for part in lower:
        text = f"{part.unit} at {part.site} leaves {number(part.gap_m * 1e3, 0)} mm under the foot "
        text += f"in mid-swing, {number(part.bare_gap_m * 1e3, 0)} mm without it"
        if part.below_sole_m >= 1e-6:
            text += f"; it lies {number(part.below_sole_m * 1e3, 0)} mm below the sole"
        said.append(text + ".")
    if swing.clearances and not lower:
        said.append("No part on shank or foot comes nearer the ground than the sole.")
    said += swing.warnings
    return said


def balance_words(balance: Balance | None) -> list[str]:
    """Where the load lies, in a sentence."""
    if balance is None:
        return []
    front, up, right = balance.shift_m
    said = [
        "The trunk's load lies "
        f"{_way(balance.trunk_front_m, 'in front of', 'behind')} the hips' middle and "
        f"{_way(balance.trunk_right_m, 'right of', 'left of')} it; all of it shifts the body's "
        f"centre of mass by {_way(front, 'forward', 'back')}, {_way(up, 'up', 'down')}, "
        f"{_way(right, 'to the right', 'to the left')}."
    ]
    if balance.belt_kg > 0.0:
        said.append(f"The belt carries {number(balance.belt_kg * 1e3, 0)} g.")
    return said


def _way(length_m: float, positive: str, negative: str) -> str:
    return f"{number(abs(length_m) * 1e3, 1)} mm {positive if length_m >= 0 else negative}"


def counterweight_words(found: CounterweightReport | None) -> list[str]:
    """Whether ballast on the sound leg pays."""
    if found is None:
        return []
    proven = "" if found.proven else " (not proven: the search was cut short)"
    if not found.pays:
        return [f"A counterweight was allowed; the best layout carries none{proven}."]
    where = ", ".join(f"{number(b.mass_kg * 1e3, 0)} g at {b.site}" for b in found.ballast)
    if found.score_without is None:
        rest = "without one nothing fits"
    else:
        rest = f"without one the best layout scores {number(found.score_without, 4)}"
    return [f"A counterweight pays: {where}, score {number(found.score_with, 4)}; {rest}{proven}."]


def swing_document(swing: SwingReport) -> dict[str, Any]:
    """The report as a document, SI with the unit in every key."""
    return {
        "speed_m_s": swing.speed_m_s,
        "legs": [
            {
                "side": leg.side,
                "added_kg": leg.added_kg,
                "stride_time_s": leg.stride_time_s,
                "swing_time_s": leg.swing_time_s,
                "natural_frequency_bare_hz": leg.natural_frequency_bare_hz,
                "natural_frequency_loaded_hz": leg.natural_frequency_loaded_hz,
                "extra_positive_power_w": leg.extra_positive_power_w,
                "joints": [
                    {
                        "joint": joint.joint,
                        "peak_bare_moment_nm": joint.peak_bare_moment_nm,
                        "peak_extra_moment_nm": joint.peak_extra_moment_nm,
                        "peak_bare_power_w": joint.peak_bare_power_w,
                        "peak_extra_power_w": joint.peak_extra_power_w,
                        "bare_positive_work_j": joint.bare_positive_work_j,
                        "extra_positive_work_j": joint.extra_positive_work_j,
                    }
                    for joint in leg.joints
                ],
            }
            for leg in swing.legs
        ],
        "clearance": [
            {
                "unit": part.unit,
                "site": part.site,
                "bare_gap_m": part.bare_gap_m,
                "gap_m": part.gap_m,
                "below_sole_m": part.below_sole_m,
            }
            for part in swing.clearances
        ],
        "warnings": list(swing.warnings),
    }


def counterweight_document(found: CounterweightReport) -> dict[str, Any]:
    """Whether ballast pays, as a document."""
    return {
        "pays": found.pays,
        "mass_kg": found.mass_kg,
        "score_with": found.score_with,
        "score_without": found.score_without,
        "proven": found.proven,
    }


def balance_document(balance: Balance) -> dict[str, Any]:
    """Where the load lies, as a document; lengths forward, up, to the right."""
    front, up, right = balance.shift_m
    return {
        "trunk_front_m": balance.trunk_front_m,
        "trunk_right_m": balance.trunk_right_m,
        "shift_front_m": front,
        "shift_up_m": up,
        "shift_right_m": right,
        "belt_kg": balance.belt_kg,
        "donning_steps": balance.donning_steps,
    }
