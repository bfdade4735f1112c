"""What can go wrong, as data: turned into text in one place (`optimizer.views.errors`)."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a value was written: a file and, as far as known, its row and column or its key.

    `row` counts lines of the file from 1, the header of a CSV table being row 1, as a
    spreadsheet shows it. `column` is a column name of a table or a dotted key of a TOML file.
    """

    file: str
    row: int | None = None
    column: str | None = None


@dataclass(frozen=True, slots=True)
class Flaw:
    """One thing wrong with the input: where, what was found, what is expected."""

    origin: Origin
    found: str
    expected: str
    nearest: str | None = None


@dataclass
class InputError(Exception):
    """Input that cannot be used; carries every flaw found, not only the first. Exit code 2."""

    flaws: list[Flaw] = field(default_factory=list)

    def __str__(self) -> str:
        return "; ".join(
            f"{f.origin.file}"
            + (f" row {f.origin.row}" if f.origin.row is not None else "")
            + (f" {f.origin.column}" if f.origin.column else "")
            + f": found {f.found}, expected {f.expected}"
            + (f" (nearest: {f.nearest})" if f.nearest else "")
            for f in self.flaws
        )


class DisagreementError(Exception):
    """The solver's arrays and the assessment disagree about a layout: never a silent pick."""
