"""One kind of table for everything: no grid, one thin rule under the head, units below names."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rich.box import Box
from rich.console import Console, ConsoleOptions, Group, RenderableType, RenderResult
from rich.measure import Measurement
from rich.table import Table
from rich.text import Text

from optimizer.views.words import Words, clean

#: Column count from which a table shows its further columns.
WIDE = 110


class _HeadRule(Box):
    """A single rule under the head; plain hyphens where the terminal knows no line drawing."""

    def substitute(self, options: ConsoleOptions, safe: bool = True) -> Box:
        """Keep the look on terminals without line drawing."""
        return _RULES["-"] if options.ascii_only else self


def _head_rule(rule: str) -> _HeadRule:
    blank, ruled = "    \n", f" {rule}{rule} \n"
    return _HeadRule(blank * 2 + ruled + blank + ruled * 2 + blank * 2)


_RULES = {rule: _head_rule(rule) for rule in "─-"}


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its name, the unit below it, and whether it holds numbers or names."""

    name: str
    unit: str = ""
    words: bool = False
    least: int | None = None

    def head(self) -> Text:
        """Name and, quieter, the unit under it."""
        return Text.assemble((self.name, "head"), ("\n" + self.unit if self.unit else "", "quiet"))


class Bar:
    """A length for the eye beside a number that says the same."""

    LONGEST = 8
    _EIGHTHS = " ▏▎▍▌▋▊▉"

    def __init__(self, share: float) -> None:
        self.share = min(1.0, max(0.0, share))

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Eighths of a cell where the terminal draws them, else whole number signs."""
        cells = self.share * min(self.LONGEST, options.max_width)
        if options.ascii_only:
            drawn = "#" * round(cells)
        else:
            whole, eighth = divmod(round(8 * cells), 8)
            drawn = "█" * whole + (self._EIGHTHS[eighth] if eighth else "")
        yield Text(drawn, style="quiet", no_wrap=True)

    def __rich_measure__(self, console: Console, options: ConsoleOptions) -> Measurement:
        """Always the same, so that bars of one column share a scale."""
        return Measurement(self.LONGEST, self.LONGEST)


Cell = str | Words | Text | Bar | Group


def table(columns: Sequence[Column], rows: Sequence[Sequence[Cell] | None]) -> Table:
    """A table of `rows`; None draws a rule. Numbers align right and never wrap; names wrap."""
    made = Table(
        box=_RULES["─"],
        show_edge=False,
        pad_edge=False,
        padding=(0, 1, 0, 0),
        header_style="",
        border_style="quiet",
    )
    for column in columns:
        made.add_column(
            column.head(),
            justify="left" if column.words else "right",
            no_wrap=not column.words,
            overflow="fold",
            vertical="top",
            min_width=column.least,
        )
    for row in rows:
        if row is None:
            made.add_section()
        else:
            made.add_row(*row)
    return made


def heading(text: str, note: str = "") -> Words:
    """A section's heading."""
    return Words(f"{clean(text)}{': ' + clean(note) if note else ''}", "head")


def is_wide(console: Console) -> bool:
    """Whether there is room for the further columns."""
    return console.width >= WIDE


def section(title: str, *body: RenderableType, note: str = "") -> Group:
    """A heading with what belongs under it, and a blank line after."""
    return Group(heading(title, note), *body, Text(""))
