"""A table of wearers: the supplied percentile bodies, or the user's own.

Columns: name, sex, stature_mm, mass_kg, and where wanted size (of the garment) and measurements by
the keys of a study's `[wearer.measured]`, such as thigh_length_mm.

The supplied table holds the 5th, 50th and 95th percentile of women and men of ANSUR II (2012;
soldiers, 17-58 years), every dimension at its own percentile. Percentiles do not go together: 5 %
of women are lighter than its 5th percentile woman and 5 % are shorter, but hardly anybody is both,
and nobody is at the 5th percentile throughout. They are corners that a garment must serve, not
people, and the true share that lies between them in every dimension is well below 90 %.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated

from optimizer.body.wearer import build_wearer
from optimizer.errors import Flaw, InputError, Origin
from optimizer.study.cautions import column_cautions
from optimizer.study.cells import Choice, Name, Number, Text
from optimizer.study.downstream import measurement_keys
from optimizer.study.files import display, read_text
from optimizer.study.model import WearerSpec
from optimizer.study.numerals import advice, is_number
from optimizer.study.tables import RowSchema, Table, TableFormat, TableRow, parse_rows, read_table
from optimizer.study.words import quoted

PERCENTILES = Path(__file__).resolve().parent.parent / "data" / "ansur_percentile_wearers.csv"
ONE_SIZE = "all"


class WearerRow(RowSchema):
    """One row of a table of wearers."""

    name: Annotated[str, Name("a wearer's name")]
    sex: Annotated[str, Choice(("female", "male"))]
    size: Annotated[str, Text("a size", optional=True)]
    stature_mm: Annotated[float, Number("mm", least=1000, most=2500)]
    mass_kg: Annotated[float, Number("kg", least=20, most=300)]


@dataclass(frozen=True, slots=True)
class Person:
    """One wearer of the crowd and the size of garment they get."""

    name: str
    size: str
    spec: WearerSpec


def read_wearers(
    path: str | Path | None, like: WearerSpec, cautions: list[str] | None = None
) -> tuple[Person, ...]:
    """The wearers of a table; without one the supplied percentile bodies.

    `like` gives what a table does not say: body tables and the affected side. Columns that look
    misspelt are told in `cautions`.

    Raises
    ------
    InputError
        With every flaw of the table.
    """
    flaws: list[Flaw] = []
    where = PERCENTILES if path is None else Path(path)
    origin = Origin(display(where))
    text = read_text(where, origin, "a wearers table (CSV)", flaws)
    known = measurement_keys()
    columns = (*WearerRow.model_fields, *known, "source", "provenance", "notes")
    layout = TableFormat("wearers", columns, ("name", "sex", "stature_mm", "mass_kg"))
    table = None if text is None else read_table(text, display(where), layout, flaws)
    if table is None:
        raise InputError(flaws)
    if cautions is not None:
        cautions += column_cautions(table)
    people: list[Person] = []
    seen: dict[str, int] = {}
    for row, values in parse_rows(table, WearerRow, flaws):
        measured = _measured(table, row, known, flaws)
        if values is None:
            continue
        if values.name in seen:
            found = f"{quoted(values.name)} again, first in row {seen[values.name]}"
            flaws.append(Flaw(table.origin(row, "name"), found, "a name for each wearer"))
        seen.setdefault(values.name, row.line)
        spec = replace(
            like,
            sex=values.sex,  # type: ignore[arg-type]
            stature_m=values.stature_mm / 1e3,
            mass_kg=values.mass_kg,
            measured=measured,
            origin=table.origin(row),
        )
        try:
            build_wearer(spec)
        except InputError as error:
            flaws += (_in_row(flaw, table, row) for flaw in error.flaws)
        people.append(Person(values.name, values.size or ONE_SIZE, spec))
    if not table.rows and not flaws:
        flaws.append(Flaw(origin, "no rows", "one row for each wearer"))
    if flaws:
        raise InputError(flaws)
    return tuple(people)


def _measured(
    table: Table,
    row: TableRow,
    known: dict[str, tuple[str, str, float]],
    flaws: list[Flaw],
) -> dict[str, float]:
    values = {}
    for key, (name, unit, per_si) in known.items():
        text = row.get(key)
        if not text:
            continue
        if not is_number(text) or not 0.0 < float(text) < 1e5:
            expected, near = advice(text, f"a number greater than 0, in {unit}", unit, True)
            flaws.append(Flaw(table.origin(row, key), quoted(text), expected, near))
            continue
        values[name] = float(text) / per_si
    return values


def _in_row(flaw: Flaw, table: Table, row: TableRow) -> Flaw:
    """A flaw of the body at the cell it comes from."""
    column = (flaw.origin.column or "").removeprefix("wearer.").removeprefix("measured.")
    for suffix, shown in (("_m", "_mm"),):
        if column.endswith(suffix):
            column = column.removesuffix(suffix) + shown
    return replace(flaw, origin=table.origin(row, column or None))
