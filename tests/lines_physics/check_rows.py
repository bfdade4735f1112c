"""The check values about lines, with the source of each."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

_FILE = Path(__file__).resolve().parents[1] / "data" / "check_lines.csv"


@dataclass(frozen=True)
class CheckRow:
    """`value` is computed independently, `published` the printed number within half a digit."""

    id: str
    description: str
    value: float | None
    rel_tol: float | None
    published: float | None
    published_tol: float | None
    source: str


def check_rows() -> list[CheckRow]:
    """Every row of tests/data/check_lines.csv."""

    def cell(text: str) -> float | None:
        return float(text) if text else None

    with _FILE.open(encoding="utf-8", newline="") as file:
        return [
            CheckRow(
                row["id"],
                row["description"],
                cell(row["value"]),
                cell(row["rel_tol"]),
                cell(row["published"]),
                cell(row["published_tol"]),
                row["source"],
            )
            for row in csv.DictReader(file)
        ]
