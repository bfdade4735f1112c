"""Mass and penalty by segment, with a small bar beside each number."""

from __future__ import annotations

from dataclasses import dataclass

from rich.console import Group

from optimizer.assess.result import Assessment
from optimizer.views.quantity import column, grams
from optimizer.views.table import Bar, Cell, Column, section, table
from optimizer.views.words import Words, segment_words

_ORDER = ("trunk", "thigh", "shank", "foot")


@dataclass(frozen=True, slots=True)
class SegmentRow:
    """What one segment carries and what that costs; `name` as in `Assessment.mass_kg`."""

    name: str
    words: str
    mass_kg: float
    metabolic_w: float


def segment_rows(assessment: Assessment) -> tuple[SegmentRow, ...]:
    """The segments that carry something, vest first, foot last, left before right."""
    watts = assessment.metabolic_w_by_segment
    names = sorted(
        (name for name, mass in assessment.mass_kg.items() if mass > 0.0 and name in watts),
        key=lambda name: (_ORDER.index(name.partition(".")[0]), name),
    )
    return tuple(
        SegmentRow(
            name,
            segment_words(name.partition(".")[0], name.partition(".")[2] or "centre"),
            assessment.mass_kg[name],
            watts[name],
        )
        for name in names
    )


def segment_bars(assessment: Assessment) -> Group | None:
    """A section with a row per loaded segment; None where the split is not known."""
    rows = segment_rows(assessment)
    if not rows:
        return None
    most_kg = max(row.mass_kg for row in rows)
    most_w = max(row.metabolic_w for row in rows) or 1.0
    mass = grams([row.mass_kg for row in rows])
    watts = column([row.metabolic_w for row in rows], 2, 4)
    cells: list[list[Cell] | None] = [
        [
            Words(row.words),
            mass[i],
            Bar(row.mass_kg / most_kg),
            watts[i],
            Bar(row.metabolic_w / most_w),
        ]
        for i, row in enumerate(rows)
    ]
    columns = (
        Column("segment", words=True),
        Column("mass", "g"),
        Column("", words=True),
        Column("costs", "W"),
        Column("", words=True),
    )
    return section("What each segment carries and costs", table(columns, cells))
