"""The tables of a study file checked against their schemas and turned into SI."""

from __future__ import annotations

from collections.abc import Mapping
from math import radians
from typing import Any, TypeVar

from pydantic import ValidationError

from optimizer.body.wear_defaults import default_value
from optimizer.errors import Flaw, Origin
from optimizer.study.cells import REFUSED, expectation
from optimizer.study.document import (
    FORMAT,
    SECTIONS,
    TOP_LEVEL,
    AddedArcSection,
    CounterweightSection,
    EnergySection,
    Head,
    RoutesSection,
    Section,
    SolveSection,
    TaskSection,
    WearerSection,
    WeightsSection,
    keys,
)
from optimizer.study.model import (
    AddedArc,
    Counterweight,
    EnergySpec,
    RoutesSpec,
    SolveSpec,
    Task,
    WearerSpec,
    Weights,
)
from optimizer.study.toml_file import TomlFile
from optimizer.study.units import CM3_PER_M3, G_PER_KG, MM_PER_M
from optimizer.study.words import choice_of, nearest, quoted

S = TypeVar("S", bound=Section)


def other_format(study: TomlFile) -> bool:
    """Whether the study file says that it is written in another format than this version's."""
    found = study.keys.get("format")
    return isinstance(found, int) and not isinstance(found, bool) and found != FORMAT


def check_top_level(study: TomlFile, flaws: list[Flaw]) -> Head | None:
    """The keys above the tables; unknown keys and tables are flaws.

    A file of another format yields that flaw alone: its other keys mean something else.
    """
    if other_format(study):
        expected = f"format = {FORMAT}, the one this version reads"
        found = f"format = {quoted(study.keys['format'])}"
        flaws.append(Flaw(study.locate("format"), found, expected))
        return None
    for key, value in study.keys.items():
        if key not in TOP_LEVEL:
            what = f"table [{key}]" if isinstance(value, Mapping) else f"key {quoted(key)}"
            expected = f"one of {choice_of(TOP_LEVEL)}"
            near = nearest(key, TOP_LEVEL)
            if not isinstance(value, Mapping):
                homes = [name for name, schema in SECTIONS.items() if key in keys(schema)]
                near = f"{homes[0]}.{key}" if homes else near
            flaws.append(Flaw(study.locate(key), f"an unknown {what}", expected, near))
    head = {key: study.keys[key] for key in Head.model_fields if key in study.keys}
    return check_section(study, "", Head, head, flaws)


def check_table(study: TomlFile, name: str, schema: type[S], flaws: list[Flaw]) -> S | None:
    """One table of the study, defaults where it is not written; None if it has flaws."""
    needed = [key for key, field in schema.model_fields.items() if field.is_required()]
    if needed and name not in study.keys:
        if any(key not in TOP_LEVEL and nearest(key, TOP_LEVEL) == name for key in study.keys):
            return None  # told of the misspelt table
        expected = f"a table [{name}] with {', '.join(needed)}"
        flaws.append(Flaw(study.locate(name), f"no table [{name}]", expected))
        return None
    return check_section(study, name, schema, study.keys.get(name, {}), flaws)


def check_section(
    study: TomlFile, path: str, schema: type[S], value: object, flaws: list[Flaw]
) -> S | None:
    """A table at the dotted `path` against its schema; None if it has flaws."""
    if not isinstance(value, Mapping):
        flaws.append(Flaw(study.locate(path), quoted(value), f"a table [{path}]"))
        return None
    try:
        return schema.model_validate(value)
    except ValidationError as error:
        items = error.errors(include_url=False)
        strange = [str(item["loc"][0]) for item in items if item["type"] == "extra_forbidden"]
        meant = {nearest(key, keys(schema)) for key in strange}
        for item in items:
            key = str(item["loc"][0])
            if item["type"] == "missing" and key in meant:
                continue  # told of the misspelt key
            flaws.append(_flaw(study.locate(f"{path}.{key}" if path else key), schema, key, item))
        return None


def _flaw(origin: Origin, schema: type[Section], key: str, item: Any) -> Flaw:
    if item["type"] == "missing":
        return Flaw(origin, f"no key {key}", expectation(schema, key))
    if item["type"] == "extra_forbidden":
        known = keys(schema)
        found = f"an unknown key {quoted(key)}"
        return Flaw(origin, found, f"one of {choice_of(known)}", nearest(key, known))
    if item["type"] == "dict_type":
        return Flaw(origin, quoted(item["input"]), f"a table [{origin.column}]")
    context = item.get("ctx", {}) if item["type"] == REFUSED else {}
    return Flaw(
        origin,
        context.get("found", quoted(item["input"])),
        context.get("expected", item["msg"]),
        context.get("nearest"),
    )


def list_of_tables(study: TomlFile, path: str, value: object, flaws: list[Flaw]) -> list[object]:
    """The items of a `[[path]]`; not being a list is a flaw."""
    if value is None:
        return []
    if not isinstance(value, list):
        flaws.append(Flaw(study.locate(path), quoted(value), f"tables headed [[{path}]]"))
        return []
    return value


def make_wearer(
    study: TomlFile, section: WearerSection, measured: Mapping[str, float]
) -> WearerSpec:
    """The wearer; `measured` is in SI already."""
    return WearerSpec(
        sex=section.sex,  # type: ignore[arg-type]
        stature_m=section.stature_mm / MM_PER_M,
        mass_kg=section.mass_kg,
        inertia_table=section.inertia_table,
        length_table=section.length_table,
        affected_side=section.affected_side,  # type: ignore[arg-type]
        measured=measured,
        origin=study.locate("wearer"),
    )


def make_task(study: TomlFile, section: TaskSection) -> Task:
    """The walking task."""
    return Task(section.speed_m_s, section.grade_pct, section.terrain, study.locate("task"))


def make_energy(study: TomlFile, section: EnergySection) -> EnergySpec:
    """The energy models' names."""
    return EnergySpec(section.leg, section.trunk, section.walking, study.locate("energy"))


def make_weights(study: TomlFile, section: WeightsSection, flaws: list[Flaw]) -> Weights:
    """The weights, of which one at least must count."""
    if section.metabolic == section.swing_inertia == section.comfort == 0.0:
        flaws.append(Flaw(study.locate("weights"), "weights that are all 0", "one above 0"))
    return Weights(section.metabolic, section.swing_inertia, section.comfort)


def make_routes(study: TomlFile, section: RoutesSection, flaws: list[Flaw]) -> RoutesSpec:
    """What the study changes about the routing graph; names are checked by the graph."""
    arcs: list[AddedArc] = []
    items = list_of_tables(study, "routes.add", section.add, flaws)
    for number, item in enumerate(items, start=1):
        path = f"routes.add.{number}"
        arc = check_section(study, path, AddedArcSection, item, flaws)
        if arc is not None:
            arcs.append(
                AddedArc(
                    tail=arc.tail,
                    head=arc.head,
                    length_m=None if arc.length_mm is None else arc.length_mm / MM_PER_M,
                    slack_m=arc.slack_mm / MM_PER_M,
                    bend_rad=radians(arc.bend_deg),
                    carried_by=arc.carried_by,
                    origin=study.locate(path),
                )
            )
    return RoutesSpec(
        section.joint_range,
        tuple(arcs),
        section.forbid,
        section.forbid_anchors,
        section.keep_out,
    )


def make_counterweight(
    study: TomlFile,
    section: CounterweightSection,
    wearer: WearerSection | None,
    flaws: list[Flaw],
) -> Counterweight | None:
    """The counterweight if it is allowed; its leg is the sound one where no other is named."""
    if not section.allowed:
        return None
    sound = {"left": "right", "right": "left"}
    side = section.side or (sound.get(wearer.affected_side) if wearer else "left")
    if side is None or wearer is None:
        if wearer is not None:
            found = f'a wearer with affected_side = "{wearer.affected_side}" and no side here'
            expected = 'side = "left" or side = "right": the leg that may carry ballast'
            flaws.append(Flaw(study.locate("counterweight.allowed"), found, expected))
        return None
    mass_g = section.max_mass_g or default_value("counterweight_max_mass_g")
    density = section.density_g_cm3 or default_value("counterweight_density_g_cm3")
    return Counterweight(
        "left" if side == "left" else "right",
        mass_g / G_PER_KG,
        density * CM3_PER_M3 / G_PER_KG,
        study.locate("counterweight.allowed"),
    )


def make_solve(section: SolveSection) -> SolveSpec:
    """How to solve."""
    return SolveSpec(section.gap, section.time_limit_s, section.top, section.seed, section.threads)
