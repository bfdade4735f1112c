"""Numbers as they are shown: SI inside, g, mm and cm3 in tables, every one with its unit.

The JSON output never passes through here: it carries SI and full precision.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise
from math import ceil, floor, isfinite, log10

#: SI unit -> (shown unit, factor, decimals)
_SHOWN: dict[str, tuple[str, float, int]] = {
    "kg": ("g", 1e3, 0),
    "m": ("mm", 1e3, 0),
    "m2": ("cm2", 1e4, 1),
    "m3": ("cm3", 1e6, 0),
    "Pa": ("kPa", 1e-3, 2),
    "s": ("ms", 1e3, 1),
    "rad": ("deg", 57.29577951308232, 0),
    "W": ("W", 1.0, 2),
    "%": ("%", 1.0, 2),
    "kg m": ("g m", 1e3, 0),
    "kg m2": ("kg m2", 1.0, 4),
    "g": ("g", 1.0, 0),
    "mm": ("mm", 1.0, 0),
    "cm3": ("cm3", 1.0, 0),
    "sites": ("sites", 1.0, 0),
}


def number(value: float | None, decimals: int) -> str:
    """`value` with fixed decimals and no negative zero; "-" when there is none."""
    if value is None or not isfinite(value):
        return "-"
    text = f"{value:.{decimals}f}"
    return text.lstrip("-") if float(text) == 0.0 else text


def cut_mm(length_m: float) -> int:
    """A length to cut, in whole mm and never shorter than it has to be."""
    return ceil(round(length_m * 1e3, 6))  # what arithmetic adds to a whole length is no length


def column(values: Iterable[float | None], decimals: int, most: int) -> list[str]:
    """One column of numbers sharing its decimals.

    Starts at `decimals` and goes up to `most` only as far as a value that is not zero would
    otherwise print as zero.
    """
    listed = list(values)
    real = [v for v in listed if v is not None and isfinite(v) and abs(v) > 1e-12]
    while decimals < most and any(float(number(v, decimals)) == 0.0 for v in real):
        decimals += 1
    return [number(v, decimals) for v in listed]


def distinct_column(values: Iterable[float], decimals: int, most: int) -> list[str]:
    """One column whose different values print differently as far as `most` decimals allow.

    Values closer than 1e-9 (relative) count as the same.
    """
    listed = list(values)
    ordered = sorted(set(listed))
    pairs = [(a, b) for a, b in pairwise(ordered) if b - a > 1e-9 * max(1.0, abs(b))]
    while decimals < most and any(number(a, decimals) == number(b, decimals) for a, b in pairs):
        decimals += 1
    return [number(v, decimals) for v in listed]


def grams(
    values_kg: Iterable[float], sums_kg: Iterable[float] = (), light_g: float = 10.0
) -> list[str]:
    """A column of masses in g: whole grams, or one decimal where a light one is not whole.

    Parameters
    ----------
    sums_kg : further masses of the column, which do not decide its decimals
    light_g : below which a mass is light; inf for what somebody typed or weighed, to show it so
    """
    listed = [v * 1e3 for v in values_kg]
    small = any(abs(v) < light_g and abs(v - round(v)) > 0.05 for v in listed)
    return [number(v, 1 if small else 0) for v in (*listed, *(v * 1e3 for v in sums_kg))]


def shown(values: Sequence[float], unit: str) -> tuple[list[str], str]:
    """Values of one limit and their unit as people read them: kg as g, m as mm, Pa as kPa.

    All get the same decimals: none where every one is whole, else as many as the unit deserves.
    """
    name, factor, decimals = _SHOWN.get(unit, (unit, 1.0, 2))
    scaled = [value * factor for value in values]
    real = [v for v in scaled if isfinite(v)]
    if all(abs(v - round(v)) < 1e-6 * max(1.0, abs(v)) for v in real):
        decimals = 0
    elif decimals == 0 and min(map(abs, real)) < 100.0:
        decimals = 1
    return [number(v, decimals) for v in scaled], name


def small_percent(fraction: float) -> str:
    """A gap as a percentage to two significant digits, rounded up: "0.31 %", "0.0042 %".

    Rounded up because it is said as "at most".
    """
    if not isfinite(fraction):
        return "an unknown share"
    value = 100.0 * fraction
    if value <= 1e-12:
        return "0 %"
    decimals = max(0, 1 - floor(log10(value)))
    step = 10.0**-decimals
    # the small allowance keeps 0.31 from becoming 0.32 by binary arithmetic
    return f"{ceil(value / step - 1e-9) * step:.{decimals}f} %"
