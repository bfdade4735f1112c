"""Filling and venting times against stepped simulations, closed forms and balances."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

from optimizer.lines.air import adiabatic_fill_temperature_k
from optimizer.lines.air_chamber import Chamber, choked_vent_time_s, fixed_volume_fill_time_s
from optimizer.lines.air_path import Restriction
from optimizer.lines.air_time import fill_time_s, reservoir_pressure_after_pa, vent_time_s
from tests.lines_physics import simulate
from tests.lines_physics.simulate import GAMMA, T0, Piston, R

PISTONS = {
    "fixed": Piston(20e-6),
    "stroke": Piston(6e-6, 15e-6, 1.8e5, 3.2e5),
    "stroke past the target": Piston(6e-6, 15e-6, 3.0e5, 6.0e5),
}


def _chamber(piston: Piston) -> Chamber:
    return Chamber(piston.rest, piston.stroke, piston.start, piston.end)


@pytest.mark.parametrize("piston", PISTONS.values(), ids=PISTONS)
@pytest.mark.parametrize("adiabatic", [False, True])
@pytest.mark.parametrize("reservoir", [None, 0.2e-3])
@pytest.mark.parametrize("b", [0.0, 0.3, 0.55])
def test_filling_time_agrees_with_conserved_mass_and_energy(
    piston: Piston, adiabatic: bool, reservoir: float | None, b: float
) -> None:
    time, state = simulate.fill(piston, 0.3e-8, b, 6e5, 1.01e5, 4.4e5, adiabatic, reservoir)
    settings_ = {"start_pa": 1.01e5, "exponent": GAMMA if adiabatic else 1.0}
    volume = np.inf if reservoir is None else reservoir
    found = fill_time_s(
        _chamber(piston), Restriction(0.3e-8, b), 6e5, 4.4e5, reservoir_m3=volume, **settings_
    )
    assert found == pytest.approx(time, rel=2e-6)
    if reservoir is not None:
        left = reservoir_pressure_after_pa(_chamber(piston), 6e5, 4.4e5, reservoir, **settings_)
        assert left == pytest.approx(state["reservoir_pa"], rel=1e-6)


@pytest.mark.parametrize("piston", PISTONS.values(), ids=PISTONS)
@pytest.mark.parametrize("adiabatic", [False, True])
@pytest.mark.parametrize("b", [0.0, 0.3, 0.55])
def test_venting_time_agrees_with_conserved_mass_and_energy(
    piston: Piston, adiabatic: bool, b: float
) -> None:
    time, state = simulate.vent(piston, 0.3e-8, b, 5e5, 1.15e5, 1.013e5, adiabatic)
    found = vent_time_s(
        _chamber(piston),
        Restriction(0.3e-8, b),
        5e5,
        1.15e5,
        atmosphere_pa=1.013e5,
        exponent=GAMMA if adiabatic else 1.0,
    )
    assert found == pytest.approx(time, rel=2e-6)
    if adiabatic:
        # The air left behind has expanded isentropically, which the simulation never assumed.
        isentropic = T0 * (1.15 / 5.0) ** ((GAMMA - 1) / GAMMA)
        assert state["temperature"] == pytest.approx(isentropic, rel=1e-6)


def test_simulated_end_state_balances_mass_and_energy() -> None:
    """Adiabatic: enthalpy in = energy stored + piston work; reservoir gives what is taken."""
    piston = PISTONS["stroke"]
    _, state = simulate.fill(piston, 0.3e-8, 0.3, 6e5, 1.01e5, 4.4e5, True, 0.2e-3)
    flow_in = state["mass_in"]
    start_mass = 1.01e5 * piston.volume(1.01e5) / (R * T0)
    assert state["mass"] == pytest.approx(start_mass + flow_in, rel=1e-12)
    cv = R / (GAMMA - 1)
    gained = cv * (state["mass"] * state["temperature"] - start_mass * T0) + piston.work(4.4e5)
    assert gained == pytest.approx(GAMMA * cv * T0 * flow_in, rel=1e-6)
    assert (6e5 - state["reservoir_pa"]) * 0.2e-3 / (R * T0) == pytest.approx(flow_in, rel=1e-6)


def test_isothermal_content_change_is_the_integral_of_the_flow() -> None:
    """Mass through the valve, integrated over our own times, is what chamber and tank hold."""
    piston, C, b, Vr = PISTONS["stroke"], 0.3e-8, 0.3, 0.2e-3
    pressures = np.linspace(1.01e5, 4.4e5, 4001)
    times = fill_time_s(
        _chamber(piston), Restriction(C, b), 6e5, pressures, start_pa=1.01e5, reservoir_m3=Vr
    )
    supplies = reservoir_pressure_after_pa(_chamber(piston), 6e5, pressures, Vr, start_pa=1.01e5)
    flows = [simulate.mass_flow(C, b, s, p) for s, p in zip(supplies, pressures, strict=True)]
    through = np.trapezoid(flows, times)
    held = (4.4e5 * piston.volume(4.4e5) - 1.01e5 * piston.volume(1.01e5)) / (R * T0)
    assert through == pytest.approx(held, rel=1e-5)
    assert (6e5 - supplies[-1]) * Vr / (R * T0) == pytest.approx(held, rel=1e-9)


def test_adiabatic_filling_reaches_the_temperature_of_the_closed_form() -> None:
    _, state = simulate.fill(Piston(1e-3), 1e-8, 0.3, 7.5e5, 1.013e5, 7.013e5, True)
    assert state["temperature"] == pytest.approx(
        float(adiabatic_fill_temperature_k(1.013e5, 7.013e5)), rel=1e-6
    )


@given(
    b=st.floats(0.0, 0.6),
    start=st.floats(0.1, 0.9),
    end=st.floats(0.1, 0.998),
    n=st.floats(1.0, 1.4),
)
def test_quadrature_agrees_with_the_closed_form(
    b: float, start: float, end: float, n: float
) -> None:
    low, high = min(start, end), max(start, end)
    closed = fixed_volume_fill_time_s(
        1e-5, 1e-9, b, supply_pa=6e5, start_pa=low * 6e5, end_pa=high * 6e5, exponent=n
    )
    found = fill_time_s(
        Chamber(1e-5), Restriction(1e-9, b), 6e5, high * 6e5, start_pa=low * 6e5, exponent=n
    )
    assert found == pytest.approx(closed, rel=1e-10, abs=1e-12)


@given(b=st.floats(0.05, 0.6), p=st.floats(1.001, 20.0))
def test_choked_venting_is_the_logarithm(b: float, p: float) -> None:
    low = 1e5 / b
    closed = choked_vent_time_s(1e-5, 1e-9, p * low, low)
    found = vent_time_s(Chamber(1e-5), Restriction(1e-9, b), p * low, low, atmosphere_pa=1e5)
    assert found == pytest.approx(closed, rel=1e-9)


@pytest.mark.parametrize("b", [0.0, 0.2, 0.45, 0.6])
def test_isothermal_subsonic_venting_agrees_with_adaptive_quadrature(b: float) -> None:
    target = 1.02e5
    start = min(1e5 / b if b else 9e5, 9e5)
    integral = quad(
        lambda p: 1.0 / (p * simulate.share(1e5 / p, b)), target, start, limit=400, epsrel=1e-12
    )[0]
    found = vent_time_s(Chamber(1e-5), Restriction(1e-9, b), start, target, atmosphere_pa=1e5)
    assert found == pytest.approx(1e-5 / (1e-9 * 1e5) * integral, rel=1e-9)


def test_effective_exponent_is_a_share_of_the_flow_work_lost_as_heat() -> None:
    """V dp = gamma R T dm - (gamma - 1) dQ with dQ = q R T dm gives n = gamma - (gamma-1) q."""
    q, C, b, V = 0.4, 0.3e-8, 0.3, 2e-5

    def rhs(_: float, y: np.ndarray) -> list[float]:
        work = R * T0 * simulate.mass_flow(C, b, 6e5, float(y[0]))
        return [(GAMMA * work - (GAMMA - 1.0) * q * work) / V]

    def reached(_: float, y: np.ndarray) -> float:
        return float(y[0]) - 4e5

    run = solve_ivp(rhs, (0, 1), [1e5], events=reached, rtol=1e-10, atol=1e-3)
    found = fill_time_s(
        Chamber(V),
        Restriction(C, b),
        6e5,
        4e5,
        start_pa=1e5,
        exponent=GAMMA - (GAMMA - 1) * q,
    )
    assert found == pytest.approx(run.t_events[0][0], rel=1e-6)


def test_piston_at_constant_pressure_takes_its_stroke_at_that_pressure() -> None:
    """p dV = R T dm at p = 2.5 bar: t = p dV/(C p0 ps phi), added to the fixed volume's time."""
    C, b, p = 0.3e-8, 0.3, 2.5e5
    fixed = fill_time_s(Chamber(5e-6), Restriction(C, b), 6e5, p, start_pa=1e5)
    late = fill_time_s(Chamber(20e-6), Restriction(C, b), 6e5, 4e5, start_pa=p)
    moving = p * 15e-6 / (C * 1e5 * 6e5 * simulate.share(p / 6e5, b))
    found = fill_time_s(Chamber(5e-6, 15e-6, p, p), Restriction(C, b), 6e5, 4e5, start_pa=1e5)
    assert found == pytest.approx(float(fixed + moving + late), rel=2e-6)


def test_start_inside_the_stroke_adds_up() -> None:
    chamber, path = Chamber(5e-6, 15e-6, 2e5, 4e5), Restriction(0.3e-8, 0.3)
    whole = fill_time_s(chamber, path, 6e5, 5e5, start_pa=1e5)
    parts = fill_time_s(chamber, path, 6e5, 3e5, start_pa=1e5) + fill_time_s(
        chamber, path, 6e5, 5e5, start_pa=3e5
    )
    assert parts == pytest.approx(whole, rel=1e-10)


def test_small_reservoir_never_reaches_a_target_above_the_common_pressure() -> None:
    """Isothermal mixing: (6 bar x 40 cm3 + 1 bar x 20 cm3)/60 cm3 = 4.333 bar."""
    path, level = Restriction(0.3e-8, 0.3), 13e5 / 3
    below, above = fill_time_s(
        Chamber(20e-6),
        path,
        6e5,
        level * np.array([0.9995, 1.0005]),
        start_pa=1e5,
        reservoir_m3=40e-6,
    )
    assert np.isfinite(below)
    assert np.isinf(above)


def test_large_reservoir_is_a_constant_supply() -> None:
    chamber, path = Chamber(5e-6, 15e-6, 2e5, 4e5), Restriction(0.3e-8, 0.3)
    constant = fill_time_s(chamber, path, 6e5, 5e5)
    assert fill_time_s(chamber, path, 6e5, 5e5, reservoir_m3=1e3) == pytest.approx(
        constant, rel=1e-6
    )


def test_times_are_zero_where_the_pressure_is_already_there() -> None:
    path = Restriction(1e-8, 0.3)
    assert fill_time_s(Chamber(1e-5), path, 6e5, 3e5, start_pa=3.5e5) == 0.0
    assert vent_time_s(Chamber(1e-5), path, 2e5, 3e5) == 0.0


@pytest.mark.parametrize("kelvin", [273.15, 323.15])
def test_warm_air_fills_and_vents_faster(kelvin: float) -> None:
    """V dp/dt = R T mdot(T), stepped by scipy at the air's own temperature."""
    C, b, V = 0.3e-8, 0.3, 2e-5

    def time(p0: float, p1: float, flow: object, sign: float) -> float:
        def reached(_: float, y: np.ndarray) -> float:
            return float(y[0]) - p1

        run = solve_ivp(
            lambda _, y: [sign * R * kelvin * flow(float(y[0])) / V],  # type: ignore[operator]
            (0, 1),
            [p0],
            events=reached,
            rtol=1e-10,
            atol=1e-3,
            max_step=0.01,
        )
        return float(run.t_events[0][0])

    filled = time(1e5, 4e5, lambda p: simulate.mass_flow(C, b, 6e5, p, kelvin), 1.0)
    vented = time(4e5, 1.2e5, lambda p: simulate.mass_flow(C, b, p, 1e5, kelvin), -1.0)
    path, chamber = Restriction(C, b), Chamber(V)
    assert fill_time_s(
        chamber, path, 6e5, 4e5, start_pa=1e5, temperature_k=kelvin
    ) == pytest.approx(filled, rel=1e-6)
    assert vent_time_s(
        chamber, path, 4e5, 1.2e5, atmosphere_pa=1e5, temperature_k=kelvin
    ) == pytest.approx(vented, rel=1e-6)


def test_cylinder_moves_between_the_forces_of_load_and_spring() -> None:
    chamber = Chamber.cylinder(20e-3, 40e-3, 3e-6, load_n=31.4159265, spring_n_m=785.398163)
    area = np.pi * 1e-4
    assert chamber.move_start_pa == pytest.approx(101_325 + 31.4159265 / area)
    assert chamber.move_end_pa == pytest.approx(101_325 + 2e5)
    assert chamber.volume_m3(9e5) == pytest.approx(3e-6 + area * 0.04)
    assert chamber.volume_m3(1.5 * 1e5 + 101_325) == pytest.approx(3e-6 + area * 0.02)


@settings(max_examples=60)
@given(
    b=st.floats(0.0, 0.6),
    ps=st.floats(2e5, 9e5),
    share=st.floats(0.3, 0.99),
    rest=st.floats(1e-7, 1e-4),
    stroke=st.floats(0.0, 1e-4),
    move=st.floats(0.05, 0.9),
    n=st.floats(1.0, 1.4),
    reservoir=st.sampled_from([np.inf, 1e-3, 2e-4]),
)
def test_time_to_fill_grows_with_target_and_volume_and_falls_with_conductance(
    b: float,
    ps: float,
    share: float,
    rest: float,
    stroke: float,
    move: float,
    n: float,
    reservoir: float,
) -> None:
    chamber = Chamber(rest, stroke, move * ps, min(1.2 * move, 0.98) * ps)
    options = {"exponent": n, "reservoir_m3": reservoir}
    targets = np.linspace(1.02e5, share * ps, 12)
    targets = np.unique(np.clip(targets, 1.02e5, 0.99 * ps))
    times = fill_time_s(chamber, Restriction(1e-9, b), ps, targets, **options)
    reached = np.isfinite(times)
    assert np.all(np.diff(times[reached]) >= 0)
    assert np.all(np.diff(reached.astype(int)) <= 0)
    with_tube = fill_time_s(
        chamber, Restriction(1e-9, b), ps, targets, extra_volume_m3=1e-6, **options
    )
    assert np.all((with_tube >= times) | ~reached)
    wider = fill_time_s(chamber, Restriction(2e-9, b), ps, targets, **options)
    assert wider[reached] == pytest.approx(times[reached] / 2, rel=1e-12)
