"""The `[limits]` of a study: every key in one table, so that a new limit is one line here.

A limit set to `false` is switched off, as if it were not written.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from pydantic_core import PydanticCustomError

from optimizer.errors import Flaw, Origin
from optimizer.study.cells import Quantity
from optimizer.study.model import LimitSpec
from optimizer.study.units import G_PER_KG
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

#: Key as written, unit included -> what it means.
LIMIT_KEYS: Mapping[str, LimitKey] = {
    "device_mass_g": LimitKey("device_mass", _MASS, G_PER_KG),
    "sites_in_use": LimitKey("sites_in_use", Quantity(least=1, most=1000, whole=True)),
    "left_right_mass_g": LimitKey("left_right_mass", Quantity("g", least=0), G_PER_KG),
    "left_right_swing_inertia_pct": LimitKey("left_right_swing_inertia", Quantity("%", least=0)),
    "segment_mass_g": LimitKey(
        "segment_mass", _MASS, G_PER_KG, ("trunk", "thigh", "shank", "foot")
    ),
}


def limit_paths() -> list[str]:
    """Dotted paths of all limits, "limits.segment_mass_g.thigh" among them."""
    return [
        f"limits.{key}{f'.{subject}' if subject else ''}"
        for key, limit in LIMIT_KEYS.items()
        for subject in limit.subjects or ("",)
    ]


def make_limits(
    written: Mapping[str, object], locate: Callable[[str], Origin], flaws: list[Flaw]
) -> tuple[LimitSpec, ...]:
    """The limits of a study's `[limits]`; `locate` tells where a dotted key was written."""
    limits: list[LimitSpec] = []
    for key, value in written.items():
        path = f"limits.{key}"
        limit = LIMIT_KEYS.get(key)
        if limit is None:
            expected = f"a limit: {choice_of(LIMIT_KEYS)}"
            found = f"an unknown key {quoted(key)}"
            flaws.append(Flaw(locate(path), found, expected, nearest(key, LIMIT_KEYS)))
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
    return tuple(limits)


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
