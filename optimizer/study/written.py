"""What a study says where a dotted path points: the number before it is turned."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from optimizer.errors import Flaw, Origin
from optimizer.study.addressing import is_table_path, override_study, written_cells
from optimizer.study.catalog import read_tables
from optimizer.study.document import SECTIONS, Files
from optimizer.study.files import display, read_text
from optimizer.study.numerals import is_number
from optimizer.study.overrides import OVERRIDE_FILE, as_list
from optimizer.study.sections import check_table
from optimizer.study.toml_file import TomlFile, parse_toml


def written_number(
    study_file: str | Path, path: str, overrides: Mapping[str, object] | None = None
) -> float | None:
    """The number a path points to, as written or by default.

    None where there is none, or where several rows differ. Nothing is checked: flaws of the
    study are told when it is loaded.
    """
    flaws: list[Flaw] = []
    file = Path(study_file)
    shown = display(file)
    text = read_text(file, Origin(shown), "a study file (TOML)", flaws)
    written = None if text is None else parse_toml(text, shown, flaws)
    if written is None:
        return None
    steps = as_list(overrides, OVERRIDE_FILE)
    for step in steps:
        if not is_table_path(step.path):
            override_study(written, step, flaws)
    if not is_table_path(path):
        return _key_number(written, path)
    kind = path.partition(".")[0]
    table = read_tables(file, written, check_table(written, "files", Files, flaws), steps, flaws)[
        kind
    ]
    cells = set() if table is None else set(written_cells(table, kind, path))
    cell = cells.pop() if len(cells) == 1 else ""
    return float(cell) if is_number(cell) else None


def _key_number(written: TomlFile, path: str) -> float | None:
    holder: object = written.keys
    for piece in path.split("."):
        if isinstance(holder, Mapping) and piece in holder:
            holder = holder[piece]
        elif isinstance(holder, list) and piece.isdigit() and 0 < int(piece) <= len(holder):
            holder = holder[int(piece) - 1]
        else:
            return _default(path)
    if isinstance(holder, bool) or not isinstance(holder, int | float):
        return None
    return float(holder)


def _default(path: str) -> float | None:
    table, _, key = path.partition(".")
    schema = SECTIONS.get(table)
    field = schema.model_fields.get(key) if schema is not None else None
    value = field.default if field is not None else None
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None
