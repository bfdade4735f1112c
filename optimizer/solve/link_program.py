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

from optimizer.problem.arrays import Array, LineRow, Objective, Problem
from optimizer.problem.build import TIE_PER_M
from optimizer.problem.presolve import Reduced, Switches
from optimizer.solve.easing import Easing, Key
from optimizer.solve.formulation import Columns, Formulation, Row, _Builder, formulate
from optimizer.solve.gates import Gate
from optimizer.solve.links import End, Link, consistent, link_quantities
from optimizer.solve.program import Program, Solution

#: Reach rows and arc consistency are in the links already.
_PLAIN = Switches(arc_consistency=False, reach_rows=False)


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
        self._links, self._easing = program.links, program.easing

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
        for side, slot in (("end_a", line.slot_a), ("end_b", line.slot_b)):
            at: dict[End, list[tuple[float, int]]] = {}
            for i, link in enumerate(links):
                at.setdefault(getattr(link, side), []).append((1.0, self.columns.link[number, i]))
            told = any(end[1] is not None for end in at)
            for c in self.choices:
                if self.problem.choice_slot[c] == slot:
                    model = int(self.problem.choice_model[c]) if told else None
                    end = (int(self.problem.choice_site[c]), model)
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
        terms = [
            (link.need, self.columns.link[number, i])
            for i, link in enumerate(self._links[number])
            if link.need > 0.0
        ]
        if terms:
            terms.append((-1.0, self.columns.ease[self._easing.lines[number]]))
            self.add("line_length", number, terms, "<=", 0.0)

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
        still, self.links = consistent(easing.problem, easing.most_of_lines())
        n_lines = len(easing.problem.lines)
        reduced = Reduced(easing.problem, still, ((),) * n_lines, (), {})
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
        for number, limit in enumerate(self.easing.lines):
            if limit in changed:
                self._open_links(number)
        self.problem = self.easing.eased_problem(self.eases)

    def _open_links(self, number: int) -> None:
        columns = self.formulation.columns
        assert isinstance(columns, LinkColumns)
        limit = self.easing.lines[number]
        eased = self.eases.get(limit, 0.0)
        for i, link in enumerate(self.links[number]):
            taken = link.is_taken(eased) or (limit in self._any_route and link.need <= eased)
            self.live.set_col_bounds(columns.link[number, i], 0.0, 1.0 if taken else 0.0)

    def _written(self) -> None:
        self.live.never_restart()
        columns = self.formulation.columns
        assert isinstance(columns, LinkColumns)
        for m, column in columns.ease.items():
            self.live.set_col_bounds(column, 0.0, self.eases.get(m, 0.0))
        for number in range(len(self.links)):
            self._open_links(number)

    # -- reading ---------------------------------------------------------------------------

    def _options(self, x: Array) -> tuple[int, ...]:
        columns = self.formulation.columns
        assert isinstance(columns, LinkColumns)
        options = [0] * len(self.problem.lines)
        for (number, i), column in columns.link.items():
            if x[column] > 0.5:
                options[number] = self.links[number][i].option
        return tuple(options)

    def _astray(self, x: Array, solution: Solution) -> frozenset[int]:
        return frozenset()  # a link is the line's own route

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
                    coefficient = -_most_over(formulation, row) / self.easing.most[limit]
                row.columns.append(columns.ease[limit])
                row.coefficients.append(coefficient)
        for gate in self.easing.gates:
            row_of = _gate_row(columns, gate)
            if row_of is not None:
                formulation.rows.append(row_of)
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
