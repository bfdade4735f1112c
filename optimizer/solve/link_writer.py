"""Writes the program with a column for every link of a line and for the ease of every limit.

Columns beside those of `optimizer.solve.formulation`:

link[l,i]   line l is joined by its i-th link (`optimizer.solve.links`)
t[l,o]      line l is bought as option o (lines with several options only)
ease[m]     the share by which limit m is loosened (`optimizer.solve.easing`)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from math import inf

import numpy as np

from optimizer.problem.arrays import LineRow, Objective, Problem
from optimizer.problem.build import TIE_PER_M
from optimizer.problem.presolve import Reduced, Switches
from optimizer.solve.easing import Easing
from optimizer.solve.formulation import Columns, Formulation, Row, _Builder
from optimizer.solve.gates import Gate
from optimizer.solve.links import End, Link, ends_of, link_quantities


@dataclass
class LinkColumns(Columns):
    """Column numbers, those of links and eases included."""

    link: dict[tuple[int, int], int] = field(default_factory=dict)
    ease: dict[int, int] = field(default_factory=dict)


class LinkBuilder(_Builder):
    """Writes lines as links, and the rows that eased limits need."""

    def __init__(
        self,
        reduced: Reduced,
        switches: Switches,
        easing: Easing,
        links: Sequence[Sequence[Link]],
        told: Sequence[tuple[bool, bool]],
    ):
        super().__init__(reduced, switches)
        self.columns: LinkColumns = LinkColumns()
        self._easing, self._links, self._told = easing, links, told

    def columns_for_choices(self) -> None:
        """Columns of choices and sites, and the ease of every limit."""
        super().columns_for_choices()
        self.columns.ease = {m: self.new("ease", m) for m in range(len(self._easing.limits))}

    def columns_for_line(self, number: int, line: LineRow) -> None:
        """One column per link, and per option if there are several."""
        cols = self.columns
        for i in range(len(self._links[number])):
            cols.link[number, i] = self.new("link", (number, i))
        if len(line.options) > 1:
            for o in range(len(line.options)):
                cols.t[number, o] = self.new("t", (number, o))

    def finish(self, objective: Objective) -> Formulation:
        """Every column's quantities; all of a line's are its links'."""
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
        """One link is taken, and its ends are where the line's parts are."""
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
        """A link is taken only as far as the line's limits are eased for it."""
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


def write_eases(formulation: Formulation, easing: Easing) -> None:
    """Let limits give way in the rows they are, and add the gates that hold back the rest."""
    columns = formulation.columns
    assert isinstance(columns, LinkColumns)
    for row in formulation.rows:
        at = easing.rows.get((row.group, row.subject))
        if at is not None:
            limit, coefficient = at
            if coefficient is None:
                most = easing.most[limit]
                coefficient = -_most_over(formulation, row) / most if most > 0.0 else 0.0
            row.columns.append(columns.ease[limit])
            row.coefficients.append(coefficient)
    for gate in easing.gates:
        gate_row = _gate_row(columns, gate)
        if gate_row is not None:
            formulation.rows.append(gate_row)


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
