"""Electric wires: sizes, resistance, voltage drop, heating, mass.

References
----------
.. [1] IEC 60228 maximum resistances at 20 degC, `optimizer/data/wire_iec60228.csv`.
.. [2] American wire gauge, d = 0.127 mm 92^((36-n)/39); `optimizer/data/wire_awg.csv` with
   currents after the Handbook of Electronic Tables and Formulas: "power transmission" is the
   rule of 700 circular mil per ampere, "chassis wiring" a wire alone in free air.
.. [3] DIN VDE 0298-4 table 11, `optimizer/data/wire_ampacity.csv`.
.. [4] Copper and insulation, `optimizer/data/wire_materials.csv`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from math import pi

import numpy as np
from numpy.typing import ArrayLike

from optimizer.lines.air import FloatArray
from optimizer.lines.impossible import (
    ImpossiblePhysics,
    require,
    require_not_negative,
    require_positive,
)
from optimizer.lines.line_tables import number, read_table

#: One circular mil in m^2 (a circle of 0.001 inch).
_CIRCULAR_MIL_M2 = pi / 4.0 * (0.001 * 0.0254) ** 2
#: Conductor kinds of IEC 60228 [1]: fine-stranded, the same tinned, solid or stranded.
CONDUCTORS = ("class5_plain", "class5_tinned", "class1_2_plain")


@dataclass(frozen=True, slots=True)
class WireSize:
    """A conductor size: copper area [m^2] and resistance of one conductor at 20 degC [ohm/m]."""

    name: str
    area_m2: float
    resistance_ohm_per_m: float
    source: str
    provenance: str


def wire_size(name: str, conductor: str = "class5_plain") -> WireSize:
    """A size by name: "AWG 20", "0.5 mm2" or "0.5".

    `conductor` (one of `CONDUCTORS`) matters for metric sizes only; AWG resistances are of solid
    wire, stranded ones are a few per cent higher. Raises `ImpossiblePhysics` listing the known.
    """
    if conductor not in CONDUCTORS:
        raise ImpossiblePhysics("kind of conductor", conductor, "one of " + ", ".join(CONDUCTORS))
    sizes = _sizes(conductor)
    text = name.strip().lower().replace("²", "2")
    gauge = re.fullmatch(r"(?:awg\s*#?\s*)(\d+)|(\d+)\s*awg", text)
    metric = re.fullmatch(r"(\d*\.?\d+)\s*(?:mm2|mm\^2|qmm)?", text)
    if gauge:
        key = f"AWG {int(gauge[1] or gauge[2])}"
    elif metric:
        key = f"{float(metric[1]):g} mm2"
    else:
        key = name
    if key not in sizes:
        raise ImpossiblePhysics("wire size", name, "one of " + ", ".join(sizes))
    return sizes[key]


@cache
def _sizes(conductor: str) -> dict[str, WireSize]:
    sizes = {}
    for row in read_table("wire_iec60228"):
        ohm_km = number(row[f"{conductor}_ohm_km"])
        if ohm_km is not None:
            name = f"{float(row['size_mm2']):g} mm2"
            sizes[name] = WireSize(
                name, float(row["size_mm2"]) * 1e-6, ohm_km * 1e-3, row["source"], row["provenance"]
            )
    for row in read_table("wire_awg"):
        name = f"AWG {row['awg']}"
        sizes[name] = WireSize(
            name,
            awg_area_m2(int(row["awg"])),
            float(row["resistance_ohm_km"]) * 1e-3,
            row["source"],
            row["provenance"],
        )
    return sizes


def wire_sizes(conductor: str = "class5_plain") -> tuple[WireSize, ...]:
    """Every known size, metric first, thin to thick; AWG thick to thin."""
    return tuple(_sizes(conductor).values())


def awg_diameter_m(gauge: int) -> float:
    """Diameter of solid wire of a gauge number [m] [2]: 0.812 mm for AWG 20."""
    return float(0.127e-3 * 92.0 ** ((36 - gauge) / 39))


def awg_area_m2(gauge: int) -> float:
    """Copper area of a gauge number [m^2] [2]."""
    return pi / 4.0 * awg_diameter_m(gauge) ** 2


def resistance_ohm_per_m(r20_ohm_per_m: ArrayLike, temperature_c: ArrayLike = 20.0) -> FloatArray:
    """Resistance [ohm/m] at a conductor temperature, R20 (1 + 0.00393 (T - 20)) [4].

    For copper between about -50 and 200 degC.
    """
    require_positive("resistance (ohm/m)", r20_ohm_per_m)
    T = np.asarray(temperature_c, dtype=float)
    require((T >= -50) & (T <= 200), "conductor temperature (degC)", T, "-50 to 200")
    warm = 1.0 + _material("copper", "temperature_coefficient") * (T - 20.0)
    return np.asarray(np.asarray(r20_ohm_per_m, dtype=float) * warm)


def worn_ohm_per_m(size: WireSize) -> float:
    """Resistance [ohm/m] at which a worn wire is judged: warm, at 40 degC (a judgement) [4].

    8 % above that at 20 degC.
    """
    worn = resistance_ohm_per_m(size.resistance_ohm_per_m, _material("copper", "worn_temperature"))
    return float(worn)


def loop_drop_v(
    current_a: ArrayLike, length_m: ArrayLike, ohm_per_m: ArrayLike, fixed_ohm: ArrayLike = 0.0
) -> FloatArray:
    """Voltage lost out and back [V], I (2 L R' + fixed): 0.39 V for 5 A, 1 m, 0.5 mm^2.

    `fixed_ohm` is what connectors and crimps of the loop add.
    """
    require_not_negative("current (A)", current_a)
    require_not_negative("wire length (m)", length_m)
    require_positive("resistance (ohm/m)", ohm_per_m)
    require_not_negative("contact resistance (ohm)", fixed_ohm)
    loop = 2.0 * np.asarray(length_m, dtype=float) * np.asarray(ohm_per_m) + np.asarray(fixed_ohm)
    return np.asarray(np.asarray(current_a, dtype=float) * loop)


def max_length_for_drop_m(
    drop_v: ArrayLike, current_a: ArrayLike, ohm_per_m: ArrayLike, fixed_ohm: ArrayLike = 0.0
) -> FloatArray:
    """Longest wire [m], one way, whose loop loses at most `drop_v` at the (peak) current.

    (drop/I - fixed)/(2 R'); inf without current, nan where the contacts alone lose too much.
    """
    V, amp = np.asarray(drop_v, dtype=float), np.asarray(current_a, dtype=float)
    require_positive("voltage drop allowed (V)", V)
    require_not_negative("current (A)", amp)
    require_positive("resistance (ohm/m)", ohm_per_m)
    require_not_negative("contact resistance (ohm)", fixed_ohm)
    with np.errstate(divide="ignore"):
        length = (V / amp - np.asarray(fixed_ohm)) / (2.0 * np.asarray(ohm_per_m, dtype=float))
    return np.asarray(np.where(length >= 0.0, length, np.nan))


def rms_a(current_a: ArrayLike, duration_s: ArrayLike | None = None) -> FloatArray:
    """Root mean square over the last axis; `duration_s` weighs steps of unequal length."""
    amp = np.asarray(current_a, dtype=float)
    if duration_s is None:
        return np.asarray(np.sqrt(np.mean(amp**2, axis=-1)))
    weight = np.asarray(duration_s, dtype=float)
    require_positive("duration (s)", weight)
    return np.asarray(np.sqrt((amp**2 * weight).sum(-1) / weight.sum(-1)))


def loop_loss_w(rms_current_a: ArrayLike, length_m: ArrayLike, ohm_per_m: ArrayLike) -> FloatArray:
    """Mean power turned into heat in both conductors [W], I_rms^2 2 L R'."""
    drop = loop_drop_v(rms_current_a, length_m, ohm_per_m)
    return np.asarray(np.asarray(rms_current_a) * drop)


def temperature_rise_k(
    rms_current_a: ArrayLike,
    ohm_per_m: ArrayLike,
    outer_diameter_m: ArrayLike,
    film_w_m2_k: ArrayLike = 10.0,
    conductors: ArrayLike = 1.0,
) -> FloatArray:
    """Steady warming [K] of a cable in still air: n I^2 R'/(h pi D).

    `film_w_m2_k` h is convection and radiation together. **10 W/(m^2 K) is a judgement on the
    safe side**: the currents of [3] for a single core in air (40 K warming) imply 18 to 24; under
    clothing it may be lower still. The mean over many strides counts, not the peak: use RMS.
    """
    require_not_negative("current (A)", rms_current_a)
    require_positive("resistance (ohm/m)", ohm_per_m)
    require_positive("outside diameter (m)", outer_diameter_m)
    require_positive("film coefficient (W/(m2 K))", film_w_m2_k)
    heat = np.asarray(conductors) * np.asarray(rms_current_a, dtype=float) ** 2 * ohm_per_m
    return np.asarray(heat / (np.asarray(film_w_m2_k) * pi * np.asarray(outer_diameter_m)))


def bundled_rating_a(area_m2: ArrayLike) -> FloatArray:
    """Current [A] that warms a wire little even in a bundle: 700 circular mil per ampere [2].

    2.8 A/mm^2; "very conservative" in the tables' own words.
    """
    require_positive("copper area (m2)", area_m2)
    return np.asarray(np.asarray(area_m2, dtype=float) / (700.0 * _CIRCULAR_MIL_M2))


def free_air_rating_a(area_m2: ArrayLike) -> FloatArray:
    """Current [A] of "chassis wiring", one wire in free air [2], by area, log-interpolated.

    Between AWG 28 and AWG 12; nan outside.
    """
    require_positive("copper area (m2)", area_m2)
    rows = sorted(
        (awg_area_m2(int(r["awg"])), float(r["chassis_a"])) for r in read_table("wire_awg")
    )
    areas, amps = np.log(np.asarray(rows)).T
    x = np.log(np.asarray(area_m2, dtype=float))
    # A size of the table itself must not fall off its end by rounding.
    inside = (x >= areas[0] - 1e-9) & (x <= areas[-1] + 1e-9)
    return np.asarray(np.where(inside, np.exp(np.interp(x, areas, amps)), np.nan))


def cable_rating_a(size_mm2: float, laying: str = "multicore_on_surface") -> float | None:
    """Rated current [A] of a metric size at 30 degC ambient [3], None where the table has none.

    `laying` is "single_core_in_air", "multicore_on_surface" or "handheld_cord". Insulation at
    70 degC is part of the rating: far too warm to wear.
    """
    column = f"{laying}_a"
    rows = read_table("wire_ampacity")
    if column not in rows[0]:
        known = ", ".join(key[:-2] for key in rows[0] if key.endswith("_a"))
        raise ImpossiblePhysics("laying of the cable", laying, f"one of {known}")
    for row in rows:
        if float(row["size_mm2"]) == size_mm2:
            return number(row[column])
    return None


def heating_caution(size: WireSize, rms_current_a: float) -> str | None:
    """A caution in words where the RMS current is high for the size, None where it is not.

    Where a worn wire gets too warm for skin depends on what covers it; these are ratings of
    wires in general [2], so the text says which one is passed.
    """
    bundled = float(bundled_rating_a(size.area_m2))
    free = float(free_air_rating_a(size.area_m2))
    if rms_current_a > free:
        return (
            f"{rms_current_a:.3g} A RMS in {size.name} is above its rating as a single wire "
            f"in free air ({free:.2g} A): choose a thicker one"
        )
    if rms_current_a > bundled:
        return (
            f"{rms_current_a:.3g} A RMS in {size.name} is above the 700 circular mil per "
            f"ampere rule for bundled wires ({bundled:.2g} A): keep it out of bundles and "
            "off the skin, or measure its warming"
        )
    return None


def conductor_mass_kg_per_m(area_m2: ArrayLike) -> FloatArray:
    """Copper of one conductor [kg/m], 8.89 g/cm^3 [4]: 4.45 g/m at 0.5 mm^2."""
    require_positive("copper area (m2)", area_m2)
    return np.asarray(_material("copper", "density") * 1e3 * np.asarray(area_m2, dtype=float))


def insulated_mass_kg_per_m(
    area_m2: ArrayLike,
    conductor_diameter_m: ArrayLike,
    outer_diameter_m: ArrayLike,
    insulation: str = "PVC",
    cores: int = 1,
) -> FloatArray:
    """Mass of `cores` insulated wires [kg/m]: copper plus rho pi (D^2 - d^2)/4 each.

    `conductor_diameter_m` d is over the strands (at least that of a solid of the area), D over
    the insulation. `insulation` is a material of [4]; its density is the middle of the range
    read there. A common jacket is one more call of `tube.wall_mass_kg_per_m`.
    """
    d = np.asarray(conductor_diameter_m, dtype=float)
    D = np.asarray(outer_diameter_m, dtype=float)
    solid = np.sqrt(4.0 / pi * np.asarray(area_m2, dtype=float))
    require(
        d >= solid * (1.0 - 1e-3),
        "diameter of the conductor (m)",
        d,
        "at least that of a solid of the same area",
    )
    require(d <= D, "diameter over the insulation (m)", D, "at least that of the conductor")
    require(np.asarray(cores) >= 1, "number of cores", cores, "at least 1")
    plastic = _material(insulation, "density") * 1e3 * pi / 4.0 * (D**2 - d**2)
    return np.asarray(cores * (conductor_mass_kg_per_m(area_m2) + plastic))


def insulation_materials() -> tuple[str, ...]:
    """Names `insulated_mass_kg_per_m` knows."""
    return tuple(
        row["material"]
        for row in read_table("wire_materials")
        if row["quantity"] == "density" and row["material"] != "copper"
    )


def _material(material: str, quantity: str) -> float:
    for row in read_table("wire_materials"):
        if row["material"] == material and row["quantity"] == quantity:
            return float(row["value"])
    raise ImpossiblePhysics("insulation", material, "one of " + ", ".join(insulation_materials()))
