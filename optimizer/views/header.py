"""What was solved: study, wearer, task and models, in one sentence."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from rich.console import Group
from rich.text import Text

from optimizer.study.model import EnergySpec, Study, Task, WearerSpec, Weights
from optimizer.views.quantity import number
from optimizer.views.table import Column, section, table
from optimizer.views.words import Words, bullets, counted, listing, segment_words


def wearer_words(wearer: WearerSpec) -> str:
    """ "female, 1.68 m, 62.0 kg, affected left, deleva1996"."""
    affected = {"none": "", "both": ", both sides affected"}.get(
        wearer.affected_side, f", {wearer.affected_side} side affected"
    )
    measured = f" with {counted(len(wearer.measured), 'measurement')}" if wearer.measured else ""
    return (
        f"{wearer.sex}, {number(wearer.stature_m, 2)} m, {number(wearer.mass_kg, 1)} kg"
        f"{affected} ({wearer.inertia_table}{measured})"
    )


def task_words(task: Task) -> str:
    """ "walking 1.25 m/s on the level, treadmill"."""
    if task.grade_percent == 0:
        grade = "on the level"
    else:
        way = "up" if task.grade_percent > 0 else "down"
        grade = f"{way} a grade of {number(abs(task.grade_percent), 1)} %"
    return f"walking {number(task.speed_m_s, 2)} m/s {grade}, {task.terrain}"


def energy_words(energy: EnergySpec) -> str:
    """ "leg segment_curve, trunk browning_waist, walking looney2019"."""
    return f"leg {energy.leg}, trunk {energy.trunk}, walking {energy.walking}"


def score_words(weights: Weights) -> str:
    """The score spelled out, e.g. "1 x penalty % + 0.1 x swing inertia %"."""
    terms = [
        (weights.metabolic, "penalty %"),
        (weights.swing_inertia, "added swing inertia %"),
        (weights.comfort, "discomfort"),
    ]
    return " + ".join(
        what if weight == 1 else f"{weight:g} x {what}" for weight, what in terms if weight
    )


def title_words(study: Study) -> str:
    """The study's name and title; an invented one is called so."""
    said = study.title.startswith(study.name)
    title = study.title if said else f"{study.name}, {study.title}" if study.title else study.name
    return f"{title}{' (an invented example)' if study.invented else ''}"


def solved_line(study: Study) -> Group:
    """What was solved, for whom, doing what, by which models: a title and one sentence."""
    return Group(
        Words(title_words(study), "head"),
        Words(
            f"{wearer_words(study.wearer)}; {task_words(study.task)}; "
            f"energy models {energy_words(study.energy)}; "
            f"score = {score_words(study.weights)}, lower is better."
        ),
    )


def study_view(study: Study) -> Group:
    """What `check` found in a study that is in order."""
    rows = [
        ("wearer", wearer_words(study.wearer)),
        ("task", task_words(study.task)),
        ("energy models", energy_words(study.energy)),
        ("score", score_words(study.weights)),
        ("parts", parts_words(study)),
        ("sites", sites_words(study)),
        ("lines", lines_words(study)),
        ("limits", limits_words(study)),
        *((what, path) for what, path in study.files.items()),
    ]
    body = table(
        (Column("what", words=True), Column("as read", words=True)),
        [(name, Words(text)) for name, text in rows],
    )
    verdict = Words("In order: nothing wrong was found in these files.", "good")
    parts: list[Group] = [section(title_words(study), body, Text(""), verdict)]
    if study.warnings:
        parts.append(section("Warnings", *bullets(study.warnings)))
    return Group(*parts)


def written_view(files: Sequence[str]) -> Group:
    """What `new` wrote and what to do next."""
    study = files[0]
    return Group(
        section("Written", *bullets(files)),
        Words("Edit them; then:"),
        Words(f"limbtrim check {study}", indent=4, hang=8),
        Words(f"limbtrim place {study}", indent=4, hang=8),
    )


def parts_words(study: Study) -> str:
    """How many parts, copies and models."""
    copies = sum(part.count for part in study.parts)
    models = sum(len(part.models) for part in study.parts)
    text = counted(copies, "part") + " to place"
    if copies != len(study.parts):
        text += f" ({len(study.parts)} different)"
    if models != len(study.parts):
        text += f", {models} models to choose from"
    return text


def sites_words(study: Study) -> str:
    """How many sites on each segment, vest first."""
    order = ("trunk", "thigh", "shank", "foot", "off_body")
    count = Counter((site.segment, site.side) for site in study.sites)
    by_segment = []
    for segment in order:
        sides = {side: n for (seg, side), n in count.items() if seg == segment}
        if not sides:
            continue
        total = sum(sides.values())
        name = segment_words(segment)
        if segment in ("thigh", "shank", "foot"):
            each = listing([f"{sides[side]} {side}" for side in ("left", "right") if side in sides])
            plural = {"thigh": "thighs", "shank": "shanks", "foot": "feet"}[segment]
            name = f"{plural} ({each})"
        by_segment.append(f"{total} {'' if segment == 'off_body' else 'on the '}{name}")
    return f"{len(study.sites)}: {listing(by_segment)}" if study.sites else "0"


def lines_words(study: Study) -> str:
    """How many lines of each kind."""
    kinds = Counter(line.kind.replace("_", " ") for line in study.lines)
    each = listing([counted(n, kind) for kind, n in kinds.items()])
    return f"{len(study.lines)}: {each}" if study.lines else "0"


def limits_words(study: Study) -> str:
    """How many limits and pair rules the study sets beside the sites' and lines' own."""
    kinds = list(dict.fromkeys(limit.kind.replace("_", " ") for limit in study.limits))
    rules = Counter(rule.kind.replace("_", " ") for rule in study.rules)
    text = f"{len(study.limits)}" + (f": {listing(kinds)}" if kinds else "")
    if rules:
        text += "; rules: " + listing([f"{n} {kind}" for kind, n in rules.items()])
    return text + "; each site's and line's own besides"
