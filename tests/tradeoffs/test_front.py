"""The front against plain enumeration, and what is said of it."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from optimizer.assess.assessment import assess
from optimizer.assess.result import Infeasible
from optimizer.errors import InputError
from optimizer.setting import build_setting
from optimizer.solve.front import Front, example_weights, front, winning_weights
from optimizer.solve.place import place
from optimizer.study.model import Counterweight, Weights
from tests.depth import some
from tests.instances import random_study
from tests.solve.oracle import HIP, KEYS, LEG_W, Enumeration

Table = NDArray[np.float64]
#: Values nearer than this are one; the goals' own resolution is 1e-6.
SAME = 5e-6
#: Goals that pull apart even where penalty and swing inertia agree.
PAIRS = [
    ("metabolic", "swing_inertia"),
    ("metabolic", "comfort"),
    ("swing_inertia", "comfort"),
    ("swing_inertia", "device_mass"),
    ("metabolic", "sites_in_use"),
]


@cache
def truth_of(seed: int) -> Enumeration:
    return Enumeration(build_setting(random_study(seed)))


def all_vectors(truth: Enumeration, names: tuple[str, ...]) -> Table:
    """Goal values of every feasible layout, from what the enumeration adds up."""
    energy, tally = truth.setting.energy, truth.tally
    watts = tally[:, LEG_W] + np.asarray(energy.trunk_cost(tally[:, 0]))
    columns = {
        "metabolic": 100.0 * watts / energy.walking_w,
        "swing_inertia": 100.0 * tally[:, list(HIP.values())].sum(axis=1) / truth.scale.bare,
        "comfort": truth.discomfort,
        "device_mass": tally[:, : len(KEYS) - 1].sum(axis=1),
        "sites_in_use": np.array([len(set(row)) for row in places(truth)], dtype=float),
    }
    return np.stack([columns[name] for name in names], axis=1)


def places(truth: Enumeration) -> list[list[int]]:
    return [
        [unit.choices[int(c)][1] for unit, c in zip(truth.units, truth.chosen[row], strict=True)]
        for row in truth.rows
    ]


def non_dominated(vectors: Table) -> list[Table]:
    """Brute force: vectors that no other beats; those within SAME of each other count once."""
    kept: list[Table] = []
    for v in vectors[np.lexsort(vectors.T[::-1])]:
        if not any(np.all(k <= v + SAME) for k in kept):
            kept.append(v)
    return kept


def assert_same_vectors(found: Front, expected: list[Table]) -> None:
    listed = [np.array(point.values) for point in found.points]
    for vector in expected:
        assert any(np.allclose(vector, v, rtol=0, atol=SAME) for v in listed), vector
    for vector in listed:
        assert any(np.allclose(vector, v, rtol=0, atol=SAME) for v in expected), vector
    assert len(listed) == len(expected)


@pytest.mark.parametrize("goals", PAIRS, ids="-".join)
@pytest.mark.parametrize("seed", some(range(12), 7))
def test_front_of_two_goals_equals_enumeration(seed: int, goals: tuple[str, str]) -> None:
    truth = truth_of(seed)
    found = front(truth.setting, goals)
    if not truth.feasible:
        assert isinstance(found, Infeasible)
        return
    assert isinstance(found, Front)
    assert found.complete and found.stopped is None
    assert_same_vectors(found, non_dominated(all_vectors(truth, goals)))


@cache
def sizeable() -> list[tuple[int, tuple[str, str]]]:
    """Instances whose front has three points or more."""
    return [
        (seed, goals)
        for seed in range(16)
        for goals in PAIRS
        if truth_of(seed).feasible and len(non_dominated(all_vectors(truth_of(seed), goals))) >= 3
    ]


def test_fronts_compared_with_enumeration_are_not_all_trivial() -> None:
    assert len(sizeable()) >= 4


@pytest.mark.parametrize("third", ["comfort", "device_mass", "sites_in_use"])
@pytest.mark.parametrize("seed", range(6))
def test_front_of_three_goals_equals_enumeration(seed: int, third: str) -> None:
    truth = truth_of(seed)
    found = front(truth.setting, third=third)
    if not truth.feasible:
        assert isinstance(found, Infeasible)
        return
    assert isinstance(found, Front)
    names = ("metabolic", "swing_inertia", third)
    assert_same_vectors(found, non_dominated(all_vectors(truth, names)))


@pytest.mark.parametrize("number", range(4))
def test_a_point_wins_exactly_at_the_weights_told(number: int) -> None:
    seed, goals = sizeable()[number]
    truth = truth_of(seed)
    found = front(truth.setting, goals)
    assert isinstance(found, Front)
    table = all_vectors(truth, goals)
    for point in found.points:
        a, b = point.values
        if point.weights is None:
            assert not point.supported
            # at no weights: at every one on a fine grid something is better
            for share in np.linspace(0.0, 1.0, 201):
                scores = (1 - share) * table[:, 0] + share * table[:, 1]
                assert scores.min() <= (1 - share) * a + share * b + 1e-9
            continue
        low, high = point.weights
        inside = low + 1.0 if np.isinf(high) else 0.5 * (low + high)
        assert (table @ [1.0, inside]).min() == pytest.approx(a + inside * b, abs=1e-6)
        outside = [0.999 * low - 1e-3] if low > 1e-2 else []
        outside += [] if np.isinf(high) else [1.001 * high + 1e-3]
        for weight in outside:
            assert (table @ [1.0, weight]).min() < a + weight * b


def test_intervals_of_winning_weights_cover_every_weight_once() -> None:
    vectors = [(1.0, 9.0), (2.0, 5.0), (2.9, 4.6), (4.0, 2.0), (7.0, 1.0)]
    wins = winning_weights(vectors)
    assert wins[2] is None
    supported = [w for w in wins if w is not None]
    assert supported[0][0] == 0.0 and np.isinf(supported[-1][1])
    for (_, end), (start, _) in pairwise(supported):
        assert end == pytest.approx(start)


def test_example_weights_let_the_point_win_and_none_exist_for_the_others() -> None:
    rng = np.random.default_rng(5)
    vectors = [tuple(v) for v in rng.random((12, 3))]
    for vector, weights in zip(vectors, example_weights(vectors), strict=True):
        if weights is not None:
            scores = np.array(vectors) @ weights
            assert scores.min() == pytest.approx(float(np.dot(vector, weights)), abs=1e-9)
            continue
        grid = rng.dirichlet(np.ones(3), size=4000)
        assert (np.array(vectors) @ grid.T < np.dot(vector, grid.T)).any(axis=0).all()


@pytest.mark.parametrize("seed", some(range(8), 5))
def test_the_point_place_picks_is_marked(seed: int) -> None:
    study = random_study(seed)
    if not truth_of(seed).feasible:
        return
    for comfort in (0.0, 0.3):
        setting = build_setting(replace(study, weights=Weights(1.0, 0.2, comfort)))
        found = front(setting)
        best = place(setting, top=1)
        assert isinstance(found, Front)
        assert not isinstance(best, Infeasible)
        assert found.pick is not None
        score = best.layouts[0].assessment.score
        assert found.pick.score == pytest.approx(score, rel=1e-9)
        if comfort == 0.0:
            assert found.picked is not None
        if found.picked is not None:
            picked = found.points[found.picked].assessment
            assert picked.score == pytest.approx(score, rel=1e-9)


@pytest.mark.parametrize("seed", range(6))
def test_every_point_is_a_layout_that_the_assessment_confirms(seed: int) -> None:
    setting = build_setting(random_study(seed))
    found = front(setting, third="comfort")
    if isinstance(found, Infeasible):
        return
    for point in found.points:
        again = assess(setting, point.assessment.layout)
        assert again.feasible
        judged = (again.metabolic_pct, again.swing_inertia_pct, again.discomfort)
        assert point.values == pytest.approx(judged, rel=1e-9, abs=1e-9)


def test_a_front_stopped_early_keeps_what_it_has_and_says_so(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    seed, goals = sizeable()[0]
    setting = truth_of(seed).setting
    whole = front(setting, goals)
    stopped = front(setting, goals, on_point=lambda n: _interrupt(monkeypatch))
    assert isinstance(whole, Front)
    assert isinstance(stopped, Front)
    assert not stopped.complete and stopped.stopped == "interrupted"
    assert 1 <= len(stopped.points) < len(whole.points)
    listed = {point.values for point in whole.points}
    assert {point.values for point in stopped.points} <= listed
    assert stopped.picked is None and stopped.pick is None


def _interrupt(monkeypatch: pytest.MonkeyPatch) -> None:
    """From now on every search is stopped by hand."""
    from optimizer.solve.search import Search

    def stop(self: Search) -> str:
        raise KeyboardInterrupt

    monkeypatch.setattr(Search, "_run", stop)


def test_no_time_at_all_is_an_incomplete_front_without_points() -> None:
    found = front(build_setting(random_study(1)), time_limit_s=0.0)
    assert isinstance(found, Front)
    assert found.points == () and found.stopped == "time_limit"


@pytest.mark.parametrize(
    ("goals", "third"),
    [(("metabolic", "metabolic"), None), (("metabolic", "swing"), None), (("metabolic",), "nice")],
)
def test_goals_that_cannot_be_are_refused(goals: tuple[str, ...], third: str | None) -> None:
    with pytest.raises(InputError) as caught:
        front(build_setting(random_study(1)), goals, third)
    assert caught.value.flaws


def test_a_front_with_ballast_of_any_mass_is_refused() -> None:
    study = replace(random_study(1), counterweight=Counterweight("left", 0.3, 5000.0))
    with pytest.raises(InputError, match="counterweight"):
        front(build_setting(study))
