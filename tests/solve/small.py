"""A hand-made garment on which one limit at a time decides."""

from __future__ import annotations

from dataclasses import replace

from optimizer.study.model import Line, Part, Site, Study
from tests.instances import HERE, few_routes, line_option, model, site, study

#: Where the parts of these studies may go, best place first.
GARMENT: dict[str, Site] = {
    name: site(name, place)
    for name, place in {
        "belt": ("trunk", "right", 0.20, 0.05, 0.12),
        "back": ("trunk", "centre", 0.45, -0.11, 0.0),
        "thigh_right": ("thigh", "right", 0.45, 0.02, 0.08),
        "thigh_left": ("thigh", "left", 0.45, 0.02, 0.08),
        "shank_right": ("shank", "right", 0.40, 0.01, 0.06),
        "foot_right": ("foot", "right", 0.60, 0.05, 0.0),
        "foot_left": ("foot", "left", 0.60, 0.05, 0.0),
    }.items()
}


def part(name: str, mass_kg: float, *sites: str, count: int = 1, **changes: object) -> Part:
    """A part of one model that may go to the sites named."""
    return Part(name, (model("m", mass_kg, sites, **changes),), count, HERE)


def line(
    name: str, part_a: str, part_b: str, rate: float = 0.02, longest: float | None = None
) -> Line:
    """A line of one option, with a longest length or none."""
    option = line_option("o", rate) if longest is None else line_option("o", rate, longest)
    return Line(name, "wire", part_a, part_b, 0.0, (option,), HERE)


def small(
    *parts: Part, sites: dict[str, dict[str, object]] | None = None, **changes: object
) -> Study:
    """A study of some parts on the garment, some of its sites changed."""
    garment = tuple(replace(s, **(sites or {}).get(n, {})) for n, s in GARMENT.items())  # type: ignore[arg-type]
    return study(parts=parts, sites=garment, routes=few_routes(), **changes)
