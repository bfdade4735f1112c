"""Lines' tables in classes: nothing lost, nothing made up, and much smaller."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.problem.arrays import IntArray
from optimizer.problem.build import build_problem
from optimizer.problem.pairwise import Pairwise, pairwise
from optimizer.problem.presolve import reduce
from optimizer.setting import build_setting
from optimizer.solve.line_classes import Cells, Classes, classes
from optimizer.solve.relaxation import Relaxation
from optimizer.solve.usage import Usage
from tests.depth import some
from tests.instances import random_study
from tests.solve.every import assignments, feasible
from tests.solve.points import point

SEEDS = some(range(8300, 8360), 20)


def planted(rng: np.random.Generator, flaws: int) -> tuple[Cells, IntArray, int]:
    """A table of places at few anchors, some cells of it spoilt; with the anchors it has."""
    rows, columns, anchors = 12, 10, 3
    at = rng.integers(anchors, size=rows), rng.integers(anchors, size=columns)
    site = tuple(4 * each + rng.integers(4, size=len(each)) for each in at)
    between, leaf = rng.random((anchors, anchors, 2)), rng.random((rows + columns, 2))
    value = leaf[:rows, None] + leaf[None, rows:] + between[at[0][:, None], at[1][None, :]]
    open_ = np.ones((rows, columns), dtype=bool)
    open_[np.abs(at[0][:, None] - at[1][None, :]) == anchors - 1] = False
    apart = site[0][:, None] != site[1][None, :]
    value[~apart] = 0.0
    open_[~apart] = True
    for _ in range(flaws):
        i, j = rng.integers(rows), rng.integers(columns)
        value[i, j] += 3.0 * rng.normal(size=2)
        open_[i, j] = rng.random() < 0.7
    value[~open_] = np.inf
    row, column = np.divmod(np.arange(rows * columns), columns)
    cells = Cells(
        row,
        rows + column,
        np.full(rows * columns, columns),
        open_.ravel(),
        apart.ravel(),
        value.reshape(-1, 2),
    )
    kind = np.concatenate([at[0], anchors + at[1]])
    return cells, kind, sum(len(np.unique(each)) for each in at)


def commons(cells: Cells, found: Classes) -> dict[tuple[int, int], list[int]]:
    """The cells of every pair of classes."""
    of: dict[tuple[int, int], list[int]] = {}
    for n in range(len(cells.row)):
        pair = int(found.of[cells.row[n]]), int(found.of[cells.column[n]])
        of.setdefault(pair, []).append(n)
    return of


@pytest.mark.parametrize("flaws", [0, 1, 4, 40])
def test_a_cell_is_what_its_row_column_and_classes_bring(flaws: int) -> None:
    for seed in range(60):
        cells, kind, _ = planted(np.random.default_rng(seed), flaws)
        found = classes(cells, kind)
        assert not set(found.of[cells.row]) & set(found.of[cells.column])
        for members in commons(cells, found).values():
            n = np.array(members)
            between = n[cells.open[n] & cells.apart[n]]
            if not len(between):
                continue
            if len(n) > 1:
                # else the classes would open what is closed
                assert cells.open[n].all()
            rest = cells.value[n] - found.brings[cells.row[n]] - found.brings[cells.column[n]]
            common = cells.value[between[0]]
            common = common - found.brings[cells.row[between[0]]]
            common = common - found.brings[cells.column[between[0]]]
            apart = cells.apart[n]
            np.testing.assert_allclose(rest[apart], np.tile(common, (apart.sum(), 1)), atol=1e-10)
            if len(n) > 1:
                assert (rest[~apart, 0] <= common[0] + 1e-10).all()


def test_places_at_one_anchor_are_alike() -> None:
    """One class an anchor where nothing is spoilt; a spoilt cell costs a class or two."""
    clean = spoilt = 0
    for seed in range(60):
        rng = np.random.default_rng(seed)
        cells, kind, anchors = planted(rng, 0)
        clean += len(np.unique(classes(cells, kind).of)) - anchors
        cells, kind, anchors = planted(rng, 1)
        spoilt += len(np.unique(classes(cells, kind).of)) - anchors
    assert clean == 0
    assert 60 <= spoilt <= 60 * 3


def by_themselves(cells: Cells, kind: IntArray) -> Classes:
    """Every choice a class of its own: tables as they are."""
    return Classes(np.arange(len(kind)), np.zeros((len(kind), cells.value.shape[1])))


def models() -> list[Pairwise]:
    found = []
    for seed in SEEDS:
        study = random_study(seed, parts=9, sites=12, lines=9)
        reduced = reduce(build_problem(build_setting(study)))
        if not reduced.emptied:
            found.append(pairwise(reduced))
    return found


def test_the_relaxation_is_as_tight_as_with_a_column_per_pair(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Its optimum, with choices closed or left out; and the bound of its prices is that optimum."""
    solved = fewer = 0
    for k, of_study in enumerate(models()):
        rng = np.random.default_rng(k)
        # little but lines costs something: then their ends want to be at one site
        little = 1e-3 * rng.random(len(of_study.choice))
        model = replace(of_study, cost=little, use_cost=0.0 * of_study.use_cost)
        with monkeypatch.context() as patch:
            patch.setattr("optimizer.solve.pair_columns.classes", by_themselves)
            whole = Relaxation(model)
        classed = Relaxation(model)
        fewer += classed.shape[1] < whole.shape[1]
        everywhere = Usage.free(model)
        for share in (1.0, 0.85, 0.7, 0.5):
            open_ = rng.random(len(model.choice)) < share
            told = []
            for each in (whole, classed):
                each.set_open(open_, everywhere)
                told.append((each.solve(), round(each.lp.objective, 6)))
            assert told[0] == told[1]
            if np.logical_or.reduceat(open_, model.first[:-1]).all():
                smaller, _ = classed.smaller(open_, {}, None)
                assert (smaller.solve(), round(smaller.lp.objective, 6)) == told[0]
            if told[0][0] != "optimal":
                continue
            solved += 1
            bound = classed.bound(everywhere)
            full = np.where(open_, bound.choice + bound.share, np.inf)
            value = bound.constant + np.minimum.reduceat(full, model.first[:-1]).sum()
            assert value <= classed.lp.objective + model.constant + 1e-6
            if share == 1.0:
                assert value == pytest.approx(classed.lp.objective + model.constant, abs=1e-6)
    assert solved > 20 and fewer > 5


def test_every_layout_is_a_point_of_the_relaxation_at_its_cost() -> None:
    looked_at = 0
    for seed in SEEDS:
        study = random_study(seed, parts=6, sites=4, lines=6)
        reduced = reduce(build_problem(build_setting(study)))
        if reduced.emptied:
            continue
        model = pairwise(reduced)
        every = assignments(model)
        if every is None:
            continue
        relaxation = Relaxation(model)
        rows = relaxation._selected.entries
        for row in feasible(model, every)[:200]:
            value = point(relaxation, row)
            if value is None:
                continue
            left = np.bincount(
                rows.row, weights=rows.value * value[rows.column], minlength=len(rows.lower)
            )
            # limits may need dearer options than the cheapest
            most = len(rows.lower) - model.n_limits - len(model.soft)
            assert (left[:most] <= rows.upper[:most] + 1e-9).all()
            assert (left[:most] >= rows.lower[:most] - 1e-9).all()
            sites = np.unique(model.site[row])
            pieces = int(model.pieces[:, sites].any(axis=1).sum())
            cost = model.cost[row].sum() + model.use_cost[sites].sum() + pieces * model.piece_cost
            cost += sum(
                pair.cost[row[a] - model.first[a], row[b] - model.first[b]]
                for (a, b), pair in model.pairs.items()
            )
            assert relaxation.cost @ value == pytest.approx(cost)
            looked_at += 1
    assert looked_at > 200
