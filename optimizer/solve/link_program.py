"""The program with links alive in the solver, its limits eased and put back in place.

The same program as `optimizer.solve.program`, written by `optimizer.solve.link_writer`: quicker to
solve over and over where parts have few places, and with every limit of the study at hand.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from optimizer.problem.arrays import Array, IntArray, LineCase, Objective
from optimizer.problem.presolve import Reduced, Switches
from optimizer.solve.easing import Easing
from optimizer.solve.formulation import Formulation, formulate
from optimizer.solve.line_easing import models_told, needs_of
from optimizer.solve.link_writer import LinkBuilder, LinkColumns, write_eases
from optimizer.solve.links import consistent, taken
from optimizer.solve.program import Program, Solution

#: Reach rows and arc consistency are in the links already.
_PLAIN = Switches(arc_consistency=False, reach_rows=False)
#: By how much a row, scaled to 1, counts as broken; the solver's own tolerance is 1e-6.
_BROKEN = 1.5e-6


class LinkProgram(Program):
    """The program of a setting under one objective, in any state of its limits."""

    def __init__(
        self,
        easing: Easing,
        objective: Objective | None = None,
        *,
        seed: int = 0,
        threads: int = 1,
    ):
        self.easing = easing
        self.eases: dict[int, float] = {}
        self._any_route: frozenset[int] = frozenset()
        lines = easing.problem.lines
        needs = [
            needs_of(own, line.slack_m, easing.most)
            for own, line in zip(easing.lines, lines, strict=True)
        ]
        self.told = [models_told(own) for own in easing.lines]
        still, self.links = consistent(easing.problem, needs, self.told)
        self._as_written = [taken(links, {}) for links in self.links]
        self._lines_of: dict[int, list[int]] = {}
        for number, own in enumerate(easing.lines):
            for limit in own:
                self._lines_of.setdefault(limit.number, []).append(number)
        reduced = Reduced(easing.problem, still)
        super().__init__(reduced, objective, switches=_PLAIN, seed=seed, threads=threads)

    @property
    def columns(self) -> LinkColumns:
        """The program's columns, those of links and eases among them."""
        columns = self.formulation.columns
        assert isinstance(columns, LinkColumns)
        return columns

    # -- states ----------------------------------------------------------------------------

    def ease(self, eases: Mapping[int, float], any_route: frozenset[int] = frozenset()) -> None:
        """Ease some limits, each by a share of itself (inf lifts it); all others are as written.

        Lines of the limits in `any_route` may take any of their routes, not only the cheapest
        that fits: that is how the least ease is looked for.
        """
        columns = self.columns
        for m in {*self.eases, *eases}:
            most = eases.get(m, 0.0)
            if most != self.eases.get(m, 0.0):
                self.live.set_col_bounds(columns.ease[m], 0.0, most)
        changed = {*self.eases, *eases} | self._any_route | any_route
        self.eases = {m: most for m, most in eases.items() if most > 0.0}
        self._any_route = any_route
        for number in {n for m in changed for n in self._lines_of.get(m, ())}:
            self._open_links(number)

    def _open_links(self, number: int) -> None:
        columns = self.columns
        links = self.links[number]
        any_route = any(limit.number in self._any_route for limit in self.easing.lines[number])
        for i, first in enumerate(taken(links, self.eases)):
            is_open = first or (any_route and links[i].is_allowed(self.eases))
            self.live.set_col_bounds(columns.link[number, i], 0.0, 1.0 if is_open else 0.0)

    def _written(self) -> None:
        self.live.never_restart()
        self.live.search_no_neighbourhoods()
        columns = self.columns
        for m, column in columns.ease.items():
            self.live.set_col_bounds(column, 0.0, self.eases.get(m, 0.0))
        for number in range(len(self.links)):
            self._open_links(number)

    # -- reading ---------------------------------------------------------------------------

    def read(self, x: Array) -> Solution:
        """Read a solution as choices and routes, lines as the links they take."""
        lines = list(self.easing.problem.lines)
        columns = self.columns
        for (number, i), column in columns.link.items():
            if x[column] > 0.5:
                link, line = self.links[number][i], lines[number]
                # as if nothing but this link were allowed, which is how it was chosen
                length = link.route.length_m + line.slack_m
                case = LineCase(link.option, None, None, length, link.route.bend_rad)
                lines[number] = replace(line, cases=(case,))
        self.problem = replace(self.easing.problem, lines=tuple(lines))
        return super().read(x)

    def _options(self, x: Array) -> tuple[int, ...]:
        return tuple(line.cases[0].option for line in self.problem.lines)

    def _astray(self, x: Array, solution: Solution) -> frozenset[int]:
        return frozenset()  # a link is the line's own route

    def broken(self, x: Array) -> frozenset[int]:
        """The limits, by number, that a solution does not meet as they are written.

        A line on a route that only a longer limit allows breaks its limit; so does one that
        takes a route other than the cheapest that fits.
        """
        found: set[int] = {
            limit
            for limit, columns, coefficients, upper in self._held
            if float(x[columns] @ coefficients) > upper + _BROKEN
        }
        columns = self.columns
        for (number, i), column in columns.link.items():
            if x[column] > 0.5 and not self._as_written[number][i]:
                link = self.links[number][i]
                # a dearer route than need be is a sign that some limit of the line was away
                own = [each.number for each in self.easing.lines[number]]
                found.update([m for m, _ in link.needs] or self._any_route.intersection(own))
        return frozenset(found)

    def lines_of(self, limit: int) -> list[int]:
        """The lines, by number, that a limit is about."""
        return self._lines_of.get(limit, [])

    def rows_of(self, limit: int) -> list[tuple[IntArray, Array, float]]:
        """The rows of a limit as written: columns, coefficients, upper."""
        return [(index, values, upper) for m, index, values, upper in self._held if m == limit]

    def are_choices(self, index: IntArray) -> bool:
        """Whether all columns are placements."""
        names = self.formulation.names
        return all(names[int(c)][0] == "x" for c in index)

    def links_gained(self, limit: int) -> list[int]:
        """Columns of the links taken with the limits as eased now, but not as written."""
        columns = self.columns
        return [
            columns.link[number, i]
            for number in self._lines_of.get(limit, ())
            for i, now in enumerate(taken(self.links[number], self.eases))
            if now and not self._as_written[number][i]
        ]

    def barred_by(self, *columns: int) -> frozenset[int]:
        """The limits, by number, that columns at 1 break with all others at 0."""
        brought: dict[int, float] = {}
        for column in columns:
            for row, coefficient in self._held_by.get(column, ()):
                brought[row] = brought.get(row, 0.0) + coefficient
        return frozenset(
            self._held[row][0]
            for row, amount in brought.items()
            if amount > self._held[row][3] + _BROKEN
        )

    # -- writing ---------------------------------------------------------------------------

    def _formulate(self) -> Formulation:
        def writer(reduced: Reduced, switches: Switches) -> LinkBuilder:
            return LinkBuilder(reduced, switches, self.easing, self.links, self.told)

        formulation = formulate(
            self.reduced, self._curved or self.objective, self.switches, writer=writer
        )
        write_eases(formulation, self.easing)
        columns = formulation.columns
        assert isinstance(columns, LinkColumns)
        limits = {column: m for m, column in columns.ease.items()}
        self._held: list[tuple[int, IntArray, Array, float]] = []
        for row in formulation.rows:
            if row.columns and row.columns[-1] in limits:
                index = np.array(row.columns[:-1], dtype=np.int64)
                values = np.array(row.coefficients[:-1])
                self._held.append((limits[row.columns[-1]], index, values, row.upper))
        self._held_by: dict[int, list[tuple[int, float]]] = {}
        for number, (_, index, values, _) in enumerate(self._held):
            for column, value in zip(index.tolist(), values.tolist(), strict=True):
                self._held_by.setdefault(column, []).append((number, value))
        return formulation
