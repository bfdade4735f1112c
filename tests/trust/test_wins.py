"""Two layouts whose chances follow in closed form, and what statistics say of them."""

from __future__ import annotations

import random
from dataclasses import replace
from math import log, sqrt

import numpy as np
import pytest
from scipy.stats import binomtest, kendalltau, norm

from optimizer.assess.result import Ranking
from optimizer.joint.world import make_world
from optimizer.setting import build_setting
from optimizer.solve.place import place
from optimizer.trust.draws import draw
from optimizer.trust.evaluate import evaluate, sheet_of
from optimizer.trust.result import Trust
from optimizer.trust.spread import CORRELATION, Z95, make_spread
from optimizer.trust.statistics import (
    deciders,
    in_top,
    kendall,
    near,
    regrets,
    upper_bound,
    wins,
)
from optimizer.trust.trust import trust
from tests.trust.small import (
    FOOT,
    SHANK,
    THIGH,
    TRUNK,
    bare_spread,
    certain,
    one_part,
    plan_at,
)

N = 40_000
SIGMA = log(2.0) / Z95


def scores_of(here, spread, names, n=N):  # type: ignore[no-untyped-def]
    world = make_world(here)
    draws = draw(here, world.setting, spread, n, 11)
    plans = [plan_at(world, name) for name in names]
    return evaluate([sheet_of(world, plans)], draws), world


def exchange(x: float, y: float, sd: float) -> float:
    """E[max(X - Y, 0)] of lognormals with means x, y and sd of log(X/Y) (Margrabe 1978)."""
    d = log(x / y) / sd + 0.5 * sd
    return x * norm.cdf(d) - y * norm.cdf(d - sd)


@pytest.mark.parametrize("rho", [0.0, CORRELATION, 0.9])
def test_thigh_beats_shank_as_often_as_correlated_lognormals_say(rho: float) -> None:
    here = one_part({"thigh": THIGH, "shank": SHANK})
    scores, _ = scores_of(here, bare_spread(here, correlation=rho), ("thigh", "shank"))
    share, se = wins(scores)
    sd = SIGMA * sqrt(2.0 * (1.0 - rho))
    chance = norm.cdf(log(0.076 / 0.075) / sd)
    assert share.sum() == pytest.approx(1.0)
    assert se[0] == pytest.approx(sqrt(chance * (1.0 - chance) / N), rel=0.02)
    assert abs(share[0] - chance) < 4.0 * se[0]


def test_foot_and_trunk_of_different_studies_move_apart() -> None:
    # 1 kg on the foot 0.2 x 75 = 15 W, 1 kg on the trunk 7.6 W, independent factors
    here = one_part({"foot": FOOT, "trunk": TRUNK})
    scores, world = scores_of(here, bare_spread(here), ("foot", "trunk"))
    share, se = wins(scores)
    sd = SIGMA * sqrt(2.0)
    chance = norm.cdf(log(7.6 / 15.0) / sd)
    assert abs(share[0] - chance) < 4.0 * se[0]
    per_watt = 100.0 / world.setting.energy.walking_w
    mean = np.exp(0.5 * SIGMA**2) * per_watt
    expected = exchange(15.0 * mean, 7.6 * mean, sd), exchange(7.6 * mean, 15.0 * mean, sd)
    found = regrets(scores)
    for i in (0, 1):
        error = found[:, i].std() / sqrt(N)
        assert abs(found[:, i].mean() - expected[i]) < 4.0 * error


def test_a_mixture_gives_each_layout_the_weight_of_the_models_it_wins_under() -> None:
    # curve at zero: the trunk costs 7.6 W/kg by one model, next to nothing by the other; the
    # thigh 5.6: it wins under the first alone
    here = one_part({"thigh": THIGH, "trunk": TRUNK})
    weights = {"huang_kuo": 3.0, "looney_backpack": 1.0}
    spread = replace(certain(here), trunk_weights=tuple(weights.items()))
    scores, _ = scores_of(here, spread, ("thigh", "trunk"))
    share, se = wins(scores)
    assert abs(share[0] - 0.75) < 4.0 * se[0]


def test_with_nothing_uncertain_the_best_always_wins() -> None:
    here = one_part({"thigh": THIGH, "foot": FOOT, "trunk": TRUNK})
    found = trust(here, certain(here), draws=50, scenarios=4, workers=1)
    assert found.layouts[0].win_share == 1.0
    assert found.layouts[0].rank == 1
    assert found.least_worst is not None
    assert found.least_worst.regret == pytest.approx(0.0, abs=1e-9)
    assert found.missing.misses == 0


def test_trust_finds_every_winner_and_counts_its_chance() -> None:
    here = one_part({"thigh": THIGH, "shank": SHANK, "foot": FOOT})
    found = trust(here, bare_spread(here), draws=4000, scenarios=20, top=1, workers=1)
    sites = {x.assessment.layout.placements[0].site: x for x in found.layouts if x.assessment}
    chance = norm.cdf(log(0.076 / 0.075) / (SIGMA * sqrt(2.0 * (1.0 - CORRELATION))))
    # the foot, at more than twice the cost, wins now and then; thigh beats shank by `chance`
    both = sites["thigh"].win_share + sites["shank"].win_share
    assert sites["thigh"].win_share / both == pytest.approx(chance, abs=0.035)
    assert found.duel is not None
    names = {d.name for d in found.duel.deciders[:2]}
    assert names == {"cost of mass on the thigh", "cost of mass on the shank"}


def test_the_deciding_share_is_that_of_the_variance() -> None:
    rng = np.random.default_rng(4)
    x, y, z = rng.standard_normal((3, 20_000))
    found = deciders(3.0 * x - 1.0 * y + 0.5, {"x": x, "y": y, "z": z}, {})
    by_name = {d.name: d for d in found}
    # first-order indices of a linear form are its squared coefficients' shares
    assert by_name["x"].share == pytest.approx(0.9, abs=0.02)
    assert by_name["y"].share == pytest.approx(0.1, abs=0.02)
    assert by_name["z"].share < 0.005
    assert by_name["x"].low > 0.9 > 0.1 > by_name["x"].high


def test_a_choice_of_models_decides_what_lies_between_them() -> None:
    rng = np.random.default_rng(5)
    choice = rng.integers(0, 2, 20_000).astype(float)
    difference = np.where(choice == 1.0, 1.0, -1.0) + rng.standard_normal(20_000)
    found = deciders(difference, {"model": choice}, {"model": ("first", "second")})[0]
    assert found.share == pytest.approx(0.5, abs=0.02)
    assert (found.low_label, found.high_label) == ("second", "first")
    assert found.high == pytest.approx(norm.cdf(1.0), abs=0.02)


def test_rank_stability_agrees_with_an_independent_library() -> None:
    rng = np.random.default_rng(6)
    nominal, scores = rng.random(9), rng.random((30, 9))
    for tau, row in zip(kendall(nominal, scores), scores, strict=True):
        assert tau == pytest.approx(kendalltau(nominal, row).statistic)


def test_ties_share_the_win() -> None:
    scores = np.array([[1.0, 1.0, 2.0], [3.0, 2.0, 2.0], [1.0, 4.0, 5.0], [2.0, 2.0, 2.0]])
    share, _ = wins(scores)
    assert share == pytest.approx([(0.5 + 0 + 1 + 1 / 3) / 4, (1 + 1 / 3) / 4, (0.5 + 1 / 3) / 4])
    assert in_top(scores, 0, 1) == 0.75
    assert near(scores, 0.1)[0] == 0.75


@pytest.mark.parametrize(("misses", "n"), [(0, 30), (2, 30), (7, 20), (5, 5)])
def test_the_bound_on_missing_winners_is_the_exact_binomial_one(misses: int, n: int) -> None:
    exact = binomtest(misses, n, alternative="less").proportion_ci(0.95, "exact").high
    assert upper_bound(misses, n) == pytest.approx(exact)


def test_a_published_mixture_keeps_out_a_model_with_its_own_file() -> None:
    here = one_part({"thigh": THIGH})
    assert dict(make_spread(here.energy).trunk_weights).keys() >= {"huang_kuo", "pandolf"}
    assert make_spread(here.energy, mixed=False).leg_weights == (("segment_table", 1.0),)
    assert build_setting(here).energy.leg.name == "segment_table"


@pytest.mark.parametrize("seed", range(4))
def test_ranks_in_the_study_are_those_of_place_where_layouts_tie(seed: int) -> None:
    places = {f"s{k}": THIGH for k in range(4)} | {"shank": SHANK}
    names = random.Random(seed).sample(list(places), len(places))
    one = one_part({name: places[name] for name in names})
    parts = tuple(replace(one.parts[0], name=f"part{k}") for k in range(2))
    here = replace(one, parts=parts)
    ranking = place(here, top=6)
    assert isinstance(ranking, Ranking)
    best = [entry.assessment.layout.placements for entry in ranking.layouts]
    scores = [entry.assessment.score for entry in ranking.layouts]
    assert scores[0] == pytest.approx(scores[5], abs=1e-9)
    found = trust(here, certain(here), draws=20, scenarios=4, top=6, workers=1, regret=False)
    assert isinstance(found, Trust)
    of_rank = {x.rank: x.assessment for x in found.layouts}
    for rank, placements in enumerate(best, start=1):
        own = of_rank[rank]
        assert own is not None and own.layout.placements == placements
