"""A problem as a mixed-integer program for solvers that are not ours.

A form is a matrix without the curve of the trunk's load; what the curve needs, an epigraph over
tangents, every solver is given in its own way, from `Form.load` and the objective.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import inf

import numpy as np

from optimizer.problem.arrays import Array, IntArray, Objective, Problem
from optimizer.problem.presolve import reduce
from optimizer.problem.quantities import INDEX, MASS
from optimizer.solve.formulation import formulate
from optimizer.solve.highs import Matrix
from optimizer.solve.program import compile_matrix, overstepped, solution_of
from optimizer.study.model import TRUNK
from speed.switches import all_off

TRUNK_LOAD = INDEX[MASS[TRUNK]]
#: How far the trunk's curve may lie above its tangents, in score points. Scores are 1 to 30.
CURVE_ERROR = 1e-6
#: Pieces over which the curve's bend is looked at.
_PIECES = 200
#: A layout whose score is this much above what its solver told was led another way, relative.
_ASTRAY = 2e-5

Choices = tuple[tuple[int, ...], tuple[int, ...]]
"""The chosen choice of every slot, the option of every line."""


@dataclass(frozen=True)
class Form:
    """A program over columns: `load` is what each brings to the trunk [kg]."""

    problem: Problem
    matrix: Matrix
    load: Array
    read: Callable[[Array], Choices]

    @property
    def objective(self) -> Objective:
        """What is minimised; `matrix.cost` is its linear part."""
        return self.problem.objective

    @property
    def curved(self) -> bool:
        """Whether the trunk's load costs along a curve besides."""
        return self.objective.curve is not None


def flow_form(problem: Problem, held: frozenset[int] = frozenset()) -> Form:
    """Our own program with every switch off: each line one unit of flow over the garment's arcs.

    `held` numbers the lines with rows that hold them to their cheapest route.
    """
    switches = all_off()
    linear = Objective(problem.objective.linear)
    formulation = formulate(reduce(problem, switches), linear, switches, held)
    columns = formulation.columns
    slot = {column: int(problem.choice_slot[c]) for c, column in columns.x.items()}

    def read(x: Array) -> Choices:
        chosen = [-1] * len(problem.slots)
        best = np.full(len(problem.slots), -inf)
        for c, column in columns.x.items():
            if x[column] > best[slot[column]]:
                chosen[slot[column]], best[slot[column]] = c, x[column]
        options = [0] * len(problem.lines)
        for (number, option, _), column in columns.g.items():
            if x[column] > 0.5:
                options[number] = option
        return tuple(chosen), tuple(options)

    load = formulation.quantities[:, TRUNK_LOAD]
    return Form(problem, compile_matrix(formulation, linear), load, read)


def goes_astray(problem: Problem, found: Choices, told: float) -> bool:
    """Whether a flow's answer owes something to a line led another way than its cheapest.

    Then the layout as it would be built breaks a limit or scores more than `told`.
    """
    try:
        solution = solution_of(problem, *found, problem.objective)
    except ValueError:
        return True
    if solution.score > told + _ASTRAY * max(1.0, abs(told)):
        return True
    q = solution.quantities
    return any(
        float(q @ limit.coefficients) - limit.upper > overstepped(limit) for limit in problem.limits
    )


# -- the curve of the trunk's load -------------------------------------------------------------


def tangent_loads(objective: Objective, most_kg: float, error: float = CURVE_ERROR) -> list[float]:
    """Loads [kg] from 0 to `most_kg` at which to lay tangents.

    Halfway between tangents a distance d apart a curve of bend k lies k d^2 / 8 above them
    (Taylor's theorem), at most `error` score points here.
    """
    assert objective.curve_slope is not None
    at = np.linspace(0.0, most_kg, _PIECES + 1)
    slope = np.array([objective.curve_slope(float(v)) for v in at]) * objective.curve_weight
    bend = max(float((np.diff(slope) / np.diff(at)).max()), 1e-9)
    count = int(np.ceil(most_kg / np.sqrt(8.0 * error / bend))) + 1
    return [float(v) for v in np.linspace(0.0, most_kg, max(count, 2))]


def most_load_kg(problem: Problem) -> float:
    """A limit on the trunk's load if the problem has one, else more than any layout brings [kg]."""
    found = [
        limit.upper / float(limit.coefficients[TRUNK_LOAD])
        for limit in problem.limits
        if set(np.flatnonzero(limit.coefficients)) == {TRUNK_LOAD}
        and limit.coefficients[TRUNK_LOAD] > 0.0
    ]
    if found:
        return min(found)
    parts = sum(
        float(problem.choice_q[problem.choices_of(slot), TRUNK_LOAD].max(initial=0.0))
        for slot in range(len(problem.slots))
    )
    # lines weigh less than their longest way through every arc
    along = float((problem.arc_length_m * problem.arc_q[:, TRUNK_LOAD]).sum())
    lines = sum(
        float((line.mass_kg_per_m * (along + line.slack_m) + 2.0 * line.end_mass_kg).max())
        for line in problem.lines
    )
    return parts + lines + float(problem.use_q[:, TRUNK_LOAD].sum())


def with_epigraph(form: Form) -> Form:
    """The form with the curve, if it has one, as two more columns over rows of tangents.

    The columns are the load [kg] and its cost [score points]; the curve lies within `CURVE_ERROR`
    above the tangents, which are all laid beforehand.
    """
    objective, matrix = form.objective, form.matrix
    if objective.curve is None or objective.curve_slope is None:
        return form
    n = len(matrix.cost)
    at = np.flatnonzero(form.load)
    index: list[IntArray] = [matrix.index, at, np.array([n])]
    value: list[Array] = [matrix.value, form.load[at], np.array([-1.0])]
    lengths, lower, upper = [len(at) + 1], [0.0], [0.0]
    for load in tangent_loads(objective, most_load_kg(form.problem)):
        height = objective.curve_weight * objective.curve(load)
        slope = objective.curve_weight * objective.curve_slope(load)
        index.append(np.array([n, n + 1]))
        value.append(np.array([-slope, 1.0]))
        lengths.append(2)
        lower.append(height - slope * load)
        upper.append(inf)
    start = np.concatenate([matrix.start, matrix.start[-1] + np.cumsum(lengths)])
    return replace(
        form,
        load=np.append(form.load, [0.0, 0.0]),
        matrix=Matrix(
            cost=np.append(matrix.cost, [0.0, 1.0]),
            col_lower=np.append(matrix.col_lower, [0.0, 0.0]),
            col_upper=np.append(matrix.col_upper, [inf, inf]),
            integer=np.append(matrix.integer, [False, False]),
            start=start.astype(np.int32),
            index=np.concatenate(index).astype(np.int32),
            value=np.concatenate(value),
            row_lower=np.append(matrix.row_lower, lower),
            row_upper=np.append(matrix.row_upper, upper),
        ),
    )
