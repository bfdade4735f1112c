"""The program of a sweep, alive in the solver and turned in place.

The search over arrays (`optimizer.solve.search`) is faster; this one can also forbid single
layouts, line options and all, and weaken rows in which lines move.
"""

from __future__ import annotations

from math import inf

import numpy as np

from optimizer.problem.arrays import Array
from optimizer.solve.formulation import RowKey
from optimizer.solve.program import Program, Solution
from optimizer.solve.sweep_arrays import Winner
from optimizer.solve.sweep_family import Family, MovingRow

#: Costs closer than this are equal.
EQUAL = 2e-9
#: A limit counts as kept to this (of rows scaled to 1): ten times the solver's own tolerance.
KEPT = 1e-8


class SweptProgram(Program):
    """The program of a family, alive, to be turned to any s in place."""

    def __init__(self, family: Family, seed: int, threads: int):
        self.family = family
        self._cost = family.cost_at(0.0)
        self._range = (0.0, 0.0)
        self._s = 0.0
        self._cut: dict[tuple[object, ...], Winner] = {}
        self._numbers: dict[RowKey, int] = {}
        self._cut_rows: dict[tuple[object, ...], int] = {}
        super().__init__(
            family.base.reduced,
            seed=seed,
            threads=threads,
            curve_tolerance=1e-9,
            feasibility=1e-9,
        )

    def turn(self, s: float, low: float, high: float, cut: list[Winner]) -> None:
        """Cost as at s; moving rows at their weakest from low to high; `cut` layouts forbidden."""
        self._s, self._range = s, (low, high)
        self._cost = self.family.cost_at(s)
        self._cut = {winner.key: winner for winner in cut}
        self._apply()

    def _written(self) -> None:
        self._numbers = {key: r for r, key in enumerate(self.rows)}
        self._cut_rows = {}
        self._apply()

    def _apply(self) -> None:
        self.live.set_costs(self._cost)
        for row in self.family.rows:
            value, upper = row.weakest(*self._range)
            self._put(row, value, upper)
        load = self.family.load
        if load is not None:
            value, _ = load.at(self._s)
            self._put(load, value, None)
        for key, number in self._cut_rows.items():
            if key not in self._cut:
                self.live.set_row_bounds(number, -inf, inf)
        for key, winner in self._cut.items():
            columns = self._marks(winner)
            if key not in self._cut_rows:
                self._cut_rows[key] = self.live.add_row(
                    -inf, len(columns) - 1.0, columns.astype(float), np.ones(len(columns))
                )
            self.live.set_row_bounds(self._cut_rows[key], -inf, len(columns) - 1.0)

    def _put(self, row: MovingRow, value: Array, upper: float | None) -> None:
        number = self._numbers[row.key]
        for column, coefficient in zip(row.index.tolist(), value.tolist(), strict=True):
            self.live.set_coefficient(number, column, coefficient)
        if upper is not None:
            self.live.set_row_bounds(number, -inf, upper)

    def _marks(self, winner: Winner) -> Array:
        """Columns that are all 1 in this layout and in no other."""
        columns = self.formulation.columns
        chosen = [columns.x[c] for c in winner.solution.chosen]
        p = self.problem
        bought = []
        for number, (option, _) in enumerate(winner.solution.routes):
            line = p.lines[number]
            if len(line.options) > 1:
                site = int(p.choice_site[winner.solution.chosen[line.slot_a]])
                bought.append(columns.g[number, option, site])
        return np.array([*chosen, *bought])

    def straightened(self, x: Array, solution: Solution) -> Array:
        """The vector with every line on its own route."""
        columns = self.formulation.columns.f
        straight = x.copy()
        for (number, *_), column in columns.items():
            if solution.routes[number][1] is not None:
                straight[column] = 0.0
        for number, (option, route) in enumerate(solution.routes):
            for a, d in route.arcs:
                straight[columns[number, option, a, d]] = 1.0
        return straight

    def _astray(self, x: Array, solution: Solution) -> frozenset[int]:
        """Lines led another way than their own, if that saved cost or met a limit."""
        straight = self.straightened(x, solution)
        if not np.any(straight != x):
            return frozenset()
        lost = float((self._cost - self.formulation.tie) @ (straight - x))
        if lost <= EQUAL and not self._breaks_limits(straight):
            return frozenset()
        moved = straight != x
        return frozenset(
            number
            for (number, *_), column in self.formulation.columns.f.items()
            if moved[column] and number not in self._cheapest
        )

    def _breaks_limits(self, x: Array) -> bool:
        moving = {row.key: row.weakest(*self._range) for row in self.family.rows}
        for row in self.formulation.rows:
            if row.group != "limit":
                continue
            value, upper = moving.get(
                (row.group, row.subject), (np.array(row.coefficients), row.upper)
            )
            if float(value @ x[row.columns]) - upper > KEPT:
                return True
        return False

    def _loose_at(self, x: Array, solution: Solution) -> float | None:
        if self._curved is None:
            return None
        load = self.family.trunk_kg(x, self._s)
        return self._loose_objective_at(x, load, float(self._cost @ x))
