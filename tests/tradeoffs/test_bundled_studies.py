"""The proofs on a study that is shipped, where nothing can be enumerated: solving again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from optimizer._bundle import bundled
from optimizer.assess.assessment import assess
from optimizer.assess.result import Infeasible
from optimizer.setting import Setting, build_setting
from optimizer.solve.figures import FIGURES
from optimizer.solve.front import Front, front
from optimizer.solve.place import place
from optimizer.solve.relay import assess_there
from optimizer.solve.sweep import sweep
from optimizer.solve.sweep_bisect import best_layout
from optimizer.solve.sweep_dial import dial
from optimizer.solve.sweep_result import EXACT, Sweep
from optimizer.solve.targets import target
from optimizer.solve.wish import parts_at, wish_of
from optimizer.study.load import load_study
from optimizer.study.model import Study, Weights
from tests.depth import some
from tests.tradeoffs.grids import BESIDE

AIR = bundled("studies") / "air_ankle.toml"
ANKLE_UNIT = "parts.ankle_*.mass_g*"
#: Scores nearer than this, relatively, are equal.
SAME = 1e-7


@cache
def air_front() -> Front:
    found = front(load_study(AIR))
    assert isinstance(found, Front) and found.complete
    return found


def weighed(inertia: float) -> Study:
    return replace(load_study(AIR), weights=Weights(1.0, inertia, 0.0))


def best_score(setting: Setting) -> float | None:
    """The best score of a study built and solved anew, which shares no array with a sweep."""
    layout, score = best_layout(setting)
    return None if layout is None else score


@pytest.mark.parametrize("inertia", some([0.3, 0.0, 3.0], 2))
def test_no_layout_near_the_best_at_any_weight_escapes_the_front(inertia: float) -> None:
    """The forty best layouts by some weights: each is on the front, or beaten by a point of it."""
    points = np.array([point.values for point in air_front().points])
    found = place(weighed(inertia), top=40)
    assert not isinstance(found, Infeasible) and len(found.layouts) == 40
    for ranked in found.layouts:
        vector = (ranked.assessment.metabolic_pct, ranked.assessment.swing_inertia_pct)
        assert (points <= np.array(vector) + 2e-6).all(axis=1).any(), vector


def test_each_point_is_best_just_inside_the_weights_told_for_it() -> None:
    supported = [point for point in air_front().points if point.weights is not None]
    assert len(supported) >= 3
    for point in supported:
        assert point.weights is not None
        low, high = point.weights
        for weight in (1.001 * low, 0.999 * high if np.isfinite(high) else 3.0 * low):
            told = point.values[0] + weight * point.values[1]
            assert best_score(build_setting(weighed(weight))) == pytest.approx(told, rel=SAME)


SWEEPS: dict[str, Callable[[], Sweep]] = {
    "a part's mass": lambda: sweep(dial(AIR, "parts.controller.mass_g"), 80.0, 190.0),
    "the ankle unit": lambda: sweep(dial(AIR, ANKLE_UNIT), 0.5, 2.0),
    "walking speed": lambda: sweep(dial(AIR, "task.speed_m_s"), 0.8, 1.6),
    "stature": lambda: sweep(dial(AIR, "wearer.stature_mm"), 1750.0, 1780.0),
}
swept = cache(lambda name: SWEEPS[name]())


def told(found: Sweep, value: float) -> float | None:
    """The score of the sweep's layout at a value; None where it says that nothing fits."""
    piece = next(p for p in found.pieces if p.low <= value <= p.high)
    if piece.layout is None:
        return None
    there = assess_there(found.dial.setting_at(value), piece.layout)
    assert there is not None and there.feasible, value
    return there.score


def confirm(found: Sweep, value: float) -> None:
    best, said = best_score(found.dial.setting_at(value)), told(found, value)
    if best is None or said is None:
        assert best is said, value
    else:
        assert said == pytest.approx(best, rel=SAME), value


@pytest.mark.parametrize("name", SWEEPS)
def test_every_switch_point_is_confirmed_by_solving_on_both_sides(name: str) -> None:
    found = swept(name)
    assert found.complete and (found.method == EXACT) == (name != "stature")
    assert found.switch_points
    # farther than the tolerance of limits, 2e-6 of each
    beside = max(BESIDE * (found.high - found.low), 1e-5 * found.high)
    for at, (one, two) in zip(found.switch_points, pairwise(found.pieces), strict=True):
        for value in (at - beside, at + beside):
            confirm(found, value)
        # and it is a switch: on each side the other's layout breaks a limit or scores worse
        for value, other in ((at - beside, two), (at + beside, one)):
            here = told(found, value)
            if other.layout is None or here is None:
                continue
            there = assess_there(found.dial.setting_at(value), other.layout)
            assert there is None or not there.feasible or there.score > here


@pytest.mark.parametrize("name", SWEEPS)
def test_a_grid_finds_no_layout_that_the_sweep_missed(name: str) -> None:
    found = swept(name)
    for value in np.linspace(found.low, found.high, 6):
        confirm(found, float(value))


@pytest.mark.parametrize(
    ("paths", "low", "high", "figure", "most"),
    [
        (ANKLE_UNIT, 0.3, 2.0, "metabolic_pct", 7.3),  # how light must the ankle unit be
        (ANKLE_UNIT, 0.3, 1.4, "assist_w", 5.8),  # what assist power pays this back
    ],
)
def test_a_bound_is_met_just_inside_each_end_of_the_answer_and_not_just_outside(
    paths: str, low: float, high: float, figure: str, most: float
) -> None:
    turned = dial(AIR, paths)
    answer = target(turned, low, high, wish_of(figure, at_most=most))
    assert answer.verified and len(answer.met) == 1
    (met,) = answer.met
    assert met.low == low and low < met.high < high
    for value, within in ((met.high * (1 - 1e-5), True), (met.high * (1 + 1e-5), False)):
        setting = turned.setting_at(value)
        layout, _ = best_layout(setting)
        assert layout is not None
        reached = FIGURES[figure].value(setting.study, assess(setting, layout)) <= most
        assert reached == within


def test_the_mass_at_which_a_valve_leaves_the_vest_is_confirmed_by_solving_beside_it() -> None:
    turned = dial(AIR, "parts.*valve*.mass_g*")
    answer = target(turned, 1.0, 1.32, wish_of(part="vent_valve_right", where="trunk"))
    assert answer.verified
    (met,) = answer.met
    assert met.low == 1.0 and met.high < 1.32
    for value, on_vest in ((met.high * (1 - 1e-5), True), (met.high * (1 + 1e-5), False)):
        setting = turned.setting_at(value)
        layout, _ = best_layout(setting)
        assert layout is not None
        assert parts_at(setting.study, assess(setting, layout), "vent_valve_right", "trunk") == (
            on_vest
        )


def test_an_exact_sweep_builds_nothing_once_its_search_has_begun(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The program is built at samples of the range, then turned in place for every solve."""
    from optimizer.solve import sweep_assess, sweep_bisect, sweep_sample
    from optimizer.solve.sweep_exact import ExactSweep

    built: list[str] = []
    for module in (sweep_sample, sweep_assess, sweep_bisect):
        build = module.build_problem

        def counted(setting: Setting, build: Callable[..., object] = build) -> object:
            built.append(setting.study.name)
            return build(setting)

        monkeypatch.setattr(module, "build_problem", counted)
    before: list[int] = []
    run = ExactSweep.run

    def noted(self: ExactSweep) -> None:
        before.append(len(built))
        run(self)

    monkeypatch.setattr(ExactSweep, "run", noted)
    found = SWEEPS["the ankle unit"]()
    assert found.complete and found.solves >= 4
    assert before == [len(built)] and 2 <= len(built) <= 12
