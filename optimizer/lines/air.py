"""Air through a restriction: the ISO 6358 flow model and its constants.

All pressures are absolute. Flow "ANR" is volume at the reference atmosphere of ISO 8778
(20 degC, 100 kPa, 65 % relative humidity). Sonic conductance C is in m^3/(s Pa);
1 dm^3/(s bar), the unit of catalogues, is `DM3_PER_S_BAR`.

References
----------
.. [1] ISO 6358-1:2013, Pneumatic fluid power: flow-rate characteristics. Equations read in two
   makers' component pages; the 2013 subsonic index (default 0.5) from memory, not verified.
.. [2] ISO 8778, reference atmosphere: values read in a public pneumatics teaching text.
.. [3] Teaching hypertext "Hyper-Pneumatics", content/sizing.js: worked examples that the tests
   reproduce.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.lines.impossible import require, require_not_negative, require_positive

FloatArray = NDArray[np.float64]

REFERENCE_PRESSURE_PA = 1.0e5
"""p0 of the reference atmosphere [2]."""
REFERENCE_TEMPERATURE_K = 293.15
"""T0 of the reference atmosphere [2]."""
REFERENCE_DENSITY_KG_M3 = 1.185
"""rho0 of the reference atmosphere [2]; p0/(rho0 T0) = 287.9 J/(kg K), moist air."""
DRY_AIR_J_KG_K = 287.05
"""Gas constant of dry air (textbook), used for the speed of sound."""
HEAT_CAPACITY_RATIO = 1.4
"""gamma of air (textbook)."""
ATMOSPHERE_PA = 101_325.0
"""Standard atmosphere; 1.3 % above p0, which is why the two are never mixed up here."""
DM3_PER_S_BAR = 1.0e-8
"""1 dm^3/(s bar) in m^3/(s Pa)."""
LAMINAR_ABOVE = 0.999
"""Pressure ratio above which the flow function is a straight line to zero at 1."""


def flow_function(
    ratio: ArrayLike,
    critical_ratio: ArrayLike,
    subsonic_index: ArrayLike = 0.5,
    laminar_above: float = LAMINAR_ABOVE,
) -> FloatArray:
    r"""Share of the choked flow at a pressure ratio, phi(x) of ISO 6358 [1].

    .. math:: \phi = 1 \;(x \le b), \qquad
       \phi = \left[1 - \left(\frac{x-b}{1-b}\right)^2\right]^m \;(b < x \le x_l)

    and a straight line from phi(x_l) to 0 at x = 1 above x_l = `laminar_above`, because the
    slope of the ellipse is infinite at 1, where real flow turns laminar. With x_l = 0.999 the
    line carries at most 0.071 of the choked flow (b <= 0.6) and changes no time to a pressure
    below 99.9 % of the supply at all.

    Parameters are downstream/upstream pressure ratio [-], critical ratio b [-], subsonic index m
    [-]; arrays broadcast. Raises `ImpossiblePhysics` for a ratio outside 0..1 or b outside 0..1.
    """
    x = np.asarray(ratio, dtype=float)
    b = np.asarray(critical_ratio, dtype=float)
    require((x >= 0) & (x <= 1), "pressure ratio", x, "0 to 1, downstream over upstream")
    require((b >= 0) & (b < 1), "critical pressure ratio b", b, "at least 0 and below 1")
    return phi(x, b, np.asarray(subsonic_index, dtype=float), laminar_above)


def phi(
    x: FloatArray, b: FloatArray, m: FloatArray | float = 0.5, laminar_above: float = LAMINAR_ABOVE
) -> FloatArray:
    """`flow_function` without checks, for inner loops; 0 for x >= 1."""
    edge = np.maximum(laminar_above, b)
    relative = np.clip((np.minimum(x, edge) - b) / (1.0 - b), 0.0, 1.0)
    bow = (1.0 - relative) * (1.0 + relative)
    curve = np.sqrt(bow) if isinstance(m, float) and m == 0.5 else bow**m
    line = np.clip((1.0 - x) / (1.0 - edge), 0.0, 1.0)
    return np.asarray(curve * line, dtype=float)


def flow_anr_m3_s(
    conductance: ArrayLike,
    critical_ratio: ArrayLike,
    upstream_pa: ArrayLike,
    downstream_pa: ArrayLike,
    *,
    temperature_k: ArrayLike = REFERENCE_TEMPERATURE_K,
    subsonic_index: ArrayLike = 0.5,
) -> FloatArray:
    r"""Volume flow ANR [m^3/s] through a restriction: Q = C p1 sqrt(T0/T1) phi(p2/p1) [1].

    Example (a valve maker's worked number, 420 dm^3/min): C = 2 dm^3/(s bar), b = 0.3, from
    0.5 to 0.4 MPa absolute gives 419.9 dm^3/min.

    >>> round(float(flow_anr_m3_s(2e-8, 0.3, 0.5e6, 0.4e6)) * 6e4, 1)
    419.9
    """
    C = np.asarray(conductance, dtype=float)
    p1 = np.asarray(upstream_pa, dtype=float)
    p2 = np.asarray(downstream_pa, dtype=float)
    T1 = np.asarray(temperature_k, dtype=float)
    require_positive("sonic conductance (m3/(s Pa))", C)
    require_positive("upstream pressure (Pa absolute)", p1)
    require_positive("temperature (K)", T1)
    require(p2 <= p1, "downstream pressure (Pa absolute)", p2, "at most the upstream pressure")
    share = flow_function(p2 / p1, critical_ratio, subsonic_index)
    return np.asarray(C * p1 * np.sqrt(REFERENCE_TEMPERATURE_K / T1) * share)


def mass_flow_kg_s(
    conductance: ArrayLike,
    critical_ratio: ArrayLike,
    upstream_pa: ArrayLike,
    downstream_pa: ArrayLike,
    *,
    temperature_k: ArrayLike = REFERENCE_TEMPERATURE_K,
    subsonic_index: ArrayLike = 0.5,
) -> FloatArray:
    """Mass flow [kg/s] through a restriction: rho0 times `flow_anr_m3_s` [1]."""
    return REFERENCE_DENSITY_KG_M3 * flow_anr_m3_s(
        conductance,
        critical_ratio,
        upstream_pa,
        downstream_pa,
        temperature_k=temperature_k,
        subsonic_index=subsonic_index,
    )


def downstream_pressure_pa(
    conductance: ArrayLike,
    critical_ratio: ArrayLike,
    upstream_pa: ArrayLike,
    flow_anr: ArrayLike,
) -> FloatArray:
    r"""Pressure [Pa] left behind a restriction that passes a steady flow ANR [m^3/s] at T0.

    The inverse of the ellipse, p2 = p1 [b + (1-b) sqrt(1 - (Q/(C p1))^2)]. Raises
    `ImpossiblePhysics` for a flow above the choked one. The laminar line near 1 is left out: it
    would move the answer by less than 0.1 % of p1.

    Example: a coupling of C = 3 dm^3/(s bar), b = 0.3 at 7 bar passing 400 dm^3/min leaves
    6.75 bar (published [3]).
    """
    C = np.asarray(conductance, dtype=float)
    b = np.asarray(critical_ratio, dtype=float)
    p1 = np.asarray(upstream_pa, dtype=float)
    Q = np.asarray(flow_anr, dtype=float)
    require_positive("sonic conductance (m3/(s Pa))", C)
    require((b >= 0) & (b < 1), "critical pressure ratio b", b, "at least 0 and below 1")
    require_positive("upstream pressure (Pa absolute)", p1)
    require_not_negative("flow ANR (m3/s)", Q)
    load = Q / (C * p1)
    require(load <= 1, "flow ANR (m3/s)", Q, "at most the choked flow C p1")
    return np.asarray(p1 * (b + (1.0 - b) * np.sqrt(1.0 - load * load)))


def orifice_conductance(area_m2: ArrayLike, discharge: ArrayLike = 1.0) -> FloatArray:
    r"""Sonic conductance [m^3/(s Pa)] of an orifice or a fitting's narrowest bore.

    C = Cd psi A / (rho0 sqrt(R T0)), psi = sqrt(gamma) (2/(gamma+1))^((gamma+1)/(2(gamma-1)))
    = 0.6847 (ideal nozzle, textbook). 0.199 dm^3/(s bar) per mm^2 at Cd = 1; real entries have
    0.16, i.e. Cd 0.8 [3].
    """
    A = np.asarray(area_m2, dtype=float)
    Cd = np.asarray(discharge, dtype=float)
    require_positive("orifice area (m2)", A)
    require((Cd > 0) & (Cd <= 1), "discharge coefficient", Cd, "above 0 and at most 1")
    g = HEAT_CAPACITY_RATIO
    psi = np.sqrt(g) * (2.0 / (g + 1.0)) ** ((g + 1.0) / (2.0 * (g - 1.0)))
    rt = DRY_AIR_J_KG_K * REFERENCE_TEMPERATURE_K
    return np.asarray(Cd * psi * A / (REFERENCE_DENSITY_KG_M3 * np.sqrt(rt)))


def speed_of_sound_m_s(temperature_k: ArrayLike = REFERENCE_TEMPERATURE_K) -> FloatArray:
    """Speed of sound in dry air [m/s], sqrt(gamma R T): 343.2 m/s at 20 degC."""
    T = np.asarray(temperature_k, dtype=float)
    require_positive("temperature (K)", T)
    return np.asarray(np.sqrt(HEAT_CAPACITY_RATIO * DRY_AIR_J_KG_K * T))


def acoustic_delay_s(
    length_m: ArrayLike, temperature_k: ArrayLike = REFERENCE_TEMPERATURE_K
) -> FloatArray:
    """Time [s] before the far end of a tube feels anything, L/c: 8.74 ms for 3 m at 20 degC."""
    L = np.asarray(length_m, dtype=float)
    require_not_negative("tube length (m)", L)
    return np.asarray(L / speed_of_sound_m_s(temperature_k))


def choked_piston_speed_m_s(conductance: ArrayLike, area_m2: ArrayLike) -> FloatArray:
    """Speed [m/s] of a piston whose exhaust path is choked, v = C p0/A at T0 [3]."""
    C = np.asarray(conductance, dtype=float)
    A = np.asarray(area_m2, dtype=float)
    require_positive("sonic conductance (m3/(s Pa))", C)
    require_positive("piston area (m2)", A)
    return np.asarray(C * REFERENCE_PRESSURE_PA / A)


def adiabatic_fill_temperature_k(
    start_pa: ArrayLike,
    end_pa: ArrayLike,
    supply_k: ArrayLike = REFERENCE_TEMPERATURE_K,
    start_k: ArrayLike = REFERENCE_TEMPERATURE_K,
) -> FloatArray:
    r"""Air temperature [K] after filling a fixed volume without heat loss.

    T2 = gamma Ts / [1 + (p1/p2)(gamma Ts/T1 - 1)] from the mass and energy balance of the
    volume; about 115 degC for 1.013 -> 7.013 bar from 20 degC air (published [3]).
    """
    p1 = np.asarray(start_pa, dtype=float)
    p2 = np.asarray(end_pa, dtype=float)
    hot = HEAT_CAPACITY_RATIO * np.asarray(supply_k, dtype=float)
    T1 = np.asarray(start_k, dtype=float)
    require_positive("start pressure (Pa absolute)", p1)
    require(p2 >= p1, "end pressure (Pa absolute)", p2, "at least the start pressure")
    require_positive("temperature (K)", T1)
    return np.asarray(hot / (1.0 + p1 / p2 * (hot / T1 - 1.0)))
