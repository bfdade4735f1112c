"""Scores of assignments where the cheapest options break a limit, against every combination."""

from __future__ import annotations

from dataclasses import replace
from itertools import islice, product

import numpy as np
import pytest

from optimizer.problem.arrays import IntArray
from optimizer.problem.build import build_problem
from optimizer.problem.pairwise import Pairwise, pairwise
from optimizer.problem.presolve import reduce
from optimizer.setting import build_setting
from optimizer.solve.scoring import ROOM, Scorer
from optimizer.solve.shortlist import Shortlist
from tests.instances import random_study

SEEDS = range(7300, 7400)


def drawn(seed: int) -> tuple[Pairwise, IntArray] | None:
    """A small problem and assignments that keep the rules on pairs; None if there are none."""
    reduced = reduce(build_problem(build_setting(random_study(seed, parts=5, lines=4))))
    if reduced.emptied:
        return None
    model = pairwise(reduced)
    spans = [range(int(a), int(b)) for a, b in zip(model.first[:-1], model.first[1:], strict=True)]
    rows = np.array(list(islice(product(*spans), 400)), dtype=np.int64)
    kept = np.ones(len(rows), dtype=bool)
    for (a, b), pair in model.pairs.items():
        kept &= pair.ok[rows[:, a] - model.first[a], rows[:, b] - model.first[b]]
    return (model, rows[kept]) if kept.any() else None


def often_broken(model: Pairwise, rows: IntArray) -> Pairwise:
    """With limits that many of the assignments break with their cheapest options."""
    _, form = Scorer(model)._sums(rows)
    return replace(model, upper=np.quantile(form[:, : model.n_limits], 0.6, axis=0))


def by_every_combination(model: Pairwise, row: IntArray) -> float:
    """The least score of all combinations of options that keep the limits."""
    scorer = Scorer(model)
    cost, form = scorer._sums(row[None])
    ways = []
    for table in model.tables:
        i = row[table.slot_a] - model.first[table.slot_a]
        j = row[table.slot_b] - model.first[table.slot_b]
        best = table.best[i, j]
        ways.append(
            [
                (table.cost[i, j, o] - table.cost[i, j, best],
                 table.form[i, j, o] - table.form[i, j, best])
                for o in np.flatnonzero(table.kept[i, j])
            ]
        )  # fmt: skip
    least = np.inf
    for chosen in product(*ways):
        forms = form + sum((change for _, change in chosen), np.zeros(form.shape[1]))
        if (forms[:, : model.n_limits] <= model.upper + ROOM).all():
            total = cost + sum(more for more, _ in chosen)
            least = min(least, float(scorer._convex(total, forms)[0]))
    return least


def test_options_that_keep_the_limits_are_found_wherever_there_are_any() -> None:
    other = 0
    for seed in SEEDS:
        made = drawn(seed)
        if made is None or not Scorer(made[0])._choosable:
            continue
        model, rows = often_broken(*made), made[1]
        scores, options = Scorer(model).scores(rows, np.inf)
        other += sum(1 for n in options if np.isfinite(scores[n]))
        for n in {*range(0, len(rows), 5), *options}:
            assert scores[n] == pytest.approx(by_every_combination(model, rows[n]), rel=1e-9)
    assert other > 10


@pytest.mark.parametrize("top", [1, 3, 40])
def test_a_list_of_layouts_is_the_same_offered_at_once_or_one_by_one(top: int) -> None:
    for seed in SEEDS[:20]:
        made = drawn(seed)
        if made is None:
            continue
        model, rows = made
        at_once, one_by_one = Shortlist(model, top), Shortlist(model, top)
        at_once.offer(rows)
        for row in rows[::-1]:
            one_by_one.offer(row[None])
        assert at_once.ranked() == one_by_one.ranked()
        assert at_once.threshold == one_by_one.threshold


def test_what_options_must_cost_at_least_spares_looking_and_loses_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Where a limit is broken, options that keep it are looked for only if they may be worth it."""
    looked: list[int] = []
    search = Scorer._best_options

    def counted(self: Scorer, chosen: IntArray, *rest: object) -> object:
        looked.append(1)
        return search(self, chosen, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(Scorer, "_best_options", counted)
    in_time = spared = 0
    for seed in SEEDS:
        made = drawn(seed)
        if made is None or not Scorer(made[0])._choosable:
            continue
        model, rows = often_broken(*made), made[1]
        looked.clear()
        scores, _ = Scorer(model).scores(rows, np.inf)
        all_of_them = len(looked)
        for share in (0.2, 0.6):
            fits = np.sort(scores[np.isfinite(scores)])
            if len(fits) < 3:
                continue
            most = float(fits[int(share * len(fits))])
            looked.clear()
            again, _ = Scorer(model).scores(rows, most)
            wanted = np.where(scores <= most, scores, np.inf)
            np.testing.assert_allclose(again, wanted, rtol=1e-12)
            in_time += len(looked)
            spared += all_of_them - len(looked)
    assert in_time > 5
    assert spared > 5
