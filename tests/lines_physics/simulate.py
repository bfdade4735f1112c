"""Independent simulations with scipy: mass, energy and piston work, stepped in time.

They share only the flow function with the code under test (its closed form is tested on its
own) and none of its integrals: pressures follow from conserved mass and energy by root-finding.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from optimizer.lines.air import (
    HEAT_CAPACITY_RATIO,
    LAMINAR_ABOVE,
    REFERENCE_DENSITY_KG_M3,
    REFERENCE_PRESSURE_PA,
    REFERENCE_TEMPERATURE_K,
)

T0 = REFERENCE_TEMPERATURE_K
#: p0 = rho0 R T0: the gas constant the reference atmosphere implies.
R = REFERENCE_PRESSURE_PA / (REFERENCE_DENSITY_KG_M3 * T0)
GAMMA = HEAT_CAPACITY_RATIO
CV = R / (GAMMA - 1.0)


def share(x: float, b: float) -> float:
    """Flow function, written anew."""
    if x <= b:
        return 1.0
    if x >= 1.0:
        return 0.0
    if x > LAMINAR_ABOVE:
        top = np.sqrt(1.0 - ((LAMINAR_ABOVE - b) / (1.0 - b)) ** 2)
        return float(top * (1.0 - x) / (1.0 - LAMINAR_ABOVE))
    return float(np.sqrt(1.0 - ((x - b) / (1.0 - b)) ** 2))


def mass_flow(C: float, b: float, p_up: float, p_down: float, T_up: float = T0) -> float:
    """ISO 6358 mass flow, kg/s."""
    dense = REFERENCE_DENSITY_KG_M3 * np.sqrt(T0 / T_up)
    return float(C * p_up * dense * share(p_down / p_up, b))


@dataclass
class Piston:
    """Volume against pressure: V0, then linear up to V0 + dV between two pressures."""

    rest: float
    stroke: float = 0.0
    start: float = 2e5
    end: float = 3e5

    def volume(self, p: float) -> float:
        return self.rest + self.stroke * float(
            np.clip((p - self.start) / (self.end - self.start), 0.0, 1.0)
        )

    def work(self, p: float) -> float:
        """Work done by the air on the piston up to pressure p, J (integral of p dV)."""
        top = float(np.clip(p, self.start, self.end))
        return self.stroke * (top**2 - self.start**2) / (2.0 * (self.end - self.start))

    def slope(self, p: float) -> float:
        return self.stroke / (self.end - self.start) if self.start < p < self.end else 0.0

    def kinks(self) -> tuple[float, ...]:
        return (self.start, self.end) if self.stroke else ()


def _until(pressure: Callable[[np.ndarray], float], target: float) -> Any:
    def event(_: float, y: np.ndarray) -> float:
        return pressure(y) - target

    event.terminal = True  # type: ignore[attr-defined]
    return event


def _run(rhs: Any, y0: list[float], event: Any, horizon: float) -> Any:
    return solve_ivp(
        rhs,
        (0.0, horizon),
        y0,
        events=event,
        method="RK45",
        rtol=1e-8,
        atol=[1e-9 * abs(v) if v else 1e-15 for v in y0],
        max_step=horizon / 50,
    )


def fill(
    piston: Piston,
    C: float,
    b: float,
    supply: float,
    start: float,
    target: float,
    adiabatic: bool = False,
    reservoir: float | None = None,
    horizon: float = 2.0,
) -> tuple[float, dict[str, float]]:
    """Time to the target and the end state, from conserved mass (and energy).

    The state is mass in the chamber (isothermal) or its mass and energy plus piston work
    (adiabatic), and the mass left in the reservoir.
    """
    mass0 = start * piston.volume(start) / (R * T0)
    stored0 = mass0 * CV * T0 + piston.work(start)
    stock0 = supply * reservoir / (R * T0) if reservoir else 1.0

    def pressure(y: np.ndarray) -> float:
        if adiabatic:
            return float(
                brentq(
                    lambda p: p * piston.volume(p) / (GAMMA - 1.0) + piston.work(p) - y[1],
                    0.5 * start,
                    2.0 * supply,
                    xtol=1e-7,
                    rtol=1e-14,
                )
            )
        return float(
            brentq(
                lambda p: p * piston.volume(p) - y[0] * R * T0,
                0.5 * start,
                2.0 * supply,
                xtol=1e-7,
                rtol=1e-14,
            )
        )

    def rhs(_: float, y: np.ndarray) -> list[float]:
        p_s = y[2] * R * T0 / reservoir if reservoir else supply
        flow = mass_flow(C, b, p_s, min(pressure(y), p_s))
        return [flow, flow * GAMMA * CV * T0, -flow if reservoir else 0.0]

    run = _run(rhs, [mass0, stored0, stock0], _until(pressure, target), horizon)
    end = run.y_events[0][0]
    p_end = pressure(end)
    state = {
        "mass_in": float(end[0] - mass0),
        "mass": float(end[0]),
        "temperature": p_end * piston.volume(p_end) / (end[0] * R),
        "reservoir_pa": float(end[2] * R * T0 / reservoir) if reservoir else supply,
    }
    return float(run.t_events[0][0]), state


def vent(
    piston: Piston,
    C: float,
    b: float,
    start: float,
    target: float,
    atmosphere: float,
    adiabatic: bool = False,
    horizon: float = 2.0,
) -> tuple[float, dict[str, float]]:
    """Time to vent; adiabatic keeps mass and energy, so the air cools as it must."""
    mass0 = start * piston.volume(start) / (R * T0)
    stored0 = mass0 * CV * T0 + piston.work(start)

    def pressure(y: np.ndarray) -> float:
        def excess(p: float) -> float:
            if adiabatic:
                return p * piston.volume(p) / (GAMMA - 1.0) + piston.work(p) - y[1]
            return p * piston.volume(p) - y[0] * R * T0

        return float(brentq(excess, 0.5 * atmosphere, 2.0 * start, xtol=1e-7, rtol=1e-14))

    def rhs(_: float, y: np.ndarray) -> list[float]:
        p = pressure(y)
        T = p * piston.volume(p) / (y[0] * R) if adiabatic else T0
        flow = mass_flow(C, b, p, min(atmosphere, p), T)
        return [-flow, -flow * GAMMA * CV * T]

    run = _run(rhs, [mass0, stored0], _until(pressure, target), horizon)
    end = run.y_events[0][0]
    p_end = pressure(end)
    return float(run.t_events[0][0]), {
        "mass": float(end[0]),
        "temperature": p_end * piston.volume(p_end) / (end[0] * R),
    }
