"""A layout as somebody wrote it, CSV or JSON, before its names are looked up.

CSV of parts: columns `part` (or `unit`, for one copy: `valve#2`) and `site`; `model` where a part
has several; `measured_mass_g` if it was weighed. CSV of lines: column `line`; `option`, `route`
(nodes separated by blanks or `>`) and `measured_length_mm` as far as known. JSON: what `limbtrim
place --json` or `weigh --json` wrote. Further columns and keys are kept out of the way.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from optimizer.errors import Flaw, Origin
from optimizer.study.cautions import column_cautions
from optimizer.study.cells import Number, Text
from optimizer.study.files import display, read_text
from optimizer.study.tables import RowSchema, TableFormat, parse_rows, read_table
from optimizer.study.units import G_PER_KG, MM_PER_M
from optimizer.study.words import quoted

LAYOUT = "a layout: the JSON of `place`, or a parts table (CSV) with the columns part and site"


@dataclass(frozen=True, slots=True)
class PartRecord:
    """One part's place as written; `unit` and `part` as far as given."""

    unit: str
    part: str
    model: str
    site: str
    measured_mass_kg: float | None
    origins: tuple[Origin, Origin, Origin]
    """Where name, model and site were written."""


@dataclass(frozen=True, slots=True)
class LineRecord:
    """One line's run as written; `route` None where nothing was said."""

    line: str
    option: str
    route: tuple[str, ...] | None
    measured_length_m: float | None
    origins: tuple[Origin, Origin, Origin]
    """Where name, option and route were written."""


@dataclass(frozen=True, slots=True)
class BallastRecord:
    """Plain ballast in a site, as written."""

    site: str
    mass_kg: float
    origin: Origin


class _PartRow(RowSchema):
    unit: Annotated[str, Text("a unit's name", optional=True)]
    part: Annotated[str, Text("a part's name", optional=True)]
    model: Annotated[str, Text("a model's name", optional=True)]
    site: Annotated[str, Text("a site's name")]
    measured_mass_g: Annotated[float | None, Number("g", above=0, optional=True)]


class _LineRow(RowSchema):
    line: Annotated[str, Text("a line's name")]
    option: Annotated[str, Text("an option's name", optional=True)]
    route: Annotated[str, Text("a route", optional=True)]
    measured_length_mm: Annotated[float | None, Number("mm", above=0, optional=True)]


_PARTS = TableFormat("layout", tuple(_PartRow.model_fields), ("site",), ("part", "unit"))
_LINES = TableFormat("lines", tuple(_LineRow.model_fields), ("line",))


def read_parts_table(
    text: str, file: str, flaws: list[Flaw], cautions: list[str]
) -> list[PartRecord] | None:
    """The places in a CSV; None where its header is unusable. Likely slips go to `cautions`."""
    table = read_table(text, file, _PARTS, flaws)
    if table is None:
        return None
    cautions += column_cautions(table)
    records = []
    for row, values in parse_rows(table, _PartRow, flaws):
        # of a row with a flaw the names are looked up all the same, so that all flaws are told
        unit, part = row.get("unit"), row.get("part")
        if not unit and not part:
            if {"unit", "part"} & set(table.columns):
                flaws.append(Flaw(table.origin(row, "part"), "an empty cell", "a part's name"))
            continue
        grams = None if values is None else values.measured_mass_g
        records.append(
            PartRecord(
                unit=unit,
                part=part,
                model=row.get("model"),
                site=row.get("site"),
                measured_mass_kg=None if grams is None else grams / G_PER_KG,
                origins=(
                    table.origin(row, "unit" if unit else "part"),
                    table.origin(row, "model"),
                    table.origin(row, "site"),
                ),
            )
        )
    return records


def read_lines_table(
    path: Path, flaws: list[Flaw], cautions: list[str], option: str = "--lines"
) -> list[LineRecord]:
    """The runs in a CSV of lines; likely slips go to `cautions`, no file is `option`'s fault."""
    file = display(path)
    text = read_text(path, Origin(option), "a lines table (CSV) with a column line", flaws)
    table = None if text is None else read_table(text, file, _LINES, flaws)
    if table is None:
        return []
    cautions += column_cautions(table)
    records = []
    for row, values in parse_rows(table, _LineRow, flaws):
        if not row.get("line"):
            continue  # said already
        millimetres = None if values is None else values.measured_length_mm
        nodes = tuple(row.get("route").replace(">", " ").split())
        records.append(
            LineRecord(
                line=row.get("line"),
                option=row.get("option"),
                route=nodes or None,
                measured_length_m=None if millimetres is None else millimetres / MM_PER_M,
                origins=(
                    table.origin(row, "line"),
                    table.origin(row, "option"),
                    table.origin(row, "route"),
                ),
            )
        )
    return records


#: Kind of error -> what is expected, where pydantic's own words are about Python.
_IN_WORDS = {
    "missing": "this key",
    "model_type": "keys and values, { ... }",
    "model_attributes_type": "keys and values, { ... }",
    "list_type": "a list, [ ... ]",
    "string_type": "a text in quotation marks",
    "float_type": "a number",
    "int_type": "a whole number",
    "greater_than": "a number greater than 0",
    "greater_than_equal": "a number not below 0",
}


class _Loose(BaseModel):
    model_config = ConfigDict(extra="ignore", strict=True)


class _JsonPart(_Loose):
    unit: str
    model: str = ""
    site: str
    measured_mass_kg: Annotated[float | None, Field(gt=0, le=1e6)] = None


class _JsonLine(_Loose):
    line: str
    option: str = ""
    route: list[str] | None = None
    measured_length_m: Annotated[float | None, Field(gt=0, le=1e6)] = None


class _JsonBallast(_Loose):
    site: str
    mass_kg: Annotated[float, Field(ge=0, le=1e6)]


class _JsonLayout(_Loose):
    parts: list[_JsonPart]
    lines: list[_JsonLine] = []
    ballast: list[_JsonBallast] = []
    rank: int | None = None


def read_json(
    text: str, file: str, rank: int, flaws: list[Flaw]
) -> tuple[list[PartRecord], list[LineRecord], list[BallastRecord]] | None:
    """The layout of the wanted rank in a document of `place` or `weigh`."""
    try:
        document = json.loads(text)
    except (ValueError, RecursionError) as error:
        row = getattr(error, "lineno", None)
        flaws.append(Flaw(Origin(file, row), f"no valid JSON ({error})", LAYOUT))
        return None
    chosen = _choose(document, file, rank, flaws)
    if chosen is None:
        return None
    where, raw = chosen
    try:
        layout = _JsonLayout.model_validate(raw)
    except ValidationError as error:
        for item in error.errors(include_url=False):
            kind = str(item["type"])
            key = where + "".join(f"[{s}]" if isinstance(s, int) else f".{s}" for s in item["loc"])
            found = "nothing" if kind == "missing" else quoted(item["input"])
            message = item["msg"].removeprefix("Input should be ").rstrip(".")
            expected = _IN_WORDS.get(kind, message)
            flaws.append(Flaw(Origin(file, None, key), found, expected))
        return None

    def at(kind: str, i: int, *keys: str) -> tuple[Origin, Origin, Origin]:
        a, b, c = (Origin(file, None, f"{where}.{kind}[{i}].{key}") for key in keys)
        return a, b, c

    parts = [
        PartRecord(
            p.unit, "", p.model, p.site, p.measured_mass_kg, at("parts", i, "unit", "model", "site")
        )
        for i, p in enumerate(layout.parts)
    ]
    lines = [
        LineRecord(
            n.line,
            n.option,
            None if n.route is None else tuple(n.route),
            n.measured_length_m,
            at("lines", i, "line", "option", "route"),
        )
        for i, n in enumerate(layout.lines)
    ]
    ballast = [
        BallastRecord(b.site, b.mass_kg, Origin(file, None, f"{where}.ballast[{i}].site"))
        for i, b in enumerate(layout.ballast)
    ]
    return parts, lines, ballast


def _choose(document: Any, file: str, rank: int, flaws: list[Flaw]) -> tuple[str, Any] | None:
    """Where in the document the layout of a rank stands, and the layout."""
    if isinstance(document, dict) and isinstance(document.get("layout"), dict):
        return "layout", document["layout"]
    layouts = document.get("layouts") if isinstance(document, dict) else None
    if not isinstance(layouts, list) or not layouts:
        schema = document.get("schema") if isinstance(document, dict) else None
        found = f"a document of schema {quoted(schema)}" if schema else "JSON without layouts"
        flaws.append(Flaw(Origin(file), found, LAYOUT))
        return None
    before = len(flaws)
    for i, layout in enumerate(layouts):
        where = f"layouts[{i}]"
        if not isinstance(layout, dict):
            flaws.append(Flaw(Origin(file, None, where), quoted(layout), "a layout, { ... }"))
        elif type(layout.get("rank", 1)) is not int:
            found = quoted(layout["rank"])
            flaws.append(Flaw(Origin(file, None, f"{where}.rank"), found, "a whole number"))
    if len(flaws) > before:
        return None
    for i, layout in enumerate(layouts):
        if layout.get("rank", i + 1) == rank:
            return f"layouts[{i}]", layout
    flaws.append(Flaw(Origin("--rank"), str(rank), f"a rank from 1 to {len(layouts)} of {file}"))
    return None
