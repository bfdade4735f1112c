"""All assignments of a small pairwise problem, one after another, with no bound or cut in sight."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import product
from math import inf

import numpy as np

from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.build import build_problem
from optimizer.problem.pairwise import Pairwise, pairwise
from optimizer.problem.presolve import Reduced, Switches, reduce
from optimizer.setting import build_setting
from optimizer.solve.covers import Covers
from optimizer.solve.relaxation import Relaxation
from optimizer.solve.scoring import Scorer
from optimizer.solve.site_hulls import SiteHulls
from optimizer.solve.tighten import Tightener
from optimizer.solve.visiting import Visitor
from optimizer.study.model import Study
from tests.instances import random_study

MOST = 40_000
#: Fewer layouts than this tell little.
FEW = 10


def spans(model: Pairwise) -> list[range]:
    """The choices of every slot."""
    return [range(int(model.first[p]), int(model.first[p + 1])) for p in range(model.n_slots)]


def assignments(model: Pairwise) -> IntArray | None:
    """Every choice of one choice per slot, (n, n_slots); None if there are too many."""
    own = spans(model)
    if np.prod([float(len(each)) for each in own]) > MOST:
        return None
    return np.array(list(product(*own)), dtype=np.int64).reshape(-1, model.n_slots)


def feasible(model: Pairwise, rows: IntArray) -> IntArray:
    """Those that keep rules, capacities and limits (with the line options that serve best)."""
    kept = []
    for row in rows:
        barred = any(
            not pair.ok[row[a] - model.first[a], row[b] - model.first[b]]
            for (a, b), pair in model.pairs.items()
        )
        full = any(
            (model.capacity_use[row[model.site[row] == s]].sum(axis=0) > 1.0 + 1e-9).any()
            for s in set(model.site[row].tolist())
        )
        if not barred and not full:
            kept.append(row)
    chosen = np.array(kept, dtype=np.int64).reshape(-1, model.n_slots)
    scores, _ = Scorer(model).scores(chosen, np.inf)
    return chosen[np.isfinite(scores)]


def layouts(study: Study, most: int = MOST) -> tuple[Reduced, Pairwise, IntArray] | None:
    """A study's problem and all its layouts; None if they are few or the assignments too many."""
    reduced = reduce(build_problem(build_setting(study)))
    if reduced.emptied:
        return None
    model = pairwise(reduced)
    rows = assignments(model)
    if rows is None or len(rows) > most:
        return None
    rows = feasible(model, rows)
    return (reduced, model, rows) if len(rows) >= FEW else None


def cut_off(model: Pairwise, *, limits: bool = True) -> Relaxation:
    """The solved relaxation with the root's cuts, those of `limits` or not, and nothing closed."""
    relaxation = Relaxation(model)
    assert relaxation.solve() == "optimal"
    # else there are no cuts where listing is quicker
    switches = Switches(reduced_costs=False, enumeration=False, limit_cuts=limits)
    tightener = Tightener(relaxation, switches, np.inf)
    tightener.cover()
    tightener.hull(lambda: np.inf)
    return tightener.relaxation


def visitor_of(model: Pairwise, relaxation: Relaxation, top: int = 1) -> Visitor:
    """A visitor of a tree that has just begun, with all the time it needs."""
    covers, hulls = Covers(model, relaxation.u), SiteHulls(model, relaxation)
    return Visitor(relaxation, covers, hulls, Switches(), inf, 0.0, top, 0)


def scored(seeds: Iterable[int]) -> Iterator[tuple[Reduced, Array]]:
    """Small random problems, with the scores of all their layouts, the best first."""
    for seed in seeds:
        made = layouts(random_study(seed, parts=5, sites=6, lines=4), 7000)
        if made is not None:
            reduced, model, rows = made
            yield reduced, np.sort(Scorer(model).scores(rows, inf)[0])
