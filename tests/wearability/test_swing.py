"""Swing dynamics as an energy model and as a report of one layout."""

from __future__ import annotations

import csv
from dataclasses import replace
from math import pi, sqrt
from pathlib import Path

import numpy as np
import pytest

from optimizer.assess.assessment import assess
from optimizer.assess.dynamics import swing_report
from optimizer.assess.result import Layout, Placement, Ranking
from optimizer.body.dynamics import AddedMass, natural_frequency_hz, swing_dynamics
from optimizer.body.gait import GRAVITY_M_S2
from optimizer.body.inertia import bare_leg_inertia
from optimizer.body.wearer import build_wearer
from optimizer.energy.conditions import Conditions
from optimizer.energy.model import energy_model
from optimizer.energy.registry import LEG_MODELS
from optimizer.setting import Setting, build_setting
from optimizer.solve.place import place
from optimizer.study.model import EnergySpec, Part, Study, Task, WearerSpec
from tests.instances import HERE, model, random_study, site, study

DATA = Path(__file__).parent.parent.parent / "optimizer" / "data"
WEARER = WearerSpec("female", 1.66, 63.0)


def swing_energy(spec: WearerSpec, speed_m_s: float = 1.25):  # type: ignore[no-untyped-def]
    wearer = build_wearer(spec)
    task = Task(speed_m_s=speed_m_s)
    return wearer, energy_model(EnergySpec(leg="swing_work"), wearer, task)


@pytest.mark.parametrize("speed_m_s", [0.9, 1.25, 1.5])
@pytest.mark.parametrize("segment,share", [("shank", 0.5), ("shank", 1.0), ("foot", 1.0)])
def test_cost_per_kg_is_positive_work_of_swing_over_efficiency(
    speed_m_s: float, segment: str, share: float
) -> None:
    """Against the dynamics of a loaded leg, at tabulated places."""
    wearer, energy = swing_energy(WEARER, speed_m_s)
    ends = wearer.segments[segment, "left"]
    position = ends.proximal + share * (ends.distal - ends.proximal)
    load = AddedMass((segment, "left"), position, 1.0)
    found = swing_dynamics(wearer, "left", [load], speed_m_s)
    reach = float(np.hypot(*(position - wearer.joint("hip", "left"))[:2]))
    cost = float(energy.leg_cost(segment, reach))
    assert cost == pytest.approx(max(0.0, found.extra_positive_power_w) / 0.25, rel=1e-9)


def test_foot_costs_about_twice_the_published_and_the_thigh_nothing() -> None:
    """Published (segment slopes x 75 kg): foot 15 W/kg, thigh 5.6 W/kg."""
    wearer, energy = swing_energy(WearerSpec("male", 1.75, 75.0))
    foot = float(energy.leg_cost("foot", wearer.foot_radius_m))
    assert 25.0 < foot < 40.0
    assert float(energy.leg_cost("thigh", 0.3)) == 0.0
    # swing itself would get cheaper there: that is what is cut off
    bare = wearer.segments["thigh", "right"]
    place_ = bare.proximal + 0.75 * (bare.distal - bare.proximal)
    lighter = swing_dynamics(wearer, "right", [AddedMass(("thigh", "right"), place_, 1.0)], 1.25)
    assert lighter.extra_positive_power_w < -0.1


def test_cost_per_kg_hardly_depends_on_the_load() -> None:
    wearer = build_wearer(WEARER)
    ankle = wearer.segments["shank", "right"].distal
    per_kg = []
    for mass in (0.05, 0.5, 2.0):
        found = swing_dynamics(wearer, "right", [AddedMass(("shank", "right"), ankle, mass)], 1.25)
        per_kg.append(found.extra_positive_power_w / mass)
    assert per_kg == pytest.approx([per_kg[1]] * 3, rel=0.03)


def test_plain_conditions_are_met_by_a_wearer_of_the_same_reach() -> None:
    wearer, energy = swing_energy(WearerSpec("male", 1.75, 75.0))
    plain = Conditions(75.0, wearer.foot_radius_m, 1.25)
    reach = np.linspace(0.45, 0.85, 9)
    np.testing.assert_allclose(
        LEG_MODELS["swing_work"].cost("shank", reach, plain),
        energy.leg_cost("shank", reach),
        rtol=1e-9,
    )


def test_its_card_says_what_it_leaves_out() -> None:
    card = LEG_MODELS["swing_work"].card
    assert "swing only" in card.validity.conditions
    assert "memory" in card.provenance
    rows = list(csv.DictReader((DATA / "energy_coefficients.csv").open()))
    (efficiency,) = [
        r for r in rows if (r["model"], r["coefficient"]) == ("swing_work", "efficiency")
    ]
    assert float(efficiency["value"]) == 0.25


@pytest.mark.parametrize("seed", range(6))
def test_program_and_assessment_agree_under_swing_work(seed: int) -> None:
    made = random_study(700 + seed)
    made = replace(made, energy=replace(made.energy, leg="swing_work"))
    found = place(made, top=2)
    assert isinstance(found, Ranking) or found.obstacles or found.unplaceable


def loaded(
    segment: str, along: float, mass_kg: float, front_m: float = 0.0, thickness: float = 0.02
) -> tuple[Setting, Layout]:
    here = site("here", (segment, "right", along, front_m, 0.0))
    size = (0.06, 0.04, thickness)
    made: Study = study(
        parts=(Part("load", (model("m", mass_kg, ("here",), size_m=size),), 1, HERE),),
        sites=(here,),
    )
    return build_setting(made), Layout((Placement("load", "load", "m", "here"),), ())


def test_report_of_one_part_is_that_of_one_mass() -> None:
    setting, layout = loaded("shank", 0.6, 0.8)
    report = swing_report(setting, assess(setting, layout))
    left, right = report.legs
    assert left.added_kg == 0.0
    assert left.extra_positive_power_w == 0.0
    assert left.natural_frequency_loaded_hz == left.natural_frequency_bare_hz
    wearer = setting.wearer
    position = wearer.position(setting.study.sites[0])
    own = 0.8 / 12.0 * (0.06**2 + 0.02**2)
    direct = swing_dynamics(
        wearer, "right", [AddedMass(("shank", "right"), position, 0.8, own)], 1.25
    )
    assert right.added_kg == pytest.approx(0.8)
    assert right.extra_positive_power_w == pytest.approx(direct.extra_positive_power_w, rel=1e-9)
    for joint in right.joints:
        name = joint.joint
        assert joint.peak_extra_moment_nm == pytest.approx(direct.peak_extra_moment_nm(name))
        assert joint.extra_positive_work_j == pytest.approx(direct.extra_positive_work_j(name))
    assert right.natural_frequency_loaded_hz == pytest.approx(direct.natural_frequency_loaded_hz)


def test_natural_frequency_of_the_loaded_leg_is_that_of_the_pendulum() -> None:
    """f = sqrt((m0 g d0 + m g d) / (I0 + m d^2 + own)) / 2 pi for a mass straight below the hip."""
    setting, layout = loaded("shank", 0.6, 0.8)
    wearer = setting.wearer
    right = swing_report(setting, assess(setting, layout)).legs[1]
    bare_inertia = bare_leg_inertia(wearer, "right")
    f0 = natural_frequency_hz(wearer, "right")
    moment0 = (2 * pi * f0) ** 2 * bare_inertia / GRAVITY_M_S2
    offset = wearer.position(setting.study.sites[0]) - wearer.joint("hip", "right")
    leg = [wearer.segments[s, "right"] for s in ("thigh", "shank", "foot")]
    mass = sum(s.mass_kg for s in leg)
    com = sum(s.mass_kg * (s.com - wearer.joint("hip", "right")) for s in leg)
    assert np.hypot(com[0], com[1]) == pytest.approx(moment0, rel=1e-9)
    total = com + 0.8 * offset
    inertia = bare_inertia + 0.8 * (offset[0] ** 2 + offset[1] ** 2 + (0.06**2 + 0.02**2) / 12.0)
    expected = sqrt(np.hypot(total[0], total[1]) * GRAVITY_M_S2 / inertia) / (2 * pi)
    assert right.natural_frequency_loaded_hz == pytest.approx(expected, rel=1e-9)
    assert mass > 0


def test_a_part_under_the_sole_takes_clearance_and_one_on_the_instep_none() -> None:
    setting, layout = loaded("foot", 0.6, 0.1, front_m=0.05)
    (top,) = swing_report(setting, assess(setting, layout)).clearances
    assert top.unaffected
    wearer = setting.wearer
    # axis half an ankle's height above the sole: the box's middle 10 mm below the sole
    below = -(0.5 * wearer.ankle_height_m + 0.010)
    setting, layout = loaded("foot", 0.6, 0.1, front_m=below, thickness=0.02)
    (sole,) = swing_report(setting, assess(setting, layout)).clearances
    assert not sole.unaffected
    assert sole.below_sole_m == pytest.approx(0.020, abs=1e-9)
    assert 0.0 < sole.bare_gap_m - sole.gap_m <= 0.0205
    setting, layout = loaded("thigh", 0.6, 0.1)
    assert swing_report(setting, assess(setting, layout)).clearances == ()
