"""Hoses: laminar, turbulent, and the way between."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.lines import hose
from optimizer.lines.impossible import ImpossiblePhysics

WATER = (1e-3, 1000.0)


def test_reynolds_numbers_of_the_check_cases() -> None:
    assert hose.reynolds([2e-6, 10e-6, 20e-6], 4e-3, *WATER) == pytest.approx(
        [637, 3183, 6366], abs=0.7
    )


def test_laminar_drop_is_hagen_poiseuille() -> None:
    flow = np.linspace(0.1e-6, 7e-6, 20)
    assert hose.pressure_drop_pa(flow, 2.0, 4e-3, *WATER) == pytest.approx(
        128 * 1e-3 * 2.0 * flow / (np.pi * 4e-3**4)
    )


def test_transition_lies_between_laminar_and_blasius() -> None:
    Re = np.linspace(2300.0, 4000.0, 50)
    f = hose.friction_factor(Re)
    assert np.all(f >= 64 / Re - 1e-12)
    assert np.all(f <= 0.3164 * Re**-0.25 + 1e-12)


def test_friction_factor_is_continuous() -> None:
    for edge in (hose.LAMINAR_BELOW, hose.TURBULENT_ABOVE):
        below, above = hose.friction_factor(edge * np.array([1 - 1e-9, 1 + 1e-9]))
        assert below == pytest.approx(above, rel=1e-6)
    assert hose.friction_factor(6366.0) == pytest.approx(0.03542, abs=1e-5)


@given(bore=st.floats(1e-3, 10e-3), viscosity=st.floats(5e-4, 0.1), density=st.floats(800, 1100))
def test_drop_grows_with_flow_through_all_regimes(
    bore: float, viscosity: float, density: float
) -> None:
    Re = np.geomspace(1.0, 9.9e4, 400)
    flow = Re * np.pi * bore * viscosity / (4 * density)
    drop = hose.pressure_drop_pa(flow, 1.0, bore, viscosity, density)
    assert np.all(np.diff(drop) > 0)
    narrower = hose.pressure_drop_pa(flow / 2, 1.0, bore * 0.9, viscosity, density)
    assert np.all(narrower > hose.pressure_drop_pa(flow / 2, 1.0, bore, viscosity, density))


@given(
    flow=st.floats(1e-7, 1e-4),
    bore=st.floats(2e-3, 10e-3),
    budget=st.floats(1e3, 5e5),
    fixed=st.floats(0.0, 2e3),
)
def test_longest_hose_loses_exactly_the_budget(
    flow: float, bore: float, budget: float, fixed: float
) -> None:
    longest = hose.max_length_for_drop_m(budget, flow, bore, *WATER, fixed_pa=fixed)
    if np.isnan(longest):
        assert fixed > budget
        return
    at = hose.pressure_drop_pa(flow, longest, bore, *WATER, fixed_pa=fixed)
    assert at == pytest.approx(budget)
    assert hose.pressure_drop_pa(flow, 1.01 * longest + 1e-6, bore, *WATER, fixed_pa=fixed) > budget


def test_standing_liquid_loses_nothing_and_limits_nothing() -> None:
    assert hose.pressure_drop_pa(0.0, 1.0, 4e-3, *WATER) == 0.0
    assert np.isinf(hose.max_length_for_drop_m(1e3, 0.0, 4e-3, *WATER))


def test_flow_beyond_blasius_is_refused() -> None:
    with pytest.raises(ImpossiblePhysics, match="Blasius"):
        hose.pressure_drop_pa(1e-3, 1.0, 4e-3, *WATER)


def test_liquid_mass_per_metre() -> None:
    """12.6 g/m of water in 4 mm."""
    assert 1e3 * hose.liquid_mass_kg_per_m(4e-3, 1000.0) == pytest.approx(12.6, abs=0.05)


def test_liquids_carry_their_source_and_unknown_ones_list_the_known() -> None:
    water = hose.liquid("water 20C")
    assert water.viscosity_pa_s == pytest.approx(1.002e-3)
    assert water.source
    oil = hose.liquid("oil VG 32")
    assert oil.viscosity_pa_s / oil.density_kg_m3 * 1e6 == pytest.approx(32, rel=0.01)
    with pytest.raises(ImpossiblePhysics, match="water 20C"):
        hose.liquid("mercury")
