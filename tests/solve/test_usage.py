"""Numbers of sites in use: what a node says of them, asks about them, and bounds by them."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

import numpy as np
import pytest

from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.pairwise import Pairwise
from optimizer.solve.branching import Branching
from optimizer.solve.relaxation import Relaxation
from optimizer.solve.scoring import Scorer
from optimizer.solve.usage import Usage, groups
from tests.instances import random_study
from tests.solve.every import layouts


@cache
def written(seed: int) -> tuple[Pairwise, IntArray, Array] | None:
    """A small problem, its layouts and their scores; None if there are few."""
    made = layouts(random_study(seed, parts=5, sites=6, lines=4))
    if made is None:
        return None
    _, model, rows = made
    return model, rows, Scorer(model).scores(rows, np.inf)[0]


def small_ones() -> Iterator[tuple[Pairwise, IntArray, Array]]:
    for seed in range(8100, 8130):
        made = written(seed)
        if made is not None:
            yield made


def counts(model: Pairwise, rows: IntArray) -> IntArray:
    """(n, n_g) how many sites of each group every layout uses."""
    used = np.zeros((len(rows), model.n_sites), dtype=bool)
    used[np.arange(len(rows))[:, None], model.site[rows]] = True
    return np.stack([(used & group).sum(axis=1) for group in groups(model)], axis=1)


def test_groups_are_the_sites_of_each_segment_and_all_of_them() -> None:
    together = 0
    for model, _, _ in small_ones():
        found = groups(model)
        names = [np.array(model.problem.site_names)[group] for group in found]
        assert all(len(each) > 1 for each in names)
        assert len({group.tobytes() for group in found}) == len(found)
        if len(np.unique(model.segment)) > 1:
            assert set(np.flatnonzero(found[-1])) == set(model.site.tolist())
            found = found[:-1]
            together += 1
        of_segment = {int(s): int(g) for s, g in zip(model.site, model.segment, strict=True)}
        for group in found:
            assert len({of_segment[int(s)] for s in np.flatnonzero(group)}) == 1
    assert together > 3


@pytest.mark.parametrize("more", [True, False])
def test_a_bound_holds_for_all_layouts_with_so_many_sites(more: bool) -> None:
    """And for some no layout with another number is as cheap: the restriction counts."""
    felt = tried = 0
    for model, rows, scores in small_ones():
        relaxation, free = Relaxation(model), Usage.free(model)
        number = counts(model, rows)
        open_ = np.ones(len(model.choice), dtype=bool)
        for g in range(number.shape[1]):
            for level in range(int(number[:, g].min()), int(number[:, g].max())):
                usage = free.of_group(g, level, more)
                within = number[:, g] > level if more else number[:, g] <= level
                relaxation.set_open(open_, usage)
                assert relaxation.solve() == "optimal"
                bound = relaxation.bound(usage)
                least = bound.constant + sum(
                    float((bound.choice + bound.share)[a:b].min())
                    for a, b in zip(model.first[:-1], model.first[1:], strict=True)
                )
                assert least <= scores[within].min() + 1e-7
                felt += least > scores.min() + 1e-7
                tried += 1
        relaxation.set_open(open_, free)
        assert relaxation.solve() == "optimal"
        assert relaxation.lp.objective + model.constant <= scores.min() + 1e-7
    assert tried > 20
    assert felt > 3


def test_more_sites_than_there_are_is_infeasible() -> None:
    for model, _, _ in small_ones():
        relaxation, free = Relaxation(model), Usage.free(model)
        for g, size in enumerate(groups(model).sum(axis=1).tolist()):
            usage = free.of_group(g, int(size), True)
            relaxation.set_open(np.ones(len(model.choice), dtype=bool), usage)
            assert relaxation.solve() == "infeasible"


def test_a_question_about_a_number_divides_the_layouts() -> None:
    asked = 0
    for model, rows, _ in small_ones():
        relaxation = Relaxation(model)
        assert relaxation.solve() == "optimal"
        open_ = np.ones(len(model.choice), dtype=bool)
        for wanted in (True, False):
            branching = Branching(model, relaxation, wanted)
            found = [each for _, each in branching._candidates(relaxation.value, open_)]
            of_groups = [each for each in found if each.group is not None]
            assert wanted or not of_groups
            for question in of_groups:
                usages = question.usages(Usage.free(model))
                assert usages is not None
                of_all = counts(model, rows)
                yes, no = (
                    ((of_all >= usage.least) & (of_all <= usage.most)).all(axis=1)
                    for usage in usages
                )
                assert (yes ^ no).all()
                # the relaxation's own number is in neither
                at = float(relaxation.value[relaxation.counts[question.group]])
                assert question.level < at < question.level + 1
                asked += 1
    assert asked


def test_what_is_said_of_one_site_leaves_the_others() -> None:
    model = next(small_ones())[0]
    free = Usage.free(model)
    site = int(model.site[0])
    used, unused = free.of_site(site, True), free.of_site(site, False)
    assert used.must.sum() == 1
    assert used.must[site]
    assert used.may.all()
    assert not unused.may[site]
    assert unused.may.sum() == model.n_sites - 1
    assert not free.must.any()
    assert free.may.all()
