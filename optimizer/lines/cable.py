"""Pull-cables in sheaths: friction, bend budget, stretch, housing compression, mass.

References
----------
.. [1] Euler-Eytelwein (capstan) equation, textbook: T2 = T1 exp(mu theta), theta the sum of all
   bend angles along the path in rad; independent of bend radius and, to first order, of length.
   One on-body knee-extension cable is reported to transmit 78.68 % of its force at 475 mm
   length (Li et al., abstract), i.e. mu theta = 0.24.
.. [2] Wire-rope maker's stretch factors, `optimizer/data/cable_ropes.csv`.
.. [3] API/ISO wire-rope table C.1, 6x7 ropes, `optimizer/data/cable_mass.csv`.
.. [4] Friction tables, `optimizer/data/cable_friction.csv`: flat surfaces; no coefficient measured
   in a sheath could be read.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike

from optimizer.lines.air import FloatArray
from optimizer.lines.impossible import (
    ImpossiblePhysics,
    require,
    require_not_negative,
    require_positive,
)
from optimizer.lines.line_tables import read_table

_LBF_N = 4.4482216152605
_INCH_M = 0.0254


def efficiency(friction: ArrayLike, bend_rad: ArrayLike) -> FloatArray:
    """Share of the force that arrives, exp(-mu theta) [1]: 0.730 for mu 0.1 and 180 deg."""
    require_not_negative("friction coefficient", friction)
    require_not_negative("total bend (rad)", bend_rad)
    return np.asarray(np.exp(-np.asarray(friction, dtype=float) * np.asarray(bend_rad)))


def friction_ranges() -> Mapping[str, tuple[float, float]]:
    """(low, high) friction coefficient by pair of materials [4], to choose an input from."""
    return {
        row["pair"]: (float(row["low"]), float(row["high"])) for row in read_table("cable_friction")
    }


def input_force_n(output_n: ArrayLike, friction: ArrayLike, bend_rad: ArrayLike) -> FloatArray:
    """Pull [N] the motor must give for a pull at the joint, F exp(mu theta) [1]."""
    require_not_negative("force at the joint (N)", output_n)
    return np.asarray(np.asarray(output_n) / efficiency(friction, bend_rad))


def bend_budget_rad(
    efficiency_floor: ArrayLike, friction: ArrayLike, fixed_bend_rad: ArrayLike = 0.0
) -> FloatArray:
    """Total bend [rad] a route may have so that the efficiency stays at or above a floor.

    -ln(floor)/mu minus the bends every route has (`fixed_bend_rad`: turns at the ends, joints
    through gait). inf without friction; a negative answer means that no route will do.
    """
    floor = np.asarray(efficiency_floor, dtype=float)
    mu = np.asarray(friction, dtype=float)
    require(
        (floor > 0) & (floor <= 1), "least efficiency of the cable", floor, "above 0 and at most 1"
    )
    require_not_negative("friction coefficient", mu)
    require_not_negative("bend of every route (rad)", fixed_bend_rad)
    with np.errstate(divide="ignore", invalid="ignore"):
        budget = np.where(mu > 0.0, -np.log(floor) / mu, np.inf)
    return np.asarray(budget - np.asarray(fixed_bend_rad))


def bend_through_gait_rad(
    route_bend_rad: ArrayLike,
    joint_angles_rad: ArrayLike,
    straight_angles_rad: ArrayLike = 0.0,
) -> FloatArray:
    """Total bend [rad] at each instant of gait of a cable along flexing joints.

    `joint_angles_rad` is (joints crossed, instants); `straight_angles_rad` the angle at which
    the cable runs straight past each joint (0, the standing pose). A cable carried by both
    segments turns through as much as the joint does, whichever way: route + sum |angle -
    straight|. (n instants,). With no joint crossed give an array of shape (0, n).
    """
    angles = np.asarray(joint_angles_rad, dtype=float)
    if angles.ndim != 2:
        raise ImpossiblePhysics(
            "joint angles", f"{angles.ndim} dimensions", "an array (joints crossed, instants)"
        )
    require_not_negative("bend of the route (rad)", route_bend_rad)
    straight = np.asarray(straight_angles_rad, dtype=float)
    if straight.ndim == 1:
        straight = straight[:, None]
    return np.asarray(np.asarray(route_bend_rad) + np.abs(angles - straight).sum(axis=0))


def _mean_share(friction: ArrayLike, bend_rad: ArrayLike) -> FloatArray:
    """Mean tension along the path over the pull at the motor, bends spread evenly."""
    require_not_negative("friction coefficient", friction)
    require_not_negative("total bend (rad)", bend_rad)
    x = np.asarray(np.asarray(friction, dtype=float) * np.asarray(bend_rad, dtype=float))
    safe = np.where(x > 0.0, x, 1.0)
    return np.asarray(np.where(x > 0.0, -np.expm1(-safe) / safe, 1.0))


def stretch_m(
    force_n: ArrayLike,
    length_m: ArrayLike,
    stiffness_n: ArrayLike,
    *,
    friction: ArrayLike = 0.0,
    bend_rad: ArrayLike = 0.0,
) -> FloatArray:
    """Elastic stretch [m] of the cable, F L/(E A), F the pull at the motor.

    `stiffness_n` is E A (`rope_stiffness_n`). With friction the tension falls along the path as
    exp(-mu theta); bends spread evenly give the factor (1 - exp(-mu theta))/(mu theta).
    """
    require_not_negative("pull at the motor (N)", force_n)
    require_not_negative("cable length (m)", length_m)
    require_positive("axial stiffness E A of the cable (N)", stiffness_n)
    plain = np.asarray(force_n, dtype=float) * np.asarray(length_m) / np.asarray(stiffness_n)
    return np.asarray(plain * _mean_share(friction, bend_rad))


def housing_compression_m(
    force_n: ArrayLike,
    length_m: ArrayLike,
    housing_stiffness_n: ArrayLike,
    *,
    friction: ArrayLike = 0.0,
    bend_rad: ArrayLike = 0.0,
) -> FloatArray:
    """Shortening [m] of the housing, which carries the cable's tension as compression.

    Same law as `stretch_m` with the housing's axial stiffness (N, force per strain). No
    published stiffness was found: give a maker's or a measured one.
    """
    require_positive("axial stiffness of the housing (N)", housing_stiffness_n)
    return stretch_m(force_n, length_m, housing_stiffness_n, friction=friction, bend_rad=bend_rad)


def lost_motion_m(
    force_n: ArrayLike,
    length_m: ArrayLike,
    stiffness_n: ArrayLike,
    *,
    housing_stiffness_n: ArrayLike = np.inf,
    friction: ArrayLike = 0.0,
    bend_rad: ArrayLike = 0.0,
) -> FloatArray:
    """Travel [m] lost to stretch and housing compression together."""
    housing = np.asarray(housing_stiffness_n, dtype=float)
    require(housing > 0, "axial stiffness of the housing (N)", housing, "above 0")
    cable = stretch_m(force_n, length_m, stiffness_n, friction=friction, bend_rad=bend_rad)
    return np.asarray(cable * (1.0 + np.asarray(stiffness_n, dtype=float) / housing))


def rope_stiffness_n(
    diameter_m: ArrayLike, construction: str = "7x7", material: str = "stainless"
) -> FloatArray:
    """Axial stiffness E A [N] of a wire rope after its constructional stretch is pulled out.

    From the maker's factor G [2]: elongation in % = G load[lbf]/diameter[in]^2, so
    E A = 100 d^2/G; about 57 GPa d^2 for 7x7 stainless. Approximate by the maker's own words.
    """
    require_positive("rope diameter (m)", diameter_m)
    factors = {
        (row["construction"], row["material"]): float(row["stretch_factor"])
        for row in read_table("cable_ropes")
    }
    if (construction, material) not in factors:
        known = ", ".join(f"{c} {m}" for c, m in factors)
        raise ImpossiblePhysics(
            "rope construction", f"{construction} {material}", f"one of {known}"
        )
    inches = np.asarray(diameter_m, dtype=float) / _INCH_M
    return np.asarray(100.0 * inches**2 / factors[construction, material] * _LBF_N)


def rope_mass_kg_per_m(diameter_m: ArrayLike) -> FloatArray:
    """Mass of steel rope [kg/m], k d^2 with k of 6x7 fibre-core rope [3]: 7.8 g/m at 1.5 mm.

    An extrapolation from 6 and 10 mm rope, where k agrees to 0.2 %; a steel core adds about
    10 % (estimate).
    """
    require_positive("rope diameter (m)", diameter_m)
    k = np.mean(
        [
            float(row["mass_g_m"]) * 1e-3 / (float(row["diameter_mm"]) * 1e-3) ** 2
            for row in read_table("cable_mass")
        ]
    )
    return np.asarray(float(k) * np.asarray(diameter_m, dtype=float) ** 2)
