"""What the cheapest layout through a choice costs, against every layout one by one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.build import build_problem
from optimizer.problem.pairwise import Pairwise, pairwise
from optimizer.problem.presolve import Switches, reduce
from optimizer.setting import build_setting
from optimizer.solve.bounds import Bound
from optimizer.solve.marginals import marginals, priced
from optimizer.solve.relaxation import Relaxation
from optimizer.solve.usage import Usage
from tests.depth import some
from tests.instances import random_study
from tests.native import NEEDS_COMPILED
from tests.solve.every import assignments

SEEDS = some(range(5200, 5230), 15)
#: The elimination on arrays, and the compiled one where there is one.
BOTH = pytest.mark.parametrize("compiled", [False, pytest.param(True, marks=NEEDS_COMPILED)])


def written(seed: int) -> tuple[Pairwise, Bound, IntArray] | None:
    """A small problem, the bound of its relaxation, and all assignments."""
    reduced = reduce(build_problem(build_setting(random_study(seed, parts=5, sites=5, lines=5))))
    if reduced.emptied:
        return None
    model = pairwise(reduced)
    rows = assignments(model)
    relaxation = Relaxation(model)
    if rows is None or relaxation.solve() != "optimal":
        return None
    return model, relaxation.bound(Usage.free(model)), rows


def costs(model: Pairwise, bound: Bound, rows: IntArray) -> Array:
    """What every assignment costs under the multipliers, added up term by term."""
    total = bound.constant + (bound.choice + bound.share)[rows].sum(axis=1)
    for (a, b), table in bound.table.items():
        total = total + table[rows[:, a] - model.first[a], rows[:, b] - model.first[b]]
    return np.asarray(total)


@BOTH
@pytest.mark.parametrize("seed", SEEDS)
def test_marginals_are_the_least_of_all_assignments(seed: int, compiled: bool) -> None:
    made = written(seed)
    if made is None:
        pytest.skip("nothing fits, or too many assignments")
    model, bound, rows = made
    # some choices closed at random, but not all of a slot
    rng = np.random.default_rng(seed)
    open_ = rng.random(len(model.choice)) < 0.8
    open_[model.first[:-1]] = True
    rows = rows[open_[rows].all(axis=1)]
    cost = costs(model, bound, rows)
    found = marginals(model, bound, open_, pairs=True, compiled=compiled)
    assert found.value == pytest.approx(cost.min(), abs=1e-9)
    for c in range(len(model.choice)):
        through = cost[(rows == c).any(axis=1)].min(initial=np.inf)
        assert found.value + found.beyond[c] == pytest.approx(through, abs=1e-9), c
    for (a, b), table in found.pairs.items():
        i, j = rows[:, a] - model.first[a], rows[:, b] - model.first[b]
        least = np.full(table.shape, np.inf)
        np.minimum.at(least, (i, j), cost)
        # a pair with a slot of one choice is told by the other choice: a bound
        assert (found.value + table <= least + 1e-9).all()
        if min(np.ptp(rows[:, a]), np.ptp(rows[:, b])) > 0:
            np.testing.assert_allclose(found.value + table, least, atol=1e-9)


@BOTH
@pytest.mark.parametrize("cells", [1, 8, 30])
@pytest.mark.parametrize("seed", [*SEEDS][::3])
def test_groups_of_neighbours_only_lower_the_marginals(
    seed: int, cells: int, compiled: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = written(seed)
    if made is None:
        pytest.skip("nothing fits, or too many assignments")
    model, bound, rows = made
    open_ = np.ones(len(model.choice), dtype=bool)
    exact = marginals(model, bound, open_, pairs=True)
    monkeypatch.setattr("optimizer.solve.marginals.MOST_CELLS", cells)
    found = marginals(model, bound, open_, pairs=True, compiled=compiled)
    own = priced(model, bound, open_, Switches(marginals=False))
    # not higher than the truth, and no worse than what a choice by itself tells
    assert own.value - 1e-9 <= found.value <= exact.value + 1e-9
    assert (found.value + found.beyond <= exact.value + exact.beyond + 1e-9).all()
    assert (found.value + found.beyond >= own.value + own.beyond - 1e-9).all()
    for key, table in found.pairs.items():
        assert (found.value + table <= exact.value + exact.pairs[key] + 1e-9).all()
    assert found.value <= costs(model, bound, rows).min() + 1e-9


@BOTH
def test_no_layout_at_all_is_told(compiled: bool) -> None:
    made = next(each for each in map(written, SEEDS) if each is not None and each[1].table)
    model, bound, _ = made
    key = next(iter(bound.table))
    barred = {**bound.table, key: np.full_like(bound.table[key], np.inf)}
    nothing = replace(bound, table=barred)
    open_ = np.ones(len(model.choice), dtype=bool)
    assert marginals(model, nothing, open_, pairs=True, compiled=compiled).value == np.inf
    closed = open_.copy()
    closed[model.first[0] : model.first[1]] = False
    assert marginals(model, bound, closed, compiled=compiled).value == np.inf


@NEEDS_COMPILED
@pytest.mark.parametrize("seed", [*SEEDS][::3])
@pytest.mark.parametrize("cells", [8, 60_000])
def test_the_compiled_elimination_tells_what_arrays_do(
    seed: int, cells: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = written(seed)
    if made is None:
        pytest.skip("nothing fits, or too many assignments")
    model, bound, _ = made
    monkeypatch.setattr("optimizer.solve.marginals.MOST_CELLS", cells)
    open_ = np.ones(len(model.choice), dtype=bool)
    arrays = marginals(model, bound, open_, pairs=True)
    compiled = marginals(model, bound, open_, pairs=True, compiled=True)
    assert compiled.value == pytest.approx(arrays.value, rel=1e-12)
    np.testing.assert_allclose(compiled.beyond, arrays.beyond, atol=1e-12)
    assert set(compiled.pairs) == set(arrays.pairs)
    for key, table in arrays.pairs.items():
        np.testing.assert_allclose(compiled.pairs[key], table, atol=1e-12)
