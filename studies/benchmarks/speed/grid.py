"""Tables of text: aligned for a terminal, or as Markdown."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import exp, log
from textwrap import wrap

#: Columns of a terminal.
WIDTH = 100


@dataclass
class Grid:
    """A title, a head, rows of cells (the first one is a name), and notes."""

    title: str
    head: list[str]
    rows: list[list[str]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def text(self) -> str:
        """Aligned columns, the first to the left."""
        every = [self.head, *self.rows]
        widths = [max(len(row[k]) for row in every) for k in range(len(self.head))]
        lines = [self.title, ""]
        for row in every:
            cells = [row[0].ljust(widths[0])]
            cells += [cell.rjust(width) for cell, width in zip(row[1:], widths[1:], strict=True)]
            lines.append("  ".join(cells).rstrip())
        notes = [line for note in self.notes for line in wrap(note, WIDTH)]
        return "\n".join([*lines, *notes]) + "\n"

    def markdown(self) -> str:
        """A Markdown table under a heading."""
        lines = [f"### {self.title}", "", _bar(self.head)]
        lines.append("|" + "|".join(["---", *["---:"] * (len(self.head) - 1)]) + "|")
        lines += [_bar(row) for row in self.rows]
        if self.notes:
            lines += ["", *self.notes]
        return "\n".join(lines) + "\n"


def _bar(cells: list[str]) -> str:
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def geometric_mean(values: list[float]) -> float:
    """exp(mean(log v)); values are positive, at least one."""
    return exp(sum(log(v) for v in values) / len(values))


def short(value: float) -> str:
    """Three figures."""
    if value >= 99.95:
        return f"{value:.0f}"
    if value >= 9.995:
        return f"{value:.1f}"
    return f"{value:.2f}" if value >= 0.0995 else f"{value:.3f}"
