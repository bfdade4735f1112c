"""Input errors as text: the one place that turns flaws into sentences."""

from __future__ import annotations

from collections.abc import Iterable

from optimizer.errors import Flaw, InputError, Origin
from optimizer.study.overrides import OVERRIDE_FILE
from optimizer.views.words import clean, counted, wrap


def flaw_text(flaw: Flaw) -> str:
    """One flaw on one line: 'parts.csv row 7 column mass_g: found "1,5"; expected a number ...'."""
    where = _within(flaw.origin)
    file = "" if flaw.origin.file == OVERRIDE_FILE else flaw.origin.file
    return clean(f"{' '.join(filter(None, (file, where)))}: {_sentence(flaw)}")


def error_text(error: InputError, width: int | None = None) -> str:
    """All flaws, grouped by file in the order found, the count last.

    Lines are broken to `width` terminal cells, or left whole if it is None.
    """
    lines: list[str] = []
    files = list(dict.fromkeys(flaw.origin.file for flaw in error.flaws))
    for file in files:
        lines += _lines(f"{_heading(file)}:", width, 0)
        for flaw in (f for f in error.flaws if f.origin.file == file):
            where = _within(flaw.origin)
            sentence = _sentence(flaw)
            lines += _lines(f"{where}: {sentence}" if where else sentence, width, 2)
    lines += _lines(_total(error.flaws, len(files)), width, 0)
    return "\n".join(lines)


def _total(flaws: list[Flaw], n_files: int) -> str:
    errors = counted(len(flaws), "error")
    return f"{errors} in {counted(n_files, 'file')}." if n_files > 1 else f"{errors}."


def _heading(file: str) -> str:
    return "overrides given with --set" if file == OVERRIDE_FILE else file or "input"


def _within(origin: Origin) -> str:
    """Where inside its file: "row 7 column mass_g", "row 12 key wearer.mass_kg"."""
    pieces = [] if origin.row is None else [f"row {origin.row}"]
    if origin.column:
        if origin.file == OVERRIDE_FILE:
            pieces.append(f"{OVERRIDE_FILE} {origin.column}")
        elif origin.file.endswith(".csv"):
            pieces.append(f"column {origin.column}")
        else:
            pieces.append(origin.column)
    return " ".join(pieces)


def _sentence(flaw: Flaw) -> str:
    text = f"found {flaw.found}; expected {flaw.expected}"
    if flaw.nearest is not None and flaw.nearest != flaw.expected:
        text += f". Did you mean {flaw.nearest}?"
        return text
    return text if text.endswith((".", "?")) else f"{text}."


def _lines(text: str, width: int | None, indent: int) -> Iterable[str]:
    pad = " " * indent
    if width is None:
        return [pad + clean(text)]
    return [pad + line for line in wrap(clean(text), width - indent, hang=4)]
