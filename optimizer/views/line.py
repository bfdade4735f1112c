"""One line's response against its length: a column for every way of making it, limits marked."""

from __future__ import annotations

from collections.abc import Sequence
from math import degrees, isnan
from typing import Any

from rich.console import Console, Group
from rich.text import Text

from optimizer.assess.figures import JUDGED, Judged
from optimizer.assess.line_response import LineResponse, WayResponse
from optimizer.study.model import Study
from optimizer.views.cautions import LINE_CAUTIONS, cautions_view, warnings_view
from optimizer.views.header import title_words
from optimizer.views.json import head
from optimizer.views.quantity import number
from optimizer.views.table import Cell, Column, is_wide, section, table
from optimizer.views.words import Words, listing

LINE = "limbtrim.line/1"
#: Columns of figures beside the lengths, by room.
_AT_ONCE, _AT_ONCE_WIDE = 4, 8


def response_page(study: Study, found: LineResponse, console: Console) -> Group:
    """Tables of every budget of the line, the ways of making it side by side."""
    wide = is_wide(console)
    blocks: list[Group | Words | Text] = [
        Words(title_words(study), "head"),
        Words(_what(found)),
        Text(""),
        section("Longest", _limits_table(found)),
    ]
    room = _AT_ONCE_WIDE if wide else _AT_ONCE
    for judged in found.judged:
        ways = [
            (i, way)
            for i, way in enumerate(found.ways, start=1)
            if f"{judged.name}_{judged.suffix}" in way.figures
        ]
        tables = [
            _response_table(found, judged, ways[k : k + room]) for k in range(0, len(ways), room)
        ]
        of_what = "bend" if found.bends_rad else "length"
        title = f"{judged.words.capitalize()} against {of_what}, {judged.unit}"
        blocks.append(section(title, *_spaced(tables), Words(_mark(judged, found), "quiet")))
    if not found.judged:
        blocks.append(
            Words("Nothing is asked of this line that depends on its length; see the columns "
                  f"{listing([judged.column for judged in JUDGED])}.")
        )  # fmt: skip
    warned = warnings_view(study.warnings)
    blocks += [warned] if warned is not None else []
    return Group(*blocks, cautions_view(LINE_CAUTIONS))


def _what(found: LineResponse) -> str:
    text = f"{found.line}, {found.kind.replace('_', ' ')} from {found.part_a} to {found.part_b}"
    if found.routes_m is not None:
        low, high = (number(m * 1e3, 0) for m in found.routes_m)
        text += f"; its ends may be {low} to {high} mm of line apart on this wearer"
    return text + "."


def _limits_table(found: LineResponse) -> Group:
    columns = [Column("way"), Column("option", words=True)]
    with_models = any(way.models for way in found.ways)
    columns += [Column("model", words=True)] if with_models else []
    columns += [Column("longest", "mm")]
    with_bend = any(way.bend_rad is not None for way in found.ways)
    columns += [Column("bends at most", "deg")] if with_bend else []
    columns += [Column("", words=True)]
    rows: list[list[Cell] | None] = []
    for i, way in enumerate(found.ways, start=1):
        row: list[Cell] = [str(i), Words(way.option)]
        row += [Words(", ".join(way.models))] if with_models else []
        row += [_longest(way)]
        if with_bend:
            row.append("-" if way.bend_rad is None else number(degrees(way.bend_rad), 0))
        row.append(Words(_verdict(way, found), "quiet"))
        rows.append(row)
    return Group(table(columns, rows))


def _longest(way: WayResponse) -> str:
    if way.longest_m is None:
        return "-"
    return "none" if isnan(way.longest_m) else number(way.longest_m * 1e3, 0)


def _verdict(way: WayResponse, found: LineResponse) -> str:
    if way.longest_m is not None and isnan(way.longest_m):
        return "too slow at any length" if found.kind == "air_tube" else "too much at any length"
    if found.routes_m is None or way.longest_m is None:
        return ""
    if way.longest_m < found.routes_m[0]:
        return "reaches no place of its ends"
    if way.longest_m >= found.routes_m[1]:
        return "reaches every place"
    return ""


def _response_table(
    found: LineResponse, judged: Judged, ways: Sequence[tuple[int, WayResponse]]
) -> Group:
    first = Column("bend", "deg") if found.bends_rad else Column("length", "mm")
    columns = [first, *(Column(f"way {i}", _short(way)) for i, way in ways)]
    steps = found.bends_rad or found.lengths_m
    digits = 1 if judged.unit == "ms" else 2
    rows: list[list[Cell] | None] = []
    for k, step in enumerate(steps):
        row: list[Cell] = [number(degrees(step) if found.bends_rad else step * 1e3, 0)]
        for _, way in ways:
            value = way.figures[f"{judged.name}_{judged.suffix}"][k]
            budget = way.budgets.get(judged.kind)
            over = budget is not None and value > budget
            shown = number(value, digits) if value < 1e6 else "never"
            row.append(Text(f"{shown} {'*' if over else ' '}", "bad" if over else ""))
        rows.append(row)
    budgets = [way.budgets.get(judged.kind) for _, way in ways]
    if any(budget is not None for budget in budgets):
        rows.append(None)
        asked = [f"{number(b, digits)}  " if b is not None else "-  " for b in budgets]
        rows.append([Words("asked", "head"), *asked])
        bend = bool(found.bends_rad)
        at = [_at(way.bend_rad if bend else way.longest_m, bend) for _, way in ways]
        rows.append([Words("at", "head"), *at])
    return Group(table(columns, rows))


def _at(value: float | None, bend: bool) -> str:
    if value is None:
        return "-  "
    if isnan(value):
        return "none  "
    return f"{number(degrees(value) if bend else value * 1e3, 0)}  "


def _short(way: WayResponse) -> str:
    return "\n".join([way.option, *way.models])


def _mark(judged: Judged, found: LineResponse) -> str:
    if not any(judged.kind in way.budgets for way in found.ways):
        return "Nothing is asked of it."
    what = "bend" if found.bends_rad else "length"
    note = f"* above what is asked; at: the {what} that just meets everything asked of the line."
    if judged.kind in ("fill_time", "vent_time"):
        note += " Times count the switching of the valve, all air in the tube and extra_cm3."
    if judged.kind == "voltage_drop":
        note += " Copper at 40 degrees Celsius, without plugs and crimps."
    return note


def _spaced(tables: Sequence[Group]) -> list[Group | Text]:
    out: list[Group | Text] = []
    for each in tables:
        out += [each] if not out else [Text(""), each]
    return out


def response_document(study: Study, found: LineResponse) -> dict[str, Any]:
    """The same as JSON: SI lengths; figures bear their unit in their names."""
    return {
        **head(LINE),
        "line": found.line,
        "kind": found.kind,
        "part_a": found.part_a,
        "part_b": found.part_b,
        "lengths_m": list(found.lengths_m),
        "bends_rad": list(found.bends_rad),
        "routes_m": None if found.routes_m is None else list(found.routes_m),
        "ways": [
            {
                "option": way.option,
                "models": list(way.models),
                "possible": way.longest_m is None or not isnan(way.longest_m),
                "max_length_m": way.longest_m,
                "max_bend_rad": way.bend_rad,
                "budgets": dict(way.budgets),
                "figures": {name: list(values) for name, values in way.figures.items()},
            }
            for way in found.ways
        ],
        "warnings": list(study.warnings),
        "cautions": list(LINE_CAUTIONS),
    }
