"""What can be measured on a wearer in place of the table's value, and which values are possible."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from difflib import get_close_matches
from math import isfinite

from optimizer.body.girth import GIRTH_NAMES
from optimizer.errors import Flaw, Origin

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
            widest = _WIDEST_MASS if unit == "kg" else _WIDEST_LENGTH
            low, high = table[name] / widest, table[name] * widest
            if not low <= value <= high:
                flaws.append(
                    Flaw(
                        where,
                        f"{value:g} {unit}",
                        f"{low:.3g} to {high:.3g} {unit} (the table gives {table[name]:.3g})",
                    )
                )
    return flaws
