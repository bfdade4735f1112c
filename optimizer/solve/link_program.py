"""The program with one column for every link of a line, and with limits that can be eased.

Columns beside those of `optimizer.solve.formulation`:

link[l,i]   line l is joined by its i-th link (`optimizer.solve.links`)
t[l,o]      line l is bought as option o (lines with several options only)
ease[m]     the share by which limit m is loosened (`optimizer.solve.easing`)
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from math import inf

import numpy as np

from optimizer.problem.arrays import Array, IntArray, LineCase, LineRow, Objective, Problem
from optimizer.problem.build import TIE_PER_M
from optimizer.problem.presolve import Reduced, Switches
from optimizer.solve.easing import Easing, Key
from optimizer.solve.formulation import Columns, Formulation, Row, _Builder, formulate
from optimizer.solve.gates import Gate
from optimizer.solve.line_easing import models_told, needs_of
from optimizer.solve.links import End, Link, consistent, ends_of, link_quantities, taken
from optimizer.solve.program import Program, Solution

#: Reach rows and arc consistency are in the links already.
_PLAIN = Switches(arc_consistency=False, reach_rows=False)
#: By how much a row, scaled to 1, counts as broken; the solver's own tolerance is 1e-6.
_BROKEN = 1.5e-6


@dataclass
class LinkColumns(Columns):
    """Column numbers, those of links and eases included."""

    link: dict[tuple[int, int], int] = field(default_factory=dict)
    ease: dict[int, int] = field(default_factory=dict)


class _LinkBuilder(_Builder):
    """Writes lines as links, and the rows that eased limits need."""

    def __init__(self, reduced: Reduced, switches: Switches, program: LinkProgram):
        super().__init__(reduced, switches)
        self.columns: LinkColumns = LinkColumns()
        self._links, self._told = program.links, program.told
        self._easing = program.easing

    def columns_for_choices(self) -> None:
        super().columns_for_choices()
        self.columns.ease = {m: self.new("ease", m) for m in range(len(self._easing.limits))}

    def columns_for_line(self, number: int, line: LineRow) -> None:
        cols = self.columns
        for i in range(len(self._links[number])):
            cols.link[number, i] = self.new("link", (number, i))
        if len(line.options) > 1:
            for o in range(len(line.options)):
                cols.t[number, o] = self.new("t", (number, o))

    def finish(self, objective: Objective) -> Formulation:
        whole, self.problem = self.problem, replace(self.problem, lines=())
        formulation = super().finish(objective)
        self.problem = whole
        for (number, i), column in self.columns.link.items():
            link = self._links[number][i]
            rate = whole.lines[number].mass_kg_per_m[link.option]
            formulation.quantities[column] = link_quantities(whole, link)
            formulation.tie[column] = TIE_PER_M * rate * link.route.length_m
        return formulation

    def route(self, number: int, line: LineRow) -> None:
        links = self._links[number]
        sides = (("end_a", line.slot_a), ("end_b", line.slot_b))
        for (side, slot), told in zip(sides, self._told[number], strict=True):
            at: dict[End, list[tuple[float, int]]] = {}
            for i, link in enumerate(links):
                at.setdefault(getattr(link, side), []).append((1.0, self.columns.link[number, i]))
            for c, end in ends_of(self.problem, slot, self.choices, told).items():
                at.setdefault(end, []).append((-1.0, self.columns.x[c]))
            for end, terms in at.items():
                self.add("line_end", (number, side, end), terms, "==", 0.0)
        for o in range(len(line.options)):
            if (number, o) in self.columns.t:
                terms = [
                    (1.0, self.columns.link[number, i])
                    for i, link in enumerate(links)
                    if link.option == o
                ]
                terms.append((-1.0, self.columns.t[number, o]))
                self.add("option", (number, o), terms, "==", 0.0)

    def line_limits(self, number: int, line: LineRow) -> None:
        needed: dict[int, list[tuple[float, int]]] = {}
        for i, link in enumerate(self._links[number]):
            for m, share in link.needs:
                needed.setdefault(m, []).append((share, self.columns.link[number, i]))
        for m, terms in needed.items():
            self.add("line_limit", (number, m), [*terms, (-1.0, self.columns.ease[m])], "<=", 0.0)

    def cheapest_route(self, number: int, line: LineRow) -> None:
        """Nothing: every link is the route its line takes."""

    def reach(self, line: LineRow) -> None:
        """Nothing: no link is out of reach."""


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
        reduced = Reduced(easing.problem, still, ((),) * len(lines), (), {})
        super().__init__(reduced, objective, switches=_PLAIN, seed=seed, threads=threads)

    # -- states ----------------------------------------------------------------------------

    def ease(self, eases: Mapping[int, float], any_route: frozenset[int] = frozenset()) -> None:
        """Ease some limits, each by a share of itself (inf lifts it); all others are as written.

        Lines of the limits in `any_route` may take any of their routes, not only the cheapest
        that fits: that is how the least ease is looked for.
        """
        columns = self.formulation.columns
        assert isinstance(columns, LinkColumns)
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
        columns = self.formulation.columns
        assert isinstance(columns, LinkColumns)
        links = self.links[number]
        any_route = any(limit.number in self._any_route for limit in self.easing.lines[number])
        for i, first in enumerate(taken(links, self.eases)):
            is_open = first or (any_route and links[i].is_allowed(self.eases))
            self.live.set_col_bounds(columns.link[number, i], 0.0, 1.0 if is_open else 0.0)

    def _written(self) -> None:
        self.live.never_restart()
        columns = self.formulation.columns
        assert isinstance(columns, LinkColumns)
        for m, column in columns.ease.items():
            self.live.set_col_bounds(column, 0.0, self.eases.get(m, 0.0))
        for number in range(len(self.links)):
            self._open_links(number)

    # -- reading ---------------------------------------------------------------------------

    def read(self, x: Array) -> Solution:
        """Read a solution as choices and routes, lines as the links they take."""
        lines = list(self.easing.problem.lines)
        columns = self.formulation.columns
        assert isinstance(columns, LinkColumns)
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
        columns = self.formulation.columns
        assert isinstance(columns, LinkColumns)
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
        columns = self.formulation.columns
        assert isinstance(columns, LinkColumns)
        return [
            columns.link[number, i]
            for number in self._lines_of.get(limit, ())
            for i, now in enumerate(taken(self.links[number], self.eases))
            if now and not self._as_written[number][i]
        ]

    def barred_by(self, *columns: int) -> frozenset[int]:
        """The limits, by number, that columns at 1 break with all others at 0."""
        found = set()
        for limit, index, coefficients, upper in self._held:
            at = np.isin(index, columns)
            if at.any() and float(coefficients[at].sum()) > upper + _BROKEN:
                found.add(limit)
        return frozenset(found)

    # -- writing ---------------------------------------------------------------------------

    def _formulate(self) -> Formulation:
        def writer(reduced: Reduced, switches: Switches) -> _LinkBuilder:
            return _LinkBuilder(reduced, switches, self)

        formulation = formulate(
            self.reduced, self._curved or self.objective, self.switches, writer=writer
        )
        columns = formulation.columns
        assert isinstance(columns, LinkColumns)
        for row in formulation.rows:
            at = self.easing.rows.get((row.group, row.subject))
            if at is not None:
                limit, coefficient = at
                if coefficient is None:
                    most = self.easing.most[limit]
                    coefficient = -_most_over(formulation, row) / most if most > 0.0 else 0.0
                row.columns.append(columns.ease[limit])
                row.coefficients.append(coefficient)
        for gate in self.easing.gates:
            row_of = _gate_row(columns, gate)
            if row_of is not None:
                formulation.rows.append(row_of)
        limits = {column: m for m, column in columns.ease.items()}
        self._held: list[tuple[int, IntArray, Array, float]] = []
        for row in formulation.rows:
            if row.columns and row.columns[-1] in limits:
                index = np.array(row.columns[:-1], dtype=np.int64)
                values = np.array(row.coefficients[:-1])
                self._held.append((limits[row.columns[-1]], index, values, row.upper))
        return formulation


def _gate_row(columns: LinkColumns, gate: Gate) -> Row | None:
    found: list[int] = []
    values: list[float] = []
    for kind, subject, coefficient in gate.terms:
        column = getattr(columns, kind).get(subject)
        if column is not None:
            found.append(column)
            values.append(coefficient)
    if not found:
        return None
    found.append(columns.ease[gate.limit])
    values.append(-1.0)
    return Row(gate.kind, ("gate", gate.subject), found, values, -inf, gate.right)


def _most_over(formulation: Formulation, row: Row) -> float:
    """How far a row over placements, sites and lines can be overstepped at the very most."""
    problem: Problem = formulation.reduced.problem
    best: dict[object, float] = {}
    for column, coefficient in zip(row.columns, row.coefficients, strict=True):
        kind, subject = formulation.names[column]
        owner: object = column
        if kind == "x" and isinstance(subject, int):
            owner = ("x", int(problem.choice_slot[subject]))
        elif kind == "link" and isinstance(subject, tuple):
            owner = ("link", subject[0])
        worth = coefficient * _upper(problem, kind)
        best[owner] = max(best.get(owner, 0.0), worth)
    return float(np.maximum(sum(best.values()) - row.upper, 1.0))


def _upper(problem: Problem, kind: str) -> float:
    if kind == "b":
        assert problem.ballast is not None
        return problem.ballast.total_kg
    return 1.0


__all__ = ["Key", "Link", "LinkColumns", "LinkProgram"]
