"""Other solvers, given the problem in forms that share nothing with the search, agree with it."""

from __future__ import annotations

from dataclasses import replace
from importlib.util import find_spec

import numpy as np
import pytest
from families import FAMILIES
from speed.child import broken_rule, worst_overstep
from speed.cp_sat import cp_sat
from speed.forms import flow_form, goes_astray, most_load_kg, tangent_loads
from speed.instance import Instance
from speed.pair_form import pair_form
from speed.rivals import SOLVERS, cpsat, ours, pairs

from optimizer.problem.build import build_problem
from optimizer.setting import build_setting
from optimizer.solve.program import solution_of
from tests.instances import random_study

SMALL = [name for name in FAMILIES if name.startswith("8x24_")]
RIVALS = [name for name in SOLVERS if name != "ours"]
NEEDED = {"cpsat": "ortools", "scip": "pyscipopt"}
LIMIT_S = 60.0


def needs_package(solver: str) -> None:
    package = NEEDED.get(solver.removesuffix("_pairs"))
    if package is not None and find_spec(package) is None:
        pytest.skip(f"{package} is not installed")


@pytest.mark.parametrize("solver", RIVALS)
@pytest.mark.parametrize("name", SMALL)
def test_a_rival_proves_the_same_optimum(name: str, solver: str) -> None:
    needs_package(solver)
    instance = Instance.of(name, 2)
    best = ours(instance.problem(), LIMIT_S, 2)
    problem = instance.problem()
    answer = SOLVERS[solver](problem, LIMIT_S, 2)
    assert answer.status == best.status == "optimal"
    assert answer.found is not None
    solution = solution_of(problem, *answer.found, problem.objective)
    # CP-SAT's costs are rounded to 1e-8 each, the tangents of a curve lie 1e-6 below it
    assert solution.score == pytest.approx(best.told, abs=1e-5)
    assert answer.bound == pytest.approx(best.told, abs=1e-5)
    assert answer.bound <= best.told + 1e-6
    assert worst_overstep(problem, solution) <= 1e-6
    assert broken_rule(problem, solution) == ""
    assert best.told <= instance.hidden_solution(problem).score


@pytest.mark.parametrize("seed", [74, 90])
def test_lines_led_astray_for_a_limits_sake_are_held_to_their_routes(seed: int) -> None:
    """Studies where the bare flow form has an answer that no maker would build."""
    pytest.importorskip("ortools")
    problem = build_problem(build_setting(random_study(seed)))
    best = ours(problem, LIMIT_S, 2)
    bare = cp_sat(flow_form(problem), LIMIT_S, 2)
    assert bare.found is not None
    assert goes_astray(problem, bare.found, bare.told)
    assert bare.told < best.told - 1e-3
    held, paired = cpsat(problem, LIMIT_S, 2), pairs(problem, LIMIT_S, 2)
    assert held.told == pytest.approx(best.told, abs=1e-5)
    assert paired.told == pytest.approx(best.told, abs=1e-5)


def test_tangents_lie_close_below_the_curve() -> None:
    problem = Instance.of("24x48_curved_trunk", 0).problem()
    objective, most = problem.objective, most_load_kg(problem)
    assert objective.curve is not None
    assert objective.curve_slope is not None
    at = np.array(tangent_loads(objective, most))
    heights = np.array([objective.curve(float(v)) for v in at])
    slopes = np.array([objective.curve_slope(float(v)) for v in at])
    for load in np.linspace(0.0, most, 997):
        below = float((heights + slopes * (load - at)).max())
        error = objective.curve_weight * (objective.curve(float(load)) - below)
        assert -1e-9 <= error <= 1.01e-6


def test_pairwise_form_is_left_alone_by_our_presolve() -> None:
    """All choices are columns, and a line has one for every option and pair of places in reach."""
    problem = Instance.of("16x32_one_leg", 0).problem()
    form = pair_form(problem)
    expected = len(problem.choice_slot) + len(set(problem.choice_site.tolist()))
    for line in problem.lines:
        a, b = (
            set(problem.choice_site[problem.choices_of(slot)].tolist())
            for slot in (line.slot_a, line.slot_b)
        )
        for case in line.cases:
            room = case.max_length_m - line.slack_m
            expected += sum(problem.routes.best(s, t, room) is not None for s in a for t in b)
    assert len(form.matrix.cost) == expected


def test_a_layout_that_breaks_a_limit_is_seen() -> None:
    """The hidden layout, with all that can sit at one site moved there."""
    instance = Instance.of("8x24_tight_pockets", 0)
    problem = instance.problem()
    hidden = instance.hidden_solution(problem)
    cap = problem.caps[0]
    here = np.flatnonzero((problem.choice_site == cap.site) & (cap.use > 0.0)).tolist()
    chosen = list(hidden.chosen)
    for c in here:
        chosen[int(problem.choice_slot[c])] = c
    used = sum(float(cap.use[c]) for c in set(chosen) & set(here))
    assert used > cap.cap
    crowded = replace(hidden, chosen=tuple(chosen))
    assert worst_overstep(problem, crowded) >= used / cap.cap - 1.0 - 1e-12
