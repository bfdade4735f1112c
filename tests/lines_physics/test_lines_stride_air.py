"""Air per stride, pump, reservoir dip and battery: balances, closed forms, plausibility."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from optimizer.lines import stride_air
from optimizer.lines.air_chamber import Chamber
from tests.lines_physics import simulate
from tests.lines_physics.simulate import T0, Piston, R


def test_air_per_stride_is_the_mass_a_simulated_filling_takes() -> None:
    piston, tube = Piston(6e-6, 15e-6, 1.8e5, 3.2e5), 5e-6
    _, state = simulate.fill(Piston(11e-6, 15e-6, 1.8e5, 3.2e5), 0.3e-8, 0.3, 6e5, 101_325.0, 4.4e5)
    found = stride_air.air_per_stride_m3(
        Chamber(piston.rest, piston.stroke, piston.start, piston.end),
        4.4e5,
        dead_volume_m3=tube,
    )
    assert found * 1.185 == pytest.approx(state["mass_in"], rel=1e-6)


def test_warm_air_takes_less_of_it() -> None:
    """Mass p V/(R T) at the air's own temperature, in m3 of reference density."""
    warm = stride_air.air_per_stride_m3(Chamber(20e-6), 4.4e5, temperature_k=323.15)
    assert warm * 1.185 == pytest.approx((4.4e5 - 101_325) * 20e-6 / (R * 323.15))


def test_isothermal_air_per_stride_is_above_what_warm_air_takes() -> None:
    _, state = simulate.fill(Piston(20e-6), 0.3e-8, 0.3, 6e5, 101_325.0, 4.4e5, adiabatic=True)
    assert stride_air.air_per_stride_m3(Chamber(20e-6), 4.4e5) * 1.185 > state["mass_in"]


def test_tube_adds_its_own_free_air_per_metre() -> None:
    """0.074 L per metre of 4 mm tube at 6 bar gauge (Hyper-Pneumatics, tubing-length-effect)."""
    air = stride_air.air_per_stride_m3(
        Chamber(1e-12), 7.013e5, 1.013e5, dead_volume_m3=12.566e-6, reference_pa=1.013e5
    )
    assert 1e3 * float(air) == pytest.approx(0.074, abs=5e-4)


@given(r=st.floats(1.001, 15.0))
def test_compression_work_is_the_integral_of_the_cycle(r: float) -> None:
    """Work of an ideal compressor, integral of V dp along the process, per m3 ANR."""
    inlet = 101_325.0
    for process, n in (("isothermal", 1.0), ("adiabatic", 1.4)):
        volume = R * T0 * 1.185 / inlet  # of 1 m3 ANR at the inlet
        work = quad(lambda p, n=n, v=volume: v * (inlet / p) ** (1 / n), inlet, r * inlet)[0]
        found = stride_air.compression_work_j_per_m3(r * inlet, inlet, process)  # type: ignore[arg-type]
        assert found == pytest.approx(work, rel=1e-9)


def test_power_of_a_large_compressor_is_about_what_the_trade_counts_with() -> None:
    """6.5 kW per m3/min at 7 bar gauge (Hyper-Pneumatics, tubing-length-effect) means an overall
    efficiency of 0.7 to 0.8 of adiabatic work, as good industrial machines have."""
    ideal = stride_air.pump_power_w(1 / 60, 8.013e5, 1.0)
    assert 0.65 < float(ideal) / 6500 < 0.85


def test_adiabatic_takes_more_than_isothermal() -> None:
    both = [
        float(stride_air.pump_power_w(1e-4, 6e5, 0.2, process=p))
        for p in ("isothermal", "adiabatic")
    ]
    assert both[0] < both[1]


def test_whole_bill_of_a_walking_device_adds_up() -> None:
    bill = stride_air.air_bill(
        2 * 80e-6,
        110.0,
        reservoir_m3=0.4e-3,
        discharge_pa=7e5,
        efficiency=0.2,
        other_power_w=4.0,
        leak_m3_s=1e-6,
    )
    assert bill.pump_flow_l_min == pytest.approx(160e-3 * 55 + 0.06)
    assert bill.dip_pa == pytest.approx(1e5 * 160e-6 / 0.4e-3)
    work = 3.5 * 1e5 * ((7e5 / 101_325) ** (2 / 7) - 1)
    assert bill.pump_w == pytest.approx(float(bill.pump_flow_m3_s) * work / 0.2)
    assert bill.total_w == pytest.approx(float(bill.pump_w) + 4.0)


def test_dip_over_a_stride_counts_what_the_pump_gives_back() -> None:
    whole = stride_air.reservoir_dip_pa(160e-6, 0.4e-3)
    refilled = stride_air.reservoir_dip_pa(160e-6, 0.4e-3, pump_flow=1e-4, duration_s=1.0)
    assert refilled == pytest.approx(float(whole) * 60 / 160)
    assert stride_air.reservoir_dip_pa(160e-6, 0.4e-3, 1e-3, 1.0) == 0.0


def test_battery_mass_and_hours_undo_each_other() -> None:
    power = np.array([5.0, 20.0])
    mass = stride_air.battery_mass_kg(power, 2.0, 150.0, usable=0.8)
    assert mass == pytest.approx(power * 2 / 120)
    assert stride_air.battery_hours(mass * 150.0, power, usable=0.8) == pytest.approx([2.0, 2.0])
    assert np.isinf(stride_air.battery_hours(50.0, 0.0))


def test_stride_is_two_steps() -> None:
    assert stride_air.strides_per_second(120.0) == 1.0
