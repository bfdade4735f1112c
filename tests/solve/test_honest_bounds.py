"""What a search that is content, stopped, or given crooked multipliers says of what it left out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields
from functools import cache
from itertools import pairwise as neighbours

import numpy as np
import pytest

from optimizer.problem.arrays import Array
from optimizer.problem.pairwise import Pairwise
from optimizer.problem.presolve import Reduced, Switches
from optimizer.solve.bounds import Bound
from optimizer.solve.enumeration import Enumerator, Listing
from optimizer.solve.relaxation import Relaxation
from optimizer.solve.scoring import Scorer
from optimizer.solve.search import Search
from optimizer.solve.usage import Usage
from tests.instances import random_study
from tests.solve.every import assignments, feasible, layouts

#: Nothing but the tree: every layout is found, or left out, at one of its nodes.
BARE = Switches(**{f.name: f.name in ("search", "compiled") for f in fields(Switches)})


@cache
def every(seed: int) -> tuple[Reduced, Pairwise, Array] | None:
    """A small problem and the scores of all its layouts, the best first; None if too few fit."""
    made = layouts(random_study(seed, parts=5, lines=4))
    if made is None or made[0].problem.exchange:
        return None
    reduced, model, rows = made
    return reduced, model, np.sort(Scorer(model).scores(rows, np.inf)[0])


def small_ones() -> Iterator[tuple[Reduced, Pairwise, Array]]:
    for seed in range(7600, 7640):
        made = every(seed)
        if made is not None:
            yield made


def left_out(found: list[float], scores: Array) -> float:
    """The best score of all layouts that were not found."""
    scores = scores.copy()
    for score in found:
        scores[int(np.abs(scores - score).argmin())] = np.inf
    return float(scores.min())


def begun(reduced: Reduced, model: Pairwise, rank: float, top: int = 1, **how: object) -> Search:
    """A search that knows one layout to begin with, so far down among all."""
    search = Search(reduced, top=top, switches=BARE, **how)  # type: ignore[arg-type]
    rows = assignments(model)
    assert rows is not None
    rows = feasible(model, rows)
    order = np.argsort(Scorer(model).scores(rows, np.inf)[0], kind="stable")
    search.shortlist.offer(rows[order[[int(rank * (len(rows) - 1))]]])
    return search


@pytest.mark.parametrize(("gap", "rank"), [(0.1, 0.05), (0.1, 0.1), (0.3, 0.02), (0.6, 0.1)])
def test_what_is_let_go_for_a_gap_is_within_the_bound_told(gap: float, rank: float) -> None:
    better = 0
    for reduced, model, scores in small_ones():
        found = begun(reduced, model, rank, gap=gap).run()
        assert found.status == "optimal"
        mine = [entry.score for entry in found.entries]
        assert found.bound <= left_out(mine, scores) + 1e-9
        assert found.bound >= mine[0] * (1.0 - gap) - 1e-9
        better += scores[0] < mine[0] - 1e-6
    assert better, "a better layout is let go somewhere"


@pytest.mark.parametrize("top", [1, 4])
def test_a_search_that_is_stopped_bounds_what_it_left_behind(top: int) -> None:
    stopped = 0
    for reduced, model, scores in small_ones():
        bounds = []
        for nodes in range(1, 12):
            found = begun(reduced, model, 0.5, top, node_limit=nodes).run()
            mine = [entry.score for entry in found.entries]
            assert found.bound <= left_out(mine, scores) + 1e-9
            bounds.append(found.bound)
            if found.status == "optimal":
                break
            assert found.status == "node_limit"
            stopped += bool(mine)
        assert all(one <= next_ + 1e-9 for one, next_ in neighbours(bounds))
    assert stopped


def test_a_node_whose_listing_was_not_finished_is_not_lost(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    whole, cut = Enumerator.run, 0

    def unfinished(self: Enumerator, *what: object, **how: object) -> Listing:
        nonlocal cut
        cut += 1
        if cut % 3:
            return Listing(np.zeros((0, self._m.n_slots), dtype=np.int64), False, False)
        return whole(self, *what, **how)  # type: ignore[arg-type]

    monkeypatch.setattr(Enumerator, "run", unfinished)
    switches = Switches(**{f.name: f.name in ("search", "enumeration") for f in fields(Switches)})
    for reduced, _, scores in small_ones():
        found = Search(reduced, top=3, switches=switches).run()
        assert found.status == "optimal"
        mine = [entry.score for entry in found.entries][:3]
        assert mine == pytest.approx(scores[:3].tolist(), abs=1e-9)
    assert cut > 10


def test_a_node_whose_relaxation_was_not_finished_is_not_lost(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    whole, calls, cut = Relaxation.solve, 0, 0

    def unfinished(self: Relaxation, time_limit_s: float = np.inf, most: float = np.inf) -> str:
        nonlocal calls, cut
        calls += 1
        if self.dual.any() and calls % 2:
            cut += 1
            return "stopped"
        return whole(self, time_limit_s, most)

    monkeypatch.setattr(Relaxation, "solve", unfinished)
    for reduced, _, scores in small_ones():
        calls = 1
        found = Search(reduced, top=3, switches=BARE).run()
        assert found.status == "optimal"
        mine = [entry.score for entry in found.entries][:3]
        assert mine == pytest.approx(scores[:3].tolist(), abs=1e-9)
    assert cut > 10


def costs(model: Pairwise, bound: Bound, row: Array) -> float:
    """What a layout costs under multipliers."""
    used = np.unique(model.site[row])
    total = bound.constant + bound.choice[row].sum() + bound.use[used].sum()
    for (a, b), table in bound.table.items():
        total += table[row[a] - model.first[a], row[b] - model.first[b]]
    return float(total)


def test_multipliers_of_the_wrong_sign_bound_all_the_same() -> None:
    crooked = 0
    for seed, (_, model, _) in enumerate(small_ones()):
        rows = assignments(model)
        assert rows is not None
        rows = feasible(model, rows)[:300]
        scores = Scorer(model).scores(rows, np.inf)[0]
        relaxation = Relaxation(model)
        assert relaxation.solve() == "optimal"
        rng = np.random.default_rng(seed)
        right = relaxation.dual
        for size in (0.0, 0.1, 3.0):
            relaxation.dual = right + size * rng.normal(size=len(right))
            crooked += bool((relaxation.dual[relaxation.n_equal :] > 0.01).any())
            bound = relaxation.bound(Usage.free(model))
            for row, score in zip(rows, scores, strict=True):
                assert costs(model, bound, row) <= score + 1e-7
    assert crooked
