"""A least set that meets each of some sets: the small problem inside the search for a clash."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from optimizer.solve.highs import LiveModel, Matrix


def least_hitting_set(
    sets: Sequence[frozenset[int]], weight: Mapping[int, float]
) -> frozenset[int]:
    """A set of least total weight that has a member of every one of `sets`, proven.

    An empty set among them cannot be met; the caller must not ask.
    """
    if not sets:
        return frozenset()
    members = sorted(frozenset().union(*sets))
    column = {m: j for j, m in enumerate(members)}
    n = len(members)
    lengths = [len(each) for each in sets]
    model = LiveModel(
        Matrix(
            cost=np.array([weight[m] for m in members]),
            col_lower=np.zeros(n),
            col_upper=np.ones(n),
            integer=np.ones(n, dtype=bool),
            start=np.concatenate([[0], np.cumsum(lengths)]).astype(np.int32),
            index=np.array([column[m] for each in sets for m in sorted(each)], dtype=np.int32),
            value=np.ones(sum(lengths)),
            row_lower=np.ones(len(sets)),
            row_upper=np.full(len(sets), np.inf),
        )
    )
    outcome = model.solve()
    assert outcome.x is not None and outcome.status == "optimal"
    return frozenset(m for m, j in column.items() if outcome.x[j] > 0.5)
