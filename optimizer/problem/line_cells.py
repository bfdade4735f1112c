"""Pairs of choices at the ends of lines, those of many lines side by side in one array.

What is asked of a line's pairs (which can be joined, bought as what, by which route) is worked out
for all lines at once: most lines have few pairs, and an array operation on few numbers takes as
long as one on many.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, IntArray, LineCase, LineRow, Problem
from optimizer.problem.routing import TOLERANCE
from optimizer.problem.site_routes import SiteRoutes, Ways

Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class LineCells:
    """All pairs (a, b) of choices of the two ends of some lines, line after line.

    A line's pairs stand at `at[l]:at[l + 1]`, `shapes[l]` = (n_a, n_b) of them, rows first.
    `line`, `a`, `b` (n_cells,) tell each pair's line, by its place in `lines`, and its choices.
    """

    problem: Problem
    lines: tuple[LineRow, ...]
    shapes: tuple[tuple[int, int], ...]
    at: IntArray
    line: IntArray
    a: IntArray
    b: IntArray

    @property
    def sites(self) -> tuple[IntArray, IntArray]:
        """(n_cells,) twice: where the two choices are."""
        return self.problem.choice_site[self.a], self.problem.choice_site[self.b]

    def of(self, number: int) -> slice:
        """Where a line's pairs stand."""
        return slice(int(self.at[number]), int(self.at[number + 1]))

    def cases(self) -> Iterator[tuple[IntArray | slice, IntArray, Array, Array]]:
        """The lines' cases, the first of each line, then the second of those that have one, ...

        Each time: the pairs whose choices are of the case's models, and for each of these the
        case's option, and the longest and most bent [m, rad] a route between the two sites may be;
        a length below 0 where the line's slack alone is too long.
        """
        p = self.problem
        for k in range(max((len(line.cases) for line in self.lines), default=0)):
            rows = [_terms(line, k) for line in self.lines]
            option, model_a, model_b, longest, most_bend = np.array(rows).T
            fits = (option >= 0)[self.line]
            for model, choice in ((model_a, self.a), (model_b, self.b)):
                if (model >= 0).any():
                    wanted = model[self.line]
                    fits &= (wanted < 0) | (wanted == p.choice_model[choice])
            cells = slice(None) if fits.all() else np.flatnonzero(fits)
            of = self.line[cells]
            yield cells, option.astype(np.int64)[of], longest[of], most_bend[of]


def _terms(line: LineRow, k: int) -> tuple[float, float, float, float, float]:
    """Of a line's case k: option, models (-1 for any), longest and most bent; option -1 if none."""
    if k >= len(line.cases):
        return -1, -1, -1, 0.0, 0.0
    case = line.cases[k]
    model_a = -1 if case.model_a is None else case.model_a
    model_b = -1 if case.model_b is None else case.model_b
    return case.option, model_a, model_b, room_m(line, case), case.max_bend_rad


def room_m(line: LineRow, case: LineCase) -> float:
    """How long a line's route may be, its slack left out; below 0 if that alone is too long."""
    if case.max_length_m < line.slack_m * (1 - TOLERANCE):
        return -1.0
    return case.max_length_m - line.slack_m


def line_cells(
    problem: Problem, lines: Sequence[LineRow], choice: IntArray, first: IntArray
) -> LineCells:
    """Pairs of the choices of the lines' ends.

    Parameters
    ----------
    choice : (n_c,) the choices there are, in order of their slots
    first : (n_slots + 1,) where in `choice` each slot's begin
    """
    size = np.diff(first)
    slot_a = np.array([line.slot_a for line in lines], dtype=np.int64)
    slot_b = np.array([line.slot_b for line in lines], dtype=np.int64)
    n_a, n_b = size[slot_a], size[slot_b]
    at = np.append(0, np.cumsum(n_a * n_b))
    # rows of all lines one after another, and which row each pair is in
    row_line = np.repeat(np.arange(len(lines)), n_a)
    row_a = choice[np.arange(len(row_line)) - (np.cumsum(n_a) - n_a - first[slot_a])[row_line]]
    width = n_b[row_line]
    row = np.repeat(np.arange(len(row_line)), width)
    shift = np.cumsum(width) - width - first[slot_b][row_line]
    return LineCells(
        problem,
        tuple(lines),
        tuple(zip(n_a.tolist(), n_b.tolist(), strict=True)),
        at,
        row_line[row],
        row_a[row],
        choice[np.arange(len(row)) - shift[row]],
    )


def joined(cells: LineCells, routes: SiteRoutes) -> Mask:
    """(n_cells,) which pairs some case of their line can join."""
    ways = routes.ways(*cells.sites)
    ok = np.zeros(len(cells.line), dtype=bool)
    for which, _, longest, most_bend in cells.cases():
        ok[which] |= _some(ways, which).within(longest, most_bend) >= 0
    return ok


def bought(cells: LineCells, ways: Ways, n_options: int) -> IntArray:
    """(n_cells, n_options) the route a line takes, bought as each option; -1 out of reach.

    The first case of an option that the two models are of tells how far the line reaches.
    """
    route = np.full((len(cells.line), n_options), -1, dtype=np.int64)
    settled = np.zeros(route.shape, dtype=bool)
    every = np.arange(len(route))
    for which, option, longest, most_bend in cells.cases():
        cells_of = every[which]
        fresh = ~settled[cells_of, option]
        number = _some(ways, which).within(longest, most_bend)
        route[cells_of[fresh], option[fresh]] = number[fresh]
        settled[cells_of, option] = True
    return route


def _some(ways: Ways, which: IntArray | slice) -> Ways:
    return ways if isinstance(which, slice) else ways.take(which)
