"""The one place that knows HiGHS: a live mixed-integer model that is changed, not rebuilt."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from math import inf
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optimizer.interrupts import noted

Array = NDArray[np.float64]

#: The solver sees the objective times this, so that its absolute tolerance of 1e-6 on objective
#: values resolves 1e-9 of a score point.
OBJECTIVE_SCALE = 1e4


@dataclass(frozen=True)
class Matrix:
    """A mixed-integer program: minimise cost . x, row_lower <= A x <= row_upper, bounds.

    A is row-wise compressed: row r holds `index[start[r]:start[r+1]]` and `value[...]`.
    """

    cost: Array
    col_lower: Array
    col_upper: Array
    integer: NDArray[np.bool_]
    start: NDArray[np.int32]
    index: NDArray[np.int32]
    value: Array
    row_lower: Array
    row_upper: Array


@dataclass(frozen=True)
class Outcome:
    """What a run ended with.

    `status`: "optimal", "infeasible", "unbounded", "time_limit", "interrupted" or "error".
    `x` None if no solution was found; `bound` and `gap` are as the solver reports them, in the
    units of the costs given.
    """

    status: str
    x: Array | None
    objective: float
    bound: float
    gap: float
    nodes: int
    seconds: float
    iterations: int = 0
    """Steps of the simplex method: the same on any machine."""


@dataclass(frozen=True)
class Tick:
    """A sign of life from a running solve."""

    seconds: float
    incumbent: float | None
    bound: float | None
    nodes: int


class SolveInterrupted(KeyboardInterrupt):
    """Ctrl-C arrived while solving; carries the best so far."""

    def __init__(self, outcome: Outcome):
        super().__init__()
        self.outcome = outcome


class LiveModel:
    """A model kept alive in HiGHS between solves."""

    def __init__(
        self, matrix: Matrix, *, seed: int = 0, threads: int = 1, feasibility: float = 1e-6
    ):
        import highspy

        self._highspy = highspy
        # the bare solver object: its friendlier subclass prints a banner when made
        self._highs: Any = getattr(highspy, "_Highs")()  # noqa: B009 - not in the type stubs
        for option, value in (
            # progress comes through the log's callback, which falls silent with output_flag off
            ("output_flag", True),
            ("log_to_console", False),
            ("mip_min_logging_interval", 0.5),
            ("random_seed", int(seed)),
            ("threads", int(threads)),
            ("parallel", "off" if threads == 1 else "on"),
            ("mip_abs_gap", 0.0),
            ("mip_feasibility_tolerance", float(feasibility)),
        ):
            self._highs.setOptionValue(option, value)
        self._integer = matrix.integer
        self._cost = np.asarray(matrix.cost, dtype=float)
        self._started = False
        lp = highspy.HighsLp()
        lp.num_col_ = len(matrix.cost)
        lp.num_row_ = len(matrix.row_lower)
        lp.col_cost_ = matrix.cost * OBJECTIVE_SCALE
        lp.col_lower_ = matrix.col_lower
        lp.col_upper_ = matrix.col_upper
        lp.row_lower_ = matrix.row_lower
        lp.row_upper_ = matrix.row_upper
        lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        lp.a_matrix_.start_ = matrix.start
        lp.a_matrix_.index_ = matrix.index
        lp.a_matrix_.value_ = matrix.value
        kinds = (highspy.HighsVarType.kContinuous, highspy.HighsVarType.kInteger)
        lp.integrality_ = [kinds[int(flag)] for flag in matrix.integer]
        self._highs.passModel(lp)
        self._stop = threading.Event()
        self._on_tick: Callable[[Tick], None] | None = None
        self._highs.setCallback(self._called, None)
        for kind in (
            highspy.cb.HighsCallbackType.kCallbackMipInterrupt,
            highspy.cb.HighsCallbackType.kCallbackSimplexInterrupt,
            highspy.cb.HighsCallbackType.kCallbackMipLogging,
        ):
            self._highs.startCallback(kind)

    @property
    def shape(self) -> tuple[int, int]:
        """(rows, columns)."""
        return self._highs.getNumRow(), self._highs.getNumCol()

    def set_costs(self, cost: Array) -> None:
        """Replace the objective."""
        self._cost = np.asarray(cost, dtype=float)
        columns = np.arange(len(cost), dtype=np.int32)
        self._highs.changeColsCost(len(cost), columns, cost * OBJECTIVE_SCALE)

    def set_row_bounds(self, row: int, lower: float, upper: float) -> None:
        """Change one row's bounds; infinite bounds switch it off."""
        self._highs.changeRowBounds(row, lower, upper)

    def set_col_bounds(self, column: int, lower: float, upper: float) -> None:
        """Change one column's bounds."""
        self._highs.changeColBounds(column, lower, upper)

    def set_coefficient(self, row: int, column: int, value: float) -> None:
        """Change one entry of the matrix."""
        self._highs.changeCoeff(row, column, value)

    def add_row(self, lower: float, upper: float, index: Array, value: Array) -> int:
        """Add a row and return its number."""
        self._highs.addRow(
            lower,
            upper,
            len(index),
            np.asarray(index, dtype=np.int32),
            np.asarray(value, dtype=np.float64),
        )
        return int(self._highs.getNumRow()) - 1

    def delete_rows_from(self, row: int) -> None:
        """Drop every row from number `row` on."""
        last = self._highs.getNumRow()
        if last > row:
            self._highs.deleteRows(last - row, np.arange(row, last, dtype=np.int32))

    def delete_row(self, row: int) -> None:
        """Drop one row; those after it move up."""
        self._highs.deleteRows(1, np.array([row], dtype=np.int32))

    def never_restart(self) -> None:
        """Do not start the search anew after fixing columns: it pays when a start is known."""
        self._highs.setOptionValue("mip_allow_restart", False)

    def search_no_neighbourhoods(self) -> None:
        """Look for solutions by rounding and diving only, not by solving smaller programs.

        HiGHS spends half of a solve on those; where a good start is known or the tree has a node
        or two, they find nothing that is not found anyway.
        """
        for heuristic in ("rins", "rens", "root_reduced_cost"):
            self._highs.setOptionValue(f"mip_heuristic_run_{heuristic}", False)

    def set_start(self, x: Array) -> None:
        """Offer a known solution (checked by the solver) as the first incumbent."""
        solution = self._highspy.HighsSolution()
        solution.col_value = list(x)
        self._highs.setSolution(solution)
        self._started = True

    def relaxed(self) -> Array | None:
        """A solution of the linear relaxation, None if it has none.

        Raises
        ------
        KeyboardInterrupt
            On Ctrl-C; the model can be changed and solved again all the same.
        """
        highs = self._highs
        highs.setOptionValue("solve_relaxation", True)
        highs.setOptionValue("time_limit", inf)
        interrupted = self._run()
        highs.setOptionValue("solve_relaxation", False)
        if interrupted:
            raise KeyboardInterrupt
        if highs.getModelStatus() != self._highspy.HighsModelStatus.kOptimal:
            return None
        return np.array(highs.getSolution().col_value)

    def solve(
        self,
        *,
        gap: float = 0.0,
        time_limit_s: float = inf,
        cutoff: float | None = None,
        on_tick: Callable[[Tick], None] | None = None,
    ) -> Outcome:
        """Run to the relative gap or the time limit.

        Raises
        ------
        SolveInterrupted
            On Ctrl-C, with the best solution so far.
        """
        highs = self._highs
        highs.setOptionValue("mip_rel_gap", float(gap))
        highs.setOptionValue("time_limit", float(time_limit_s) + highs.getRunTime())
        bound = inf if cutoff is None else cutoff * OBJECTIVE_SCALE
        highs.setOptionValue("objective_bound", float(bound))
        self._on_tick = on_tick
        started = time.perf_counter()
        interrupted = self._run()
        outcome = self._outcome(time.perf_counter() - started, interrupted)
        with_start, self._started = self._started, False
        if interrupted:
            raise SolveInterrupted(outcome)
        if with_start and self._is_another(outcome):
            highs.clearSolver()
            spent = time.perf_counter() - started
            outcome = self.solve(
                gap=gap, time_limit_s=time_limit_s - spent, cutoff=cutoff, on_tick=on_tick
            )
        return outcome

    def _run(self) -> bool:
        """Run HiGHS to its end; whether Ctrl-C had it stop.

        In a thread of its own: a Ctrl-C raised in a callback would cut through HiGHS and leave the
        model in pieces. And none is raised here before HiGHS is done: whoever catches it may go
        on to change the model.
        """
        self._stop.clear()
        finished = threading.Event()

        def work() -> None:
            try:
                self._highs.run()
            finally:
                finished.set()

        with noted(self._stop.set):
            threading.Thread(target=work, daemon=True).start()
            # waiting for ever cannot be interrupted everywhere
            while not finished.wait(0.2):
                pass
        return self._stop.is_set()

    def _is_another(self, outcome: Outcome) -> bool:
        """Whether the vector handed back is not the one of the objective told.

        Seen of HiGHS 1.16 after a start was offered: presolve maps the start to a better solution,
        whose value is told, proven best, while the vector stays the start's.
        """
        if outcome.x is None:
            return False
        value = float(self._cost @ outcome.x)
        return abs(value - outcome.objective) > 1e-6 * max(1.0, abs(outcome.objective))

    def _called(self, kind: Any, message: str, out: Any, into: Any, user_data: Any) -> None:
        """Called by HiGHS while it runs: tells of progress, and stops it when asked to."""
        if kind != self._highspy.cb.HighsCallbackType.kCallbackMipLogging:
            # said either way: what was said at an earlier run may still stand
            into.user_interrupt = self._stop.is_set()
            return
        if self._on_tick is None:
            return
        primal, dual = out.mip_primal_bound / OBJECTIVE_SCALE, out.mip_dual_bound / OBJECTIVE_SCALE
        self._on_tick(
            Tick(
                float(out.running_time),
                primal if abs(primal) < 1e20 else None,
                dual if abs(dual) < 1e20 else None,
                int(out.mip_node_count),
            )
        )

    def _outcome(self, seconds: float, interrupted: bool) -> Outcome:
        highs, status_of = self._highs, self._highspy.HighsModelStatus
        status = highs.getModelStatus()
        info = highs.getInfo()
        names = {
            status_of.kOptimal: "optimal",
            status_of.kInfeasible: "infeasible",
            status_of.kUnbounded: "unbounded",
            status_of.kUnboundedOrInfeasible: "infeasible",
            status_of.kTimeLimit: "time_limit",
            status_of.kObjectiveBound: "infeasible",
            status_of.kInterrupt: "interrupted",
        }
        name = "interrupted" if interrupted else names.get(status, "error")
        x: Array | None = None
        objective = inf
        feasible = (
            info.primal_solution_status == self._highspy.SolutionStatus.kSolutionStatusFeasible
        )
        if name not in ("infeasible", "unbounded", "error") and feasible:
            x = np.array(highs.getSolution().col_value)
            x[self._integer] = np.rint(x[self._integer])
            objective = info.objective_function_value / OBJECTIVE_SCALE
        is_mip = bool(self._integer.any())
        bound = info.mip_dual_bound / OBJECTIVE_SCALE if is_mip else objective
        gap = info.mip_gap if is_mip else 0.0
        nodes = int(info.mip_node_count) if is_mip else 0
        iterations = max(int(info.simplex_iteration_count), 0)
        return Outcome(name, x, objective, bound, gap, nodes, seconds, iterations)
