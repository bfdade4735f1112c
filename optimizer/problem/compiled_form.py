"""A pairwise problem as the compiled parts take it (optimizer/native/native.h)."""

from __future__ import annotations

from collections.abc import Iterable
from math import inf
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from optimizer.native.structures import Problem
from optimizer.problem.arrays import Array

if TYPE_CHECKING:
    from optimizer.problem.pairwise import Pairwise


def structure(model: Pairwise) -> Problem:
    """A pairwise problem as native.h has it."""
    m, n_l = model, model.n_limits
    pairs = list(m.pairs.values())
    pair_cost = [np.where(pair.ok, pair.cost, inf) for pair in pairs]
    bottom = np.array([cost.min(initial=inf) for cost in pair_cost])
    beside: list[list[tuple[int, int]]] = [[] for _ in range(m.n_slots)]
    for number, pair in enumerate(pairs):
        beside[pair.slot_a].append((number, pair.slot_b))
        beside[pair.slot_b].append((number, pair.slot_a))
    lines = [table for table in m.tables if int(table.kept.sum(axis=2).max(initial=0)) > 1]
    sizes = [pair.ok.size for pair in pairs]
    use = m.use_form[:, :n_l]
    # what using a site saves is counted from the start: what is paid only grows
    there = np.unique(m.site)
    saved = float(np.minimum(m.use_cost[there], 0.0).sum())
    pair_limit = [pair.least_form[..., :n_l] for pair in pairs]
    return Problem(
        n_slots=m.n_slots,
        n_choices=len(m.choice),
        n_sites=m.n_sites,
        n_kinds=m.capacity_use.shape[1],
        n_limits=n_l,
        n_pairs=len(pairs),
        n_lines=len(lines),
        first=m.first,
        site=m.site,
        capacity_use=m.capacity_use,
        cost=m.cost,
        use_cost=np.maximum(m.use_cost, 0.0),
        pair_cost=flat(pair_cost),
        pair_bottom=np.where(np.isfinite(bottom), bottom, 0.0),
        limit=m.form[:, :n_l],
        use_limit=use,
        pair_limit=flat(pair_limit),
        pair_limit_bottom=np.array([pair.bottom_form[:n_l] for pair in pairs]),
        pair_limit_top=[each.max(axis=(0, 1), initial=0.0) for each in pair_limit],
        upper=m.upper,
        pair_a=[pair.slot_a for pair in pairs],
        pair_b=[pair.slot_b for pair in pairs],
        pair_start=_starts(sizes),
        beside=np.cumsum([0, *(len(each) for each in beside)]),
        beside_pair=[number for each in beside for number, _ in each],
        beside_slot=[other for each in beside for _, other in each],
        line_a=[line.slot_a for line in lines],
        line_b=[line.slot_b for line in lines],
        line_options=[line.kept.shape[2] for line in lines],
        line_start=_starts([line.kept.size for line in lines]),
        option_cost=flat([np.where(line.kept, line.cost, inf) for line in lines]),
        option_limit=flat([line.form[..., :n_l] for line in lines]),
        constant=m.constant + saved,
        use_saves=bool((use < 0.0).any()),
    )


def flat(tables: Iterable[Array]) -> Array:
    """All tables' entries one after another."""
    return np.concatenate([np.zeros(0), *(table.ravel() for table in tables)])


def _starts(sizes: list[int]) -> NDArray[np.int64]:
    return np.cumsum([0, *sizes], dtype=np.int64)[:-1]
