"""The program with links gives the answers of the one with flows, in every state of its limits."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from math import inf

import pytest

from optimizer.assess.agree import require_agreement
from optimizer.assess.assessment import assess
from optimizer.setting import build_setting
from optimizer.solve.easing import make_easing
from optimizer.solve.layouts import layout_of
from optimizer.solve.link_program import LinkProgram
from optimizer.study.relax import eased, study_limits, without
from tests.instances import random_study
from tests.solve.oracle import Enumeration

SEEDS = range(60)


@cache
def setting_of(seed):
    return build_setting(random_study(seed))


def truth(setting, study):
    """The best score by enumeration; inf if nothing fits."""
    return min(Enumeration(replace(setting, study=study)).scores, default=inf)


def answer(program):
    _, solution = program.solve()
    return inf if solution is None else solution.score


@pytest.mark.parametrize("seed", SEEDS)
def test_the_best_layout_is_that_of_the_enumeration(seed):
    setting = setting_of(seed)
    program = LinkProgram(make_easing(setting, 0.0))
    _, solution = program.solve()
    expected = truth(setting, setting.study)
    if solution is None:
        assert expected == inf
        return
    assert solution.score == pytest.approx(expected, abs=1e-6)
    require_agreement(
        solution, assess(setting, layout_of(setting, program.problem, solution))
    )


@pytest.mark.parametrize("seed", SEEDS[::3])
def test_each_limit_loosened_in_place_gives_the_loosened_study_s_best(seed):
    setting = setting_of(seed)
    program = LinkProgram(make_easing(setting, 0.3))
    for m, limit in enumerate(program.easing.limits):
        program.ease({m: program.easing.most[m]})
        expected = truth(setting, eased(setting.study, limit, 0.3))
        assert answer(program) == pytest.approx(expected, abs=1e-6), limit
    program.ease({})
    assert answer(program) == pytest.approx(truth(setting, setting.study), abs=1e-6)


@pytest.mark.parametrize("seed", SEEDS[::4])
def test_limits_lifted_in_place_give_the_best_of_the_study_without_them(seed):
    setting = setting_of(seed)
    program = LinkProgram(make_easing(setting))
    limits = program.easing.limits
    for start in range(3):
        away = [m for m in range(len(limits)) if m % 3 == start]
        program.ease(dict.fromkeys(away, inf))
        expected = truth(setting, without(setting.study, [limits[m] for m in away]))
        assert answer(program) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("seed", SEEDS[::4])
def test_a_solution_breaks_just_the_limits_its_layout_breaks(seed):
    setting = setting_of(seed)
    program = LinkProgram(make_easing(setting))
    limits = program.easing.limits
    program.ease(dict.fromkeys(range(len(limits)), inf))
    outcome, solution = program.solve()
    assert outcome.x is not None and solution is not None
    layout = layout_of(setting, program.problem, solution)
    broken = {limits[m] for m in program.broken(outcome.x)}
    met = [limit for limit in study_limits(setting.study) if limit not in broken]
    lines = {limit.subject for limit in met if limit.kind == "line_length"}
    reports = assess(setting, layout).limits
    for report in reports:
        if not report.met and report.kind == "line_length":
            assert report.subject.split("#")[0] not in lines
    study = without(setting.study, broken)
    assert assess(replace(setting, study=study), layout).feasible
