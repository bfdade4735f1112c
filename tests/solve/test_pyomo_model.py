"""The program as a Pyomo model: the same rows and columns, the same optimum."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from functools import cache
from itertools import count, islice
from typing import Any

import numpy as np
import pytest

from optimizer.problem.build import build_problem
from optimizer.problem.presolve import reduce
from optimizer.setting import build_setting
from optimizer.solve.program import Program, compile_matrix
from optimizer.solve.pyomo_model import pyomo_model
from optimizer.study.model import Study
from tests.instances import random_study
from tests.solve.test_independent_solver import medium

#: Row as (coefficients by column, lower, upper), rounded for comparison.
Line = tuple[frozenset[tuple[tuple[str, object], float]], float, float]


def rounded(value: float) -> float:
    return float(f"{value:.12g}")


def program_of(study: Study) -> Program:
    return Program(reduce(build_problem(build_setting(study))))


def rows_of_matrix(program: Program) -> Counter[Line]:
    """Rows that say something, as the solver gets them."""
    matrix = compile_matrix(program.formulation, program.objective)
    names = program.formulation.names
    rows: Counter[Line] = Counter()
    for r in range(len(matrix.row_lower)):
        part = slice(matrix.start[r], matrix.start[r + 1])
        terms = frozenset(
            (names[c], rounded(v))
            for c, v in zip(matrix.index[part], matrix.value[part], strict=True)
            if v != 0.0
        )
        if terms:
            rows[terms, rounded(matrix.row_lower[r]), rounded(matrix.row_upper[r])] += 1
        else:
            assert matrix.row_lower[r] <= 0.0 <= matrix.row_upper[r]
    return rows


def rows_of_model(model: Any) -> tuple[Counter[Line], dict[tuple[str, object], float], Any]:
    """Rows and costs of Pyomo's own standard form of a model."""
    from pyomo.repn.plugins.standard_form import LinearStandardFormCompiler

    form = LinearStandardFormCompiler().write(model, mixed_form=True)
    columns = [(v.parent_component().local_name, v.index()) for v in form.columns]
    matrix = form.A.tocsr()
    rows: Counter[Line] = Counter()
    for r, row in enumerate(form.rows):
        part = slice(matrix.indptr[r], matrix.indptr[r + 1])
        terms = frozenset(
            (columns[c], rounded(v))
            for c, v in zip(matrix.indices[part], matrix.data[part], strict=True)
            if v != 0.0
        )
        right = rounded(form.rhs[r])
        lower = right if row.bound_type in (0, -1) else -np.inf
        upper = right if row.bound_type in (0, 1) else np.inf
        rows[terms, lower, upper] += 1
    costs = form.c.tocsr()
    assert costs.shape[0] == 1
    cost = {columns[c]: float(v) for c, v in zip(costs.indices, costs.data, strict=True)}
    return rows, cost, form.columns


@cache
def some_studies() -> list[Study]:
    """Studies in which every part by itself has a place: two larger ones, ten small ones."""

    def first(n: int, studies: Iterable[Study]) -> list[Study]:
        placeable = (s for s in studies if not reduce(build_problem(build_setting(s))).emptied)
        return list(islice(placeable, n))

    return [*first(2, map(medium, count(301))), *first(10, map(random_study, count(200)))]


@pytest.mark.parametrize("number", range(8))
def test_standard_form_of_the_model_is_the_matrix_solved(number: int) -> None:
    program = program_of(some_studies()[number])
    model = pyomo_model(program.formulation)
    rows, cost, columns = rows_of_model(model)
    assert rows == rows_of_matrix(program)
    matrix = compile_matrix(program.formulation, program.objective)
    names = program.formulation.names
    mine = {names[i]: float(matrix.cost[i]) for i in np.flatnonzero(matrix.cost)}
    assert cost.keys() == mine.keys()
    for name, value in mine.items():
        assert cost[name] == pytest.approx(value, rel=1e-12)
    numbers = {name: i for i, name in enumerate(names)}
    for column in columns:
        i = numbers[column.parent_component().local_name, column.index()]
        assert column.is_binary() == matrix.integer[i]
        assert column.lb == matrix.col_lower[i]
        assert (np.inf if column.ub is None else column.ub) == matrix.col_upper[i]


@pytest.mark.parametrize("number", range(12))
def test_another_road_to_the_solver_gives_the_same_optimum(number: int) -> None:
    from pyomo.contrib.appsi.solvers import Highs

    program = program_of(some_studies()[number])
    outcome, solution = program.solve()
    model = pyomo_model(
        program.formulation, tangent_loads_kg=tuple(dict.fromkeys(program._tangents))
    )
    solver = Highs()
    solver.highs_options = {"mip_rel_gap": 0.0, "mip_abs_gap": 0.0, "threads": 1}
    solver.config.load_solution = False
    found = solver.solve(model)
    condition = found.termination_condition.name
    if solution is None:
        assert outcome.status == condition == "infeasible"
        return
    assert condition == "optimal"
    assert found.best_feasible_objective == pytest.approx(solution.score, rel=1e-6)


def test_rows_and_columns_keep_their_names() -> None:
    program = program_of(some_studies()[0])
    model = pyomo_model(program.formulation)
    groups = {row.group for row in program.formulation.rows}
    assert groups <= {c.local_name for c in model.component_objects()}
    assert {"place", "use", "flow"} <= groups
    assert model.x.is_indexed()
    assert len(model.place) == len(program.problem.slots)
