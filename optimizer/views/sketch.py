"""The body in characters, from the front and one side, with what sits where beside it.

A cell is taken to be twice as high as wide, as on most terminals. The outline is that of the
figures (`optimizer.report.outline`); a letter marks every place in use, at its own height and
as near its own breadth as the letters before leave room. Nothing is said by colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from string import ascii_lowercase, ascii_uppercase

import numpy as np
from rich.console import Console, ConsoleOptions, Group, RenderResult
from rich.measure import Measurement
from rich.text import Text

from optimizer.assess.result import Assessment
from optimizer.report.outline import Array, Shape, View, height_range, outline, project
from optimizer.report.places import Load, in_view, loads, views_of
from optimizer.setting import Setting
from optimizer.views.quantity import number
from optimizer.views.table import section
from optimizer.views.words import wrap

#: Rows of the body; its height sets the scale.
ROWS = 27
#: Narrower terminals get no sketch.
LEAST_WIDTH = 72
_LETTERS = ascii_lowercase + ascii_uppercase
_ASPECT = 2.0
_GAP = 2
_HEADS = {"front": "front", "right": "right side", "left": "left side"}


@dataclass(frozen=True, slots=True)
class Panel:
    """One view: lines of equal length, and where each letter stands (row, column)."""

    head: str
    lines: tuple[str, ...]
    marks: tuple[tuple[str, int, int], ...]


def letter(load: Load) -> str:
    """The letter that stands for a place in use; "+" where letters run out."""
    return _LETTERS[load.number - 1] if load.number <= len(_LETTERS) else "+"


def panel(setting: Setting, held: Sequence[Load], view: View) -> Panel:
    """The body as seen, with the letters of what it carries."""
    low, high = height_range(setting.wearer)
    row_m = (high - low) / ROWS
    column_m = row_m / _ASPECT
    shapes = outline(setting.wearer, view)
    middles = [(load, project(load.position, view)[0]) for load in held if in_view(load.site, view)]
    across = [*(v for s in shapes for v in s.points[:, 0]), *(float(m[0]) for _, m in middles)]
    # mirror-true about the column of the axis, so that a symmetrical body looks it
    axis = 1 + max(0, -_steps(min(across), column_m))
    width = axis + max(0, _steps(max(across), column_m)) + 2
    cells = [[" "] * width for _ in range(ROWS)]

    def column(x: float) -> int:
        return axis + _steps(x, column_m)

    for row in range(ROWS):
        for x, stroke in _strokes(shapes, high - (row + 0.5) * row_m, row_m):
            at = column(x)
            # the inner edges of two legs may share a column
            cells[row][at] = stroke if cells[row][at] in (" ", stroke) else "|"
    marks: list[tuple[str, int, int]] = []
    for load, middle in middles:
        row = min(ROWS - 1, max(0, int((high - float(middle[1])) / row_m)))
        at = _free(cells[row], column(float(middle[0])), {m[2] for m in marks if m[1] == row})
        cells[row][at] = letter(load)
        marks.append((letter(load), row, at))
    return Panel(_HEADS[view], tuple("".join(line) for line in cells), tuple(marks))


def _steps(x: float, column_m: float) -> int:
    """Columns from the axis; nothing but the axis itself is in its column."""
    if abs(x) < 1e-9:
        return 0
    away = int(abs(x) / column_m + 0.5)
    return away if x > 0 else -away


def _strokes(shapes: Sequence[Shape], height: float, row_m: float) -> list[tuple[float, str]]:
    """Where the body begins and ends at a height, shapes that overlap counted as one."""
    cut = [(edges, shape) for shape in shapes if (edges := _edges(shape, height)) is not None]
    cut.sort(key=lambda item: item[0])
    strokes: list[tuple[float, str]] = []
    reach = -np.inf
    for (left, right), shape in cut:
        first, last = _slopes(shape, height, row_m)
        if left >= reach:
            strokes += [(left, first), (right, last)]
        elif right > reach:
            strokes[-1] = (right, last)
        reach = max(reach, right)
    return strokes


def _edges(shape: Shape, height: float) -> tuple[float, float] | None:
    """Where an outline is cut at a height: leftmost and rightmost crossing."""
    points = shape.points
    following = np.roll(points, -1, axis=0)
    crossing = (points[:, 1] <= height) != (following[:, 1] <= height)
    if not crossing.any():
        return None
    a, b = points[crossing], following[crossing]
    x: Array = a[:, 0] + (height - a[:, 1]) / (b[:, 1] - a[:, 1]) * (b[:, 0] - a[:, 0])
    return float(x.min()), float(x.max())


def _slopes(shape: Shape, height: float, row_m: float) -> tuple[str, str]:
    """A stroke for either edge: upright, or leaning as the outline does over a row."""
    above, below = _edges(shape, height + 0.4 * row_m), _edges(shape, height - 0.4 * row_m)
    if above is None or below is None:
        closed = above is None
        return ("/", "\\") if closed else ("\\", "/")
    strokes = []
    for i in (0, 1):
        lean = (above[i] - below[i]) / row_m
        strokes.append("/" if lean > 0.35 else "\\" if lean < -0.35 else "|")
    return strokes[0], strokes[1]


def _free(cells: list[str], wanted: int, taken: set[int]) -> int:
    """The column nearest the wanted one that no letter has."""
    order = sorted(range(len(cells)), key=lambda c: (abs(c - wanted), c))
    return next((c for c in order if c not in taken), wanted)


class Sketch:
    """Panels side by side with a key to their letters, as wide as there is room."""

    def __init__(self, panels: Sequence[Panel], key: Sequence[str]) -> None:
        self.panels = tuple(panels)
        self.key = tuple(key)

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """One line of text per row."""
        shown = list(self.panels)
        least_key = 30
        while len(shown) > 1 and self._width(shown) + least_key > options.max_width:
            shown.pop()
        room = options.max_width - self._width(shown)
        key = [line for entry in self.key for line in wrap(entry, room, hang=2)]
        heads = [p.head.center(len(p.lines[0])) for p in shown]
        rows = max(ROWS + 1, len(key))
        for row in range(rows):
            pieces = []
            for p, head in zip(shown, heads, strict=True):
                blank = " " * len(p.lines[0])
                pieces.append(head if row == 0 else p.lines[row - 1] if row <= ROWS else blank)
            said = key[row] if row < len(key) else ""
            line = (" " * _GAP).join(pieces) + " " * _GAP + said
            yield Text(line.rstrip(), no_wrap=True, overflow="ignore")

    @staticmethod
    def _width(panels: Sequence[Panel]) -> int:
        return sum(max(len(p.lines[0]), len(p.head)) + _GAP for p in panels)

    def __rich_measure__(self, console: Console, options: ConsoleOptions) -> Measurement:
        """Takes what there is."""
        return Measurement(LEAST_WIDTH, max(LEAST_WIDTH, options.max_width))


def body_sketch(setting: Setting, assessment: Assessment) -> Sketch:
    """The body with a letter at every place in use, and what each holds."""
    held = loads(setting, assessment)
    key = [
        f"{letter(load)} {load.site.name} {number(load.mass_kg * 1e3, 0)} g: "
        + ", ".join(name for name, _ in load.items)
        for load in held
    ]
    return Sketch([panel(setting, held, view) for view in views_of(held)], key)


def sketch_view(setting: Setting, assessment: Assessment, console: Console) -> Group | None:
    """The sketch as a section; None where there is no room for it."""
    if console.width < LEAST_WIDTH or not assessment.parts:
        return None
    note = "from the front, right is on the left"
    return section("Where it sits", body_sketch(setting, assessment), note=note)
