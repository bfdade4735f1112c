"""Exact switch points against enumeration: none missed, each where it is said to be."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import pairwise
from math import inf

import pytest

from optimizer.assess.result import Infeasible
from optimizer.errors import InputError
from optimizer.setting import build_setting
from optimizer.solve.place import place
from optimizer.solve.relay import assess_there
from optimizer.solve.sweep import sweep
from optimizer.solve.sweep_arrays import Winner
from optimizer.solve.sweep_dial import Dial
from optimizer.solve.sweep_exact import ExactSweep
from optimizer.solve.sweep_family import make_family
from optimizer.solve.sweep_result import EXACT, Sweep
from optimizer.solve.sweep_sample import NotSteadyError
from optimizer.study.model import EnergySpec, LimitSpec, Study
from tests.depth import some
from tests.instances import random_study
from tests.solve.oracle import Enumeration
from tests.tradeoffs.dials import (
    limit_dial,
    mass_dial,
    site_mass_dial,
    speed_dial,
    weight_dial,
    with_mass,
)
from tests.tradeoffs.grids import missed

Cut = list[Winner]


def linear(study: Study) -> Study:
    """The study with a trunk model whose cost is linear."""
    return replace(study, energy=replace(study.energy, trunk="browning_waist"))


def unlimited(study: Study) -> Study:
    """The study without anything that a mass could break."""
    sites = tuple(replace(s, max_mass_kg=inf) for s in study.sites)
    return replace(study, limits=(), sites=sites)


def all_parts(study: Study) -> Dial:
    return mass_dial(study, " ".join(part.name for part in study.parts))


@pytest.mark.parametrize("seed", some(range(9), 5))
def test_sweeping_one_parts_mass_misses_nothing(seed: int) -> None:
    dial = mass_dial(random_study(seed), "p0")
    found = sweep(dial, 0.3, 3.0)
    assert found.complete
    assert missed(dial, found) == []


@pytest.mark.parametrize("seed", some(range(9), 5))
def test_sweeping_all_parts_together_misses_nothing(seed: int) -> None:
    dial = all_parts(linear(random_study(seed)))
    found = sweep(dial, 0.4, 2.5)
    assert found.method == EXACT
    assert missed(dial, found) == []


@pytest.mark.parametrize("seed", some(range(8), 4))
def test_sweeping_a_weight_misses_nothing(seed: int) -> None:
    dial = weight_dial(random_study(seed))
    found = sweep(dial, 0.01, 1.0)
    assert found.method == EXACT
    assert missed(dial, found, 8) == []


@pytest.mark.parametrize("seed", some(range(8), 4))
def test_sweeping_a_limit_misses_nothing(seed: int) -> None:
    study = random_study(seed)
    for number in range(len(study.limits)):
        dial = limit_dial(study, number)
        found = sweep(dial, 0.5, 2.0)
        assert found.method == EXACT
        assert missed(dial, found, 7) == []


@pytest.mark.parametrize("seed", range(6))
def test_sweeping_what_a_site_carries_misses_nothing(seed: int) -> None:
    study = random_study(seed)
    dial = site_mass_dial(study, study.sites[0].name)
    found = sweep(dial, 0.03, 1.5)
    assert found.method == EXACT
    assert missed(dial, found, 8) == []


@pytest.mark.parametrize("seed", some([1, 2, 7, 9], 2))
def test_sweeping_walking_speed_misses_nothing(seed: int) -> None:
    dial = speed_dial(linear(random_study(seed)))
    found = sweep(dial, 0.8, 1.6)
    assert missed(dial, found, 7) == []


@cache
def swept() -> list[Sweep]:
    """Sweeps of masses, several pieces each."""
    found = [sweep(mass_dial(linear(random_study(s)), "p0"), 0.3, 3.0) for s in range(14)]
    found += [sweep(all_parts(linear(random_study(s))), 0.4, 2.5) for s in range(8)]
    return [each for each in found if len(each.pieces) > 1]


def test_the_sweeps_compared_with_enumeration_do_switch() -> None:
    assert sum(len(found.switch_points) for found in swept()) >= 15


def test_pieces_join_without_gaps_and_cover_the_range() -> None:
    for found in swept():
        assert found.pieces[0].low == found.low and found.pieces[-1].high == found.high
        for one, two in pairwise(found.pieces):
            assert one.high == two.low and one.low < one.high


def test_where_no_limit_ends_a_piece_both_layouts_score_the_same_there() -> None:
    crossings = 0
    for found in swept():
        for one, two in pairwise(found.pieces):
            if one.at_high is None or two.at_low is None or one.ended_by or two.begun_by:
                continue
            crossings += 1
            assert one.at_high.score == pytest.approx(two.at_low.score, rel=1e-8)
    assert crossings >= 2


def test_a_limit_that_ends_a_piece_is_met_with_nothing_to_spare_there() -> None:
    ended = 0
    for found in swept():
        for piece in found.pieces:
            if piece.at_high is None or not piece.ended_by:
                continue
            ended += 1
            named = {(limit.kind, limit.subject) for limit in piece.ended_by}
            tight = {
                (limit.kind, limit.subject)
                for limit in piece.at_high.limits
                if limit.slack <= 1e-5 * max(1.0, abs(limit.limit))
            }
            assert named & tight
    assert ended >= 5


def test_two_solves_a_piece_are_enough_where_only_costs_move() -> None:
    for seed in range(10):
        free = unlimited(linear(random_study(seed)))
        found = sweep(mass_dial(free, "p0"), 0.1, 8.0)
        assert found.method == EXACT
        assert found.solves <= max(2 * len(found.pieces) - 1, 2)


def test_a_mass_that_only_costs_moves_no_rows() -> None:
    free = unlimited(linear(random_study(3)))
    family = make_family(mass_dial(free, "p0"), 0.5, 2.0)
    assert family.even and family.straight and not family.rows
    assert not family.arrays.limits_move
    limited = replace(free, limits=(LimitSpec("device_mass", "", 2.0, free.origin),))
    assert make_family(mass_dial(limited, "p0"), 0.5, 2.0).arrays.limits_move


def test_several_masses_under_a_curved_trunk_are_not_steady() -> None:
    study = replace(random_study(0), energy=EnergySpec(trunk="pandolf"))
    names = " ".join(part.name for part in study.parts)
    with pytest.raises(NotSteadyError, match="curved"):
        make_family(mass_dial(study, names), 0.5, 2.0)
    with pytest.raises(InputError, match="curved"):
        sweep(mass_dial(study, names), 0.5, 2.0, method=EXACT)


@pytest.mark.parametrize("seed", range(6))
def test_a_number_that_enters_squared_is_not_taken_for_an_even_one(seed: int) -> None:
    study = linear(random_study(seed))

    def study_at(value: float) -> Study:
        parts = []
        for part in study.parts:
            factor = value**2 if part.name in ("p0", "p1") else value
            models = tuple(replace(m, mass_kg=m.mass_kg * factor) for m in part.models)
            parts.append(replace(part, models=models))
        return replace(study, parts=tuple(parts))

    with pytest.raises(NotSteadyError):
        make_family(Dial("square", "", study_at), 0.8, 1.5)


def test_what_only_weakened_limits_allow_is_cut_off_at_once_and_nothing_is_missed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Best at the start under the weakest rows, and in truth forbidden all the way."""
    again, whole = ExactSweep._again, []

    def noted(
        self: ExactSweep, winner: Winner, a: float, b: float, low: float, high: float, cut: Cut
    ) -> None:
        if (a, b) == (low, high):
            whole.append(winner)
        again(self, winner, a, b, low, high, cut)

    monkeypatch.setattr(ExactSweep, "_again", noted)
    for seed in (2, 19, 22):
        dial = all_parts(linear(random_study(seed)))
        before = len(whole)
        found = sweep(dial, 0.4, 2.5)
        assert len(whole) > before
        assert missed(dial, found) == []


@pytest.mark.parametrize("seed", [0, 2, 5, 8])
@pytest.mark.parametrize(("low", "high"), [(1 - 3e-8, 1.5), (0.5, 1 + 3e-8), (1 - 3e-7, 1.5)])
def test_a_limit_met_within_the_resolution_of_an_end_leaves_no_gap(
    seed: int, low: float, high: float
) -> None:
    """The best layout just fits at 1: nearer to the end of the range than stretches are told."""
    free = unlimited(linear(random_study(seed)))
    best = place(free, top=1)
    assert not isinstance(best, Infeasible)
    most = LimitSpec(
        "device_mass", "", best.layouts[0].assessment.total_mass_kg * (1 + 1e-12), free.origin
    )
    found = sweep(limit_dial(replace(free, limits=(most,)), 0), low, high)
    assert found.complete and found.method == EXACT
    assert found.pieces[0].low == low and found.pieces[-1].high == high
    for one, two in pairwise(found.pieces):
        assert one.high == two.low


@pytest.mark.parametrize("seed", [18, 19])
def test_what_a_limit_ends_within_its_resolution_of_the_end_lasts_to_the_end(seed: int) -> None:
    """The last of two layouts grows heavier than allowed just before the end of the range."""
    low, high = 0.05, 10.0
    free = unlimited(linear(random_study(seed)))
    before, last = sweep(mass_dial(free, "p0"), low, high).pieces[-2:]
    assert before.layout is not None and last.at_high is not None
    most = last.at_high.total_mass_kg * (1 - 3e-8)
    heaviest = assess_there(build_setting(with_mass(free, "p0", high)), before.layout)
    assert heaviest is not None and heaviest.total_mass_kg < most
    limit = LimitSpec("device_mass", "", most, free.origin)
    found = sweep(mass_dial(replace(free, limits=(limit,)), "p0"), low, high)
    assert found.complete and found.method == EXACT
    assert found.pieces[-1].high == high
    assert found.pieces[-1].low == pytest.approx(last.low)


@pytest.mark.parametrize("seed", [14, 18])
def test_a_layout_that_wins_only_between_two_others_is_found(seed: int) -> None:
    """At both ends other layouts win, and where those two cross it is better than both."""
    dial = weight_dial(unlimited(linear(random_study(seed))))
    found = sweep(dial, 0.001, 5.0)
    assert len(found.pieces) == 3 and found.method == EXACT
    assert missed(dial, found) == []


def test_a_sliver_at_the_start_joins_what_follows() -> None:
    family = make_family(mass_dial(linear(random_study(2)), "p0"), 0.9, 1.1)
    search = ExactSweep(family)
    winner = search._best(0.0, (0.0, 1.0), [])
    assert winner is not None
    search._prove(None, 0.0, 5e-10)
    search._prove(winner, 5e-10, 0.4)
    search._prove(winner, 0.4, 0.4)  # a stretch of a single point
    (stretch,) = search.stretches
    assert (stretch.winner, stretch.low, stretch.high) == (winner, 0.0, 0.4)


def test_cutting_a_layout_off_gives_the_next_best_allowed_one() -> None:
    """The live program forbids one layout with its line options, and no other."""
    family = make_family(mass_dial(linear(random_study(2)), "p0"), 0.9, 1.1)
    search = ExactSweep(family)
    truth = Enumeration(family.dial.setting_at(0.9))
    cut = []
    for score in sorted(truth.scores.tolist())[:6]:
        solution = search._by_program(0.0, (0.0, 0.0), cut)
        assert solution is not None
        key = solution.chosen, tuple(option for option, _ in solution.routes)
        winner = family.arrays.winner(*key)
        assert family.arrays.score(winner, 0.0) == pytest.approx(score, rel=1e-7)
        assert winner.key not in {other.key for other in cut}
        cut.append(winner)


def test_a_sweep_stopped_early_keeps_what_is_proven() -> None:
    whole = next(found for found in swept() if len(found.pieces) > 2)

    def enough(solves: int) -> None:
        if solves >= 4:
            raise KeyboardInterrupt

    dial, low, high = whole.dial, whole.low, whole.high
    nothing = sweep(dial, low, high, time_limit_s=0.0)
    assert not nothing.complete and nothing.stopped == "time_limit" and nothing.pieces == ()
    part = sweep(dial, low, high, on_solve=enough)
    assert not part.complete and part.stopped == "interrupted"
    assert 0 < len(part.pieces) < len(whole.pieces)
    assert part.switch_points == whole.switch_points[: len(part.switch_points)]


def test_a_range_the_wrong_way_round_is_refused() -> None:
    with pytest.raises(InputError, match="range"):
        sweep(mass_dial(random_study(0), "p0"), 2.0, 1.0)
