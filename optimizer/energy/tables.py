"""The published numbers, read from `optimizer/data`: coefficients, sources, terrain factors."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType

_DATA = Path(__file__).resolve().parent.parent / "data"


@dataclass(frozen=True, slots=True)
class Coefficient:
    """One published number: its value, unit, key of its source and how it was come by."""

    model: str
    name: str
    value: float
    unit: str
    source: str
    provenance: str


@dataclass(frozen=True, slots=True)
class Source:
    """A numbered reference and how far it was read."""

    number: int
    key: str
    citation: str
    provenance: str


@dataclass(frozen=True, slots=True)
class Terrain:
    """A kind of ground and its terrain factor (treadmill = 1)."""

    name: str
    title: str
    factor: float
    source: str
    provenance: str


def read_rows(file_name: str) -> list[dict[str, str]]:
    """Rows of a CSV table of `optimizer/data` as written."""
    with (_DATA / file_name).open(encoding="utf-8", newline="") as table:
        return list(csv.DictReader(table))


@cache
def coefficient_rows() -> tuple[Coefficient, ...]:
    """Every published coefficient of the energy models."""
    return tuple(
        Coefficient(
            model=row["model"],
            name=row["coefficient"],
            value=float(row["value"]),
            unit=row["unit"],
            source=row["source"],
            provenance=row["provenance"],
        )
        for row in read_rows("energy_coefficients.csv")
    )


@cache
def coefficients(model: str) -> Mapping[str, float]:
    """Coefficients of one model by name; raises KeyError for a model without any."""
    found = {row.name: row.value for row in coefficient_rows() if row.model == model}
    if not found:
        raise KeyError(model)
    return MappingProxyType(found)


@cache
def sources() -> Mapping[str, Source]:
    """Numbered references by key."""
    rows = read_rows("energy_sources.csv")
    return MappingProxyType(
        {r["key"]: Source(int(r["number"]), r["key"], r["citation"], r["provenance"]) for r in rows}
    )


@cache
def terrains() -> Mapping[str, Terrain]:
    """Terrain factors by name [5]: second-hand from a textbook's table 5.5.1."""
    return MappingProxyType(
        {
            r["name"]: Terrain(
                r["name"], r["title"], float(r["factor"]), r["source"], r["provenance"]
            )
            for r in read_rows("terrain.csv")
        }
    )
