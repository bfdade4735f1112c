"""Longest tubes: exact, safe, monotone; and what a tube's volume and place do to the time."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from optimizer.lines.air import acoustic_delay_s, orifice_conductance, phi
from optimizer.lines.air_chamber import Chamber
from optimizer.lines.air_limit import max_length_for_time
from optimizer.lines.air_line import (
    AirLine,
    max_length_to_pressure,
    max_length_to_vent,
    reservoir_after_fill_pa,
    time_to_pressure,
    time_to_vent,
)
from optimizer.lines.air_path import Restriction, series
from optimizer.lines.tube import TUBE_MODELS, inside_volume_m3_per_m, tube_restriction
from tests.lines_physics import simulate
from tests.lines_physics.simulate import Piston

VALVE = Restriction.from_catalogue(0.3, 0.3)
SILENCER = Restriction.from_catalogue(0.8, 0.4)
PISTON = Piston(6e-6, 15e-6, 1.8e5, 3.2e5)
LINE = AirLine(
    bore_m=2.5e-3,
    chamber=Chamber(PISTON.rest, PISTON.stroke, PISTON.start, PISTON.end),
    supply_pa=6e5,
    upstream=(VALVE,),
    downstream=(Restriction.from_catalogue(1.5, 0.4),),
    exhaust=(VALVE, SILENCER),
    switch_s=0.01,
)


def _with_tube(line: AirLine, length: float) -> Piston:
    tube = float(line.counted_volume_m3(length))
    return replace(PISTON, rest=PISTON.rest + tube)


def _simulated_fill(line: AirLine, length: float, target: float) -> float:
    C, b = (float(np.asarray(v)) for v in line.fill_path(length))
    tank = float(np.asarray(line.reservoir_m3))
    fill, _ = simulate.fill(
        _with_tube(line, length),
        C,
        b,
        6e5,
        101_325.0,
        target,
        adiabatic=line.exponent == 1.4,
        reservoir=tank if np.isfinite(tank) else None,
    )
    return 0.01 + length / 343.232 + fill


def _simulated_vent(line: AirLine, length: float, start: float, target: float) -> float:
    C, b = (float(np.asarray(v)) for v in line.vent_path(length))
    vent, _ = simulate.vent(
        _with_tube(line, length),
        C,
        b,
        start,
        target,
        101_325.0,
        adiabatic=line.exponent == 1.4,
    )
    return 0.01 + length / 343.232 + vent


@pytest.mark.parametrize("exponent", [1.0, 1.4])
@pytest.mark.parametrize("reservoir", [np.inf, 0.25e-3])
@pytest.mark.parametrize("budget", [0.09, 0.14])
def test_one_per_cent_below_the_limit_fills_in_time_and_one_above_does_not(
    exponent: float, reservoir: float, budget: float
) -> None:
    line = replace(LINE, exponent=exponent, reservoir_m3=reservoir)
    longest = float(max_length_to_pressure(line, 4.2e5, budget))
    assert longest > 0.0
    assert _simulated_fill(line, 0.99 * longest, 4.2e5) < budget
    assert _simulated_fill(line, 1.01 * longest, 4.2e5) > budget
    # Much sharper than one per cent, too: simulation and limit agree to a few microseconds.
    assert _simulated_fill(line, longest, 4.2e5) == pytest.approx(budget, rel=5e-6)


@pytest.mark.parametrize("exponent", [1.0, 1.4])
@pytest.mark.parametrize("budget", [0.25, 0.4])
def test_one_per_cent_below_the_limit_vents_in_time_and_one_above_does_not(
    exponent: float, budget: float
) -> None:
    line = replace(LINE, exponent=exponent)
    longest = float(max_length_to_vent(line, 1.2e5, budget, start_pa=4.2e5))
    assert longest > 0.0
    assert _simulated_vent(line, 0.99 * longest, 4.2e5, 1.2e5) < budget
    assert _simulated_vent(line, 1.01 * longest, 4.2e5, 1.2e5) > budget
    assert _simulated_vent(line, longest, 4.2e5, 1.2e5) == pytest.approx(budget, rel=5e-6)


lines = st.builds(
    AirLine,
    bore_m=st.floats(1e-3, 9e-3),
    chamber=st.builds(
        Chamber,
        st.floats(1e-7, 2e-4),
        st.floats(0.0, 2e-4),
        st.floats(1.1e5, 2e5),
        st.floats(2e5, 5e5),
    ),
    supply_pa=st.floats(5e5, 9e5),
    upstream=st.tuples(
        st.builds(Restriction.from_catalogue, st.floats(0.03, 10.0), st.floats(0.0, 0.6))
    ),
    downstream=st.tuples(
        st.builds(Restriction.from_catalogue, st.floats(0.03, 10.0), st.floats(0.0, 0.6))
    ),
    exhaust=st.tuples(
        st.builds(Restriction.from_catalogue, st.floats(0.03, 10.0), st.floats(0.0, 0.6))
    ),
    reservoir_m3=st.sampled_from([np.inf, 2e-3, 3e-4]),
    tube_share=st.sampled_from([0.0, 0.5, 1.0]),
    exponent=st.floats(1.0, 1.4),
    switch_s=st.floats(0.0, 0.03),
    tube_model=st.sampled_from(list(TUBE_MODELS)),
)


@settings(max_examples=150, deadline=None)
@given(line=lines)
def test_times_grow_strictly_with_length(line: AirLine) -> None:
    length = np.concatenate([[0.0], np.geomspace(1e-3, 30.0, 40)])
    fill = time_to_pressure(line, length, 4e5)
    reached = np.isfinite(fill)
    assert np.all(np.diff(fill[reached]) > 0)
    # Once a long tube empties the reservoir too far, a longer one does so all the more.
    assert np.all(np.diff(reached.astype(int)) <= 0)
    assert np.all(np.diff(time_to_vent(line, length, 1.2e5, 4e5)) > 0)


@settings(max_examples=60, deadline=None)
@given(line=lines, budget=st.floats(0.02, 3.0))
def test_limit_meets_the_budget_and_a_nanometre_more_does_not(line: AirLine, budget: float) -> None:
    for limit, time in (
        (max_length_to_pressure(line, 4e5, budget), lambda x: time_to_pressure(line, x, 4e5)),
        (
            max_length_to_vent(line, 1.2e5, budget, 4e5),
            lambda x: time_to_vent(line, x, 1.2e5, 4e5),
        ),
    ):
        if np.isnan(limit):
            assert time(0.0) > budget
        else:
            assert time(limit) <= budget
            assert time(limit + 2e-9) > budget


def test_limits_grow_with_budget_and_conductance_and_shrink_with_volume() -> None:
    budgets = np.linspace(0.07, 0.3, 9)
    assert np.all(np.diff(max_length_to_pressure(LINE, 4.2e5, budgets)) > 0)
    valves = replace(LINE, upstream=(Restriction.from_catalogue(np.linspace(0.2, 2, 9), 0.3),))
    assert np.all(np.diff(max_length_to_pressure(valves, 4.2e5, 0.2)) > 0)
    volumes = replace(LINE, chamber=Chamber(np.linspace(5e-6, 40e-6, 9)))
    assert np.all(np.diff(max_length_to_pressure(volumes, 4.2e5, 0.2)) < 0)


def test_arrays_give_the_same_as_one_at_a_time() -> None:
    bores = np.array([2e-3, 2.5e-3, 4e-3]).reshape(3, 1, 1)
    valves = np.array([0.1, 0.3]).reshape(1, 2, 1)
    budgets = np.array([0.06, 0.12, np.inf])
    line = replace(LINE, bore_m=bores, upstream=(Restriction.from_catalogue(valves, 0.3),))
    together = max_length_to_pressure(line, 4.2e5, budgets)
    assert together.shape == (3, 2, 3)
    assert np.isinf(together[..., 2]).all()
    assert np.isnan(together[:, 0, 0]).all()
    for i, bore in enumerate(bores.flat):
        for j, valve in enumerate(valves.flat):
            for k, budget in enumerate(budgets):
                one = replace(LINE, bore_m=bore, upstream=(Restriction.from_catalogue(valve, 0.3),))
                assert together[i, j, k] == pytest.approx(
                    float(max_length_to_pressure(one, 4.2e5, budget)), abs=2e-9, nan_ok=True
                )


def test_reservoir_too_small_for_any_tube_has_no_limit_to_offer() -> None:
    line = replace(LINE, reservoir_m3=20e-6)
    assert np.isnan(max_length_to_pressure(line, 4.2e5, 10.0))
    assert np.isnan(max_length_to_pressure(line, 4.2e5, np.inf))


def test_reservoir_just_large_enough_limits_length_however_long_one_waits() -> None:
    """With p V balance of chamber, tube and reservoir: the tube volume at which all end equal."""
    tank, target, pa = 0.1e-3, 4.2e5, 101_325.0
    line = replace(LINE, reservoir_m3=tank)
    chamber = PISTON.volume(target) * target - PISTON.volume(pa) * pa
    tube = ((6e5 - target) * tank - chamber) / (target - pa)
    longest = max_length_to_pressure(line, target, 1e4)
    assert longest == pytest.approx(tube / float(inside_volume_m3_per_m(2.5e-3)), rel=1e-6)


def test_reservoir_is_left_with_what_the_chamber_and_tube_did_not_take() -> None:
    line = replace(LINE, reservoir_m3=0.3e-3)
    taken = 4.2e5 * PISTON.volume(4.2e5) - 101_325.0 * PISTON.volume(101_325.0)
    taken += (4.2e5 - 101_325.0) * float(inside_volume_m3_per_m(2.5e-3)) * 1.2
    assert reservoir_after_fill_pa(line, 1.2, 4.2e5) == pytest.approx(6e5 - taken / 0.3e-3)


def test_delays_are_the_valve_and_the_sound() -> None:
    quick = replace(LINE, switch_s=0.0)
    gap = time_to_pressure(LINE, 2.0, 4.2e5) - time_to_pressure(quick, 2.0, 4.2e5)
    assert gap == pytest.approx(0.01)
    already = time_to_pressure(LINE, 2.0, 4.2e5, start_pa=4.3e5)
    assert already == pytest.approx(0.01 + float(acoustic_delay_s(2.0)))


def test_supply_line_to_a_valve_on_the_actuator_is_quicker_than_a_working_line() -> None:
    """Pressurised up to the valve, its volume need not be filled."""
    supply = replace(LINE, upstream=(), downstream=(VALVE,), tube_share=0.0)
    working = replace(LINE, upstream=(VALVE,), downstream=())
    assert time_to_pressure(supply, 1.5, 4.2e5) < time_to_pressure(working, 1.5, 4.2e5)


def test_paths_run_from_supply_to_chamber_and_back() -> None:
    """The order matters for the conductance, so it is the order in which air passes."""
    first, last = Restriction.from_catalogue(0.3, 0.5), Restriction.from_catalogue(0.5, 0.1)
    out = Restriction.from_catalogue(0.4, 0.2)
    line = replace(LINE, upstream=(first,), downstream=(last,), exhaust=(out, SILENCER))
    tube = tube_restriction(2.5e-3, 1.0)
    assert line.fill_path(1.0) == series(first, tube, last)
    assert line.fill_path(1.0) != series(last, tube, first)
    assert line.vent_path(1.0) == series(last, tube, out, SILENCER)
    assert line.vent_path(1.0) != series(out, tube, last, SILENCER)


def _discretised(
    length: float, volume: float, valve: Restriction, end_pa: float, start: float, target: float
) -> float:
    """Time for a tube of 20 cells with pipe friction between them, by scipy; isothermal.

    `end_pa` is the supply (filling) or the atmosphere (venting) behind the valve.
    """
    cells, bore = 20, 2.5e-3
    area = np.pi / 4 * bore**2
    sizes = np.append(np.full(cells, area * length / cells), volume)
    steps = np.append(np.full(cells - 1, length / cells), length / cells / 2)
    rt = 287.05 * 293.15
    friction = area / (1.185 * np.sqrt(rt * 0.02 * steps / bore))
    half = Restriction(area / (1.185 * np.sqrt(rt * 0.02 * length / cells / 2 / bore)), 0.0)
    entry = Restriction.from_catalogue(0.16 * area * 1e6, 0.0)
    inward = end_pa > start
    first = series(valve, entry, half) if inward else series(half, entry, valve)

    def flow(C: np.ndarray, b: float, up: np.ndarray, down: np.ndarray) -> np.ndarray:
        high, low = np.maximum(up, down), np.minimum(up, down)
        return np.sign(up - down) * C * high * phi(low / high, np.asarray(b))

    def rhs(_: float, p: np.ndarray) -> np.ndarray:
        between = flow(friction, 0.0, p[:-1], p[1:])
        inlet = flow(
            np.asarray(first.conductance),
            float(np.asarray(first.critical_ratio)),
            np.asarray(end_pa),
            p[0],
        )
        return 1e5 * (np.append(inlet, between) - np.append(between, 0.0)) / sizes

    def reached(_: float, p: np.ndarray) -> float:
        return float(p[-1] - target)

    reached.terminal = True  # type: ignore[attr-defined]
    run = solve_ivp(
        rhs,
        (0.0, 5.0),
        np.full(cells + 1, start),
        method="Radau",
        events=reached,
        rtol=1e-6,
        atol=1.0,
        max_step=0.02,
    )
    return float(run.t_events[0][0])


@pytest.mark.parametrize(
    ("length", "volume", "valve_c"),
    [(1.0, 20e-6, 0.3), (2.0, 3e-6, 3.0), (1.5, 1e-7, 5.0), (0.5, 50e-6, 0.1)],
)
def test_discretised_tube_lies_between_half_and_all_of_its_volume(
    length: float, volume: float, valve_c: float
) -> None:
    """So counting all of it is the safe side; half of it is not."""
    valve = Restriction.from_catalogue(valve_c, 0.3)
    line = AirLine(
        2.5e-3, Chamber(volume), 6e5, upstream=(valve,), exhaust=(valve,), tube_model="friction"
    )
    half, whole = (replace(line, tube_share=share) for share in (0.5, 1.0))
    delay = line.delay_s(length)
    filled = _discretised(length, volume, valve, 6e5, 101_325.0, 4.5e5)
    assert time_to_pressure(half, length, 4.5e5) - delay < filled
    assert filled < 1.005 * (time_to_pressure(whole, length, 4.5e5) - delay)
    vented = _discretised(length, volume, valve, 101_325.0, 4.5e5, 1.3e5)
    assert time_to_vent(half, length, 1.3e5, 4.5e5) - delay < vented
    assert vented < 1.005 * (time_to_vent(whole, length, 1.3e5, 4.5e5) - delay)


def test_small_ankle_cylinder_is_about_as_quick_as_such_devices_are() -> None:
    """Common practice, no source: about 130 ms to pressure, about 350 ms to vent naturally.

    The device is invented: a 20 x 40 mm cylinder against a spring behind a 3/2 solenoid valve
    with a 1 mm orifice, 0.4 m of 4x2.5 tube, 6 bar gauge.
    """
    orifice = Restriction(orifice_conductance(np.pi / 4 * 1e-6, 0.8), 0.3)
    line = AirLine(
        bore_m=2.5e-3,
        chamber=Chamber.cylinder(20e-3, 40e-3, 3e-6, load_n=20.0, spring_n_m=400.0),
        supply_pa=7.013e5,
        upstream=(orifice,),
        exhaust=(orifice,),
        switch_s=0.015,
    )
    assert 130 / 1.5 < 1e3 * time_to_pressure(line, 0.4, 5e5) < 130 * 1.5
    assert 350 / 1.5 < 1e3 * time_to_vent(line, 0.4, 1.1e5, start_pa=5e5) < 350 * 1.5


@pytest.mark.parametrize(
    "curve",
    [
        lambda x: 0.01 + 0.1 * x,
        lambda x: 0.01 + x**3,
        lambda x: 0.01 + np.sqrt(x),
        lambda x: np.where(x < 0.7, 0.01 + x, 5.0 + x),
        lambda x: np.where(x < 0.7, 0.01 + x, np.inf),
        lambda x: np.expm1(20 * x),
    ],
)
def test_root_finding_copes_with_bent_and_jumping_curves(curve: object) -> None:
    budgets = np.array([0.02, 0.3, 0.71, 0.7099999, 3.0, 40.0])
    found = max_length_for_time(curve, budgets)  # type: ignore[arg-type]
    for length, budget in zip(found, budgets, strict=True):
        assert curve(length) <= budget  # type: ignore[operator]
        assert curve(length + 2e-9) > budget  # type: ignore[operator]


def test_budget_met_at_every_length_is_no_limit() -> None:
    assert np.isinf(max_length_for_time(lambda x: np.full_like(x, 0.1), np.array(0.2)))
    assert np.isinf(max_length_for_time(lambda x: 0.1 + 0.0 * x, 0.2))


def test_tube_of_length_zero_keeps_its_entry() -> None:
    bare = replace(LINE, upstream=(), downstream=())
    entry = tube_restriction(2.5e-3, 0.0)
    assert float(np.asarray(bare.fill_path(0.0).conductance)) == pytest.approx(
        float(np.asarray(entry.conductance))
    )
