"""Problems by regions of the body: their bound, their models, and layouts put together again."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, replace
from functools import cache
from itertools import islice

import numpy as np
import pytest

from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.pairwise import Pairwise
from optimizer.problem.presolve import Reduced, Switches
from optimizer.solve import by_regions, search
from optimizer.solve.by_regions import ByRegions
from optimizer.solve.joining import Listed, joined
from optimizer.solve.regions import Apart, Region, apart
from optimizer.solve.relaxation import Relaxation
from optimizer.solve.scoring import Scorer
from optimizer.solve.search import Search
from optimizer.solve.shortlist import Shortlist
from optimizer.solve.usage import Usage
from tests.depth import some
from tests.instances import random_study
from tests.solve.every import assignments, cut_off, feasible, layouts

#: A tree that is not spared anything, but looks at regions.
TREE = Switches(
    **{f.name: f.name in ("search", "compiled", "regions", "hull_cuts") for f in fields(Switches)}
)


@cache
def written(seed: int) -> tuple[Reduced, Pairwise, IntArray, Array] | None:
    """A small problem, its layouts and their scores; None if there are few."""
    made = layouts(random_study(seed, parts=5, sites=6, lines=4), 7000)
    if made is None:
        return None
    reduced, model, rows = made
    return reduced, model, rows, Scorer(model).scores(rows, np.inf)[0]


def small_ones() -> Iterator[tuple[Reduced, Pairwise, IntArray, Array]]:
    for seed in range(8200, 8240):
        made = written(seed)
        if made is not None:
            yield made


def taken_apart(closed: float = 0.0) -> Iterator[tuple[Pairwise, Relaxation, Apart, IntArray]]:
    """Problems of several regions, with some choices closed, and the layouts that are left."""
    for n, (_, model, rows, _) in enumerate(small_ones()):
        relaxation = cut_off(model)
        rng = np.random.default_rng(n)
        open_ = rng.random(len(model.choice)) >= closed
        open_[rows[0]] = True
        usage = Usage.free(model)
        relaxation.set_open(open_, usage)
        if relaxation.solve() != "optimal":
            continue
        found = apart(relaxation, open_, usage)
        if found is not None:
            yield model, relaxation, found, rows[open_[rows].all(axis=1)]


def restricted(region: Region, row: IntArray) -> IntArray:
    """A layout as one of a region's model."""
    found = np.searchsorted(region.choices, row[region.slots])
    assert (region.choices[found] == row[region.slots]).all()
    return found


def between(model: Pairwise, found: Apart, row: IntArray) -> float:
    return sum(
        float(table[row[a] - model.first[a], row[b] - model.first[b]])
        for (a, b), table in found.between.items()
    )


@pytest.mark.parametrize("closed", [0.0, 0.3])
def test_no_layout_costs_less_than_its_regions_say(closed: float) -> None:
    shared = lines = negative = 0
    for model, _, found, rows in taken_apart(closed):
        scores = Scorer(model).scores(rows, np.inf)[0]
        total = np.full(len(rows), found.constant)
        for region in found.regions:
            own = np.array([restricted(region, row) for row in rows])
            mine = Scorer(region.model).scores(own, np.inf)[0]
            # every layout is one of the region's, too
            assert len(feasible(region.model, own)) == len(rows)
            total += mine
            negative += bool((region.model.use_cost < -1e-6).any())
        total += [between(model, found, row) for row in rows]
        assert (total <= scores + 1e-7).all()
        shared += sum(len(region.slots) for region in found.regions) > model.n_slots
        lines += any((table > 1e-6).any() for table in found.between.values())
    assert shared
    assert lines or not closed
    assert negative or not closed, "a site pays for itself somewhere"


def test_regions_together_cost_what_the_relaxation_does_at_its_optimum() -> None:
    checked = 0
    for model, relaxation, found, _ in taken_apart():
        at = found.constant
        for region in found.regions:
            own = Relaxation(region.model)
            assert own.solve() == "optimal"
            # a region by itself, without cuts, costs no more than its share of the optimum
            at += own.lp.objective + region.model.constant
        bound = relaxation.lp.objective + model.constant
        assert at <= bound + 1e-6
        if not relaxation._cuts and not found.between:
            assert at == pytest.approx(bound, abs=1e-6)
            checked += 1
    assert checked


def test_the_search_finds_a_regions_cheapest_layouts() -> None:
    """Against every assignment; sites that save something and barred pairs included."""
    seen = 0
    for reduced, model, _, _ in small_ones():
        relaxation = cut_off(model)
        found = apart(relaxation, relaxation.open, Usage.free(model))
        for region in found.regions if found else ():
            every = assignments(region.model)
            assert every is not None
            scores = Scorer(region.model).scores(feasible(region.model, every), np.inf)[0]
            # in turn: as it is, the tree alone, and the tree with what it lists
            switches = (Switches(), TREE, replace(TREE, enumeration=True))[seen % 3]
            assert least(reduced, region.model, switches) == pytest.approx(
                np.sort(scores)[:6].tolist(), abs=1e-7
            )
            seen += 1
    assert seen > 20


def test_sites_that_save_something_lose_no_layout() -> None:
    """What is paid so far may still become less there: nothing is left out for it too early."""
    seen = used = 0
    for n, (reduced, model, _, _) in enumerate(small_ones()):
        relaxation = cut_off(model)
        found = apart(relaxation, relaxation.open, Usage.free(model))
        rng = np.random.default_rng(n)
        for region in found.regions if found else ():
            spread = float(np.ptp(region.model.cost))
            each = replace(region.model, use_cost=rng.normal(0.0, spread, model.n_sites))
            every = assignments(each)
            assert every is not None
            scores = Scorer(each).scores(feasible(each, every), np.inf)[0]
            mine = least(reduced, each, Switches())
            assert mine == pytest.approx(np.sort(scores)[:6].tolist(), abs=1e-7)
            seen += 1
            used += bool((each.use_cost[np.unique(each.site)] < 0.0).any())
    assert seen > 20
    assert used > 15


def least(reduced: Reduced, model: Pairwise, switches: Switches) -> list[float]:
    """The six best scores of a region's model by the search."""
    switches = replace(switches, local_search=False, regions=False)
    found = Search(reduced, top=6, model=model, switches=switches).run()
    assert found.status == "optimal"
    return [entry.score for entry in found.entries]


def test_nothing_above_a_given_score_is_listed() -> None:
    seen = 0
    for reduced, _, _, scores in small_ones():
        if reduced.problem.exchange or reduced.problem.ballast is not None:
            continue
        wanted = np.sort(scores)
        third = len(scores) // 3
        most = float(wanted[third : third + 2].mean())
        if wanted[third + 1] - wanted[third] < 1e-6:
            continue
        found = Search(reduced, top=10_000, most=most).run()
        assert found.status == "optimal"
        wanted = wanted[: third + 1]
        np.testing.assert_allclose([entry.score for entry in found.entries], wanted, atol=1e-7)
        seen += 1
    assert seen > 5


# -- putting together ------------------------------------------------------------------------------


def listed(region: Region, model: Pairwise, most: float, known: float = -1.0) -> Listed:
    """Every layout of a region up to so much beyond its cheapest, by enumeration."""
    every = assignments(region.model)
    assert every is not None
    own = feasible(region.model, every)
    scores = Scorer(region.model).scores(own, np.inf)[0]
    beyond = scores - scores.min()
    order = np.argsort(beyond, kind="stable")
    order = order[beyond[order] <= most]
    chosen = np.full((len(order), model.n_slots), -1, dtype=np.int64)
    chosen[:, region.slots] = region.choices[own[order]]
    return Listed(region.slots, chosen, beyond[order], beyond[order] <= known)


@pytest.mark.parametrize("at_once", [1, 37, 100_000])
def test_what_is_put_together_is_every_layout_within_the_room(
    at_once: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("optimizer.solve.joining.AT_ONCE", at_once)
    full = 0
    for model, _, found, rows in taken_apart(0.2):
        lists = [listed(region, model, np.inf) for region in found.regions]
        least = [
            float(Scorer(r.model).scores(restricted(r, rows[0])[None], np.inf)[0][0])
            for r in found.regions
        ]
        costs = {}
        for row in rows:
            own = [
                float(Scorer(r.model).scores(restricted(r, row)[None], np.inf)[0][0])
                for r in found.regions
            ]
            costs[row.tobytes()] = sum(own) + between(model, found, row)
        # beyond the cheapest of every region
        first = sum(
            float(each.beyond[(each.chosen[:, each.slots] == rows[0][each.slots]).all(axis=1)][0])
            for each in lists
        )
        shift = sum(least) - first
        room = float(np.median(list(costs.values()))) - shift
        together = joined(model, lists, found.between, room)
        assert together is not None
        assert (np.diff(together.beyond) >= 0.0).all()
        got = {
            row.astype(np.int64).tobytes(): float(beyond)
            for row, beyond in zip(together.chosen, together.beyond, strict=True)
        }
        assert len(got) == len(together.chosen), "none twice"
        wanted = {key: cost - shift for key, cost in costs.items() if cost - shift <= room - 1e-9}
        assert set(wanted) <= set(got)
        for key, cost in wanted.items():
            assert got[key] == pytest.approx(cost, abs=1e-7)
        assert max(got.values(), default=0.0) <= room
        full += len(wanted) > 3
    assert full > 3


def test_what_shorter_lists_had_is_told() -> None:
    some = 0
    for model, _, found, _ in islice(taken_apart(), 5):
        lists = [listed(region, model, np.inf) for region in found.regions]
        middle = float(np.median(np.concatenate([each.beyond for each in lists])))
        marked = [listed(region, model, np.inf, middle) for region in found.regions]
        short = [listed(region, model, middle) for region in found.regions]
        together = joined(model, marked, found.between, 10.0)
        before = joined(model, short, found.between, 10.0)
        assert together is not None
        assert before is not None
        known = {row.tobytes() for row in together.chosen[together.known]}
        assert known == {row.tobytes() for row in before.chosen}
        some += 0 < len(known) < len(together.chosen)
    assert some


@pytest.mark.parametrize("name", ["MOST_PAIRS", "MOST_JOINED"])
def test_too_many_are_not_put_together(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    model, _, found, _ = next(taken_apart())
    lists = [listed(region, model, np.inf) for region in found.regions]
    assert joined(model, lists, found.between, 10.0) is not None
    monkeypatch.setattr(f"optimizer.solve.joining.{name}", 1)
    assert joined(model, lists, found.between, 10.0) is None


# -- all of it -------------------------------------------------------------------------------------


def from_the_first_node(monkeypatch: pytest.MonkeyPatch) -> list[bool]:
    """Look at regions after one node; the list is told whether that was all."""
    ended: list[bool] = []
    run = ByRegions.run

    def counted(self: ByRegions, shortlist: Shortlist) -> bool:
        ended.append(run(self, shortlist))
        return ended[-1]

    monkeypatch.setattr(ByRegions, "run", counted)
    monkeypatch.setattr(search, "APART_AFTER", 1)
    return ended


@pytest.mark.parametrize(("top", "first"), [(1, 0.02), (4, 0.25)])
def test_the_best_layouts_are_those_of_plain_enumeration(
    top: int, first: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    ended = from_the_first_node(monkeypatch)
    monkeypatch.setattr(by_regions, "FIRST", first)
    monkeypatch.setattr(by_regions, "LEAST_NODES", 1000)
    monkeypatch.setattr(by_regions, "LIST_NODES", 1000)
    for reduced, model, rows, scores in islice(small_ones(), len(some(range(18), 8))):
        here = Search(reduced, top=top, switches=TREE)
        here.shortlist.offer(rows[np.argsort(scores)[len(rows) // 2 :][: 3 * top]])
        found = here.run()
        assert found.status == "optimal"
        wanted = np.sort(scores)
        mine = [entry.score for entry in found.entries]
        if reduced.problem.exchange:  # the same layout with copies swapped is told once
            wanted = np.array(mine[:1]) if mine[0] == pytest.approx(wanted[0]) else wanted
            mine = mine[:1]
        np.testing.assert_allclose(mine, wanted[:top], atol=1e-7)
        assert found.bound == pytest.approx(wanted[:top][-1], abs=1e-6) or reduced.problem.exchange
        assert model.n_slots == len(found.entries[0].chosen)
    assert sum(ended) > 4, "most trees end by their regions"


@pytest.mark.parametrize("name", ["LEAST_NODES", "LIST_NODES", "MOST_LISTED"])
def test_where_regions_are_too_much_the_tree_goes_on(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    ended = from_the_first_node(monkeypatch)
    monkeypatch.setattr(by_regions, name, 0)
    for reduced, _, rows, scores in small_ones():
        here = Search(reduced, switches=TREE)
        here.shortlist.offer(rows[[int(np.argsort(scores)[len(rows) // 2])]])
        found = here.run()
        assert found.status == "optimal"
        assert found.entries[0].score == pytest.approx(scores.min(), abs=1e-7)
    assert len(ended) > 5
    assert not all(ended)


def test_a_stop_in_the_middle_of_regions_keeps_what_was_found(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def stopped(self: ByRegions, shortlist: Shortlist) -> bool:
        raise KeyboardInterrupt

    monkeypatch.setattr(ByRegions, "run", stopped)
    monkeypatch.setattr(search, "APART_AFTER", 1)
    interrupted = 0
    for reduced, _, rows, scores in small_ones():
        here = Search(reduced, switches=TREE)
        here.shortlist.offer(rows[[int(np.argsort(scores)[len(rows) // 2])]])
        found = here.run()
        assert found.bound <= scores.min() + 1e-7
        assert found.entries
        interrupted += found.status == "interrupted"
    assert interrupted
