"""Pull-cables: capstan friction, bend budgets, stretch, mass."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from optimizer.lines import cable

FRICTION = st.floats(0.01, 0.5)


@pytest.mark.parametrize(
    ("mu", "values"),
    [
        (0.05, [0.924, 0.855, 0.790, 0.730]),
        (0.10, [0.855, 0.730, 0.624, 0.533]),
        (0.15, [0.790, 0.624, 0.493, 0.390]),
        (0.20, [0.730, 0.533, 0.390, 0.285]),
    ],
)
def test_efficiency_table(mu: float, values: list[float]) -> None:
    """Reference computation of exp(-mu theta) for 90, 180, 270, 360 deg."""
    bends = np.radians([90, 180, 270, 360])
    assert cable.efficiency(mu, bends) == pytest.approx(values, abs=6e-4)


def test_published_on_body_cable_implies_a_plausible_friction() -> None:
    """78.68 % at best (Li et al., abstract) is mu theta = 0.24: mu 0.1 and 137 deg, inside the
    design range 0.05 to 0.2 (from memory) for the bends of a back-to-knee route."""
    assert np.degrees(cable.bend_budget_rad(0.7868, 0.1)) == pytest.approx(137.4, abs=0.1)


@given(floor=st.floats(0.2, 1.0), mu=FRICTION)
def test_bend_budget_meets_the_floor_exactly(floor: float, mu: float) -> None:
    budget = cable.bend_budget_rad(floor, mu)
    assert cable.efficiency(mu, budget) == pytest.approx(floor)
    assert cable.efficiency(mu, 1.01 * budget + 1e-6) < floor
    assert cable.efficiency(mu, 0.99 * budget) >= floor * (1 - 1e-12)


def test_bends_every_route_has_use_up_the_budget() -> None:
    assert cable.bend_budget_rad(0.8, 0.1, 1.0) == pytest.approx(-np.log(0.8) / 0.1 - 1.0)
    assert cable.bend_budget_rad(0.8, 0.1, 3.0) < 0
    assert np.isinf(cable.bend_budget_rad(0.8, 0.0))


@given(mu=FRICTION, bend=st.floats(0.01, 12.0))
def test_pull_at_the_motor_and_at_the_joint_undo_each_other(mu: float, bend: float) -> None:
    pull = cable.input_force_n(50.0, mu, bend)
    assert pull * cable.efficiency(mu, bend) == pytest.approx(50.0)


def test_bend_through_gait_adds_what_each_joint_turns() -> None:
    hip, knee = np.radians([30.0, 0.0, -10.0]), np.radians([0.0, 40.0, 60.0])
    total = cable.bend_through_gait_rad(1.0, np.stack([hip, knee]))
    assert np.degrees(total - 1.0) == pytest.approx([30.0, 40.0, 70.0])
    pretensed = cable.bend_through_gait_rad(1.0, np.stack([hip, knee]), np.radians([30.0, 0.0]))
    assert np.degrees(pretensed - 1.0) == pytest.approx([0.0, 70.0, 100.0])
    assert cable.bend_through_gait_rad(1.0, np.empty((0, 4))) == pytest.approx(np.ones(4))


def test_worst_instant_of_gait_decides_the_efficiency() -> None:
    knee = np.radians(60.0) * np.sin(np.linspace(0, np.pi, 101))
    through = cable.efficiency(0.1, cable.bend_through_gait_rad(1.5, knee[None, :]))
    assert through.min() == pytest.approx(cable.efficiency(0.1, 1.5 + np.radians(60.0)))


def test_stretch_without_friction_is_hooke() -> None:
    assert cable.stretch_m(100.0, 0.8, 1e5) == pytest.approx(100 * 0.8 / 1e5)


@given(mu=FRICTION, bend=st.floats(0.0, 10.0))
def test_stretch_with_friction_is_the_integral_along_the_path(mu: float, bend: float) -> None:
    along = quad(lambda s: 100.0 * np.exp(-mu * bend * s / 0.8) / 1e5, 0.0, 0.8)[0]
    found = cable.stretch_m(100.0, 0.8, 1e5, friction=mu, bend_rad=bend)
    assert found == pytest.approx(along, rel=1e-9)


def test_lost_motion_is_stretch_and_housing_compression() -> None:
    path = {"friction": 0.1, "bend_rad": 2.0}
    both = cable.stretch_m(100, 0.8, 1e5, **path) + cable.housing_compression_m(
        100, 0.8, 4e5, **path
    )
    assert cable.lost_motion_m(100, 0.8, 1e5, housing_stiffness_n=4e5, **path) == pytest.approx(
        both
    )
    assert cable.lost_motion_m(100, 0.8, 1e5, **path) == pytest.approx(
        cable.stretch_m(100, 0.8, 1e5, **path)
    )


def test_rope_stiffness_follows_the_makers_rule() -> None:
    """Elongation in % = 0.0000120 x lbf/in^2 for 7x7 stainless: 100 lbf on 1/16 in is 0.307 %."""
    strain = 100 * 4.4482216 / float(cable.rope_stiffness_n(0.0254 / 16, "7x7"))
    assert 100 * strain == pytest.approx(0.0000120 * 100 * 16**2, rel=1e-6)


def test_rope_is_softer_than_solid_steel_and_stiffest_with_few_wires() -> None:
    """Modulus on the full circle, GPa: all below 200 (steel), 1x19 > 7x7 > 7x19."""
    modulus = [
        float(cable.rope_stiffness_n(1e-3, c)) / (np.pi / 4 * 1e-6) / 1e9
        for c in ("1x19", "7x7", "7x19")
    ]
    assert 200 > modulus[0] > modulus[1] > modulus[2] > 30


def test_rope_mass_reproduces_the_table_and_the_extrapolated_sizes() -> None:
    """12.4 and 34.5 kg per 100 m at 6 and 10 mm (API/ISO table C.1); 3.5, 7.8, 13.8 g/m."""
    assert cable.rope_mass_kg_per_m([6e-3, 10e-3]) == pytest.approx([0.124, 0.345], rel=2e-3)
    assert 1e3 * cable.rope_mass_kg_per_m([1e-3, 1.5e-3, 2e-3]) == pytest.approx(
        [3.45, 7.763, 13.8], rel=2e-3
    )


def test_friction_ranges_are_ordered_and_within_what_slides() -> None:
    ranges = cable.friction_ranges()
    assert ranges["steel on PTFE"] == (0.04, 0.22)
    assert all(0.0 < low <= high < 1.0 for low, high in ranges.values())
