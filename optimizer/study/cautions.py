"""Values that are possible but look like a slip: warnings, never refusals.

The bounds are judgements, set where a slip of a unit (g for kg, mm for cm) would land.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from difflib import get_close_matches

from optimizer.body.places import BY_HAND
from optimizer.errors import Origin
from optimizer.study.model import LEG_SEGMENTS, Line, LineOption, Part, PartModel, Site, WearerSpec
from optimizer.study.tables import Table
from optimizer.study.words import place

_HEAVY_KG = 20.0
_DENSITY_G_PER_CM3 = (0.05, 20.0)
_LONG_M = 1.0
_FAR_M = 0.4
_HEAVY_LINE_KG_PER_M = 2.0
_WIDE_BORE_M = 0.03
_NEARLY = 0.85
_STATURE_M = (1.2, 2.2)


def column_cautions(table: Table) -> Iterator[str]:
    """Columns that are ignored though their name is nearly that of one the table lacks."""
    absent = [name for name in table.format.columns if name not in table.columns]
    for column in table.columns:
        if column not in table.format.columns:
            meant = get_close_matches(column.casefold(), absent, n=1, cutoff=_NEARLY)
            if meant:
                at = place(Origin(table.file, table.header_line, column))
                yield f"{at}: a column of your own, ignored; or is {meant[0]} meant?"


def part_cautions(parts: Iterable[Part]) -> Iterator[str]:
    """Masses, densities and sizes that suggest a slip of the unit."""
    for part in parts:
        for model in part.models:
            for column, text in _model_cautions(model):
                yield f"{_at(model.origin, column)}: {part.name} {text}"


def _model_cautions(model: PartModel) -> Iterator[tuple[str, str]]:
    if model.mass_kg > _HEAVY_KG:
        yield "mass_g", f"weighs {model.mass_kg:g} kg; is the mass in grams?"
    density = model.mass_kg * 1e3 / (model.volume_m3 * 1e6)
    low, high = _DENSITY_G_PER_CM3
    if not low <= density <= high:
        yield "volume_cm3", f"has {density:.3g} g/cm3; is the mass in g and the volume in cm3?"
    length, width, thickness = model.size_m
    box_m3 = length * width * thickness
    if model.volume_m3 > 1.001 * box_m3:
        yield (
            "volume_cm3",
            f"has {model.volume_m3 * 1e6:.4g} cm3, its length, width and thickness make "
            f"{box_m3 * 1e6:.4g} cm3",
        )
    if max(model.size_m) > _LONG_M:
        yield "length_mm", f"is {max(model.size_m):g} m long; is the size in mm?"


def needs_cautions(parts: Iterable[Part], sites: Iterable[Site]) -> Iterator[str]:
    """Parts none of whose allowed sites offers all they need: they cannot be placed."""
    offers = {site.name: site.offers for site in sites}
    for part in parts:
        for model in part.models:
            known = [offers[name] for name in model.sites if name in offers]
            if known and not any(model.needs - {BY_HAND} <= offered for offered in known):
                need = ", ".join(sorted(model.needs))
                yield (
                    f"{_at(model.origin, 'needs')}: no site allowed for {part.name} offers "
                    f"all it needs ({need})"
                )


def site_cautions(sites: Iterable[Site]) -> Iterator[str]:
    """Sites off the end of their segment, or far from its axis."""
    for site in sites:
        if site.segment != "off_body" and not 0.0 <= site.along <= 1.0:
            at = _at(site.origin, "along_pct")
            yield f"{at}: {site.name} lies beyond the end of the {site.segment}"
        far = max(abs(site.front_m), abs(site.outside_m))
        if site.segment in (*LEG_SEGMENTS, "trunk") and far > _FAR_M:
            column = "front_mm" if abs(site.front_m) == far else "outside_mm"
            yield (
                f"{_at(site.origin, column)}: {site.name} lies {far * 1e3:g} mm from the axis of "
                f"the {site.segment}; is it in mm?"
            )


def line_cautions(lines: Iterable[Line]) -> Iterator[str]:
    """Heavy lines, wide bores, tubes above their rating, and hoses too light to be full."""
    for line in lines:
        for option in line.options:
            if option.mass_kg_per_m > _HEAVY_LINE_KG_PER_M:
                at = _at(option.origin, "mass_g_per_m")
                yield f"{at}: {line.name} weighs {option.mass_kg_per_m:g} kg per metre"
            if option.bore_m is not None and option.bore_m > _WIDE_BORE_M:
                at = _at(option.origin, "bore_mm")
                yield f"{at}: {line.name} has a bore of {option.bore_m * 1e3:g} mm"
            if line.kind == "air_tube":
                yield from _above_rating(line, option)
            if line.kind == "hose" and option.bore_m is not None and option.physics.liquid:
                yield from _empty_hose(line, option, option.bore_m)


def _above_rating(line: Line, option: LineOption) -> Iterator[str]:
    from optimizer.lines.air import ATMOSPHERE_PA
    from optimizer.lines.tube import known_tube_size

    tube = known_tube_size(option.size)
    gauge = max(option.physics.supply_pa or 0.0, option.physics.target_pa or 0.0) - ATMOSPHERE_PA
    if tube is not None and tube.max_pressure_pa is not None and gauge > tube.max_pressure_pa:
        column = "supply_kpa" if option.physics.supply_pa else "target_kpa"
        yield (
            f"{_at(option.origin, column)}: {line.name} holds {gauge / 1e3:.0f} kPa above the "
            f"atmosphere; a {tube.name} polyurethane tube is made for "
            f"{tube.max_pressure_pa / 1e3:g} kPa at 20 degC: ask the tube's maker first"
        )


def _empty_hose(line: Line, option: LineOption, bore_m: float) -> Iterator[str]:
    from optimizer.lines.hose import liquid, liquid_mass_kg_per_m
    from optimizer.lines.tube import known_tube_size

    name = option.physics.liquid
    inside = float(liquid_mass_kg_per_m(bore_m, liquid(name).density_kg_m3))
    tube = known_tube_size(option.size)
    wall = 0.0 if tube is None else tube.mass_kg_per_m
    if option.mass_kg_per_m < inside + wall:
        walled = f" in a polyurethane wall of {wall * 1e3:.3g}" if wall else ""
        yield (
            f"{_at(option.origin, 'mass_g_per_m')}: {line.name} weighs "
            f"{option.mass_kg_per_m * 1e3:.3g} g/m, less than {inside * 1e3:.3g} g/m of {name}"
            f"{walled}; is the liquid counted?"
        )


def wearer_cautions(wearer: WearerSpec, at: Origin) -> Iterator[str]:
    """A stature outside the range of adults; the body itself warns beyond its tables' people."""
    if not _STATURE_M[0] <= wearer.stature_m <= _STATURE_M[1]:
        low, high = (f"{bound * 1e3:g}" for bound in _STATURE_M)
        yield f"{place(at)}: {wearer.stature_m * 1e3:g} mm is outside {low} to {high} mm of adults"


def _at(origin: Origin, column: str) -> str:
    return place(Origin(origin.file, origin.row, column))
