"""Air tubes: conductance models, sizes, mass and inside volume.

References
----------
.. [1] Tube formula attributed to Eckersten, quoted by Beater (2007), Pneumatic Drives. **The
   formula was not read in any source**: it is from memory. Its units and size were checked
   against [2], limits of short and long tubes and one parameter list (L = 10 m, 4 mm bore:
   C 4.5e-9 m^3/(s Pa) there, 4.54e-9 here).
.. [2] Teaching hypertext "Hyper-Pneumatics", content/sizing.js, section conductance-series:
   friction model and table of 20 conductances (`optimizer/data/tube_conductance.csv`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from optimizer.lines.air import (
    DM3_PER_S_BAR,
    DRY_AIR_J_KG_K,
    REFERENCE_DENSITY_KG_M3,
    REFERENCE_TEMPERATURE_K,
    FloatArray,
)
from optimizer.lines.air_path import Restriction
from optimizer.lines.impossible import (
    ImpossiblePhysics,
    require,
    require_not_negative,
    require_positive,
)
from optimizer.lines.line_tables import number, read_table


def eckersten(bore_m: FloatArray, length_m: FloatArray) -> Restriction:
    r"""C = 0.029 d^2/sqrt(L/d^1.25 + 510), b = 474 C/d^2, SI [1]; b kept at most 0.6.

    Against the published table [2]: -9 to -12 % at 2.5 mm bore, -3 to -8 % at 4 mm and within
    3 % from 5.5 mm up, for 0.5 to 3 m; -16 % at 2.5 mm and 10 m (`conductance_errors`). Low
    conductance means too long a time: the safe side.
    """
    C = 0.029 * bore_m**2 / np.sqrt(length_m / bore_m**1.25 + 510.0)
    return Restriction(C, np.minimum(474.0 * C / bore_m**2, 0.6))


def friction(bore_m: FloatArray, length_m: FloatArray) -> Restriction:
    r"""Isothermal pipe friction in series with an entry loss [2]; b = 0.

    C_f = A/(rho0 sqrt(R T0 f L/d)) with f = 0.02, entry 0.16 dm^3/(s bar) per mm^2 of bore,
    1/C^2 = 1/C_f^2 + 1/C_e^2. Reproduces 19 of the 20 published conductances to their two
    digits and the last one (10x7.5, 10 m: 2.35 for 2.4) to 2.2 %.
    """
    area = np.pi / 4.0 * bore_m**2
    entry = 0.16 * DM3_PER_S_BAR * area * 1e6
    rt = DRY_AIR_J_KG_K * REFERENCE_TEMPERATURE_K
    inverse_square = (
        rt * 0.02 * length_m / bore_m * (REFERENCE_DENSITY_KG_M3 / area) ** 2 + entry**-2.0
    )
    C = 1.0 / np.sqrt(inverse_square)
    return Restriction(C, np.zeros_like(C))


#: Tube models by name; both take bore and length in m and fall with length.
TUBE_MODELS = MappingProxyType({"eckersten": eckersten, "friction": friction})


def tube_restriction(
    bore_m: ArrayLike, length_m: ArrayLike, model: str = "eckersten"
) -> Restriction:
    """Sonic conductance and critical ratio of a straight tube.

    `model` is a name in `TUBE_MODELS`. At length 0 the entry loss remains. Expect 10 % either
    way for bores of 4 mm and below (`conductance_spread`). Raises `ImpossiblePhysics` for a
    bore of 0 or less, a negative length or an unknown model.
    """
    d = np.asarray(bore_m, dtype=float)
    L = np.asarray(length_m, dtype=float)
    if model not in TUBE_MODELS:
        raise ImpossiblePhysics("tube model", model, "one of " + ", ".join(TUBE_MODELS))
    require_positive("tube bore (m)", d)
    require_not_negative("tube length (m)", L)
    return TUBE_MODELS[model](d, L)


@dataclass(frozen=True, slots=True)
class ConductanceError:
    """One published conductance beside what a model gives; `error` is model/published - 1."""

    tube: str
    bore_m: float
    length_m: float
    published: float
    computed: float
    source: str

    @property
    def error(self) -> float:
        """Relative error of the model."""
        return self.computed / self.published - 1.0


def conductance_errors(model: str = "eckersten") -> tuple[ConductanceError, ...]:
    """The published table [2] with what `model` gives beside it, m^3/(s Pa)."""
    rows = []
    for row in read_table("tube_conductance"):
        bore, length = float(row["bore_mm"]) * 1e-3, float(row["length_m"])
        computed = float(np.asarray(tube_restriction(bore, length, model).conductance))
        published = float(row["conductance_dm3_s_bar"]) * DM3_PER_S_BAR
        rows.append(ConductanceError(row["tube"], bore, length, published, computed, row["source"]))
    return tuple(rows)


def conductance_spread(
    bore_m: ArrayLike, model: str = "eckersten", longest_m: float = 3.0
) -> FloatArray:
    """Largest disagreement of `model` with the published table [2], by bore, as a fraction.

    Over table lengths up to `longest_m`; linear in bore between the table's bores, constant
    outside them. This is the disagreement of two models, not a measurement error.
    """
    worst: dict[float, float] = {}
    for row in conductance_errors(model):
        if row.length_m <= longest_m:
            worst[row.bore_m] = max(worst.get(row.bore_m, 0.0), abs(row.error))
    bores = sorted(worst)
    return np.asarray(np.interp(np.asarray(bore_m), bores, [worst[b] for b in bores]))


def inside_volume_m3_per_m(bore_m: ArrayLike) -> FloatArray:
    """Air space of a tube [m^3/m], pi d^2/4: 12.57 cm^3/m for 4 mm."""
    d = np.asarray(bore_m, dtype=float)
    require_positive("tube bore (m)", d)
    return np.asarray(np.pi / 4.0 * d**2)


def wall_mass_kg_per_m(
    outer_m: ArrayLike, bore_m: ArrayLike, density_kg_m3: ArrayLike
) -> FloatArray:
    """Mass of a tube's or housing's wall [kg/m], rho pi (D^2 - d^2)/4: 18.8 g/m for 6x4 PU."""
    D, d = np.asarray(outer_m, dtype=float), np.asarray(bore_m, dtype=float)
    require_positive("tube bore (m)", d)
    require(d < D, "tube bore (m)", d, "below the outside diameter")
    require_positive("density (kg/m3)", density_kg_m3)
    return np.asarray(np.asarray(density_kg_m3) * np.pi / 4.0 * (D**2 - d**2))


def shortest_loop_m(min_bend_radius_m: ArrayLike) -> FloatArray:
    """Line [m] a semicircular loop of the least bend radius stores beyond its span.

    (pi - 2) R: pi R of line over a span of 2 R (geometry).
    """
    R = np.asarray(min_bend_radius_m, dtype=float)
    require_positive("least bend radius (m)", R)
    return np.asarray((np.pi - 2.0) * R)


def bulge_radius_m(stored_m: ArrayLike, span_m: ArrayLike) -> FloatArray:
    r"""Bend radius [m] of a line that bulges out between two points it is held at.

    The line, `stored_m` longer than the straight `span_m` between the points, is taken as one
    circular arc: (span + stored)/(2 alpha) with sin(alpha)/alpha = span/(span + stored). inf
    where nothing is stored. A free line is not a circle: for small bulges its sharpest bend is
    pi/sqrt(6) = 1.28 times as sharp if its ends may turn and 2.57 times if they are held
    straight (buckled beam, w = A sin(pi x/d) and w = A (1 - cos(2 pi x/d))/2), so divide this
    radius by 2.57 before comparing it with a least bend radius.
    """
    s, d = np.asarray(stored_m, dtype=float), np.asarray(span_m, dtype=float)
    require_not_negative("stored line (m)", s)
    require_positive("span between holders (m)", d)
    total = s + d
    low, high = np.zeros_like(total), np.full_like(total, np.pi)
    for _ in range(60):
        mid = 0.5 * (low + high)
        longer = np.sinc(mid / np.pi) < d / total
        low, high = np.where(longer, low, mid), np.where(longer, mid, high)
    with np.errstate(divide="ignore"):
        return np.asarray(np.where(s > 0.0, total / (2.0 * high), np.inf))


@dataclass(frozen=True, slots=True)
class TubeSize:
    """A tube as sold. `min_bend_radius_m` and `max_pressure_pa` are None where not read."""

    name: str
    outer_m: float
    bore_m: float
    mass_kg_per_m: float
    min_bend_radius_m: float | None
    max_pressure_pa: float | None
    source: str
    provenance: str


@cache
def tube_sizes() -> Mapping[str, TubeSize]:
    """Tubes of `optimizer/data/tube_sizes.csv` by name ("6x4").

    Mass is computed from size and the material's density (`tube_materials.csv`); makers' masses
    per metre were not readable.
    """
    density = {
        row["material"]: float(row["density_g_cm3"]) * 1e3 for row in read_table("tube_materials")
    }
    return MappingProxyType(
        {row["size"]: _tube_size(row, density[row["material"]]) for row in read_table("tube_sizes")}
    )


def tube_size(name: str) -> TubeSize:
    """One tube by name; raises `ImpossiblePhysics` that lists the known ones."""
    sizes = tube_sizes()
    key = name.strip().lower().replace("/", "x").replace(" ", "").removesuffix("mm")
    if key not in sizes:
        raise ImpossiblePhysics("tube size", name, "one of " + ", ".join(sizes))
    return sizes[key]


def known_tube_size(name: str) -> TubeSize | None:
    """One tube by name, None where the table has none of that name."""
    try:
        return tube_size(name)
    except ImpossiblePhysics:
        return None


def _tube_size(row: Mapping[str, str], density_kg_m3: float) -> TubeSize:
    outer, bore = float(row["outer_mm"]) * 1e-3, float(row["bore_mm"]) * 1e-3
    mass = float(wall_mass_kg_per_m(outer, bore, density_kg_m3))
    radius, pressure = number(row["min_bend_radius_mm"]), number(row["max_pressure_mpa"])
    return TubeSize(
        row["size"],
        outer,
        bore,
        mass,
        None if radius is None else radius * 1e-3,
        None if pressure is None else pressure * 1e6,
        row["source"],
        row["provenance"],
    )
