"""The program with links gives the answers of the one with flows, in every state of its limits."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from math import inf

import pytest

from optimizer.assess.agree import require_agreement
from optimizer.assess.assessment import assess
from optimizer.problem.build import build_problem
from optimizer.problem.presolve import reduce
from optimizer.setting import build_setting
from optimizer.solve.easing import make_easing
from optimizer.solve.layouts import layout_of
from optimizer.solve.link_program import LinkProgram
from optimizer.solve.program import Program
from optimizer.study.model import Counterweight, LimitSpec, Weights
from optimizer.study.relax import eased, study_limits, without
from tests.depth import some
from tests.instances import HERE, random_study
from tests.solve.oracle import Enumeration
from tests.solve.small import line, part, small

pytestmark = pytest.mark.xdist_group("link program")

SEEDS = some(range(28), 16)


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
    require_agreement(solution, assess(setting, layout_of(setting, program.problem, solution)))


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


WORN = {
    "pieces": {"limits": (LimitSpec("donning_steps", "", 1.0, HERE),)},
    "soft belt": {
        "limits": (LimitSpec("belt_soft", "", 0.3, HERE),),
        "weights": Weights(1.0, 0.1, 0.5),
    },
    "contact": {"limits": (LimitSpec("contact_sustained", "", 4000.0, HERE),)},
    "protrusion": {"limits": (LimitSpec("protrusion", "", 0.05, HERE),)},
    "offset": {"limits": (LimitSpec("trunk_offset", "fore_aft", 0.03, HERE),)},
    "keep out": {"limits": (LimitSpec("keep_out", "", 1.0, HERE),)},
    "counterweight": {
        "limits": (LimitSpec("left_right_mass", "", 0.15, HERE),),
        "counterweight": Counterweight("left", 0.5, 7800.0, HERE),
    },
}


@pytest.mark.parametrize("name", WORN)
def test_what_is_worn_counts_as_in_the_program_with_flows(name):
    study = small(
        part("pump", 0.4, "belt", "back", "thigh_right"),
        part("pack", 0.5, "belt", "back", "shank_right", size_m=(0.1, 0.05, 0.06)),
        part("valve", 0.1, "thigh_right", "shank_right", "belt"),
        lines=(line("tube", "pump", "valve", longest=0.7), line("wire", "pack", "pump")),
        sites={
            "belt": {"tags": frozenset({"belt"}), "contact_m2": 1e-3, "piece": "belt"},
            "back": {"piece": "vest", "holder_mass_kg": 0.05, "contact_m2": 3e-3},
            "thigh_right": {"piece": "cuff"},
            "shank_right": {"tags": frozenset({"bone"})},
        },
        **WORN[name],
    )
    setting = build_setting(study)
    _, solution = Program(reduce(build_problem(setting))).solve()
    for share in (0.0, 0.1, inf):
        program = LinkProgram(make_easing(setting, share))
        assert (solution is None) == (program.solve()[1] is None)
        if solution is not None:
            assert answer(program) == pytest.approx(solution.score, abs=1e-6)
    program = LinkProgram(make_easing(setting, 0.5))
    for m, limit in enumerate(program.easing.limits):
        changed = replace(setting, study=eased(study, limit, 0.5))
        _, best = Program(reduce(build_problem(changed))).solve()
        program.ease({m: program.easing.most[m]})
        expected = inf if best is None else best.score
        assert answer(program) == pytest.approx(expected, abs=1e-6), limit
