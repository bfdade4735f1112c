"""Published whole-body equations of walking, each as printed.

Coefficients come from `optimizer/data/energy_coefficients.csv`, with the provenance of each
number beside it. References are numbered as in `energy_sources.csv`.
"""

from __future__ import annotations

from optimizer.energy.tables import coefficients

# The grade term's inner power grows without bound while the term itself has long been constant.
_STEEPEST_EXPONENT = 100.0


def oxygen_w(ml_per_min: float) -> float:
    """Watts of a rate of oxygen use in mL/min, at 20.1 J/mL.

    >>> round(oxygen_w(1000.0), 1)
    335.0
    """
    return ml_per_min * coefficients("conversion")["joule_per_ml_oxygen"] / 60.0


def pandolf_w(
    body_mass_kg: float,
    load_kg: float,
    speed_m_s: float,
    grade_percent: float = 0.0,
    terrain_factor: float = 1.0,
) -> float:
    """Gross metabolic power in W of walking with a trunk load [4].

    M = 1.5 B + 2.0 (B + L) (L/B)^2 + eta (B + L) (1.5 V^2 + 0.35 V G)

    Loads 0-70 kg, speeds up to 1.97 m/s, level or uphill (G >= 0, percent). Downhill is counted
    as level: the equation was not made for it.

    >>> round(pandolf_w(81.65, 13.61, 1.5646), 1)
    477.6
    """
    k = coefficients("pandolf")
    total_kg = body_mass_kg + load_kg
    return (
        k["standing"] * body_mass_kg
        + k["standing_load"] * total_kg * (load_kg / body_mass_kg) ** 2
        + total_kg * pandolf_moving_w_per_kg(speed_m_s, grade_percent, terrain_factor)
    )


def pandolf_moving_w_per_kg(
    speed_m_s: float, grade_percent: float = 0.0, terrain_factor: float = 1.0
) -> float:
    """Moving part of the same equation [4], W per kg of body and load: eta (1.5 V^2 + 0.35 V G)."""
    k = coefficients("pandolf")
    uphill = k["speed_grade"] * speed_m_s * max(grade_percent, 0.0)
    return terrain_factor * (k["speed_squared"] * speed_m_s**2 + uphill)


def looney_grade_w_per_kg(
    speed_m_s: float, grade_percent: float, inner_base: float | None = None
) -> float:
    """Grade term in W per kg of wearer [6]: 0.34 S G (1 - 1.05^(1 - 1.1^(G + 32))).

    Grades -40 to +45 %. `inner_base` replaces the 1.1, which one of six documents prints as 1.11.
    """
    k = coefficients("looney2019")
    base = k["grade_inner_base"] if inner_base is None else inner_base
    inner = base ** min(grade_percent + k["grade_offset"], _STEEPEST_EXPONENT)
    shape = 1.0 - k["grade_outer_base"] ** (1.0 - inner)
    return k["grade"] * speed_m_s * grade_percent * shape


def looney2019_w_per_kg(
    speed_m_s: float, grade_percent: float = 0.0, inner_base: float | None = None
) -> float:
    """Gross metabolic power in W per kg of wearer, unloaded [6].

    EE = 1.44 + 1.94 S^0.43 + 0.24 S^4 + grade term

    Speeds up to 1.96 m/s, grades -40 to +45 %.

    >>> round(looney2019_w_per_kg(1.25), 3)
    4.161
    """
    k = coefficients("looney2019")
    return (
        k["standing"]
        + k["speed_1"] * speed_m_s ** k["speed_1_exponent"]
        + k["speed_2"] * speed_m_s ** k["speed_2_exponent"]
        + looney_grade_w_per_kg(speed_m_s, grade_percent, inner_base)
    )


def looney_backpack_unloaded_w_per_kg(
    speed_m_s: float, grade_percent: float = 0.0, terrain_factor: float = 1.0
) -> float:
    """The bracket of the backpacking equation that the load factor multiplies [7], W per kg.

    0.19 + eta (1.78 S^0.58 + 0.27 S^4 + grade term of [6])
    """
    k = coefficients("looney_backpack")
    moving = (
        k["speed_1"] * speed_m_s ** k["speed_1_exponent"]
        + k["speed_2"] * speed_m_s ** k["speed_2_exponent"]
        + looney_grade_w_per_kg(speed_m_s, grade_percent)
    )
    return k["standing"] + terrain_factor * moving


def ludlow_weyand_ml_per_kg_min(speed_m_s: float, grade_percent: float = 0.0) -> float:
    """Walking part of the oxygen use, mL/min per kg of body and torso load together [8].

    3.28 + 0.32 G + (1 + 0.19 G) 2.66 V^2 on the level and uphill (G percent);
    0.73 (3.28 + 2.66 V^2) downhill, as published with a step at level. 0.4-1.6 m/s,
    -6 to +9 degrees.
    """
    k = coefficients("ludlow_weyand")
    moving = k["speed_squared"] * speed_m_s**2
    if grade_percent < 0:
        return k["decline"] * (k["walk_minimum"] + moving)
    standing = k["walk_minimum"] + k["grade_standing"] * grade_percent
    return standing + (1.0 + k["grade_speed"] * grade_percent) * moving


def acsm_ml_per_kg_min(speed_m_s: float, grade_percent: float = 0.0) -> float:
    """Gross oxygen use of walking, mL/min per kg [9]: 0.1 S + 1.8 S G/100 + 3.5, S in m/min.

    50-100 m/min, level or uphill; downhill is counted as level.

    >>> round(acsm_ml_per_kg_min(93.8 / 60, 10.0), 2)
    29.76
    """
    k = coefficients("acsm")
    speed_m_min = 60.0 * speed_m_s
    uphill = max(grade_percent, 0.0) / 100.0
    return k["horizontal"] * speed_m_min + k["vertical"] * speed_m_min * uphill + k["rest"]
