"""Study limits as rows over the quantities. To add a limit, add a function to `LIMITS`.

A limit that concerns one site alone belongs in `optimizer.problem.wear_sites`, or in
`optimizer.study.relax.SITE_LIMITS` where it is a column of the sites table; one that concerns a
line's length in `optimizer.lines.line_limits`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from optimizer.body.inertia import bare_leg_inertia
from optimizer.problem import wear_rows
from optimizer.problem.arrays import LimitRow
from optimizer.problem.quantities import (
    BATTERY,
    BODY_KEYS,
    INDEX,
    INERTIA,
    LEG_KEYS,
    MASS,
    NAMES,
    POWER,
    SITES_IN_USE,
    key_name,
)
from optimizer.setting import Setting
from optimizer.study.model import SIDES, LimitSpec
from optimizer.study.units import S_PER_H

Maker = Callable[[LimitSpec, Setting], list[LimitRow]]


def _row(
    spec: LimitSpec,
    subject: str,
    label: str,
    terms: dict[str, float],
    unit: str,
    scale: float,
    upper: float | None = None,
) -> LimitRow:
    coefficients = np.zeros(len(NAMES))
    for name, value in terms.items():
        coefficients[INDEX[name]] += value
    return LimitRow(
        spec.kind,
        subject,
        label,
        coefficients,
        spec.value if upper is None else upper,
        unit,
        scale,
        spec.origin,
    )


def _segment_mass(spec: LimitSpec, setting: Setting) -> list[LimitRow]:
    return [
        _row(spec, key_name(key), f"mass on {words(key)}", {MASS[key]: 1.0}, "g", 1e3)
        for key in BODY_KEYS
        if key[0] == spec.subject
    ]


def _device_mass(spec: LimitSpec, setting: Setting) -> list[LimitRow]:
    return [_row(spec, "device", "worn mass", {MASS[key]: 1.0 for key in BODY_KEYS}, "g", 1e3)]


def _left_right_mass(spec: LimitSpec, setting: Setting) -> list[LimitRow]:
    rows = []
    for more, less in (SIDES, SIDES[::-1]):
        terms = {MASS[key]: (1.0 if key[1] == more else -1.0) for key in LEG_KEYS}
        label = f"mass of the {more} leg beyond the {less}"
        rows.append(_row(spec, f"{more}>{less}", label, terms, "g", 1e3))
    return rows


def _left_right_swing_inertia(spec: LimitSpec, setting: Setting) -> list[LimitRow]:
    """The value is a percentage of one bare leg's moment of inertia about the hip."""
    bare = bare_leg_inertia(setting.wearer, "right", "hip", setting.study.inertia_pose)
    rows = []
    for more, less in (SIDES, SIDES[::-1]):
        terms = {INERTIA["hip", more]: 100.0 / bare, INERTIA["hip", less]: -100.0 / bare}
        label = f"swing inertia of the {more} leg beyond the {less}"
        rows.append(_row(spec, f"{more}>{less}", label, terms, "% of the bare leg", 1.0))
    return rows


def _sites_in_use(spec: LimitSpec, setting: Setting) -> list[LimitRow]:
    return [_row(spec, "garment", "sites in use", {SITES_IN_USE: 1.0}, "sites", 1.0)]


def _walking_time(spec: LimitSpec, setting: Setting) -> list[LimitRow]:
    """What the batteries hold lasts all parts at their rated power: a limit on a quotient."""
    terms = {POWER: spec.value / S_PER_H, BATTERY: -1.0 / S_PER_H}
    label = "walking time on the batteries, all parts at rated power"
    row = _row(spec, "batteries", label, terms, "h", 1.0 / S_PER_H, 0.0)
    return [replace(row, value=spec.value)]


def _elsewhere(spec: LimitSpec, setting: Setting) -> list[LimitRow]:
    """No rows: a limit on single sites (`wear_sites`), a soft one, or a figure others use."""
    return []


#: Limit kind -> the rows it makes.
LIMITS: dict[str, Maker] = {
    "segment_mass": _segment_mass,
    "device_mass": _device_mass,
    "left_right_mass": _left_right_mass,
    "left_right_swing_inertia": _left_right_swing_inertia,
    "sites_in_use": _sites_in_use,
    "walking_time": _walking_time,
    "donning_steps": wear_rows.donning_steps,
    "trunk_offset": wear_rows.trunk_offset,
    "com_shift": wear_rows.com_shift,
    "belt_hard": wear_rows.belt_hard,
    **dict.fromkeys(
        (
            "belt_soft",
            "belt_points",
            "contact_sustained",
            "contact_peak",
            "contact_factor",
            "protrusion",
            "protrusion_soft",
            "protrusion_points",
            "keep_out",
        ),
        _elsewhere,
    ),
}


def words(key: tuple[str, str]) -> str:
    """("thigh", "left") -> "the left thigh"."""
    return f"the {key[1]} {key[0]}" if key[1] in SIDES else f"the {key[0]}"


def limit_rows(setting: Setting) -> tuple[LimitRow, ...]:
    """All rows of the study's limits, in the order written."""
    return tuple(row for spec in setting.study.limits for row in LIMITS[spec.kind](spec, setting))
