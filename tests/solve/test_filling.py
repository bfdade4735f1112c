"""What sites lack of being full, in bounds and in the compiled search, against every layout."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from math import inf

import numpy as np
import pytest

from optimizer.native.structures import Costs
from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.build import build_problem
from optimizer.problem.pairwise import Pairwise, pairwise
from optimizer.problem.presolve import reduce
from optimizer.setting import build_setting
from optimizer.solve.bounds import Bound, Filling
from optimizer.solve.compiled_enumeration import MOST_FOUND, CompiledEnumerator
from optimizer.solve.scoring import Scorer
from optimizer.solve.search import Search
from optimizer.solve.shortlist import TIE
from optimizer.solve.usage import Usage
from tests.depth import some
from tests.instances import random_study
from tests.native import NEEDS_COMPILED
from tests.solve.every import cut_off, layouts

SEEDS = some(range(6600, 6640), 20)


class Tightened:
    """A small problem with few pockets, the bound after all cuts of its sites, and its layouts.

    Every second one is bounded under a use of sites that a layout drawn by lot makes.
    """

    def __init__(self, seed: int, model: Pairwise, rows: IntArray):
        self.model = model
        relaxation = cut_off(model, limits=False)
        self.usage = Usage.free(model)
        rng = np.random.default_rng(seed)
        if seed % 2:
            for site in np.unique(model.site[rows[rng.integers(len(rows))]])[:2].tolist():
                self.usage = self.usage.of_site(int(site), True)
            relaxation.set_usage(self.usage)
            assert relaxation.solve() == "optimal"
        self.bound: Bound = relaxation.bound(self.usage)
        used = np.array(
            [np.isin(np.flatnonzero(self.usage.must), model.site[r]).all() for r in rows]
        )
        self.rows = rows[used]
        self.scores: Array = Scorer(model).scores(self.rows, inf)[0]
        self.open = np.ones(len(model.choice), dtype=bool)


@cache
def made_of(seed: int) -> Tightened | None:
    found = layouts(random_study(seed, parts=7, sites=4, lines=3))
    return Tightened(seed, *found[1:]) if found else None


def tightened(seed: int) -> Tightened:
    made = made_of(seed)
    if made is None:
        pytest.skip("few layouts, or too many assignments")
    return made


def told_of_sites(model: Pairwise, filling: Filling, row: IntArray) -> Array:
    """(n_s,) what is said of every site at one layout, added up term by term."""
    used = np.isin(np.arange(model.n_sites), model.site[row])
    told = np.where(used, filling.empty, filling.idle)
    np.subtract.at(told, model.site[row], filling.choice[row])
    there = set(row.tolist())
    for first, second, together in zip(
        filling.first.tolist(), filling.second.tolist(), filling.together, strict=True
    ):
        if first in there and second in there:
            told[model.site[first]] -= together
    return told


@pytest.mark.parametrize("seed", SEEDS)
def test_every_layout_costs_as_much_as_its_bound_says(seed: int) -> None:
    made = tightened(seed)
    model, bound = made.model, made.bound
    for row, score in zip(made.rows, made.scores, strict=True):
        told = told_of_sites(model, bound.filling, row)
        assert told.min() >= -1e-7, "a site costs less than nothing"
        total = bound.constant + bound.choice[row].sum() + told.sum()
        total += bound.use[np.unique(model.site[row])].sum()
        for (a, b), table in bound.table.items():
            total += table[row[a] - model.first[a], row[b] - model.first[b]]
        assert total <= score + 1e-6


@NEEDS_COMPILED
@pytest.mark.parametrize("share", [0.0, 0.02, 0.1])
@pytest.mark.parametrize("seed", SEEDS)
def test_no_layout_is_lost(seed: int, share: float) -> None:
    made = tightened(seed)
    most = made.scores.min() + share * abs(made.scores.min()) + TIE
    found = CompiledEnumerator(made.model).run(made.bound, made.open, most)
    assert found.complete
    told = {tuple(row) for row in found.rows.tolist()}
    assert {tuple(row) for row in made.rows[made.scores <= most].tolist()} <= told


def paid_for(m: Pairwise, rows: IntArray, spread: float, rng: np.random.Generator) -> Bound:
    """A bound that pays for what sites hold by lot, and asks it back: it tells every score.

    What a site is paid for at most is what the best set in any layout brings.
    """
    here = [np.flatnonzero(m.site == site) for site in range(m.n_sites)]
    price = rng.uniform(0.0, 4.0, m.n_sites) * spread * (rng.random(m.n_sites) < 0.8)
    brings = price[m.site] * (m.capacity_use.max(axis=1, initial=0.0) + rng.uniform(0.0, 0.2))
    table = {key: np.where(pair.ok, pair.cost, inf) for key, pair in m.pairs.items()}
    ends, together = [], []
    for a, b in m.pairs:
        for i, j in [(i, j) for own in here for i in own[m.slot[own] == a] for j in own]:
            if m.slot[j] == b and rng.random() < 0.7:
                ends.append((i, j))
                together.append(price[m.site[i]] * rng.uniform(-0.2, 0.4))
                table[a, b][i - m.first[a], j - m.first[b]] += together[-1]
    first, second = np.array(ends, dtype=np.int64).reshape(-1, 2).T
    none = np.zeros(m.n_sites)
    filling = Filling(none, none, brings, first, second, np.array(together))
    most = np.array([-told_of_sites(m, filling, row) for row in rows]).max(axis=0).clip(min=0.0)
    use = m.use_cost - most
    least = sum(float(each[np.isfinite(each)].min()) for each in table.values())
    table = {key: each - each[np.isfinite(each)].min() for key, each in table.items()}
    return Bound(
        m.constant + least + float(np.minimum(use, 0.0).sum()),
        m.cost + brings,
        np.zeros(len(m.choice)),
        np.maximum(use, 0.0),
        table,
        replace(filling, empty=most, idle=-np.minimum(use, 0.0)),
    )


@NEEDS_COMPILED
@pytest.mark.parametrize("seed", SEEDS)
def test_whatever_is_paid_for_no_layout_is_lost(seed: int) -> None:
    found = layouts(random_study(seed, parts=7, sites=4, lines=3), most=15_000)
    if found is None:
        pytest.skip("few layouts, or too many assignments")
    _, model, rows = found
    scores = Scorer(model).scores(rows, inf)[0]
    open_ = np.ones(len(model.choice), dtype=bool)
    spread = float(np.ptp(scores)) / model.n_slots
    for draw in range(3):
        bound = paid_for(model, rows, spread, np.random.default_rng([seed, draw]))
        for share in (0.01, 0.1, 0.4):
            most = float(np.quantile(scores, share)) + TIE
            wanted = {tuple(row) for row in rows[scores <= most].tolist()}
            listing = CompiledEnumerator(model).run(bound, open_, most)
            told = {tuple(row) for row in listing.rows.tolist()}
            assert wanted <= told or (not listing.complete and len(told) == MOST_FOUND)


@pytest.mark.parametrize("of", ["empty", "idle"])
def test_there_is_something_to_tell(of: str) -> None:
    told = [getattr(made.bound.filling, of) for made in filter(None, map(made_of, SEEDS))]
    assert sum(bool((each > 1e-6).any()) for each in told) >= 4


@NEEDS_COMPILED
def test_the_same_is_found_by_looking_at_less() -> None:
    looked = {True: 0, False: 0}
    for seed in (6706, 6712, 6713):  # with pockets that are full
        reduced = reduce(
            build_problem(build_setting(random_study(seed, parts=16, sites=6, lines=6)))
        )
        model = pairwise(reduced)
        bound = cut_off(model, limits=False).bound(Usage.free(model))
        most = 1.03 * Search(reduced).run().entries[0].score
        found = []
        for filling in looked:
            search = CompiledEnumerator(model, filling=filling)
            listing = search.run(bound, np.ones(len(model.choice), dtype=bool), most)
            assert listing.complete
            looked[filling] += search.extended
            found.append({tuple(row) for row in listing.rows.tolist()})
        assert found[0] == found[1]
    assert looked[True] < 0.5 * looked[False]


def test_without_it_sites_cost_nothing_besides() -> None:
    made = next(each for each in map(made_of, SEEDS) if each and each.bound.filling.empty.any())
    with_it: Costs = made.bound.compiled(made.model)
    without: Costs = made.bound.compiled(made.model, filling=False)
    assert with_it.arrays["empty"].any()
    assert not without.arrays["empty"].any() and not without.arrays["idle"].any()
