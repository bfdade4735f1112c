"""Overrides put where their dotted path points: into cells of tables or keys of the study.

Paths
-----
parts.NAME.COLUMN, parts.NAME.MODEL.COLUMN
    All rows of the part, or only that model's. Likewise sites.NAME.COLUMN, lines.NAME.COLUMN
    and lines.NAME.OPTION.COLUMN. NAME may be a shell pattern: parts.ankle_*.mass_g.
TABLE.KEY
    A key of the study file: wearer.mass_kg, wearer.measured.thigh_length_mm,
    limits.segment_mass_g.thigh, rules.2.distance_mm (counted from 1), routes.add.1.length_mm.

Values enter before anything is checked, so that an override is held to the same rules as a cell
or key somebody wrote.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from fnmatch import fnmatchcase
from typing import Any

from optimizer.errors import Flaw
from optimizer.study.document import SECTIONS, AddedArcSection, Head, RuleSection, keys
from optimizer.study.downstream import measurement_keys
from optimizer.study.limits import limit_paths
from optimizer.study.lines import option_name
from optimizer.study.numerals import is_number
from optimizer.study.overrides import Override, Scale, scaled
from optimizer.study.parts import model_name
from optimizer.study.tables import Table, TableRow
from optimizer.study.toml_file import TomlFile
from optimizer.study.words import nearest, quoted

#: Table -> the columns that name a row and so cannot be overridden.
ADDRESSES: Mapping[str, tuple[str, ...]] = {
    "parts": ("name", "model"),
    "sites": ("name",),
    "lines": ("name", "option"),
}


def is_table_path(path: str) -> bool:
    """Whether a path points into a table rather than into the study file."""
    return path.partition(".")[0] in ADDRESSES


# --- cells of tables -----------------------------------------------------------------------


def override_table(table: Table, kind: str, step: Override, flaws: list[Flaw]) -> None:
    """Put one override into the rows of the table `kind` that its path names."""
    rows, column = _find_rows(table, kind, step.path)
    if not rows:
        near = _nearest_path(table, kind, step.path)
        flaws.append(Flaw(step.origin, quoted(step.path), f"a path to a cell of {kind}", near))
        return
    for row in rows:
        text = _cell_text(row, column, step, flaws)
        if text is not None:
            row.cells[column] = text
            row.overridden[column] = step.origin


def written_cells(table: Table, kind: str, path: str) -> list[str]:
    """What the cells hold that a path names, one text per row; empty if it names nothing."""
    rows, column = _find_rows(table, kind, path)
    return [row.get(column) for row in rows]


def _columns(table: Table, kind: str) -> list[str]:
    every = dict.fromkeys((*table.format.columns, *table.columns))
    return [column for column in every if column not in ADDRESSES[kind]]


def _label(row: TableRow, kind: str) -> str:
    """The model or option of a row, as paths name it."""
    labels = {"parts": model_name, "lines": option_name}
    return labels[kind](row) if kind in labels else ""


def _find_rows(table: Table, kind: str, path: str) -> tuple[list[TableRow], str]:
    """The rows and the column a path names; no rows if it names nothing."""
    rest = path.partition(".")[2]
    for column in _columns(table, kind):
        if not rest.endswith(f".{column}"):
            continue
        address = rest[: -len(column) - 1]
        rows = [row for row in table.rows if row.get("name") == address]
        if not rows:
            rows = [row for row in table.rows if _full(row, kind) == address]
        if not rows and set("*?[") & set(address):
            rows = [
                row
                for row in table.rows
                if fnmatchcase(row.get("name"), address) or fnmatchcase(_full(row, kind), address)
            ]
        if rows:
            return rows, column
    return [], ""


def _full(row: TableRow, kind: str) -> str:
    return f"{row.get('name')}.{_label(row, kind)}"


def _nearest_path(table: Table, kind: str, path: str) -> str | None:
    """The path to a cell most like `path`: its column first, then its name."""
    address, _, column = path.partition(".")[2].rpartition(".")
    columns = _columns(table, kind)
    near_column = column if column in columns else nearest(column, columns) if address else None
    names = list(dict.fromkeys(row.get("name") for row in table.rows if row.get("name")))
    full = [_full(row, kind) for row in table.rows if row.get("name")] if "." in address else []
    near_name = address if address in names + full else nearest(address or column, full or names)
    if near_name is None and full:
        near_name = nearest(address.partition(".")[0], names)
    if near_name is None:
        return None
    return f"{kind}.{near_name}.{near_column or columns[0]}"


def _cell_text(row: TableRow, column: str, step: Override, flaws: list[Flaw]) -> str | None:
    value = step.value
    if isinstance(value, Scale):
        text = row.get(column)
        if not is_number(text):
            found = quoted(text) if text else "an empty cell"
            flaws.append(Flaw(step.origin, f"{found} to scale", "a number to scale"))
            return None
        return repr(scaled(float(text), value.factor))
    if value is None:
        return ""
    if isinstance(value, (list, tuple)):
        return " ".join(str(item) for item in value)
    return repr(value) if isinstance(value, float) else str(value)


# --- keys of the study file ----------------------------------------------------------------


def key_paths(study: TomlFile) -> list[str]:
    """Dotted paths of all keys a study file can hold, those of lists only where they exist."""
    paths = [key for key in Head.model_fields if key != "format"]
    for name, schema in SECTIONS.items():
        paths += [
            f"{name}.{key}"
            for key in keys(schema)
            if f"{name}.{key}" not in ("wearer.measured", "routes.add")
        ]
    paths += [f"wearer.measured.{key}" for key in measurement_keys()]
    paths += limit_paths()
    paths += _item_paths("rules", study.keys.get("rules"), keys(RuleSection))
    routes = study.keys.get("routes")
    added = routes.get("add") if isinstance(routes, Mapping) else None
    return paths + _item_paths("routes.add", added, keys(AddedArcSection))


def _item_paths(path: str, items: object, names: list[str]) -> list[str]:
    count = len(items) if isinstance(items, list) else 0
    return [f"{path}.{i}.{name}" for i in range(1, count + 1) for name in names]


def override_study(study: TomlFile, step: Override, flaws: list[Flaw]) -> None:
    """Put one override into the study file's keys."""
    paths = key_paths(study)
    if step.path not in paths:
        expected = "a path such as parts.NAME.mass_g, wearer.mass_kg or limits.device_mass_g"
        candidates = [*paths, *(f"{kind}." for kind in ADDRESSES)]
        near = nearest(step.path, candidates)
        if near and near.endswith("."):
            near = None
        flaws.append(Flaw(step.origin, quoted(step.path), expected, near))
        return
    *way, key = step.path.split(".")
    holder: Any = study.keys
    for piece in way:
        if isinstance(holder, list):
            holder = holder[int(piece) - 1]
        else:
            holder = holder.setdefault(piece, {})
        if not isinstance(holder, (dict, list)):
            return  # said when that table is checked
    if not isinstance(holder, dict):
        return
    value = _key_value(holder.get(key), step, flaws)
    if value is not None:
        holder[key] = value
        study.overridden[step.path] = step.origin


def _key_value(written: object, step: Override, flaws: list[Flaw]) -> object:
    value = step.value
    if isinstance(value, Scale):
        if isinstance(written, bool) or not isinstance(written, (int, float)):
            found = "no number" if written is None else quoted(written)
            expected = "a number written in the study to scale"
            flaws.append(Flaw(step.origin, found, expected))
            return None
        return scaled(written, value.factor)
    if not isinstance(value, str):
        return list(value) if isinstance(value, tuple) else value
    if step.path.startswith("limits.") and value.casefold() in ("off", "none"):
        return False
    try:
        parsed = tomllib.loads(f"value = {value}") if "\n" not in value else {}
    except (ValueError, RecursionError):
        parsed = {}
    # Text needs no quotation marks here; what is no TOML value is text.
    return parsed["value"] if set(parsed) == {"value"} else value
