"""Checking a wearer as written: tables by name, measurements, and which values are possible."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from difflib import get_close_matches
from math import isfinite

from optimizer.body.anthropometry import (
    DEFAULT_LENGTHS,
    INERTIA_TABLES,
    LENGTH_TABLES,
    InertiaTable,
    LengthTable,
    inertia_table,
    length_table,
)
from optimizer.body.girth import GIRTH_NAMES, default_girths
from optimizer.errors import Flaw, InputError, Origin
from optimizer.study.model import LEG_SEGMENTS, WearerSpec

_LENGTHS = (
    "thigh_length_m",
    "shank_length_m",
    "foot_length_m",
    "trunk_length_m",
    "ankle_height_m",
)
_MASSES = ("trunk_mass_kg", "thigh_mass_kg", "shank_mass_kg", "foot_mass_kg")
#: Measurement name -> unit. Lengths: thigh hip to knee joint centre, shank knee to ankle joint
#: centre, foot heel to toe tip, trunk hips to suprasternale, ankle height sole to ankle joint
#: centre, hip width over the hips; masses are of one segment of one side. Breadths and girths:
#: `optimizer.body.girth`.
MEASUREMENTS: dict[str, str] = {
    name: name.rsplit("_", 1)[1]
    for name in (*_LENGTHS, "inter_asis_distance_m", *_MASSES, *GIRTH_NAMES)
}
# A measured value this many times the table's or more is a slip of the pen or of the unit; a
# judgement, wide enough for wasted and for very muscular limbs. Masses vary with the cube.
_WIDEST_LENGTH = 2.0
_WIDEST_MASS = 4.0
#: Unit -> the one people measure in, in which flaws are told, and how many make one of it.
_TYPED = {"m": ("mm", 1e3)}


def at(origin: Origin, key: str) -> Origin:
    """Where `key` of the wearer was written: the wearer's own place with the key added."""
    return replace(origin, column=f"{origin.column or 'wearer'}.{key}")


def nearest(name: str, valid: Mapping[str, object]) -> str | None:
    """The valid name most like `name`, None if none is."""
    return next(iter(get_close_matches(name, list(valid), n=1, cutoff=0.5)), None)


def measurement_flaws(
    measured: Mapping[str, float], table: Mapping[str, float], origin: Origin
) -> list[Flaw]:
    """Everything wrong with `measured`, given the table's values by the same names.

    Unknown names, numbers that are not positive and finite, and values beyond half or twice the
    table's (a quarter or four times, for a mass).
    """
    flaws = []
    for name, value in measured.items():
        where = at(origin, f"measured.{name}")
        if name not in MEASUREMENTS:
            expected = "one of " + ", ".join(MEASUREMENTS)
            near = nearest(name, MEASUREMENTS)
            flaws.append(Flaw(where, f"measurement {name!r}", expected, near))
            continue
        unit = MEASUREMENTS[name]
        if not isfinite(value) or value <= 0.0:
            flaws.append(Flaw(where, f"{value}", f"a positive number [{unit}]"))
        elif name in table:
            shown, per_si = _TYPED.get(unit, (unit, 1.0))
            widest = _WIDEST_MASS if unit == "kg" else _WIDEST_LENGTH
            low, high = table[name] / widest, table[name] * widest
            if not low <= value <= high:
                flaws.append(
                    Flaw(
                        where,
                        f"{value * per_si:g} {shown}",
                        f"{low * per_si:.3g} to {high * per_si:.3g} {shown} "
                        f"(the table gives {table[name] * per_si:.3g})",
                    )
                )
    return flaws


def choose_tables(spec: WearerSpec) -> tuple[InertiaTable, LengthTable]:
    """Inertia and length table of `spec`, after every check that does not need them.

    Raises
    ------
    InputError
        Sex, stature, mass or a table's name cannot be used.
    """
    flaws = []
    if spec.sex not in ("female", "male"):
        flaws.append(Flaw(at(spec.origin, "sex"), repr(spec.sex), "female or male"))
    for key, value, unit, low, high in (
        ("stature_m", spec.stature_m * 1e3, "mm", 1000.0, 2500.0),
        ("mass_kg", spec.mass_kg, "kg", 20.0, 300.0),
    ):
        if not (isfinite(value) and low <= value <= high):
            expected = f"{low:g} to {high:g} {unit}"
            flaws.append(Flaw(at(spec.origin, key), f"{value:g} {unit}", expected))
    for key, name, valid in (
        ("inertia_table", spec.inertia_table, INERTIA_TABLES),
        ("length_table", spec.length_table, LENGTH_TABLES),
    ):
        if name is not None and name not in valid:
            expected = "one of " + ", ".join(valid)
            flaws.append(Flaw(at(spec.origin, key), repr(name), expected, nearest(name, valid)))
    if flaws:
        raise InputError(flaws)
    length_name = spec.length_table or DEFAULT_LENGTHS[spec.inertia_table]
    return inertia_table(spec.inertia_table, spec.sex), length_table(length_name, spec.sex)


def table_values(spec: WearerSpec, inertia: InertiaTable, lengths: LengthTable) -> dict[str, float]:
    """What the tables say for this wearer, by measurement name."""
    values = {f"{s}_mass_kg": p.mass_fraction * spec.mass_kg for s, p in inertia.segments.items()}
    for name, fraction in lengths.over_stature.items():
        suffix = "m" if name == "ankle_height" else "length_m"
        if name != "hip_width":  # the one over the soft tissue comes with the girths
            values[f"{name}_{suffix}"] = fraction * spec.stature_m
    return values | default_girths(spec.sex, spec.stature_m, spec.mass_kg)


def whole_body_flaws(spec: WearerSpec, measured: dict[str, float]) -> list[Flaw]:
    """Measured parts that together exceed the wearer; only looked at if something is measured."""
    legs = sum(measured[f"{s}_mass_kg"] for s in LEG_SEGMENTS)
    mass = measured["trunk_mass_kg"] + 2.0 * legs
    height = measured["ankle_height_m"] + sum(
        measured[f"{s}_length_m"] for s in ("thigh", "shank", "trunk")
    )
    where = at(spec.origin, "measured")
    flaws = []
    if mass > spec.mass_kg and spec.measured:
        found = f"trunk and legs of {mass:.4g} kg together"
        flaws.append(Flaw(where, found, f"no more than the body mass, {spec.mass_kg:g} kg"))
    if height > spec.stature_m and spec.measured:
        found = f"legs and trunk of {height * 1e3:.4g} mm together"
        flaws.append(Flaw(where, found, f"no more than the stature, {spec.stature_m * 1e3:g} mm"))
    asis = spec.measured.get("inter_asis_distance_m", 0.0)
    if asis > measured["hip_width_m"]:
        expected = f"no more than the hip width, {measured['hip_width_m'] * 1e3:.3g} mm"
        place = at(spec.origin, "measured.inter_asis_distance_m")
        flaws.append(Flaw(place, f"{asis * 1e3:g} mm", expected))
    return flaws
