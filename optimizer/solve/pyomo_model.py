"""The program as a Pyomo model, for reading, exporting, extending, or another solver.

Groups of rows keep their names (`model.site_volume`, `model.line_length`, ...), columns theirs
(`model.x[c]`, `model.u[s]`, `model.f[line, option, arc, direction]`).
"""

from __future__ import annotations

from typing import Any

import numpy as np

from optimizer.problem.arrays import Objective
from optimizer.solve.formulation import CONTINUOUS, Formulation


def pyomo_model(
    formulation: Formulation,
    objective: Objective | None = None,
    tangent_loads_kg: tuple[float, ...] = (),
) -> Any:
    """A `pyomo.environ.ConcreteModel` of the program under an objective (default: its own).

    Parameters
    ----------
    tangent_loads_kg : loads at which a curved trunk model is laid tangents under
    """
    import pyomo.environ as pyo
    from pyomo.core.expr.numeric_expr import LinearExpression

    objective = objective or formulation.objective
    model = pyo.ConcreteModel()
    kinds = dict.fromkeys(kind for kind, _ in formulation.names)
    for kind in kinds:
        subjects = [subject for k, subject in formulation.names if k == kind]
        if kind in CONTINUOUS:
            most = None if CONTINUOUS[kind] == np.inf else CONTINUOUS[kind]
            columns = pyo.Var(subjects, domain=pyo.NonNegativeReals, bounds=(0.0, most))
        else:
            columns = pyo.Var(subjects, domain=pyo.Binary)
        setattr(model, kind, columns)
    variables = [getattr(model, kind)[subject] for kind, subject in formulation.names]

    def linear(columns: list[int], coefficients: list[float]) -> Any:
        return LinearExpression(
            constant=0.0,
            linear_coefs=coefficients,
            linear_vars=[variables[c] for c in columns],
        )

    for group in dict.fromkeys(row.group for row in formulation.rows):
        setattr(model, group, pyo.Constraint(pyo.Any))
    for row in formulation.rows:
        lower = None if row.lower == -np.inf else row.lower
        upper = None if row.upper == np.inf else row.upper
        body = linear(row.columns, row.coefficients)
        getattr(model, row.group).add(row.subject, (lower, body, upper))
    if formulation.columns.w is not None and formulation.columns.load is not None:
        assert objective.curve is not None and objective.curve_slope is not None
        model.tangent = pyo.Constraint(pyo.Any)
        for load in tangent_loads_kg:
            slope = objective.curve_slope(load)
            body = linear([formulation.columns.load, formulation.columns.w], [-slope, 1.0])
            model.tangent.add(load, (objective.curve(load) - slope * load, body, None))
    cost = formulation.costs(objective)
    used = [int(i) for i in np.flatnonzero(cost)]
    model.score = pyo.Objective(expr=linear(used, cost[used].tolist()))
    return model
