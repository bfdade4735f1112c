"""Recommended wearability limits: `data/wearability_defaults.csv`, each with its source.

A row with a value and `recommended` comes in with `[limits] defaults = true`. Rows without a value
say that no published limit was found, so that a designer who wants one must set it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from optimizer.body.tables import read_table


@dataclass(frozen=True, slots=True)
class WearDefault:
    """One recommended value, in `unit` as a study writes it; None where there is none."""

    key: str
    subject: str
    sex: str
    value: float | None
    unit: str
    recommended: bool
    source: str
    provenance: str


@cache
def wearability_defaults() -> tuple[WearDefault, ...]:
    """Every row of the table, in its order."""
    return tuple(
        WearDefault(
            row["key"],
            row["subject"],
            row["sex"],
            float(row["value"]) if row["value"] else None,
            row["unit"],
            row["recommended"] == "yes",
            row["source"],
            row["provenance"],
        )
        for row in read_table("wearability_defaults.csv")
    )


def recommended(sex: str) -> tuple[WearDefault, ...]:
    """The rows that `[limits] defaults = true` brings in for a wearer of this sex."""
    return tuple(
        row
        for row in wearability_defaults()
        if row.recommended and row.value is not None and row.sex in ("any", sex)
    )


def default_value(key: str, subject: str = "", sex: str = "male") -> float:
    """The recommended value of a key, in the unit a study writes it in.

    Raises
    ------
    KeyError
        If none is recommended.
    """
    for row in recommended(sex):
        if (row.key, row.subject) == (key, subject) and row.value is not None:
            return row.value
    raise KeyError((key, subject))
