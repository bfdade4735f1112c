"""Lines whose longest length and most bend depend on the models at their ends."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import islice, product
from math import inf

import numpy as np
import pytest

from optimizer.problem.arrays import LineCase, Problem
from optimizer.problem.build import build_problem, route_table
from optimizer.problem.presolve import Switches, reduce
from optimizer.setting import Setting, build_setting
from optimizer.solve.layouts import layout_of
from optimizer.solve.program import Program
from optimizer.solve.rank import rank
from optimizer.study.model import Line, LineOption, Part, Study
from tests.depth import some
from tests.instances import HERE, line_option, model, random_study
from tests.solve.comparing import switches_of
from tests.solve.oracle import Enumeration, identity_of


@cache
def reach_of(line: str, option: str, model_a: int, model_b: int) -> tuple[float, float]:
    """An invented longest length [m] and most bend [rad]: bore, valve and actuator all matter.

    A negative length: the line cannot be bought so at all.
    """
    rng = np.random.default_rng([*map(ord, line + option), model_a, model_b])
    length = float(rng.choice([-1.0, inf, 0.7, 1.0, 1.3, 1.6]))
    bend = float(rng.choice([inf, inf, 3.0, 4.5, 6.0]))
    return length, bend


class Cased(Enumeration):
    """All layouts, with the invented reach."""

    def reach(
        self, line: Line, option: LineOption, model_a: int, model_b: int
    ) -> tuple[float, float]:
        return reach_of(line.name, option.name, model_a, model_b)


def with_models(drawn: Study) -> Study:
    """The study with two models of its first two parts, so that the models decide."""
    parts = []
    for i, part in enumerate(drawn.parts):
        first = part.models[0]
        second = replace(first, name="m1", mass_kg=first.mass_kg * 1.1)
        parts.append(replace(part, models=(first, second)) if i < 2 else part)
    return replace(drawn, parts=tuple(parts))


def cased_problem(setting: Setting) -> Problem:
    problem = build_problem(setting)
    lines = []
    for row in problem.lines:
        models = [range(len(problem.slots[p].models)) for p in (row.slot_a, row.slot_b)]
        cases = tuple(
            LineCase(o, k, m, *reach_of(row.line, row.options[o], k, m))
            for o, k, m in product(range(len(row.options)), *models)
            if reach_of(row.line, row.options[o], k, m)[0] >= 0.0
        )
        lines.append(replace(row, cases=cases))
    routes = route_table(setting, problem.arc_q, tuple(lines))
    return replace(problem, lines=tuple(lines), routes=routes)


@pytest.mark.parametrize("guarded", [False, True])
@pytest.mark.parametrize("seed", some(range(800, 820), 10))
def test_program_finds_what_enumeration_finds_for_each_model(seed: int, guarded: bool) -> None:
    """Guarded: with the rows that hold every line to its cheapest route from the start."""
    setting = build_setting(with_models(random_study(seed)))
    truth = Cased(setting)
    problem = cased_problem(setting)
    listed = truth.ranked()
    switches = (Switches(), Switches(arc_consistency=False, reach_rows=False))[seed % 2]
    reduced = reduce(problem, switches)
    if reduced.emptied:
        assert not truth.feasible
        return
    program = Program(reduced, switches=switches)
    if guarded:
        program._cheapest = frozenset(range(len(problem.lines)))
        program._write()
    seen = set()
    while len(seen) < 3:
        outcome, solution = program.solve()
        if solution is None:
            assert outcome.status == "infeasible"
            assert next(listed, None) is None
            return
        identity = identity_of(setting.study, layout_of(setting, problem, solution))
        program.exclude(solution.chosen)
        if identity not in seen:
            seen.add(identity)
            assert solution.score == pytest.approx(next(listed).score, rel=1e-6)


@pytest.mark.parametrize("road", ["search", "branching"])
@pytest.mark.parametrize("seed", some(range(800, 820), 10))
def test_search_finds_what_enumeration_finds_for_each_model(
    seed: int, road: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    setting = build_setting(with_models(random_study(seed)))
    problem = cased_problem(setting)
    listed = list(islice(Cased(setting).ranked(), 5))
    switches = switches_of(road, seed, monkeypatch)
    reduced = reduce(problem, switches)
    if reduced.emptied:
        assert not listed
        return
    ranked = rank(reduced, top=5, switches=switches)
    assert ranked.exhausted == (len(listed) < 5)
    assert len(ranked.found) == len(listed)
    for (outcome, solution), found in zip(ranked.found, listed, strict=True):
        assert outcome.status == "optimal"
        assert solution.score == pytest.approx(found.score, rel=1e-6)


def test_the_studies_above_are_decided_by_models() -> None:
    """Some lines reach with one model and not with another, and some answers hang on it."""
    tight = changed = 0
    for seed in range(800, 820):
        setting = build_setting(with_models(random_study(seed)))
        one, other = Cased(setting), Enumeration(setting)
        tight += not one.feasible
        if one.feasible and other.feasible:
            changed += abs(one.best_score - other.best_score) > 1e-6
    assert changed >= 5
    assert tight < 15


def test_the_guard_of_one_case_does_not_bind_another() -> None:
    """A tight model takes a dearer route than any that the loose model would take."""
    found = 0
    for seed in range(800, 820):
        drawn = random_study(seed, sites=6)
        setting = build_setting(drawn)
        routes = Enumeration(setting).routes
        for s, t in product(range(6), repeat=2):
            free = routes.best(s, t)
            assert free is not None
            tight = routes.best(s, t, free.length_m - 1e-6)
            if s == t or tight is None or tight.cost < 1.01 * free.cost:
                continue
            found += 1
            _guarded_pair(drawn, s, t, tight.length_m + 1e-6)
    assert found >= 3


def _guarded_pair(drawn: Study, s: int, t: int, longest_m: float) -> None:
    """Part a at one site as a heavy, loose model or a light, tight one; part b at the other."""
    ends = (drawn.sites[s], drawn.sites[t])
    roomy = tuple(replace(e, max_mass_kg=inf, volume_m3=inf, max_thickness_m=inf) for e in ends)
    weights = (("loose", 0.5), ("tight", 0.1))
    parts = (
        Part("a", tuple(model(n, kg, (ends[0].name,)) for n, kg in weights), 1, HERE),
        Part("b", (model("m", 0.1, (ends[1].name,)),), 1, HERE),
    )
    options = (line_option("o0", 0.02), line_option("o1", 0.03))
    line = Line("l", "wire", "a", "b", 0.0, options, HERE)
    pair = replace(drawn, parts=parts, sites=roomy, lines=(line,), limits=(), rules=())
    setting = build_setting(pair)
    problem = build_problem(setting)
    cases = tuple(
        LineCase(o, k, None, longest_m if k == 1 else inf) for o, k in product(range(2), repeat=2)
    )
    lines = (replace(problem.lines[0], cases=cases),)
    problem = replace(problem, lines=lines, routes=route_table(setting, problem.arc_q, lines))
    program = Program(reduce(problem))
    _, free = program.solve()
    program._cheapest = frozenset((0,))
    program._write()
    _, held = program.solve()
    assert free is not None
    assert held is not None
    assert held.score == pytest.approx(free.score, rel=1e-9)
    if ends[0].segment != "off_body":
        assert int(problem.choice_model[held.chosen[0]]) == 1
