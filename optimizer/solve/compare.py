"""Two studies or layouts side by side: what differs in the input, and in the answer."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass
from math import degrees, inf

from optimizer.assess.result import Assessment, Infeasible
from optimizer.setting import Setting, build_setting
from optimizer.solve.place import place
from optimizer.solve.relay import assess_there
from optimizer.study.limits import LIMIT_FLAGS, LIMIT_KEYS
from optimizer.study.model import Line, Part, Site, Study
from optimizer.study.units import CM2_PER_M2, CM3_PER_M3, G_PER_KG, MM_PER_M

#: What a value is shown as where one of the two has none.
NONE = "-"
#: What something is shown as that only one of the two has.
ONLY = "only here"
#: What every model, option and site has: by this it is told whether a study has it.
MARKS = (".mass_g", ".mass_g_per_m", ".segment")


@dataclass(frozen=True, slots=True)
class InputDifference:
    """One number or word that differs, by its dotted path, as it would be typed."""

    path: str
    a: str
    b: str


@dataclass(frozen=True, slots=True)
class Side:
    """One of the two: what it is called, its study, its layout, and whether that is proven best.

    `assessment` is None if nothing fits (`infeasible` says why) or the search was stopped.
    """

    label: str
    study: Study
    assessment: Assessment | None
    proof: str
    infeasible: Infeasible | None = None


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two sides; `a_in_b` is the first one's layout in the second one's study, and so on.

    `inputs` is everything that the two studies say differently; `inputs_in_short` tells a part,
    site or line that only one of them has in one entry.
    """

    a: Side
    b: Side
    inputs: tuple[InputDifference, ...]
    inputs_in_short: tuple[InputDifference, ...]
    a_in_b: Assessment | None
    b_in_a: Assessment | None


def compare(a: Side, b: Side) -> Comparison:
    """Put two sides together."""
    return Comparison(
        a,
        b,
        study_differences(a.study, b.study),
        in_short(a.study, b.study),
        None if a.assessment is None else assess_there(build_setting(b.study), a.assessment.layout),
        None if b.assessment is None else assess_there(build_setting(a.study), b.assessment.layout),
    )


def best_side(label: str, setting: Setting, time_limit_s: float | None = None) -> Side:
    """The side of a study's own best layout."""
    found = place(setting, top=1, time_limit_s=time_limit_s)
    if isinstance(found, Infeasible):
        return Side(label, setting.study, None, "infeasible", found)
    if not found.layouts:
        return Side(label, setting.study, None, "stopped")
    first = found.layouts[0]
    return Side(label, setting.study, first.assessment, first.proof.status)


def study_differences(a: Study, b: Study) -> tuple[InputDifference, ...]:
    """Everything two studies say differently, in the order the first one says it."""
    one, two = dict(typed(a)), dict(typed(b))
    return tuple(
        InputDifference(path, one.get(path, NONE), two.get(path, NONE))
        for path in dict.fromkeys((*one, *two))
        if one.get(path) != two.get(path)
    )


def in_short(a: Study, b: Study) -> tuple[InputDifference, ...]:
    """The same with one entry for a part, model, site, line or option that only one of them has.

    Of the sites a part may have, those that only one study allows it, if the other has them at all.
    """
    one, two = dict(typed(a)), dict(typed(b))
    both = {site.name for site in a.sites} & {site.name for site in b.sites}
    owners = [{_owner(path) for path in each if path.endswith(MARKS)} for each in (one, two)]
    found: dict[str, InputDifference] = {}
    for difference in study_differences(a, b):
        owner = _owner(difference.path)
        only = [owner in mine and owner not in theirs for mine, theirs in (owners, owners[::-1])]
        if any(only):
            mark = [ONLY if here else NONE for here in only]
            difference = InputDifference(owner, mark[0], mark[1])  # noqa: PLW2901
        elif difference.path.startswith("parts.") and difference.path.endswith(".sites"):
            mine, theirs = set(difference.a.split()), set(difference.b.split())
            also = [" ".join(sorted(each & both)) for each in (mine - theirs, theirs - mine)]
            if not any(also):
                continue
            told = [f"also {sites}" if sites else NONE for sites in also]
            difference = InputDifference(difference.path, told[0], told[1])  # noqa: PLW2901
        found[difference.path] = difference
    return tuple(found.values())


def _owner(path: str) -> str:
    """The part, model, site, line, option or section that a path belongs to."""
    return path.rpartition(".")[0]


def typed(study: Study) -> Iterator[tuple[str, str]]:
    """Everything a study says, by dotted path, as it would be typed in its files."""
    wearer, task, routes = study.wearer, study.task, study.routes
    yield "wearer.sex", wearer.sex
    yield "wearer.stature_mm", _number(wearer.stature_m * MM_PER_M)
    yield "wearer.mass_kg", _number(wearer.mass_kg)
    yield "wearer.inertia_table", wearer.inertia_table
    yield "wearer.length_table", wearer.length_table or NONE
    yield "wearer.affected_side", wearer.affected_side
    for name, value in sorted(wearer.measured.items()):
        yield f"wearer.measured.{name} (SI)", _number(value)
    yield "task.speed_m_s", _number(task.speed_m_s)
    yield "task.grade_pct", _number(task.grade_percent)
    yield "task.terrain", task.terrain
    for name in ("leg", "trunk", "walking"):
        yield f"energy.{name}", getattr(study.energy, name)
    for name in ("metabolic", "swing_inertia", "comfort"):
        yield f"weights.{name}", _number(getattr(study.weights, name))
    yield "inertia.pose", study.inertia_pose
    yield from _limits(study)
    for rule in study.rules:
        yield (
            f"rules: {rule.kind} {rule.part_a} {rule.part_b}",
            f"{_number(rule.distance_m * MM_PER_M)} mm" if rule.distance_m else "yes",
        )
    yield "routes.joint_range", routes.joint_range
    for pair in routes.forbid:
        yield f"routes.forbid {' - '.join(pair)}", "yes"
    for anchor in routes.forbid_anchors:
        yield f"routes.forbid_anchors {anchor}", "yes"
    for arc in routes.add:
        length = NONE if arc.length_m is None else f"{_number(arc.length_m * MM_PER_M)} mm"
        yield (
            f"routes.add {arc.tail} - {arc.head}",
            f"{length}, slack {_number(arc.slack_m * MM_PER_M)} mm, "
            f"bend {_number(degrees(arc.bend_rad))} deg, carried by {arc.carried_by or 'its ends'}",
        )
    if study.counterweight is not None:
        extra = study.counterweight
        yield "counterweight.side", extra.side
        yield "counterweight.max_mass_g", _number(extra.max_mass_kg * G_PER_KG)
    for part in study.parts:
        yield from _part(part)
    for site in study.sites:
        yield from _site(site)
    for line in study.lines:
        yield from _line(line)


def _limits(study: Study) -> Iterator[tuple[str, str]]:
    keys = {limit.kind: (key, limit) for key, limit in LIMIT_KEYS.items()}
    flags = {kind: key for key, kind in LIMIT_FLAGS.items()}
    for spec in study.limits:
        if spec.kind in flags:
            yield f"limits.{flags[spec.kind]}", "true"
        elif spec.kind in keys:
            key, limit = keys[spec.kind]
            path = f"limits.{key}{f'.{spec.subject}' if spec.subject else ''}"
            yield path, _number(spec.value * limit.per_si)


def _part(part: Part) -> Iterator[tuple[str, str]]:
    name = f"parts.{part.name}"
    yield f"{name}.quantity", str(part.count)
    for model in part.models:
        path = name if len(part.models) == 1 else f"{name}.{model.name}"
        yield f"{path}.model", model.name
        yield f"{path}.mass_g", _number(model.mass_kg * G_PER_KG)
        yield f"{path}.volume_cm3", _number(model.volume_m3 * CM3_PER_M3)
        for side, value in zip(("length", "width", "thickness"), model.size_m, strict=True):
            yield f"{path}.{side}_mm", _number(value * MM_PER_M)
        yield f"{path}.sites", " ".join(sorted(model.sites))
        yield f"{path}.needs", " ".join(sorted(model.needs)) or NONE
        yield f"{path}.power_w", _number(model.power_w)
        yield f"{path}.price", NONE if model.price is None else _number(model.price)
        yield from _others(path, model.physics)


def _site(site: Site) -> Iterator[tuple[str, str]]:
    path = f"sites.{site.name}"
    yield f"{path}.segment", site.segment
    yield f"{path}.side", site.side
    yield f"{path}.along_pct", _number(site.along * 100.0)
    yield f"{path}.front_mm", _number(site.front_m * MM_PER_M)
    yield f"{path}.outside_mm", _number(site.outside_m * MM_PER_M)
    yield f"{path}.volume_cm3", _number(site.volume_m3 * CM3_PER_M3)
    yield f"{path}.max_mass_g", _number(site.max_mass_kg * G_PER_KG)
    yield f"{path}.max_thickness_mm", _number(site.max_thickness_m * MM_PER_M)
    yield f"{path}.holder_mass_g", _number(site.holder_mass_kg * G_PER_KG)
    contact = site.contact_m2
    yield f"{path}.contact_cm2", NONE if contact is None else _number(contact * CM2_PER_M2)
    yield f"{path}.offers", " ".join(sorted(site.offers)) or NONE
    yield f"{path}.comfort", NONE if site.comfort is None else _number(site.comfort)
    yield f"{path}.anchor", site.anchor or NONE


def _line(line: Line) -> Iterator[tuple[str, str]]:
    name = f"lines.{line.name}"
    yield f"{name}.kind", line.kind
    yield f"{name}.from", line.part_a
    yield f"{name}.to", line.part_b
    yield f"{name}.slack_mm", _number(line.slack_m * MM_PER_M)
    for option in line.options:
        path = name if len(line.options) == 1 else f"{name}.{option.name}"
        yield f"{path}.option", option.name
        yield f"{path}.size", option.size or NONE
        bore = option.bore_m
        yield f"{path}.bore_mm", NONE if bore is None else _number(bore * MM_PER_M)
        yield f"{path}.mass_g_per_m", _number(option.mass_kg_per_m * G_PER_KG)
        yield f"{path}.end_mass_g", _number(option.end_mass_kg * G_PER_KG)
        yield f"{path}.max_length_mm", _number(option.max_length_m * MM_PER_M)
        yield from _others(path, option.physics)


def _others(path: str, physics: object) -> Iterator[tuple[str, str]]:
    """Figures of the physics of a part or line, in SI, those that are not said left out."""
    if not is_dataclass(physics):
        return
    for field in fields(physics):
        value = getattr(physics, field.name)
        if value is None or value == "" or isinstance(value, Mapping):
            continue
        text = _number(value) if isinstance(value, int | float) else str(value)
        yield f"{path}.{field.name} (SI)", text


def _number(value: float) -> str:
    return NONE if value in (inf, -inf) else f"{value:.9g}"
