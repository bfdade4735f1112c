"""Rows of a table that have more or fewer cells than its header, and which of them to refuse.

One comma more (a decimal comma) or less moves every later value of its row under another column,
where it often makes sense again: only the number of cells gives it away. Two habits of editors
also change that number and move nothing. Spreadsheets pad all rows, the header too, with blank
cells up to the widest; some editors cut blank cells at the end of every row.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

from optimizer.errors import Flaw, Origin


def misread(
    header: Sequence[str], rows: Sequence[Sequence[str]], required: Collection[str]
) -> list[bool]:
    """For each row whether its cells may stand under the wrong columns.

    A row that ends early is taken for cut if its last cell holds something, no `required` column
    is missing, and more rows of the table were cut so than keep blank cells at their end.
    """
    width = columns_of(header)
    # what has as many cells as the header, or all but the padding, is taken as it stands
    whole = [len(cells) in (len(header), width) for cells in rows]
    cut = [
        len(cells) < width
        and bool(cells[-1].strip())
        and not set(header[len(cells) : width]) & set(required)
        for cells in rows
    ]
    keep_blanks = sum(
        ok and not cells[width - 1].strip() for ok, cells in zip(whole, rows, strict=True)
    )
    cutting = sum(cut) > keep_blanks
    return [not (ok or (cutting and early)) for ok, early in zip(whole, cut, strict=True)]


def columns_of(header: Sequence[str]) -> int:
    """How many cells a header has, without blank ones at its end."""
    return max((i + 1 for i, name in enumerate(header) if name), default=0)


def misread_flaw(origin: Origin, found: int, header: int, separators: str) -> Flaw:
    """The flaw of a row with `found` cells under a header of `header`."""
    if found > header:
        expected = (
            f"as many cells as the header; a cell holding {separators} stands in double quotes, "
            "decimals have a point, no comma"
        )
    else:
        expected = f"as many cells as the header, empty ones too, separated by {separators}"
    cells = "1 cell" if found == 1 else f"{found} cells"
    return Flaw(origin, f"{cells}, the header has {header}", expected)
