"""Checks only the later steps can make: names of tables, models, anchors; possible bodies.

Those steps are imported when called, so that reading a study needs none of them.
"""

from __future__ import annotations

from collections.abc import Mapping

from optimizer.errors import Flaw, InputError
from optimizer.study.cells import Quantity
from optimizer.study.document import WearerSection
from optimizer.study.model import EnergySpec, RoutesSpec, Site, Task, WearerSpec
from optimizer.study.toml_file import TomlFile
from optimizer.study.units import MM_PER_M
from optimizer.study.words import nearest, quoted


def measurement_keys() -> dict[str, tuple[str, str, float]]:
    """Key of `[wearer.measured]` -> the body's name for it, unit as written, units per SI unit."""
    from optimizer.body.wearer import MEASUREMENTS

    found: dict[str, tuple[str, str, float]] = {}
    for name, unit in MEASUREMENTS.items():
        if unit == "m":
            found[name.removesuffix("_m") + "_mm"] = (name, "mm", MM_PER_M)
        else:
            found[name] = (name, unit, 1.0)
    return found


def measured_in_si(
    study: TomlFile, section: WearerSection, flaws: list[Flaw]
) -> Mapping[str, float]:
    """The wearer's own measurements by the body's names, in SI."""
    values: dict[str, float] = {}
    if not section.measured:
        return values
    known = measurement_keys()
    for key, value in section.measured.items():
        origin = study.locate(f"wearer.measured.{key}")
        if key not in known:
            found = f"an unknown measurement {quoted(key)}"
            expected = "one of " + ", ".join(known)
            flaws.append(Flaw(origin, found, expected, nearest(key, known)))
            continue
        name, unit, per_si = known[key]
        try:
            number = Quantity(unit, above=0, most=1e4).check(value)
        except ValueError as error:
            context = getattr(error, "context", None) or {}
            flaws.append(Flaw(origin, context.get("found", ""), context.get("expected", "")))
            continue
        assert number is not None
        values[name] = number / per_si
    return values


def check_setting(
    wearer: WearerSpec | None,
    task: Task | None,
    energy: EnergySpec | None,
    routes: RoutesSpec | None,
    sites: tuple[Site, ...] | None,
) -> list[Flaw]:
    """What the body, the energy models and the routing graph find wrong; None is not looked at."""
    from optimizer.body.wearer import build_wearer
    from optimizer.energy.model import energy_flaws, energy_model
    from optimizer.lines.graph import build_graph

    flaws: list[Flaw] = []
    body = None
    if wearer is not None:
        try:
            body = build_wearer(wearer)
        except InputError as error:
            flaws += error.flaws
    if energy is not None and task is not None:
        try:
            flaws += energy_flaws(energy, task) if body is None else []
            if body is not None:
                energy_model(energy, body, task)
        except InputError as error:
            flaws += error.flaws
    if body is not None and sites is not None and routes is not None:
        try:
            build_graph(body, sites, routes)
        except InputError as error:
            flaws += error.flaws
    return flaws
