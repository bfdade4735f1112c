"""A layout as a point of the linear relaxation."""

from __future__ import annotations

import numpy as np

from optimizer.problem.arrays import Array, IntArray
from optimizer.solve.relaxation import Relaxation
from optimizer.solve.usage import groups


def point(relaxation: Relaxation, row: IntArray) -> Array | None:
    """A layout as values of the columns, None if it is closed there. Lines as the cheapest."""
    model = relaxation.model
    if not relaxation.open[row].all():
        return None
    sites = np.unique(model.site[row])
    value = np.zeros(len(relaxation.cost))
    value[row] = 1.0
    value[relaxation.u[sites]] = 1.0
    value[relaxation._v : relaxation._over] = model.pieces[:, sites].any(axis=1)
    value[relaxation.counts] = groups(model)[:, sites].sum(axis=1)
    a, b = relaxation.line_a, relaxation.line_b
    within = (a == row[model.slot[a]]) & (b == row[model.slot[b]])
    for block in np.unique(relaxation.line_block):
        columns = relaxation.line_at[within & (relaxation.line_block == block)]
        if not len(columns):
            return None
        value[columns[relaxation.cost[columns].argmin()]] = 1.0
    return value
