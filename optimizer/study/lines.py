"""Tubes, hoses, cables and wires: their table, and lines with their options made of the rows."""

from __future__ import annotations

from collections.abc import Mapping
from math import inf
from typing import Annotated

from pydantic import Field

from optimizer.errors import Flaw
from optimizer.study.cells import Choice, Name, Number, Text
from optimizer.study.model import LINE_KINDS, Line, LineOption
from optimizer.study.physics_columns import LinePhysicsColumns, line_physics
from optimizer.study.tables import Table, TableFormat, TableRow, own_first, parse_rows
from optimizer.study.units import G_PER_KG, MM_PER_M
from optimizer.study.words import quoted, unknown

STANDARD = "standard"


class LineRow(LinePhysicsColumns):
    """One row of a lines table: a line, or one of the bores or gauges it may be made of."""

    name: Annotated[str, Name("a line's name")]
    option: Annotated[str, Name("an option's name", spaces=True, blank="")]
    kind: Annotated[
        str,
        Choice(LINE_KINDS, aliases=(("air tube", "air_tube"), ("pull-cable", "pull_cable"))),
    ]
    part_a: Annotated[str, Name("a part's name"), Field(alias="from")]
    part_b: Annotated[str, Name("a part's name"), Field(alias="to")]
    size: Annotated[str, Text("a size", optional=True)]
    bore_mm: Annotated[float | None, Number("mm", above=0, optional=True)]
    mass_g_per_m: Annotated[float, Number("g/m", least=0)]
    end_mass_g: Annotated[float, Number("g", least=0, optional=True, blank=0.0)]
    max_length_mm: Annotated[float | None, Number("mm", above=0, optional=True)]
    slack_mm: Annotated[float, Number("mm", least=0, optional=True, blank=0.0)]
    notes: str


LINES = TableFormat(
    "lines",
    own_first(LineRow, LinePhysicsColumns),
    ("name", "kind", "from", "to", "mass_g_per_m"),
)
_AGREEING = {"kind": "kind", "part_a": "from", "part_b": "to", "slack_mm": "slack_mm"}


def make_lines(
    table: Table, part_counts: Mapping[str, int | None] | None, flaws: list[Flaw]
) -> tuple[Line, ...]:
    """The lines of the sound rows.

    `part_counts` holds every part named in the catalog, with its quantity where that is known;
    None where the catalog could not be read, and ends are then not checked.
    """
    groups: dict[str, list[tuple[TableRow, LineRow | None]]] = {}
    for row, values in parse_rows(table, LineRow, flaws):
        groups.setdefault(row.get("name"), []).append((row, values))
    lines: list[Line] = []
    for name, rows in groups.items():
        _check_options(table, rows, flaws)
        for i, (row, values) in enumerate(rows):
            same_ends = i > 0 and _ends(row) == _ends(rows[0][0])
            if not same_ends and part_counts is not None:
                _check_ends(table, row, values, part_counts, flaws)
        sound = [(row, values) for row, values in rows if values is not None]
        if name and len(sound) == len(rows):
            lines.append(_line(table, sound))
    return tuple(lines)


def option_name(row: TableRow) -> str:
    """What an option is called: its option cell, else its size, else "standard"."""
    return row.get("option") or row.get("size") or STANDARD


def _ends(row: TableRow) -> tuple[str, str]:
    return row.get("from"), row.get("to")


def _check_options(
    table: Table, rows: list[tuple[TableRow, LineRow | None]], flaws: list[Flaw]
) -> None:
    """Several rows of one name are its options: names must differ, ends, kind, slack agree."""
    first_row, first = rows[0]
    seen: dict[str, int] = {}
    for row, values in rows:
        if not row.get("name"):
            continue
        option = option_name(row)
        if option in seen:
            what = f"line {quoted(row.get('name'))} with option {quoted(option)} again"
            expected = f"an option name that differs from row {seen[option]}'s"
            flaws.append(Flaw(table.origin(row, "option"), what, expected))
        seen.setdefault(option, row.line)
        if first is None or values is None:
            continue
        for attribute, column in _AGREEING.items():
            mine, theirs = getattr(values, attribute), getattr(first, attribute)
            if mine != theirs:
                text = f"{theirs:g}" if isinstance(theirs, float) else quoted(theirs)
                expected = f"{text}, as for this line in row {first_row.line}"
                found = quoted(row.get(column)) if row.get(column) else "an empty cell"
                flaws.append(Flaw(table.origin(row, column), found, expected))


def _check_ends(
    table: Table,
    row: TableRow,
    values: LineRow | None,
    part_counts: Mapping[str, int | None],
    flaws: list[Flaw],
) -> None:
    a, b = _ends(row)
    for column, name in (("from", a), ("to", b)):
        if name and name not in part_counts:
            flaws.append(unknown(table.origin(row, column), name, "a part", part_counts))
    if a and a == b:
        flaws.append(Flaw(table.origin(row, "to"), f"{quoted(b)} at both ends", "another part"))
    count_a, count_b = part_counts.get(a), part_counts.get(b)
    if count_a and count_b and count_a > 1 and count_b > 1 and count_a != count_b:
        flaws.append(
            Flaw(
                table.origin(row, "to"),
                f"a line from {count_a} x {a} to {count_b} x {b}",
                "equal quantities at both ends, or quantity 1 at one of them",
            )
        )


def _line(table: Table, rows: list[tuple[TableRow, LineRow]]) -> Line:
    row, first = rows[0]
    return Line(
        name=first.name,
        kind=first.kind,
        part_a=first.part_a,
        part_b=first.part_b,
        slack_m=first.slack_mm / MM_PER_M,
        options=tuple(_option(table, r, v) for r, v in rows),
        origin=table.origin(row),
    )


def _option(table: Table, row: TableRow, values: LineRow) -> LineOption:
    return LineOption(
        name=option_name(row),
        size=values.size,
        bore_m=None if values.bore_mm is None else values.bore_mm / MM_PER_M,
        mass_kg_per_m=values.mass_g_per_m / G_PER_KG,
        end_mass_kg=values.end_mass_g / G_PER_KG,
        max_length_m=inf if values.max_length_mm is None else values.max_length_mm / MM_PER_M,
        origin=table.origin(row),
        extra=table.extra(row),
        physics=line_physics(values),
    )
