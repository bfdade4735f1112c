"""The `[limits]` of a study: every key in one table, so that a new limit is one line here.

A limit set to `false` is switched off, as if it were not written.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from pydantic_core import PydanticCustomError

from optimizer.body.wear_defaults import recommended
from optimizer.errors import Flaw, Origin
from optimizer.study.cells import Flag, Quantity
from optimizer.study.model import LimitSpec
from optimizer.study.units import CM_PER_M, G_PER_KG, KPA_PER_PA, MM_PER_M, S_PER_H
from optimizer.study.words import choice_of, nearest, quoted


@dataclass(frozen=True)
class LimitKey:
    """A key of `[limits]`: its kind downstream, its range as written, units per SI unit.

    `subjects` are the keys of a limit that is a table of its own, one limit for each.
    Percentages stay percentages.
    """

    kind: str
    value: Quantity
    per_si: float = 1.0
    subjects: tuple[str, ...] = ()


_MASS = Quantity("g", above=0)
_LENGTH = Quantity("mm", above=0)
_PRESSURE = Quantity("kPa", above=0)
_SEGMENTS = ("trunk", "thigh", "shank", "foot")

#: Key as written, unit included -> what it means.
LIMIT_KEYS: Mapping[str, LimitKey] = {
    "device_mass_g": LimitKey("device_mass", _MASS, G_PER_KG),
    "sites_in_use": LimitKey("sites_in_use", Quantity(least=1, most=1000, whole=True)),
    "walking_time_h": LimitKey("walking_time", Quantity("h", above=0, most=1000), 1.0 / S_PER_H),
    "left_right_mass_g": LimitKey("left_right_mass", Quantity("g", least=0), G_PER_KG),
    "left_right_swing_inertia_pct": LimitKey("left_right_swing_inertia", Quantity("%", least=0)),
    "segment_mass_g": LimitKey("segment_mass", _MASS, G_PER_KG, _SEGMENTS),
    "trunk_offset_mm": LimitKey("trunk_offset", _LENGTH, MM_PER_M, ("fore_aft", "lateral")),
    "com_shift_mm": LimitKey("com_shift", _LENGTH, MM_PER_M, ("fore_aft", "lateral", "vertical")),
    "belt_hard_g": LimitKey("belt_hard", _MASS, G_PER_KG),
    "belt_soft_g": LimitKey("belt_soft", _MASS, G_PER_KG),
    "belt_points_per_kg": LimitKey("belt_points", Quantity("points/kg", least=0)),
    "contact_sustained_kpa": LimitKey("contact_sustained", _PRESSURE, KPA_PER_PA),
    "contact_peak_kpa": LimitKey("contact_peak", _PRESSURE, KPA_PER_PA),
    "contact_factor": LimitKey("contact_factor", Quantity(least=1, most=100), 1.0, _SEGMENTS),
    "protrusion_mm": LimitKey("protrusion", _LENGTH, MM_PER_M),
    "protrusion_soft_mm": LimitKey("protrusion_soft", _LENGTH, MM_PER_M),
    "protrusion_points_per_cm": LimitKey(
        "protrusion_points", Quantity("points/cm", least=0), 1.0 / CM_PER_M
    ),
    "donning_steps": LimitKey("donning_steps", Quantity(least=1, most=1000, whole=True)),
}
#: Limits that are either on (true) or off (false).
LIMIT_FLAGS: Mapping[str, str] = {"keep_out_places": "keep_out"}
#: Kinds that are no limits themselves but figures other limits are made with.
PARAMETERS: frozenset[str] = frozenset({"belt_points", "contact_factor", "protrusion_points"})
#: `defaults = true` brings in the recommended limits that are not written, and not set to false.
DEFAULTS = "defaults"


def limit_paths() -> list[str]:
    """Dotted paths of all limits, "limits.segment_mass_g.thigh" among them."""
    return [f"limits.{key}" for key in (DEFAULTS, *LIMIT_FLAGS)] + [
        f"limits.{key}{f'.{subject}' if subject else ''}"
        for key, limit in LIMIT_KEYS.items()
        for subject in limit.subjects or ("",)
    ]


def make_limits(
    written: Mapping[str, object],
    locate: Callable[[str], Origin],
    flaws: list[Flaw],
    sex: str = "male",
) -> tuple[LimitSpec, ...]:
    """The limits of a study's `[limits]`; `locate` tells where a dotted key was written.

    `sex` is the wearer's, for the recommended limits.
    """
    limits: list[LimitSpec] = []
    known = (*LIMIT_KEYS, *LIMIT_FLAGS, DEFAULTS)
    for key, value in written.items():
        path = f"limits.{key}"
        limit = LIMIT_KEYS.get(key)
        if key in LIMIT_FLAGS or key == DEFAULTS:
            if _flag(value, locate(path), flaws) and key in LIMIT_FLAGS:
                limits.append(LimitSpec(LIMIT_FLAGS[key], "", 1.0, locate(path)))
        elif limit is None:
            expected = f"a limit: {choice_of(known)}"
            found = f"an unknown key {quoted(key)}"
            flaws.append(Flaw(locate(path), found, expected, nearest(key, known)))
        elif not limit.subjects:
            limits += _limit(limit, "", value, locate(path), flaws)
        elif not isinstance(value, Mapping):
            expected = f"a table of keys {choice_of(limit.subjects)}, under [limits.{key}]"
            flaws.append(Flaw(locate(path), quoted(value), expected))
        else:
            for subject, amount in value.items():
                origin = locate(f"{path}.{subject}")
                if subject in limit.subjects:
                    limits += _limit(limit, subject, amount, origin, flaws)
                else:
                    near = nearest(subject, limit.subjects)
                    found = f"an unknown key {quoted(subject)}"
                    flaws.append(Flaw(origin, found, choice_of(limit.subjects), near))
    if written.get(DEFAULTS) is True:
        limits += _recommended(written, locate(f"limits.{DEFAULTS}"), sex)
    return tuple(limits)


def _recommended(written: Mapping[str, object], origin: Origin, sex: str) -> list[LimitSpec]:
    """The recommended limits the study says nothing of."""
    limits = []
    for row in recommended(sex):
        if row.key in written or row.value is None:
            continue
        if row.key in LIMIT_FLAGS:
            limits.append(LimitSpec(LIMIT_FLAGS[row.key], "", 1.0, origin))
        elif (limit := LIMIT_KEYS.get(row.key)) is not None and limit.kind not in PARAMETERS:
            value = row.value / limit.per_si
            limits.append(LimitSpec(limit.kind, row.subject, value, origin))
    return limits


def _flag(value: object, origin: Origin, flaws: list[Flaw]) -> bool:
    try:
        return Flag().check(value)
    except PydanticCustomError as error:
        context = error.context or {}
        flaws.append(Flaw(origin, context["found"], context["expected"], context.get("nearest")))
        return False


def _limit(
    limit: LimitKey, subject: str, value: object, origin: Origin, flaws: list[Flaw]
) -> list[LimitSpec]:
    if value is False:
        return []
    try:
        number = limit.value.check(value)
    except PydanticCustomError as error:
        context = error.context or {}
        expected = f"{context['expected']}; or false for no limit"
        flaws.append(Flaw(origin, context["found"], expected, context.get("nearest")))
        return []
    assert number is not None
    return [LimitSpec(limit.kind, subject, number / limit.per_si, origin)]
