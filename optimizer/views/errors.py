"""Input errors as text: the one place that turns flaws into sentences."""

from __future__ import annotations

from optimizer.errors import Flaw, InputError
from optimizer.study.words import place, within
from optimizer.views.words import clean, counted, wrap


def flaw_text(flaw: Flaw) -> str:
    """One flaw on one line: 'parts.csv row 7 column mass_g: found "1,5"; expected a number ...'."""
    where = place(flaw.origin)
    return clean(f"{where}: {_sentence(flaw)}" if where else _sentence(flaw))


def error_text(error: InputError, width: int | None = None) -> str:
    """All flaws, grouped by file in the order found, the count last.

    Lines are broken to `width` terminal cells, or left whole if it is None.
    """
    lines: list[str] = []
    files = list(dict.fromkeys(flaw.origin.file for flaw in error.flaws))
    for file in files:
        lines += _lines(f"{file or 'input'}:", width)
        for flaw in (f for f in error.flaws if f.origin.file == file):
            where = within(flaw.origin)
            text = f"{where}: {_sentence(flaw)}" if where else _sentence(flaw)
            lines += _lines(text, width, indent=2)
    errors = counted(len(error.flaws), "error")
    lines.append(f"{errors} in {len(files)} files." if len(files) > 1 else f"{errors}.")
    return "\n".join(lines)


def _sentence(flaw: Flaw) -> str:
    text = f"found {flaw.found}; expected {flaw.expected}"
    if flaw.nearest is not None:
        return f"{text}. Did you mean {flaw.nearest}?"
    return text if text.endswith((".", "?", "!")) else f"{text}."


def _lines(text: str, width: int | None, indent: int = 0) -> list[str]:
    pad = " " * indent
    whole = clean(text)
    broken = [whole] if width is None else wrap(whole, max(1, width - indent), hang=2)
    return [pad + line for line in broken]
