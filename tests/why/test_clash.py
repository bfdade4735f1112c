"""Clashes are checked against the enumeration of all layouts of the study with limits away."""

from __future__ import annotations

import time
from itertools import combinations, count
from math import inf

import pytest

from optimizer.assess.result import Infeasible
from optimizer.problem.build import build_problem
from optimizer.problem.presolve import reduce
from optimizer.solve.conflicts import Oracle, OutOfTimeError, find_clash, quickxplain
from optimizer.solve.hitting import least_hitting_set
from optimizer.solve.infeasible import explain
from optimizer.solve.place import place
from optimizer.study.relax import study_limits
from tests.depth import some
from tests.why.impossible import IMPOSSIBLE, fits_with_only


@pytest.mark.parametrize("number", some(range(24), 12))
def test_a_clash_cannot_hold_and_without_any_member_can(number):
    setting = IMPOSSIBLE[number]
    oracle = Oracle(setting)
    clash = find_clash(oracle)
    assert clash is not None and clash.limits
    limits = [oracle.limits[m] for m in clash.limits]
    assert not fits_with_only(setting, limits)
    for limit in limits:
        assert fits_with_only(setting, [other for other in limits if other is not limit])


@pytest.mark.parametrize("number", some(range(8), 5))
def test_no_set_of_fewer_limits_clashes_than_a_smallest_clash(number):
    setting = IMPOSSIBLE[number]
    clash = find_clash(Oracle(setting))
    assert clash is not None
    # a clash of many limits is not worth the search for one of fewer
    assert clash.smallest or len(clash.limits) > 5
    if not clash.smallest:
        return
    limits = study_limits(setting.study)
    for fewer in combinations(limits, min(len(clash.limits) - 1, 2)):
        assert fits_with_only(setting, fewer)


@pytest.mark.parametrize("number", some(range(8), 5))
def test_a_search_cut_short_still_finds_a_set_that_cannot_be_reduced(number):
    setting = IMPOSSIBLE[number]
    oracle = Oracle(setting)
    clash = find_clash(oracle, rounds=0)
    assert clash is not None and not clash.smallest
    limits = [oracle.limits[m] for m in clash.limits]
    assert not fits_with_only(setting, limits)
    for limit in limits:
        assert fits_with_only(setting, [other for other in limits if other is not limit])


@pytest.mark.parametrize("number", some(range(8), 5))
def test_the_oracle_agrees_with_the_enumeration_on_any_set_of_limits(number):
    setting = IMPOSSIBLE[number]
    oracle = Oracle(setting)
    for drop in range(len(oracle.limits)):
        kept = [m for m in range(len(oracle.limits)) if (m * 7 + drop) % 5 != 0]
        truth = fits_with_only(setting, [oracle.limits[m] for m in kept])
        assert oracle.fits(kept) == truth


@pytest.mark.parametrize("number", some(range(8), 5))
def test_a_search_given_up_tells_only_limits_without_which_all_fits(number):
    setting = IMPOSSIBLE[number]
    oracle = Oracle(setting)
    clash = find_clash(oracle, effort=0.0)
    assert clash is not None and not clash.whole
    everything = set(oracle.limits)
    own = {limit for limit in everything if limit.family in ("limit", "rule")}
    told = {oracle.limits[m] for m in clash.limits}
    for limit in own | told:
        assert fits_with_only(setting, everything - {limit}) == (limit in told)


def test_place_tells_the_clash_and_every_obstacle_where_it_was_written():
    for setting in IMPOSSIBLE.first(3):
        found = place(setting)
        assert isinstance(found, Infeasible) and found.complete
        assert found.obstacles
        for obstacle in found.obstacles:
            assert obstacle.text and obstacle.least_change_text
            assert obstacle.origin.file


def _clashing(sets: list[frozenset[int]]):
    return lambda kept: not any(clash <= frozenset(kept) for clash in sets)


@pytest.mark.parametrize("seed", range(40))
def test_quickxplain_finds_an_irreducible_clash_among_made_up_ones(seed):
    import random

    chance = random.Random(seed)
    members = list(range(12))
    clashes = [
        frozenset(chance.sample(members, chance.randint(1, 4))) for _ in range(chance.randint(1, 4))
    ]
    feasible = _clashing(clashes)
    found = quickxplain(members, feasible)
    assert not feasible(found)
    assert all(feasible([m for m in found if m != gone]) for gone in found)


def test_quickxplain_finds_nothing_where_nothing_clashes_or_members_do_not_matter():
    assert quickxplain([1, 2, 3], lambda kept: True) == []
    assert quickxplain([1, 2, 3], lambda kept: False) == []


def test_quickxplain_prefers_early_members():
    # {0, 1} and {8, 9} both clash: the early one is told
    assert quickxplain(list(range(10)), _clashing([frozenset({8, 9}), frozenset({0, 1})])) == [0, 1]


@pytest.mark.parametrize("seed", range(25))
def test_least_hitting_sets_weigh_no_more_than_any_other(seed):
    import random

    chance = random.Random(seed)
    weight = {m: chance.choice([1.0, 1.0001, 1.5]) for m in range(8)}
    sets = [frozenset(chance.sample(range(8), chance.randint(1, 4))) for _ in range(6)]
    found = least_hitting_set(sets, weight)
    assert all(found & each for each in sets)
    least = min(
        sum(weight[m] for m in chosen)
        for size in range(9)
        for chosen in combinations(range(8), size)
        if all(set(chosen) & each for each in sets)
    )
    assert sum(weight[m] for m in found) == pytest.approx(least)


def test_past_its_deadline_an_oracle_takes_no_answer_for_none():
    oracle = Oracle(IMPOSSIBLE[0], deadline=0.0)
    with pytest.raises(OutOfTimeError):
        oracle.fits(oracle.all)
    assert not oracle._clashing and not oracle._broken


@pytest.mark.parametrize("number", [0, 3])
def test_an_explanation_out_of_time_tells_what_it_knew_and_no_more(number, monkeypatch):
    setting = IMPOSSIBLE[number]
    reduced = reduce(build_problem(setting))
    whole = explain(setting, reduced, 0.0)
    assert whole.complete and whole.obstacles
    told = []
    for asked in (0, 1, 3, 10, 40):
        left = count()
        monkeypatch.setattr(
            Oracle, "left_s", property(lambda self, n=asked, c=left: inf if next(c) < n else 0.0)
        )
        cut = explain(setting, reduced, 0.0)
        # limits are those of the whole explanation, though perhaps without what would mend them
        known = [obstacle.text for obstacle in cut.obstacles]
        assert known in ([], [obstacle.text for obstacle in whole.obstacles])
        assert len(cut.further) <= len(whole.further)
        told.append((bool(known), cut.complete))
    assert told[0] == (False, False)
    assert told == sorted(told)


def test_with_no_time_left_nothing_is_built(monkeypatch):
    setting = IMPOSSIBLE[0]
    reduced = reduce(build_problem(setting))
    monkeypatch.setattr("optimizer.solve.conflicts.Oracle", None)
    cut = explain(setting, reduced, 0.0, deadline=time.perf_counter())
    assert not cut.complete and not cut.obstacles


def test_the_time_limit_of_place_holds_for_the_explanation_too(monkeypatch):
    given = []

    def explained(*what, deadline=inf):
        given.append(deadline - time.perf_counter())
        return explain(*what)

    monkeypatch.setattr("optimizer.solve.place.explain", explained)
    assert isinstance(place(IMPOSSIBLE[0], time_limit_s=50.0), Infeasible)
    assert 0.0 < given[0] < 50.0
