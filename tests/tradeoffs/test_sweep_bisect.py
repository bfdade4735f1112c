"""Bracketed switch points, and cutting a range where lines change their ways."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from optimizer._bundle import bundled
from optimizer.errors import InputError
from optimizer.solve.sweep import sweep
from optimizer.solve.sweep_bisect import best_layout
from optimizer.solve.sweep_dial import Dial, dial, unit_of
from optimizer.solve.sweep_result import BISECTION, EXACT
from optimizer.solve.sweep_sample import NotSteadyError
from optimizer.solve.sweep_split import steady_families
from optimizer.study.model import LimitSpec, Study
from tests.instances import random_study
from tests.tradeoffs.dials import mass_dial, stature_dial
from tests.tradeoffs.grids import missed

AIR_ANKLE = bundled("studies") / "air_ankle.toml"


@pytest.mark.parametrize("seed", range(5))
def test_sweeping_stature_tells_the_best_at_every_point_of_a_grid(seed: int) -> None:
    turned = stature_dial(random_study(seed))
    found = sweep(turned, 1.5, 1.9, method=BISECTION)
    assert found.method == BISECTION and found.grid is not None
    # 13 intervals: points that the search itself did not solve
    assert missed(turned, found, 14) == []


@pytest.mark.parametrize("seed", [2, 3, 5])
def test_bisection_finds_the_switch_points_of_the_exact_method(seed: int) -> None:
    study = random_study(seed)
    study = replace(study, energy=replace(study.energy, trunk="browning_waist"))
    turned = mass_dial(study, "p0")
    exact = sweep(turned, 0.3, 3.0, method=EXACT)
    bisected = sweep(turned, 0.3, 3.0, method=BISECTION)
    # a limit is met to 2e-6 of itself, which is more of the one part that is turned
    near = 1e-4 * 2.7
    for at in bisected.switch_points:
        assert any(abs(at - other) < near for other in exact.switch_points)
    for one, two in pairwise((exact.low, *exact.switch_points, exact.high)):
        if two - one > bisected.grid * 2.0:  # type: ignore[operator]
            assert any(piece.low <= one + near for piece in bisected.pieces)


def test_a_number_that_can_only_be_whole_is_solved_at_every_one() -> None:
    study = random_study(6)

    def study_at(value: float) -> Study:
        if not float(value).is_integer():
            raise InputError([])
        limits = tuple(limit for limit in study.limits if limit.kind != "sites_in_use")
        return replace(study, limits=(*limits, LimitSpec("sites_in_use", "", value, study.origin)))

    turned = Dial("sites", "", study_at)
    found = sweep(turned, 1, 5)
    assert found.grid is None and found.dial.whole and found.solves == 5
    for value in range(1, 6):
        piece = next(p for p in found.pieces if p.low <= value <= p.high)
        layout, score = best_layout(turned.setting_at(value))
        if layout is None:
            assert piece.layout is None
        else:
            assert piece.at_low is not None and piece.at_low.score == pytest.approx(score)
    with pytest.raises(InputError, match="whole numbers"):
        sweep(Dial("sites", "", study_at), 1, 500)


def test_a_weight_that_changes_the_ways_of_lines_is_swept_exactly_in_parts() -> None:
    turned = dial(AIR_ANKLE, "weights.swing_inertia")
    families = steady_families(turned, 0.0, 1.0)
    assert len(families) > 1
    assert families[0].low == 0.0 and families[-1].high == 1.0
    for one, two in pairwise(families):
        assert 0.0 < two.low - one.high < 1e-7
    found = sweep(turned, 0.0, 1.0)
    assert found.method == EXACT and len(found.switch_points) >= 1
    for at, (one, two) in zip(found.switch_points, pairwise(found.pieces), strict=True):
        for value, piece in ((at - 1e-3, one), (at + 1e-3, two)):
            _, score = best_layout(turned.setting_at(value))
            assert piece.at_low is not None and piece.at_high is not None
            share = (value - piece.low) / (piece.high - piece.low)
            told = (1 - share) * piece.at_low.score + share * piece.at_high.score
            assert score == pytest.approx(told, rel=1e-7)


@pytest.mark.parametrize(
    ("path", "unit"),
    [
        ("parts.pump.mass_g", "g"),
        ("parts.pump.volume_cm3", "cm3"),
        ("lines.supply.wide.mass_g_per_m", "g/m"),
        ("task.speed_m_s", "m/s"),
        ("wearer.mass_kg", "kg"),
        ("limits.segment_mass_g.foot", "g"),
        ("limits.left_right_swing_inertia_pct", "%"),
        ("limits.walking_time_h", "h"),
        ("lines.fill.response_ms", "ms"),
        ("lines.fill.supply_kpa", "kPa"),
        ("lines.feed.voltage_v", "V"),
        ("lines.feed.current_a", "A"),
        ("lines.pull.force_n", "N"),
        ("weights.comfort", ""),
    ],
)
def test_the_unit_of_a_path_is_the_one_it_is_written_in(path: str, unit: str) -> None:
    assert unit_of(path) == unit


def test_a_dial_knows_what_the_study_says_and_turns_groups_together() -> None:
    assert dial(AIR_ANKLE, "parts.controller.mass_g").now == 110.0
    assert dial(AIR_ANKLE, "weights.comfort").now == 0.0
    several = dial(AIR_ANKLE, ["parts.ankle_*.mass_g*", "parts.controller.mass_g*"])
    assert several.unit == "x" and several.now == 1.0
    lighter = {p.name: p.models[0].mass_kg for p in several.study_at(0.5).parts}
    as_is = {p.name: p.models[0].mass_kg for p in several.study_at(1.0).parts}
    for name, mass in as_is.items():
        turned = name.startswith("ankle_") or name == "controller"
        assert lighter[name] == pytest.approx(0.5 * mass if turned else mass)


@pytest.mark.parametrize(
    ("paths", "overrides"),
    [
        ([], None),
        (["parts.pump.mass_g", "parts.controller.mass_g*"], None),
        (["parts.controller.mass_g"], {"parts.controller.mass_g": 100}),
    ],
)
def test_dials_that_make_no_sense_are_refused(
    paths: list[str], overrides: dict[str, object] | None
) -> None:
    with pytest.raises(InputError):
        dial(AIR_ANKLE, paths, overrides)


@pytest.mark.parametrize(
    ("path", "overrides", "ends", "said"),
    [
        ("lines.fill_tube.response_ms", {}, (148, 155), "it moves how long a line may be"),
        (
            "parts.power_pack.mass_g*",
            {
                "limits.belt_soft_g": 100,
                "weights.comfort": 0.1,
                "sites.vest_back_centre.tags": "belt",
            },
            (0.9, 1.1),
            "it moves the load that a soft limit takes comfort points for",
        ),
    ],
)
def test_why_a_sweep_is_not_exact_is_said_without_the_program_s_own_names(
    path: str, overrides: dict[str, object], ends: tuple[float, float], said: str
) -> None:
    with pytest.raises(NotSteadyError) as caught:
        steady_families(dial(AIR_ANKLE, path, overrides), *ends)
    assert str(caught.value) == said


def test_a_value_the_study_cannot_have_is_told_like_any_input() -> None:
    turned = dial(AIR_ANKLE, "wearer.stature_mm")
    with pytest.raises(InputError) as caught:
        sweep(turned, 900, 1700)
    assert any("stature" in (flaw.origin.column or "") for flaw in caught.value.flaws)
