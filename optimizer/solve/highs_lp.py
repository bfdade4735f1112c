"""A linear program alive in HiGHS: bounds move, rows come and go, the last basis is kept.

Beside `optimizer.solve.highs` the one other module that knows HiGHS; that one is for
mixed-integer programs, which run long and are stopped and watched.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, IntArray

Mask = NDArray[np.bool_]
_NO_LIMIT = 2**31 - 1
_DEVEX, _STEEPEST_EDGE = 1, 2


@dataclass(frozen=True)
class Rows:
    """Rows as coordinates: `value[k]` stands in row `row[k]` and column `column[k]`."""

    row: IntArray
    column: IntArray
    value: Array
    lower: Array
    upper: Array

    def paid(self, dual: Array, n_columns: int) -> Array:
        """(n_columns,) what rows pay for each column, at multipliers of the rows."""
        weights = self.value * dual[self.row]
        return np.asarray(np.bincount(self.column, weights=weights, minlength=n_columns), float)

    def within(self, group: Mask) -> Mask:
        """(n_rows,) the rows all of whose columns are in a group (n_columns,)."""
        outside = ~group[self.column]
        found: Mask = np.bincount(self.row[outside], minlength=len(self.lower)) == 0
        return found


@dataclass(frozen=True)
class Basis:
    """A basis as HiGHS has it, and how many rows there were."""

    found: Any
    n_rows: int


class LiveLinear:
    """minimise cost . x, lower <= A x <= upper, 0 <= x <= col_upper."""

    def __init__(self, cost: Array, col_upper: Array, rows: Rows, seed: int = 0):
        import highspy

        self._highspy = highspy
        # the bare solver object: its friendlier subclass prints a banner when made
        self._highs: Any = getattr(highspy, "_Highs")()  # noqa: B009 - not in the type stubs
        for option, value in (
            ("output_flag", False),
            ("random_seed", int(seed)),
            ("threads", 1),
            ("parallel", "off"),
            # takes longer than it saves: what can be closed is closed already
            ("presolve", "off"),
        ):
            self._highs.setOptionValue(option, value)
        start, index, entry = _by_row(rows)
        # one call with plain arrays: filled in field by field, every number would become an object
        self._highs.passModel(
            len(cost),
            len(rows.lower),
            len(index),
            int(highspy.MatrixFormat.kRowwise),
            int(highspy.ObjSense.kMinimize),
            0.0,
            np.asarray(cost, dtype=np.float64),
            np.zeros(len(cost)),
            np.asarray(col_upper, dtype=np.float64),
            rows.lower,
            rows.upper,
            start,
            index,
            entry,
            np.zeros(len(cost), dtype=np.int32),
        )
        self.objective = -inf
        self.iterations = 0
        self._solved = False

    def solve(
        self,
        iterations: int | None = None,
        time_limit_s: float = inf,
        cutoff: float = inf,
    ) -> str:
        """Run from the last basis: "optimal", "infeasible", "beyond", "stopped" or "error".

        "beyond" where the objective is known to exceed `cutoff`.
        """
        highs, status_of = self._highs, self._highspy.HighsModelStatus
        # from no basis steepest edge takes the fewest steps; from one it would weigh it first
        pricing = _DEVEX if self._solved else _STEEPEST_EDGE
        highs.setOptionValue("simplex_dual_edge_weight_strategy", pricing)
        self._solved = True
        highs.setOptionValue(
            "simplex_iteration_limit", _NO_LIMIT if iterations is None else iterations
        )
        limit = inf if time_limit_s == inf else highs.getRunTime() + max(time_limit_s, 0.0)
        highs.setOptionValue("time_limit", limit)
        highs.setOptionValue("objective_bound", float(cutoff))
        highs.run()
        if highs.getModelStatus() == status_of.kUnknown:
            # lost its way from the last basis: once more from none
            highs.clearSolver()
            highs.run()
        status = highs.getModelStatus()
        info = highs.getInfo()
        self.iterations += max(0, int(info.simplex_iteration_count))
        if status == status_of.kOptimal:
            self.objective = float(info.objective_function_value)
            return "optimal"
        if status in (status_of.kInfeasible, status_of.kUnboundedOrInfeasible):
            self.objective = inf
            return "infeasible"
        if status == status_of.kObjectiveBound:
            self.objective = max(cutoff, float(info.objective_function_value))
            return "beyond"
        if status in (status_of.kIterationLimit, status_of.kTimeLimit):
            # the dual simplex only raises the objective, so this is a bound all the same
            self.objective = float(info.objective_function_value)
            return "stopped"
        self.objective = -inf
        return "error"

    def solution(self) -> tuple[Array, Array]:
        """Values of the columns and duals of the rows at the last optimum."""
        solution = self._highs.getSolution()
        return np.array(solution.col_value), np.array(solution.row_dual)

    def set_bounds(self, columns: IntArray, lower: Array, upper: Array) -> None:
        """Change the bounds of some columns."""
        self._highs.changeColsBounds(
            len(columns),
            np.asarray(columns, dtype=np.int32),
            np.asarray(lower, dtype=np.float64),
            np.asarray(upper, dtype=np.float64),
        )

    def set_costs(self, cost: Array) -> None:
        """Change the costs of all columns."""
        n = len(cost)
        self._highs.changeColsCost(n, np.arange(n, dtype=np.int32), np.asarray(cost, dtype=float))

    def add_row(self, columns: IntArray, values: Array, lower: float, upper: float) -> None:
        """Add a row at the end."""
        self._highs.addRow(
            lower,
            upper,
            len(columns),
            np.asarray(columns, dtype=np.int32),
            np.asarray(values, dtype=np.float64),
        )

    def add_rows(self, rows: Rows) -> None:
        """Add rows at the end."""
        start, index, value = _by_row(rows)
        self._highs.addRows(
            len(rows.lower), rows.lower, rows.upper, len(index), start[:-1], index, value
        )

    def basis(self) -> Basis:
        """The basis now, to come back to."""
        return Basis(self._highs.getBasis(), int(self._highs.getNumRow()))

    def set_basis(self, basis: Basis) -> None:
        """Come back to a basis; rows added since are basic."""
        found, since = basis.found, int(self._highs.getNumRow()) - basis.n_rows
        if since:
            longer = self._highspy.HighsBasis()
            basic = self._highspy.HighsBasisStatus.kBasic
            longer.col_status, longer.valid, longer.alien = found.col_status, True, False
            longer.row_status = list(found.row_status) + [basic] * since
            found = longer
        self._highs.setBasis(found)

    def basic(self) -> tuple[IntArray, IntArray]:
        """The columns and the rows that are basic now; none where there is no basis."""
        _, variables = self._highs.getBasicVariables()
        variables = np.asarray(variables, dtype=np.int64)
        return variables[variables >= 0], -1 - variables[variables < 0]

    def start_from(self, basic: tuple[Mask, Mask], at_upper: tuple[Mask, Mask]) -> None:
        """Start from a basis: which columns and rows are basic, which others at their upper."""
        status_of = self._highspy.HighsBasisStatus
        names = (status_of.kLower, status_of.kBasic, status_of.kUpper)
        columns, rows = (
            [names[k] for k in np.where(each, 1, np.where(upper, 2, 0)).tolist()]
            for each, upper in zip(basic, at_upper, strict=True)
        )
        start = self._highspy.HighsBasis()
        start.col_status, start.row_status, start.valid = columns, rows, True
        # said to be from elsewhere it is made to fit, which takes a factorisation
        start.alien = sum(int(np.count_nonzero(each)) for each in basic) != len(rows)
        self._highs.setBasis(start)
        self._solved = True


def _by_row(rows: Rows) -> tuple[NDArray[np.int32], NDArray[np.int32], Array]:
    """Where each row starts (and the end), columns and values, row after row."""
    row, column, value = rows.row, rows.column, rows.value
    if (row[1:] < row[:-1]).any():
        order = np.argsort(row, kind="stable")
        column, value = column[order], value[order]
    start = np.zeros(len(rows.lower) + 1, dtype=np.int32)
    np.cumsum(np.bincount(row, minlength=len(rows.lower)), out=start[1:])
    return start, column.astype(np.int32), np.asarray(value, dtype=np.float64)
