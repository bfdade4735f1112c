"""Trunk models that curve: tangents must be as exact as the curve itself."""

from __future__ import annotations

from dataclasses import replace
from itertools import islice

import numpy as np
import pytest

from optimizer.assess.result import Infeasible, Ranking
from optimizer.problem.build import build_problem
from optimizer.problem.presolve import reduce
from optimizer.setting import build_setting
from optimizer.solve.place import place
from optimizer.solve.program import TRUNK_LOAD, Program
from optimizer.study.model import LineOption, Part, Site, Study
from tests.instances import HERE, model, random_study, site, study
from tests.solve.comparing import ROADS, answerable, switches_of
from tests.solve.oracle import Enumeration

CURVED = ("pandolf", "looney_backpack")
IN_KG = ("segment_mass", "device_mass", "left_right_mass", "left_right_swing_inertia")


def heavier(drawn: Study, trunk: str, times: float) -> Study:
    """The study with a curved trunk model and everything so many times as heavy."""

    def part(p: Part) -> Part:
        return replace(p, models=tuple(replace(m, mass_kg=m.mass_kg * times) for m in p.models))

    def place_at(s: Site) -> Site:
        return replace(
            s, max_mass_kg=s.max_mass_kg * times, holder_mass_kg=s.holder_mass_kg * times
        )

    def bought(o: LineOption) -> LineOption:
        return replace(o, mass_kg_per_m=o.mass_kg_per_m * times, end_mass_kg=o.end_mass_kg * times)

    return replace(
        drawn,
        parts=tuple(part(p) for p in drawn.parts),
        sites=tuple(place_at(s) for s in drawn.sites),
        lines=tuple(replace(ln, options=tuple(map(bought, ln.options))) for ln in drawn.lines),
        limits=tuple(
            replace(x, value=x.value * times) if x.kind in IN_KG else x for x in drawn.limits
        ),
        energy=replace(drawn.energy, trunk=trunk),
    )


@pytest.mark.parametrize("road", ROADS)
@pytest.mark.parametrize("trunk", CURVED)
@pytest.mark.parametrize("seed", range(700, 712))
def test_curved_models_are_ranked_as_enumeration_ranks_them(
    seed: int, trunk: str, road: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    setting = build_setting(heavier(random_study(seed), trunk, 15.0))
    truth = Enumeration(setting)
    answer = place(setting, top=3, switches=switches_of(road, seed, monkeypatch))
    if not truth.feasible:
        assert isinstance(answer, Infeasible)
        return
    assert isinstance(answer, Ranking)
    listed = list(islice(truth.ranked(), 3))
    assert len(listed) == len(answer.layouts)
    for entry, found in zip(answer.layouts, listed, strict=True):
        assert entry.assessment.score == pytest.approx(found.score, rel=1e-6)
        assert entry.proof.bound <= entry.proof.score


@pytest.mark.parametrize("trunk", CURVED)
def test_tangents_lie_under_the_curve_and_touch_it_at_the_answer(trunk: str) -> None:
    drawn = answerable(840)[0]
    setting = build_setting(heavier(replace(drawn, limits=()), trunk, 15.0))
    program = Program(reduce(build_problem(setting)))
    outcome, solution = program.solve()
    assert solution is not None
    curve, slope = program.objective.curve, program.objective.curve_slope
    assert curve is not None
    assert slope is not None
    for load in np.linspace(0.0, 40.0, 81):
        highest = max(curve(at) + slope(at) * (load - at) for at in program._tangents)
        assert highest <= curve(load) + 1e-9
    load = float(solution.quantities[TRUNK_LOAD])
    assert load > 1.0
    highest = max(curve(at) + slope(at) * (load - at) for at in program._tangents)
    assert program.objective.curve_weight * (curve(load) - highest) <= 1e-7 * solution.score
    # what the solver minimised, tangents and tie-break, is the exact score to within that
    assert outcome.objective == pytest.approx(solution.score, rel=1e-6)


@pytest.mark.parametrize("trunk", CURVED)
def test_a_chord_would_choose_otherwise(trunk: str) -> None:
    """Two loads of which the curve prefers the one that a straight trunk model does not.

    The trunk's price per kilogram rises with its load: a heavy part goes to the thigh once the
    trunk is laden, and stays on the trunk as long as it is not.
    """
    sites = (site("back", ("trunk", "centre", 0.45, -0.11, 0.0)),
             site("thigh", ("thigh", "right", 0.03, 0.0, 0.05)))  # fmt: skip
    base = study(sites=sites, weights=replace(study().weights, swing_inertia=0.0))
    base = replace(base, energy=replace(base.energy, trunk=trunk))
    energy = build_setting(base).energy
    per_kg = float(energy.leg_cost("thigh", 0.05))
    loads = np.linspace(1.0, 60.0, 60)
    steep = next((x for x in loads if float(energy.trunk_slope(x)) > per_kg), None)
    if steep is None:
        pytest.skip(f"{trunk} is nowhere as steep as the thigh costs")
    free = Part("free", (model("m", 1.0, ("back", "thigh")),), 1, HERE)
    where = []
    for fixed_kg in (0.5, float(steep)):
        fixed = Part("fixed", (model("m", fixed_kg, ("back",)),), 1, HERE)
        answer = place(replace(base, parts=(fixed, free)), top=1)
        assert isinstance(answer, Ranking)
        spots = {p.unit: p.site for p in answer.layouts[0].assessment.layout.placements}
        where.append(spots["free"])
    assert where == ["back", "thigh"]
