"""Reads the published tables of tubes, wires, cables and fluids from the data folder."""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path
from types import MappingProxyType

Row = MappingProxyType[str, str]

_DATA = Path(__file__).resolve().parent.parent / "data"


@cache
def read_table(name: str) -> tuple[Row, ...]:
    """Rows of `optimizer/data/<name>.csv` as read-only mappings from column name to text."""
    with (_DATA / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return tuple(MappingProxyType(row) for row in csv.DictReader(file))


def number(text: str) -> float | None:
    """A cell as a number, None for an empty one."""
    return float(text) if text.strip() else None
