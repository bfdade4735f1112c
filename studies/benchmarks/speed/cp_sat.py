"""A form given to OR-tools CP-SAT: costs, rows and kilograms as whole numbers of 1e-8.

Costs are rounded down and rows so that they only let more through: no layout is lost and the
bound stays one. A layout's score is worked out anew from the problem in floating point; rounding
is worth some 1e-6 of a score point. Counting in 1e-6 was tried and took longer (geometric mean
over seven instances of 24x48 and 32x48, two seeds each: 0.47 s of processor time; in 1e-8: 0.44 s).
"""

from __future__ import annotations

import time
from math import ceil, floor, inf
from typing import Any

import numpy as np

from optimizer.problem.arrays import Array
from speed.answer import Answer
from speed.forms import Form, most_load_kg, tangent_loads

#: Score points, shares of limits and kilograms are counted in parts of this.
FINE = 10**8
#: Slopes of tangents, in parts of this.
STEEP = 10**4


def cp_sat(form: Form, limit_s: float, threads: int) -> Answer:
    """Solve a form with CP-SAT, all of its columns Booleans, one worker per thread.

    Raises
    ------
    ValueError
        If an equation of the form has other than whole numbers; it could not be rounded safely.
    """
    from ortools.sat.python import cp_model

    began = time.perf_counter()
    model: Any = cp_model.CpModel()
    columns = [model.new_bool_var("") for _ in form.matrix.cost]
    _rows(cp_model, model, columns, form)
    cost = np.floor(form.matrix.cost * FINE)
    objective = _sum(cp_model, columns, np.arange(len(columns)), cost)
    if form.curved:
        objective = objective + _curve(cp_model, model, columns, form)
    model.minimize(objective)
    solver: Any = cp_model.CpSolver()
    solver.parameters.num_workers = threads
    solver.parameters.max_time_in_seconds = limit_s
    solver.parameters.relative_gap_limit = 0.0
    solver.parameters.absolute_gap_limit = 0.0
    written, cpu = time.perf_counter(), time.process_time()
    status = solver.status_name(solver.solve(model))
    solved, cpu = time.perf_counter(), time.process_time() - cpu
    found, told, bound = None, inf, -inf
    if status in ("OPTIMAL", "FEASIBLE"):
        values = [solver.boolean_value(column) for column in columns]
        found = form.read(np.array(values, dtype=float))
        told = solver.objective_value / FINE
        bound = solver.best_objective_bound / FINE
    return Answer(
        status={"OPTIMAL": "optimal", "INFEASIBLE": "infeasible"}.get(status, "time_limit"),
        found=found,
        told=told,
        bound=bound,
        nodes=int(solver.num_branches),
        write_s=written - began,
        solve_s=solved - written,
        cpu_s=cpu,
        rows=len(model.proto.constraints),
        columns=len(model.proto.variables),
    )


def _sum(cp_model: Any, columns: list[Any], index: Array, whole: Array) -> Any:
    kept = np.flatnonzero(whole)
    return cp_model.LinearExpr.weighted_sum(
        [columns[c] for c in index[kept].tolist()], whole[kept].astype(np.int64).tolist()
    )


def _rows(cp_model: Any, model: Any, columns: list[Any], form: Form) -> None:
    """Rows of whole numbers as they are, others in parts of FINE, loosened by the rounding."""
    matrix = form.matrix
    for r in range(len(matrix.row_lower)):
        here = slice(int(matrix.start[r]), int(matrix.start[r + 1]))
        index, value = matrix.index[here], matrix.value[here]
        lower, upper = float(matrix.row_lower[r]), float(matrix.row_upper[r])
        sides = [side for side in (lower, upper) if abs(side) < inf]
        whole = bool(np.all(value == np.rint(value))) and all(s == round(s) for s in sides)
        if lower == upper:
            if not whole:
                raise ValueError(f"row {r} is an equation of broken numbers")
            model.add(_sum(cp_model, columns, index, value) == round(lower))
            continue
        fine = 1 if whole else FINE
        if upper < inf:
            model.add(_sum(cp_model, columns, index, np.floor(value * fine)) <= ceil(upper * fine))
        if lower > -inf:
            model.add(_sum(cp_model, columns, index, np.ceil(value * fine)) >= floor(lower * fine))


def _curve(cp_model: Any, model: Any, columns: list[Any], form: Form) -> Any:
    """A variable over tangents of the trunk's curve, in parts of a score point."""
    objective = form.objective
    assert objective.curve is not None and objective.curve_slope is not None
    most, weight = most_load_kg(form.problem), objective.curve_weight
    load = model.new_int_var(0, int(1.01 * most * FINE) + 1, "load")
    every = np.arange(len(columns))
    model.add(_sum(cp_model, columns, every, np.floor(form.load * FINE)) == load)
    high = weight * objective.curve(1.02 * most + 1e-3)
    curve = model.new_int_var(0, int(high * FINE) + 1, "curve")
    for at in tangent_loads(objective, most):
        # anchored where it touches: a rounded slope is only wrong far from there, where other
        # tangents lie higher
        height = floor(weight * objective.curve(at) * FINE)
        slope = round(weight * objective.curve_slope(at) * STEEP)
        model.add(STEEP * curve - slope * load >= STEEP * height - slope * round(at * FINE))
    return curve
