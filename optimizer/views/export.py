"""Any answer as a table for a spreadsheet, a README or a paper: CSV, Markdown, LaTeX (booktabs).

CSV carries full precision: read back, every number is the same. Markdown and LaTeX round to
`digits` significant digits (17 for all of them). SI, the unit in every column's name.
"""

from __future__ import annotations

import csv
import io
import numbers
import re
from collections.abc import Callable, Sequence
from math import isfinite, isnan
from typing import TYPE_CHECKING, Any

from optimizer.views.words import clean

if TYPE_CHECKING:
    import pandas as pd

FORMATS = ("csv", "md", "tex")
DIGITS = 4
_TEX = {
    "\\": r"\textbackslash{}", "&": r"\&", "%": r"\%", "$": r"\$", "#": r"\#", "_": r"\_",
    "{": r"\{", "}": r"\}", "~": r"\textasciitilde{}", "^": r"\textasciicircum{}",
    "<": r"\textless{}", ">": r"\textgreater{}", "|": r"\textbar{}",
}  # fmt: skip


def export(frame: pd.DataFrame, form: str, digits: int = DIGITS, caption: str = "") -> str:
    """A frame as text, its named index first.

    Raises
    ------
    ValueError
        If `form` is none of `FORMATS`.
    """
    if form not in FORMATS:
        raise ValueError(f"unknown format {form!r}; valid: {', '.join(FORMATS)}")
    head, rows = _flat(frame)
    if form == "csv":
        return _csv(head, rows)
    if form == "md":
        return _markdown(head, rows, digits, caption)
    return _latex(head, rows, digits, caption)


def escape_markdown(said: str) -> str:
    """Text that Markdown shows as it is, also inside a table."""
    return re.sub(r"([\\`*_{}\[\]<>#|~$])", r"\\\1", clean(said))


def escape_latex(said: str) -> str:
    """Text that LaTeX sets as it is."""
    return "".join(_TEX.get(char, char) for char in clean(said))


def _flat(frame: pd.DataFrame) -> tuple[list[str], list[list[Any]]]:
    """Head and rows; a named index becomes the first column."""
    whole = frame.reset_index() if frame.index.name is not None else frame
    return [str(c) for c in whole.columns], [list(r) for r in whole.itertuples(index=False)]


def _plain(value: Any) -> str | int | float | bool | None:
    """A cell as a plain value; None for what is missing."""
    if value is None or isinstance(value, str):
        return value
    if hasattr(value, "dtype") and value.dtype == bool:
        return bool(value)
    if isinstance(value, bool):
        return value
    if isinstance(value, numbers.Integral):
        return int(value)
    if isinstance(value, numbers.Real):
        number = float(value)
        return None if isnan(number) else number
    return str(value)


def _csv(head: Sequence[str], rows: Sequence[Sequence[Any]]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(head)
    for row in rows:
        writer.writerow(["" if v is None else repr(v) if isinstance(v, float) else v
                         for v in map(_plain, row)])  # fmt: skip
    return out.getvalue()


def _shown(value: Any, digits: int, escape: Callable[[str], str]) -> str:
    plain = _plain(value)
    if plain is None:
        return ""
    if isinstance(plain, bool):
        return "yes" if plain else "no"
    if isinstance(plain, int):
        return str(plain)
    if isinstance(plain, float):
        if not isfinite(plain):
            return "infinite"
        return f"{plain + 0.0:.{digits}g}"
    return escape(plain)


def _numeric(rows: Sequence[Sequence[Any]], i: int) -> bool:
    cells = [_plain(row[i]) for row in rows]
    real = [c for c in cells if c is not None]
    return bool(real) and all(isinstance(c, int | float) and not isinstance(c, bool) for c in real)


def _markdown(head: Sequence[str], rows: Sequence[Sequence[Any]], digits: int, caption: str) -> str:
    rule = ["---:" if _numeric(rows, i) else "---" for i in range(len(head))]
    lines = [escape_markdown(caption), ""] if caption else []
    lines.append(f"| {' | '.join(map(escape_markdown, head))} |")
    lines.append(f"| {' | '.join(rule)} |")
    for row in rows:
        lines.append(f"| {' | '.join(_shown(v, digits, escape_markdown) for v in row)} |")
    return "\n".join(lines) + "\n"


def _latex(head: Sequence[str], rows: Sequence[Sequence[Any]], digits: int, caption: str) -> str:
    align = "".join("r" if _numeric(rows, i) else "l" for i in range(len(head)))
    lines = ["% needs \\usepackage{booktabs}", "\\begin{table}", "  \\centering"]
    lines += [f"  \\caption{{{escape_latex(caption)}}}"] if caption else []
    lines += [f"  \\begin{{tabular}}{{{align}}}", "    \\toprule"]
    lines.append("    " + " & ".join(map(escape_latex, head)) + r" \\")
    lines.append("    \\midrule")
    for row in rows:
        cells = " & ".join(_shown(v, digits, escape_latex) for v in row)
        # a first cell in brackets would be read as the optional argument of the row above
        cells = "{}" + cells if cells.startswith("[") else cells
        lines.append(f"    {cells} \\\\")
    lines += ["    \\bottomrule", "  \\end{tabular}", "\\end{table}"]
    return "\n".join(lines) + "\n"
