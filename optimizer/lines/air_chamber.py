"""An air chamber whose volume may grow with pressure, and closed forms for a fixed one.

References
----------
.. [1] Mass and energy balance of a control volume with ISO 6358 flow, p0 = rho0 R T0:
   V dp/dt + n p dV/dt = n R Ts mdot (n = 1 isothermal, n = gamma without heat loss; in between,
   the share (gamma - n)/(gamma - 1) of the inflow's flow work R Ts mdot is lost as heat).
.. [2] Teaching hypertext "Hyper-Pneumatics", content/sizing.js, section filling-emptying: the
   choked closed forms and worked numbers.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from optimizer.lines.air import ATMOSPHERE_PA, REFERENCE_PRESSURE_PA, FloatArray
from optimizer.lines.impossible import require, require_not_negative, require_positive

#: Narrowest ramp, relative to its pressure: a piston that moves at constant pressure becomes a
#: ramp this steep, so that one formula serves both. Shifts a time by less than 1e-6 of itself.
_LEAST_RAMP = 1e-6


@dataclass(frozen=True, slots=True)
class Chamber:
    """The volume a line fills. Arrays are allowed in every field and broadcast.

    `rest_volume_m3` is there from the start (dead volume of cylinder, port and valve side, not
    the tube). `stroke_volume_m3` is added as the pressure rises from `move_start_pa` to
    `move_end_pa` (absolute), linearly in pressure: a piston or bellows against a spring. Equal
    pressures mean that it moves at constant pressure (a constant load). The same law holds on
    the way down: friction, which would hold the piston back a little in both directions, and
    inertia are left out, so times are those of a quasi-static load.
    """

    rest_volume_m3: ArrayLike
    stroke_volume_m3: ArrayLike = 0.0
    move_start_pa: ArrayLike = ATMOSPHERE_PA
    move_end_pa: ArrayLike = ATMOSPHERE_PA

    @classmethod
    def cylinder(
        cls,
        bore_m: ArrayLike,
        stroke_m: ArrayLike,
        dead_volume_m3: ArrayLike,
        *,
        load_n: ArrayLike = 0.0,
        spring_n_m: ArrayLike = 0.0,
        atmosphere_pa: ArrayLike = ATMOSPHERE_PA,
    ) -> Chamber:
        """Single-acting cylinder, p = p_atm + (load + spring x)/A at piston travel x.

        `load_n` is the force at the start of the stroke, preload of the spring included.
        """
        bore = np.asarray(bore_m, dtype=float)
        require_positive("cylinder bore (m)", bore)
        require_positive("cylinder stroke (m)", stroke_m)
        require_not_negative("load on the cylinder (N)", load_n)
        require_not_negative("spring rate (N/m)", spring_n_m)
        area = np.pi / 4.0 * bore**2
        start = np.asarray(atmosphere_pa) + np.asarray(load_n) / area
        end = start + np.asarray(spring_n_m) * np.asarray(stroke_m) / area
        return cls(dead_volume_m3, area * np.asarray(stroke_m), start, end)

    def check(self) -> None:
        """Raise `ImpossiblePhysics` for volumes or pressures no chamber can have."""
        require_not_negative("chamber volume at rest (m3)", self.rest_volume_m3)
        require_not_negative("stroke volume (m3)", self.stroke_volume_m3)
        require_positive(
            "chamber volume with its stroke (m3)",
            np.asarray(self.rest_volume_m3) + np.asarray(self.stroke_volume_m3),
        )
        start = np.asarray(self.move_start_pa, dtype=float)
        end = np.asarray(self.move_end_pa, dtype=float)
        require_positive("pressure at which the stroke starts (Pa absolute)", start)
        require(
            end >= start,
            "pressure at which the stroke ends (Pa absolute)",
            end,
            "at least the pressure at which it starts",
        )

    def ramp(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """(start pressure, end pressure, slope dV/dp) of the stroke, end just above start."""
        start = np.asarray(self.move_start_pa, dtype=float)
        end = np.maximum(np.asarray(self.move_end_pa, dtype=float), start * (1.0 + _LEAST_RAMP))
        slope = np.asarray(self.stroke_volume_m3, dtype=float) / (end - start)
        return start, end, slope

    def volume_m3(self, pressure_pa: ArrayLike) -> FloatArray:
        """Volume [m^3] at a pressure (Pa absolute)."""
        start, end, slope = self.ramp()
        p = np.clip(np.asarray(pressure_pa, dtype=float), start, end)
        return np.asarray(np.asarray(self.rest_volume_m3) + slope * (p - start))


def time_constant_s(volume_m3: ArrayLike, conductance: ArrayLike) -> FloatArray:
    """V/(C p0) [s]: the clock of filling and emptying at T0 [2]."""
    V = np.asarray(volume_m3, dtype=float)
    C = np.asarray(conductance, dtype=float)
    require_positive("volume (m3)", V)
    require_positive("sonic conductance (m3/(s Pa))", C)
    return np.asarray(V / (C * REFERENCE_PRESSURE_PA))


def choked_fill_time_s(
    volume_m3: ArrayLike,
    conductance: ArrayLike,
    supply_pa: ArrayLike,
    start_pa: ArrayLike,
    end_pa: ArrayLike,
    *,
    exponent: ArrayLike = 1.0,
) -> FloatArray:
    """t = V (p2 - p1)/(n C ps p0) [s], valid while end <= b times supply [2].

    10 L, C = 2 dm^3/(s bar), 1.013 -> 2.0 bar from 7.013 bar: 0.704 s (published [2]).
    """
    rise = (np.asarray(end_pa, dtype=float) - np.asarray(start_pa)) / np.asarray(supply_pa)
    return np.asarray(time_constant_s(volume_m3, conductance) * rise / np.asarray(exponent))


def choked_vent_time_s(
    volume_m3: ArrayLike,
    conductance: ArrayLike,
    start_pa: ArrayLike,
    end_pa: ArrayLike,
    *,
    exponent: ArrayLike = 1.0,
) -> FloatArray:
    """t = tau ln(p1/p2)/n [s] at constant flow temperature, while end >= atmosphere/b [2].

    50 L, C = 5 dm^3/(s bar), 8.013 -> 3.38 bar: 8.6 s (published [2]). With n > 1 this is the
    text's approximation; `vent_time_s` also counts the cooling of the outflow.
    """
    fall = np.log(np.asarray(start_pa, dtype=float) / np.asarray(end_pa))
    return np.asarray(time_constant_s(volume_m3, conductance) * fall / np.asarray(exponent))


def fixed_volume_fill_time_s(
    volume_m3: ArrayLike,
    conductance: ArrayLike,
    critical_ratio: ArrayLike,
    *,
    supply_pa: ArrayLike,
    start_pa: ArrayLike,
    end_pa: ArrayLike,
    exponent: ArrayLike = 1.0,
) -> FloatArray:
    r"""Filling time [s] of a fixed volume from a constant supply, in closed form.

    t = tau/n [max(b - x1, 0) + (1-b)(asin z2 - asin z1)], z = max((x - b)/(1 - b), 0), x = p/ps;
    the ellipse up to x = 1 without the laminar line. 1 L, C = 1 dm^3/(s bar), b = 0.3 from
    7.013 bar, 1.013 bar to 98 % of 6 bar gauge: 1.10 s isothermal, 0.79 s adiabatic
    (published [2]).
    """
    b = np.asarray(critical_ratio, dtype=float)
    x1 = np.asarray(start_pa, dtype=float) / np.asarray(supply_pa)
    x2 = np.asarray(end_pa, dtype=float) / np.asarray(supply_pa)
    require((b >= 0) & (b < 1), "critical pressure ratio b", b, "at least 0 and below 1")
    require(x2 <= 1, "end pressure over supply pressure", x2, "at most 1")
    choked = np.maximum(np.minimum(b, x2) - x1, 0.0)
    angle = np.arcsin(np.clip((x2 - b) / (1.0 - b), 0, 1)) - np.arcsin(
        np.clip((x1 - b) / (1.0 - b), 0, 1)
    )
    tau = time_constant_s(volume_m3, conductance)
    return np.asarray(tau * (choked + (1.0 - b) * angle) / np.asarray(exponent))
