"""Scores in many draws at once against the assessment of each draw by itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.assess.assessment import assess
from optimizer.energy.pchip import Pchip
from optimizer.energy.registry import LEG_MODELS, TRUNK_MODELS
from optimizer.joint.program import JointProgram
from optimizer.joint.world import make_world
from optimizer.setting import build_setting
from optimizer.trust.costs import curve_rows
from optimizer.trust.draws import draw, world_studies
from optimizer.trust.evaluate import evaluate, sheet_of
from optimizer.trust.scenario import Forms, scenario_setting
from optimizer.trust.search import ranked_plans
from optimizer.trust.spread import Ranges, make_spread
from tests.instances import random_study
from tests.solve.oracle import Enumeration


def every_model(here):  # type: ignore[no-untyped-def]
    return make_spread(
        here.energy,
        leg=dict.fromkeys(LEG_MODELS, 1.0),
        trunk=dict.fromkeys(TRUNK_MODELS, 1.0),
        ranges=Ranges(mass_kg=(60.0, 90.0), stature_m=(1.6, 1.85), speed_m_s=(0.9, 1.5), worlds=3),
    )


@pytest.mark.parametrize("seed", [0, 3, 6, 7])
def test_scores_in_draws_equal_the_assessment_of_each_draw(seed: int) -> None:
    here = random_study(seed)
    spread = every_model(here)
    base = make_world(here)
    plans = ranked_plans(base, 3)
    worlds = [make_world(each) for each in world_studies(here, spread, 1)]
    draws = draw(here, base.setting, spread, 60, 1)
    scores = evaluate([sheet_of(world, plans) for world in worlds], draws)
    compared = 0
    for row in range(60):
        world = worlds[int(draws.world[row])]
        setting = scenario_setting(world, draws, row)
        for i, plan in enumerate(plans):
            solution = world.solution(plan)
            if solution is None or world.broken(solution):
                assert np.isinf(scores[row, i])
                continue
            found = assess(setting, world.layout(solution))
            assert scores[row, i] == pytest.approx(found.score, rel=1e-9)
            compared += 1
    assert compared >= 20


@pytest.mark.parametrize("seed", [3, 5])
def test_forms_of_the_program_score_as_the_evaluation_does(seed: int) -> None:
    here = random_study(seed)
    spread = make_spread(here.energy)
    world = make_world(here)
    plans = ranked_plans(world, 2)
    draws = draw(here, world.setting, spread, 40, 2)
    sheet = sheet_of(world, plans)
    scores = evaluate([sheet], draws)
    program = JointProgram([world])
    forms = Forms(program, 0, sheet.points)
    for row in range(40):
        form = forms.form(draws, row)
        for i, plan in enumerate(plans):
            value = form.value(program.columns_of(plan))
            assert value == pytest.approx(scores[row, i], rel=1e-9)


@pytest.mark.parametrize("seed", range(24))
def test_joint_program_of_one_world_finds_the_enumerated_best(seed: int) -> None:
    here = random_study(seed)
    truth = Enumeration(build_setting(here))
    world = make_world(here)
    if world.emptied:
        assert not truth.feasible
        return
    program = JointProgram([world])
    found = program.least_mean([program.form(0)])
    if not truth.feasible:
        assert found.plan is None
        return
    assert found.plan is not None
    assert found.proven
    assert found.value == pytest.approx(truth.best_score, rel=1e-6)
    solution = world.solution(found.plan)
    assert solution is not None
    assert not world.broken(solution)
    assert solution.score == pytest.approx(found.value, rel=1e-9)


def test_curves_of_many_draws_equal_one_curve_each() -> None:
    rng = np.random.default_rng(0)
    x = (0.0, 0.3, 0.63, 0.9)
    y = rng.lognormal(-2.5, 0.6, (50, 4))
    at = np.concatenate([rng.uniform(-0.1, 1.1, 40), x])
    together = curve_rows(x, y, at)
    for i in range(50):
        assert np.allclose(together[i], Pchip(x, y[i])(at), rtol=1e-13, atol=0)


def test_more_draws_keep_the_earlier_ones_and_a_new_number_leaves_the_others() -> None:
    here = random_study(3)
    setting = build_setting(here)
    spread = make_spread(here.energy)
    few, many = (draw(here, setting, spread, n, 7) for n in (50, 400))
    for name, values in few.factors.items():
        assert np.array_equal(values, many.factors[name][:50])
    assert np.array_equal(few.leg, many.leg[:50])
    assert np.array_equal(few.parts, many.parts[:50])
    other = draw(here, setting, replace(spread, part_tolerance=0.0), 50, 7)
    assert np.array_equal(other.factors["foot"], few.factors["foot"])
    assert np.all(other.parts == 1.0)


def test_drawn_coefficients_have_the_stated_spread_and_correlation() -> None:
    here = random_study(3)
    draws = draw(here, build_setting(here), make_spread(here.energy), 40_000, 0)
    foot, thigh = np.log(draws.factors["foot"]), np.log(draws.factors["thigh"])
    inside = np.mean((draws.factors["foot"] > 0.5) & (draws.factors["foot"] < 2.0))
    # binomial standard error of 0.95 in 40,000 draws is 0.0011
    assert inside == pytest.approx(0.95, abs=0.005)
    assert np.corrcoef(foot, thigh)[0, 1] == pytest.approx(0.5, abs=0.02)
    assert abs(np.corrcoef(foot, np.log(draws.factors["huang_kuo"]))[0, 1]) < 0.02
    assert draws.parts.min() >= 0.95
    assert draws.parts.max() <= 1.05
    assert draws.parts.std() == pytest.approx(0.05 / np.sqrt(3.0), rel=0.02)
