"""The compiled search, against every assignment there is."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.build import build_problem
from optimizer.problem.pairwise import Pairwise, pairwise
from optimizer.problem.presolve import Switches, reduce
from optimizer.setting import build_setting
from optimizer.solve.bounds import Bound
from optimizer.solve.compiled_enumeration import CompiledEnumerator, enumerator
from optimizer.solve.enumeration import Enumerator
from optimizer.solve.polishing import polish
from optimizer.solve.relaxation import Relaxation
from optimizer.solve.scoring import Scorer
from optimizer.solve.shortlist import TIE, Shortlist
from optimizer.solve.usage import Usage
from tests.depth import some
from tests.instances import random_study
from tests.native import NEEDS_COMPILED
from tests.solve.every import assignments, feasible

pytestmark = NEEDS_COMPILED
SEEDS = some(range(5300, 5324), 12)


class Written:
    """A small problem, the bound of its relaxation, all layouts that fit and what they score."""

    def __init__(self, model: Pairwise, relaxation: Relaxation, rows: IntArray):
        self.model, self.relaxation, self.rows = model, relaxation, rows
        self.bound: Bound = relaxation.bound(Usage.free(model))
        self.scores: Array = Scorer(model).scores(rows, np.inf)[0]
        self.open = np.ones(len(model.choice), dtype=bool)

    def best(self, k: int) -> float:
        """The k-th best score, counted from 0."""
        return float(np.sort(self.scores)[k])


@cache
def made_of(seed: int) -> Written | None:
    study = random_study(seed, parts=5, sites=5, lines=5)
    reduced = reduce(build_problem(build_setting(study)))
    if reduced.emptied:
        return None
    model = pairwise(reduced)
    rows = assignments(model)
    relaxation = Relaxation(model)
    rows = None if rows is None else feasible(model, rows)
    if rows is None or not len(rows) or relaxation.solve() != "optimal":
        return None
    return Written(model, relaxation, rows)


def written(seed: int) -> Written:
    made = made_of(seed)
    if made is None:
        pytest.skip("nothing fits, or too many assignments")
    return made


def as_set(rows: IntArray) -> set[tuple[int, ...]]:
    return {tuple(row) for row in rows.tolist()}


def good(made: Written, rows: IntArray, most: float) -> set[tuple[int, ...]]:
    """Those of some rows that score no more than `most`."""
    scores = Scorer(made.model).scores(rows, most)[0] if len(rows) else np.zeros(0)
    return as_set(rows[scores <= most])


@pytest.mark.parametrize("share", [0.0, 0.02, 0.2])
@pytest.mark.parametrize("seed", SEEDS)
def test_every_assignment_below_the_threshold_is_told(seed: int, share: float) -> None:
    made = written(seed)
    most = made.best(0) + share * abs(made.best(0)) + TIE
    found = CompiledEnumerator(made.model).run(made.bound, made.open, most)
    assert found.complete and not found.over_budget
    assert good(made, found.rows, most) == as_set(made.rows[made.scores <= most])
    # and none twice
    assert len(as_set(found.rows)) == len(found.rows)


@pytest.mark.parametrize("seed", SEEDS)
def test_closed_choices_are_in_none_and_no_other_is_lost(seed: int) -> None:
    made = written(seed)
    open_ = np.random.default_rng(seed).random(len(made.open)) < 0.7
    open_[made.rows[int(np.argmin(made.scores))]] = True
    most = made.best(0) + 0.3 * abs(made.best(0))
    found = CompiledEnumerator(made.model).run(made.bound, open_, most)
    inside = open_[made.rows].all(axis=1) & (made.scores <= most)
    assert good(made, found.rows, most) == as_set(made.rows[inside])


@pytest.mark.parametrize("top", [1, 3])
@pytest.mark.parametrize("seed", SEEDS)
def test_of_a_few_wanted_the_best_are_told_with_their_ties(seed: int, top: int) -> None:
    made = written(seed)
    found = CompiledEnumerator(made.model).run(made.bound, made.open, np.inf, top=top)
    assert found.complete
    if made.model.problem.exchange and top > 1:
        return  # the same layout may be several assignments: all are told
    most = made.best(min(top, len(made.rows)) - 1) + TIE
    assert good(made, found.rows, most) == as_set(made.rows[made.scores <= most])


@pytest.mark.parametrize("seed", SEEDS)
def test_what_arrays_find_it_finds(seed: int) -> None:
    made = written(seed)
    most = made.best(0) + 0.1 * abs(made.best(0))
    arrays = Enumerator(made.model).run(made.bound, made.open, most)
    compiled = CompiledEnumerator(made.model).run(made.bound, made.open, most)
    assert good(made, compiled.rows, most) == good(made, arrays.rows, most)
    assert len(compiled.rows) <= len(arrays.rows)  # it sees more


def test_a_budget_ends_it_and_what_was_found_is_told() -> None:
    made = next(each for each in map(made_of, SEEDS) if each and len(each.rows) > 50)
    search = CompiledEnumerator(made.model)
    whole = search.run(made.bound, made.open, np.inf)
    looked = search.extended
    cut = search.run(made.bound, made.open, np.inf, budget=looked // 2)
    assert cut.over_budget and not cut.complete
    assert search.extended - looked <= looked // 2 + 1
    assert as_set(cut.rows) < as_set(whole.rows)
    again = search.run(made.bound, made.open, np.inf, budget=20 * looked)
    assert again.complete and as_set(again.rows) == as_set(whole.rows)


@pytest.mark.parametrize("width", [1, 4, 1000])
@pytest.mark.parametrize("seed", [*SEEDS][::4])
def test_a_beam_finds_layouts_and_a_wide_one_the_best(seed: int, width: int) -> None:
    made = written(seed)
    found = CompiledEnumerator(made.model).run(made.bound, made.open, np.inf, width=width)
    assert not found.complete
    assert as_set(found.rows) <= as_set(made.rows)
    if width == 1000:
        least = Scorer(made.model).scores(found.rows, np.inf)[0].min()
        assert least == pytest.approx(made.best(0), abs=1e-9)


@pytest.mark.parametrize("seed", [*SEEDS][::4])
def test_polishing_makes_nothing_up_and_nothing_worse(seed: int) -> None:
    made = written(seed)
    worst = int(np.argmax(made.scores))
    shortlist = Shortlist(made.model, 1)
    shortlist.offer(made.rows[[worst]])
    search = CompiledEnumerator(made.model)
    value = made.relaxation.value
    polish(made.model, made.bound, made.open, value, search, shortlist, sizes=((0.5, 1000),))
    assert shortlist.best <= made.scores[worst]
    assert np.abs(made.scores - shortlist.best).min() < 1e-9


def test_switched_off_it_is_the_one_on_arrays() -> None:
    made = next(each for each in map(made_of, SEEDS) if each)
    assert enumerator(made.model, Switches(compiled=True)).compiled
    assert not enumerator(made.model, Switches(compiled=False)).compiled
