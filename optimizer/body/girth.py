"""Breadths, depths and circumferences of the wearer, from ANSUR II medians of the population.

Scaling is an assumption of ours: the body keeps its density, so a cross-section's size goes with
sqrt(mass / stature); foot, heel, ankle bone and shoulder breadths and the height of the waist go
with stature alone. At the ANSUR mean stature and mass the ANSUR mean comes out exactly.
"""

from __future__ import annotations

from math import sqrt

from optimizer.body.anthropometry import ansur

#: Our name -> ANSUR II dimension that grows with sqrt(mass / stature).
_GIRTHS: dict[str, str] = {
    "waist_breadth_m": "waistbreadth",
    "waist_depth_m": "waistdepth",
    "waist_circumference_m": "waistcircumference",
    "chest_breadth_m": "chestbreadth",
    "chest_depth_m": "chestdepth",
    "chest_circumference_m": "chestcircumference",
    "hip_width_m": "hipbreadth",
    "buttock_depth_m": "buttockdepth",
    "buttock_circumference_m": "buttockcircumference",
    "thigh_circumference_m": "thighcircumference",
    "lower_thigh_circumference_m": "lowerthighcircumference",
    "calf_circumference_m": "calfcircumference",
    "ankle_circumference_m": "anklecircumference",
}
#: Our name -> ANSUR II dimension that grows with stature.
_BONY: dict[str, str] = {
    "foot_breadth_m": "footbreadthhorizontal",
    "heel_breadth_m": "heelbreadth",
    "ankle_breadth_m": "bimalleolarbreadth",
    "shoulder_breadth_m": "biacromialbreadth",
}
#: Every name `default_girths` gives.
GIRTH_NAMES: tuple[str, ...] = (*_GIRTHS, *_BONY, "waist_height_m")


def default_girths(sex: str, stature_m: float, mass_kg: float) -> dict[str, float]:
    """Breadths, depths and circumferences [m] for a wearer nobody measured.

    "hip_width_m" is the breadth over the hips with its soft tissue; the lower thigh's
    circumference is taken just above the knee.
    "waist_height_m" is the height of the waist (navel) above the hip joints, these taken at the
    height of the trochanterion.
    """
    table = ansur(sex)
    tall = stature_m / table["stature_mean"]
    thick = sqrt((mass_kg / table["mass_mean"]) / tall)
    sizes = {name: table[f"{dimension}_mean"] * thick for name, dimension in _GIRTHS.items()}
    sizes |= {name: table[f"{dimension}_mean"] * tall for name, dimension in _BONY.items()}
    waist = table["waistheightomphalion_mean"] - table["trochanterionheight_mean"]
    sizes["waist_height_m"] = waist * tall
    return sizes


def population_warnings(sex: str, stature_m: float, mass_kg: float) -> tuple[str, ...]:
    """Say when stature or mass lies more than three standard deviations off ANSUR II's mean.

    The published tables rest on adults of ordinary build; nothing was read on children, the old
    or the obese.
    """
    table = ansur(sex)
    found = []
    for name, value, unit in (("stature", stature_m, "m"), ("mass", mass_kg, "kg")):
        mean, sd = table[f"{name}_mean"], table[f"{name}_sd"]
        if abs(value - mean) > 3.0 * sd:
            found.append(
                f"{name} {value:.3g} {unit} is outside {mean - 3 * sd:.3g}-{mean + 3 * sd:.3g} "
                f"{unit} (ANSUR II {sex}, mean +- 3 SD): body tables are extrapolated"
            )
    return tuple(found)
