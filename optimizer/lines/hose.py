"""Hydraulic hoses: pressure drop of a steady flow, longest hose, mass of the liquid.

References
----------
.. [1] Hagen-Poiseuille and Darcy-Weisbach, textbook; f = 64/Re below Re 2300.
.. [2] Blasius, f = 0.3164 Re^-0.25 for smooth pipes, Re 4000 to 1e5 (textbook).
.. [3] Liquids: `optimizer/data/fluids.csv`.
"""

from __future__ import annotations

from dataclasses import dataclass

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

LAMINAR_BELOW = 2300.0
TURBULENT_ABOVE = 4000.0
VALID_BELOW = 1.0e5
"""Reynolds number up to which Blasius holds; `friction_factor` refuses more."""


@dataclass(frozen=True, slots=True)
class Liquid:
    """A liquid at a temperature: dynamic viscosity [Pa s] and density [kg/m^3]."""

    name: str
    viscosity_pa_s: float
    density_kg_m3: float
    source: str
    provenance: str


def liquid(name: str) -> Liquid:
    """A liquid of `optimizer/data/fluids.csv` by name, e.g. "water 20C"."""
    rows = {row["name"]: row for row in read_table("fluids")}
    if name not in rows:
        raise ImpossiblePhysics("liquid", name, "one of " + ", ".join(rows))
    row = rows[name]
    return Liquid(
        name,
        float(row["viscosity_mpa_s"]) * 1e-3,
        float(row["density_kg_m3"]),
        row["source"],
        row["provenance"],
    )


def reynolds(
    flow_m3_s: ArrayLike, bore_m: ArrayLike, viscosity_pa_s: ArrayLike, density_kg_m3: ArrayLike
) -> FloatArray:
    """Reynolds number 4 rho Q/(pi d mu): 637 for 2 mL/s of water in 4 mm."""
    require_not_negative("flow (m3/s)", flow_m3_s)
    require_positive("hose bore (m)", bore_m)
    require_positive("viscosity (Pa s)", viscosity_pa_s)
    require_positive("density (kg/m3)", density_kg_m3)
    mass_flow = np.asarray(density_kg_m3) * np.asarray(flow_m3_s, dtype=float)
    return np.asarray(4.0 * mass_flow / (np.pi * np.asarray(bore_m) * np.asarray(viscosity_pa_s)))


def friction_factor(reynolds_number: ArrayLike) -> FloatArray:
    """Darcy friction factor of a smooth hose.

    64/Re up to 2300 [1], 0.3164 Re^-0.25 from 4000 [2], in between a straight line in Re from
    0.02783 to 0.03978. Flow there switches to and fro and no value is right, but this one is
    continuous and makes the drop grow with flow everywhere. Raises `ImpossiblePhysics` above
    Re 1e5, where Blasius ends, and at Re 0, where there is no factor.
    """
    Re = np.asarray(reynolds_number, dtype=float)
    require(Re > 0, "Reynolds number", Re, "above 0")
    require(Re <= VALID_BELOW, "Reynolds number", Re, "at most 1e5, the range of Blasius")
    turbulent = 0.3164 * np.maximum(Re, TURBULENT_ABOVE) ** -0.25
    laminar = 64.0 / np.minimum(Re, LAMINAR_BELOW)
    share = np.clip((Re - LAMINAR_BELOW) / (TURBULENT_ABOVE - LAMINAR_BELOW), 0.0, 1.0)
    return np.asarray((1.0 - share) * laminar + share * turbulent)


def pressure_drop_pa(
    flow_m3_s: ArrayLike,
    length_m: ArrayLike,
    bore_m: ArrayLike,
    viscosity_pa_s: ArrayLike,
    density_kg_m3: ArrayLike,
    *,
    fixed_pa: ArrayLike = 0.0,
) -> FloatArray:
    """Pressure lost in a straight hose [Pa], f (L/d) rho v^2/2, plus `fixed_pa` for fittings.

    Laminar this is 128 mu L Q/(pi d^4): 318.3 Pa for 2 mL/s of water (1 mPa s) through 1 m of
    4 mm; turbulent, 20 mL/s: 11 215 Pa. Grows with flow and with length.
    """
    require_not_negative("hose length (m)", length_m)
    require_not_negative("pressure lost in fittings (Pa)", fixed_pa)
    per_m = drop_per_m_pa(flow_m3_s, bore_m, viscosity_pa_s, density_kg_m3)
    return np.asarray(per_m * np.asarray(length_m) + np.asarray(fixed_pa))


def drop_per_m_pa(
    flow_m3_s: ArrayLike, bore_m: ArrayLike, viscosity_pa_s: ArrayLike, density_kg_m3: ArrayLike
) -> FloatArray:
    """Pressure lost per metre [Pa/m]; 0 without flow."""
    Re = reynolds(flow_m3_s, bore_m, viscosity_pa_s, density_kg_m3)
    f = friction_factor(np.where(Re > 0.0, Re, 1.0))
    d = np.asarray(bore_m, dtype=float)
    speed = np.asarray(flow_m3_s, dtype=float) / (np.pi / 4.0 * d**2)
    return np.asarray(f / d * np.asarray(density_kg_m3) * speed**2 / 2.0)


def max_length_for_drop_m(
    drop_pa: ArrayLike,
    flow_m3_s: ArrayLike,
    bore_m: ArrayLike,
    viscosity_pa_s: ArrayLike,
    density_kg_m3: ArrayLike,
    *,
    fixed_pa: ArrayLike = 0.0,
) -> FloatArray:
    """Longest hose [m] that loses at most `drop_pa`; the drop is linear in length.

    inf without flow, nan where the fittings alone lose too much.
    """
    budget = np.asarray(drop_pa, dtype=float)
    require_positive("pressure drop allowed (Pa)", budget)
    require_not_negative("pressure lost in fittings (Pa)", fixed_pa)
    spare = budget - np.asarray(fixed_pa)
    per_m = drop_per_m_pa(flow_m3_s, bore_m, viscosity_pa_s, density_kg_m3)
    with np.errstate(divide="ignore", invalid="ignore"):
        length = np.where(per_m > 0.0, spare / per_m, np.inf)
    return np.asarray(np.where(spare >= 0.0, length, np.nan))


def liquid_mass_kg_per_m(bore_m: ArrayLike, density_kg_m3: ArrayLike) -> FloatArray:
    """Liquid in the hose [kg/m], rho pi d^2/4: 12.6 g/m for water in 4 mm."""
    require_positive("hose bore (m)", bore_m)
    require_positive("density (kg/m3)", density_kg_m3)
    return np.asarray(np.asarray(density_kg_m3) * np.pi / 4.0 * np.asarray(bore_m) ** 2)
