"""CSV tables as rows of cells with their line numbers, before anything is made of them.

Accepted: UTF-8 with or without byte-order mark; any line ends; columns separated by commas, or
throughout by semicolons or tabs (the header row decides); cells in double quotes; lines and rows
that start with `#` (comments; a spreadsheet's #REF! is none) and blank rows, both skipped.
Decimals are always written with a point, whatever separates the columns. Columns a table does not
know are kept and ignored.

A row has as many cells as the header; `optimizer.study.row_lengths` tells which may have fewer.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError

from optimizer.errors import Flaw, Origin
from optimizer.study.cells import REFUSED
from optimizer.study.numerals import is_spreadsheet_error
from optimizer.study.row_lengths import columns_of, misread, misread_flaw
from optimizer.study.words import choice_of, nearest, quoted

_SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs"}
#: Fewer needed columns than this are forgotten or misspelt one by one.
_FOREIGN = 3
_UNIT = re.compile(
    r"(_(kg|g|mg|lb|oz|mm|cm|m|cm3|mm3|m3|l|ml|cm2|mm2|m2|pct|percent|w|mw)|_g_per_m)$"
)


class RowSchema(BaseModel):
    """Base of the row schemas: one field per column, cells given as text, blank for no column."""

    model_config = ConfigDict(frozen=True, extra="ignore")


def own_first(schema: type[RowSchema], base: type[RowSchema]) -> tuple[str, ...]:
    """Columns of a schema as written in a header, those it inherits from `base` last."""
    fields = schema.model_fields
    ordered = sorted(fields, key=lambda name: name in base.model_fields)
    return tuple(fields[name].alias or name for name in ordered)


Row = TypeVar("Row", bound=RowSchema)


@dataclass(frozen=True)
class TableFormat:
    """The columns of a kind of table: those that must be there, and those of which one must."""

    what: str
    columns: tuple[str, ...]
    required: tuple[str, ...]
    either: tuple[str, ...] = ()


@dataclass
class TableRow:
    """One row: its line in the file, its cells by column, and where overridden cells came from.

    `misread` is all the text of a row that has too many or too few cells: which column a cell
    belongs to is then unknown, but for the first.
    """

    line: int
    cells: dict[str, str]
    overridden: dict[str, Origin] = field(default_factory=dict)
    misread: str = ""

    def get(self, column: str) -> str:
        """The cell's text without blanks around it; "" if there is none."""
        return self.cells.get(column, "").strip()


@dataclass
class Table:
    """A table as written.

    `missing` are required columns that it lacks. Where it is not `complete`, reading broke off or
    a name is lost, so that names it may hold are unknown.
    """

    file: str
    format: TableFormat
    columns: tuple[str, ...]
    rows: list[TableRow]
    missing: frozenset[str] = frozenset()
    complete: bool = True
    header_line: int = 1

    def origin(self, row: TableRow, column: str | None = None) -> Origin:
        """Where a row, or one cell of it, was written."""
        if column is not None and column in row.overridden:
            return row.overridden[column]
        return Origin(self.file, row.line, column)

    @property
    def whole(self) -> Origin:
        """The table as such."""
        return Origin(self.file)

    def extra(self, row: TableRow) -> Mapping[str, str]:
        """Cells of columns the program does not use, and the notes; blank ones left out."""
        return {
            column: row.get(column)
            for column in self.columns
            if (column == "notes" or column not in self.format.columns) and row.get(column)
        }


def read_table(text: str, file: str, fmt: TableFormat, flaws: list[Flaw]) -> Table | None:
    """Split a table into rows, noting what is wrong with its form.

    Returns None where the header is unusable, so that nothing can be said of the rows.
    """
    separator = _separator(text, fmt)
    records = _Records(text, separator)
    header: list[str] | None = None
    columns: tuple[str, ...] = ()
    missing: frozenset[str] = frozenset()
    written: list[tuple[int, list[str]]] = []
    complete, header_line = True, 1
    try:
        for line, cells in records:
            if header is None:
                header_line = line
                header = [_column_name(cell, fmt) for cell in cells]
                before = len(flaws)
                missing = _check_header(header, Origin(file, line), fmt, flaws)
                if not set(header) & set(fmt.columns) or _is_foreign(header, fmt):
                    del flaws[before:]
                    flaws.append(_no_header(file, line, cells, fmt))
                    return None
                columns = tuple(dict.fromkeys(name for name in header if name))
            elif [_column_name(cell, fmt) for cell in cells] == header:
                expected = f"a row of values: the header stands in row {header_line}"
                flaws.append(Flaw(Origin(file, line), "the header again", expected))
            else:
                written.append((line, cells))
    except csv.Error as error:
        flaws.append(_quote_flaw(file, records.start, error))
        complete = False
    if header is None:
        if not complete:
            return None
        expected = f"a {fmt.what} table: a header row with {', '.join(fmt.required)}, then rows"
        found = "no header row" if text.strip() else "an empty file"
        flaws.append(Flaw(Origin(file), found, expected))
        return None
    rows = _rows(header, written, file, fmt, separator, flaws)
    # a formula that failed may have been the name that other tables ask for
    complete = complete and not any(is_spreadsheet_error(row.get(header[0])) for row in rows)
    return Table(file, fmt, columns, rows, missing, complete, header_line)


class _Records:
    """The records of a CSV text with the line each starts on; comments and blanks left out."""

    def __init__(self, text: str, separator: str) -> None:
        self._lines = io.StringIO(text, newline="")
        self._number = 0
        self._between = True
        self.start = 1
        self._separator = separator
        self._reader = csv.reader(self._physical(), delimiter=separator, strict=True)

    def _physical(self) -> Iterator[str]:
        for line in self._lines:
            self._number += 1
            if self._between:
                self.start = self._number
                self._between = False
                first = line.partition(self._separator)[0]
                if _is_comment(first) or self._is_separator_mark(line):
                    yield "\n"  # a comment: its quotes and separators mean nothing
                    continue
            yield line

    def _is_separator_mark(self, line: str) -> bool:
        """Whether this is the "sep=;" some spreadsheets write first."""
        return self._number == 1 and line.casefold().startswith("sep=")

    def __iter__(self) -> Iterator[tuple[int, list[str]]]:
        while True:
            self._between = True
            cells = next(self._reader, None)
            if cells is None:
                return
            if not any(cell.strip() for cell in cells) or _is_comment(cells[0]):
                continue
            yield self.start, cells


def _is_comment(first_cell: str) -> bool:
    """Whether a row that begins with this cell is one; a formula that failed is none."""
    return first_cell.lstrip().startswith("#") and not is_spreadsheet_error(first_cell)


def _separator(text: str, fmt: TableFormat) -> str:
    """The separator under which the first row holds most of the known columns."""
    best, most = ",", 0
    for separator in _SEPARATORS:
        try:
            cells = next((cells for _, cells in _Records(text, separator)), [])
        except csv.Error:
            continue
        known = sum(_column_name(cell, fmt) in fmt.columns for cell in cells)
        if known > most:
            best, most = separator, known
    return best


def _column_name(cell: str, fmt: TableFormat) -> str:
    """A header cell as a column name: capitals and blanks do not count for known columns."""
    plain = re.sub(r"[\s-]+", "_", cell.strip().casefold())
    return plain if plain in fmt.columns else cell.strip()


def _check_header(
    header: list[str], at: Origin, fmt: TableFormat, flaws: list[Flaw]
) -> frozenset[str]:
    """Note columns that are missing, doubled or meant as another; return the missing ones."""
    seen: set[str] = set()
    for name in header:
        if name and name in seen:
            flaws.append(Flaw(replace(at, column=name), "the column twice", "each column once"))
        seen.add(name)
    strangers = [name for name in header if name and name not in fmt.columns]
    missing = [name for name in fmt.required if name not in seen]
    if fmt.either and not set(fmt.either) & seen:
        missing += list(fmt.either)
        near = nearest(fmt.either[0], strangers)
        expected = f"a column {choice_of(fmt.either)}"
        flaws.append(Flaw(replace(at, column=fmt.either[0]), "no such column", expected, near))
    for name in fmt.columns:
        if name in seen or (name in fmt.either and name in missing):
            continue
        meant = next((s for s in strangers if _stem(s) == _stem(name)), None)
        if name not in missing and meant is None:
            continue
        meant = meant or nearest(name, strangers)
        if meant:
            expected = f"a column of a {fmt.what} table"
            flaws.append(Flaw(replace(at, column=meant), quoted(meant), expected, name))
        else:
            expected = f"a column named {name}"
            flaws.append(Flaw(replace(at, column=name), "no such column", expected))
        if name not in missing:
            missing.append(name)
    return frozenset(missing)


def _is_foreign(header: list[str], fmt: TableFormat) -> bool:
    """Whether this is another kind of table: most needed columns are absent in any unit."""
    stems = {_stem(name) for name in header}
    absent = sum(_stem(name) not in stems for name in fmt.required)
    return absent >= _FOREIGN and 2 * absent > len(fmt.required)


def _stem(column: str) -> str:
    """A column's name without its unit: "max_mass_kg" and "Max mass" give "max_mass"."""
    return _UNIT.sub("", re.sub(r"[\s\-()\[\]]+", "_", column.casefold()).strip("_"))


def _no_header(file: str, line: int, cells: list[str], fmt: TableFormat) -> Flaw:
    found = "a first row of " + ", ".join(quoted(cell.strip()) for cell in cells[:4])
    found += ", ..." if len(cells) > 4 else ""
    return Flaw(
        Origin(file, line),
        found,
        f"the header row of a {fmt.what} table, with the columns {', '.join(fmt.required)}",
    )


def _rows(
    header: list[str],
    written: list[tuple[int, list[str]]],
    file: str,
    fmt: TableFormat,
    separator: str,
    flaws: list[Flaw],
) -> list[TableRow]:
    """The records under their columns; a row with too many or too few cells is a flaw."""
    wrong = misread(header, [cells for _, cells in written], fmt.required)
    rows: list[TableRow] = []
    for (line, cells), shifted in zip(written, wrong, strict=True):
        origin = Origin(file, line)
        if shifted:
            count = columns_of(header)
            flaws.append(misread_flaw(origin, len(cells), count, _SEPARATORS[separator]))
            rows.append(TableRow(line, {header[0]: cells[0]}, misread=" ".join(cells)))
            continue
        row: dict[str, str] = {}
        for name, cell in zip(header, cells, strict=False):
            if name:
                row.setdefault(name, cell)
            elif cell.strip():
                flaws.append(Flaw(origin, quoted(cell.strip()), "a header above the value"))
        rows.append(TableRow(line, row))
    return rows


def _quote_flaw(file: str, line: int, error: csv.Error) -> Flaw:
    if "field larger" in str(error):
        return Flaw(Origin(file, line), "a cell longer than 131072 characters", "shorter cells")
    return Flaw(
        Origin(file, line),
        "a row whose double quotes do not pair up",
        "each quoted cell closed before the next separator, quotes inside it doubled",
    )


def parse_rows(
    table: Table, schema: type[Row], flaws: list[Flaw]
) -> list[tuple[TableRow, Row | None]]:
    """Check every row against its schema; None for a row that has flaws.

    Misread rows are left out: what is wrong with them has been said.
    """
    parsed: list[tuple[TableRow, Row | None]] = []
    for row in table.rows:
        if row.misread:
            continue
        cells = {column: row.get(column) for column in table.format.columns}
        try:
            parsed.append((row, schema.model_validate(cells)))
        except ValidationError as error:
            for item in error.errors(include_url=False):
                column = str(item["loc"][0])
                if column in table.missing:
                    continue  # said once, of the header
                context = item.get("ctx", {}) if item["type"] == REFUSED else {}
                flaws.append(
                    Flaw(
                        table.origin(row, column),
                        context.get("found", quoted(item["input"])),
                        context.get("expected", item["msg"]),
                        context.get("nearest"),
                    )
                )
            parsed.append((row, None))
    return parsed
