"""What limbtrim can reckon with: energy models, body tables, terrains, each with its source."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from math import inf

from rich.console import Group
from rich.text import Text

from optimizer.energy.card import ModelCard, Validity
from optimizer.views.cautions import BASIS, CAUTIONS
from optimizer.views.json import MODELS, Document, head
from optimizer.views.quantity import number
from optimizer.views.table import Cell, Column, section, table
from optimizer.views.words import Words, bullets, listing

FAMILIES: Mapping[str, str] = {
    "leg": "Leg models: what a kilogram worn on a leg costs",
    "trunk": "Trunk models: what a load on the trunk costs",
    "walking": "Walking models: the wearer's own net walking power, the 100 % of every percentage",
}
#: What the letters of the equations mean, and the grades of provenance.
SYMBOLS: tuple[str, ...] = (
    "P extra metabolic power of a load, or net walking power (W); m mass worn on the legs, both "
    "summed, and L load on the trunk (kg); B body mass (kg); r distance from the hip (m); V speed "
    "(m/s); G grade (%); eta terrain factor.",
    "READ: in the paper itself or its abstract; READ second-hand: in a document that credits it; "
    "DERIVED: computed from numbers read; from memory: not verified.",
)
_SCALES = {
    "scales_with_body_mass": "body mass",
    "scales_with_speed": "speed",
    "uses_terrain": "terrain",
}
_NEXT_REFERENCE = re.compile(r"; (?=\[\d+\] )")


def models_document(
    cards: Sequence[ModelCard],
    body: Mapping[str, Mapping[str, tuple[str, tuple[str, ...]]]],
    terrains: Sequence[tuple[str, str, float, str]],
) -> Document:
    """The answer of `models`.

    Parameters
    ----------
    cards : the energy models
    body : kind of table -> its name -> what it is and what to heed; the first is the default
    terrains : name, title, terrain factor and source of every kind of ground
    """
    return {
        **head(MODELS),
        "energy": [_card(card) for card in cards],
        "body": {
            kind: [
                {"name": name, "title": title, "default": i == 0, "notes": list(notes)}
                for i, (name, (title, notes)) in enumerate(tables.items())
            ]
            for kind, tables in body.items()
        },
        "terrain": [
            {"name": name, "title": title, "factor": factor, "source": source}
            for name, title, factor, source in terrains
        ],
        "cautions": [*CAUTIONS, *BASIS],
    }


def _card(card: ModelCard) -> Document:
    return {
        "family": card.family,
        "name": card.name,
        "default": card.default,
        "title": card.title,
        "equation": card.equation,
        "sources": _NEXT_REFERENCE.split(card.source),
        "provenance": card.provenance,
        "validity": _validity(card.validity),
        "spread": {
            "text": card.spread.text,
            "factor": card.spread.factor,
            "w_per_kg_load": card.spread.w_per_kg_load,
            "w_per_kg_body": card.spread.w_per_kg_body,
        },
        "scales_with_body_mass": card.scales_with_body_mass,
        "scales_with_speed": card.scales_with_speed,
        "uses_terrain": card.uses_terrain,
    }


def _validity(v: Validity) -> Document:
    return {
        "text": str(v),
        "speed_m_s": list(v.speed_m_s),
        "grade_pct": list(v.grade_percent),
        "leg_segment_kg": dict(v.leg_segment_kg),
        "leg_kg": None if v.leg_kg == inf else v.leg_kg,
        "trunk_kg": None if v.trunk_kg == inf else v.trunk_kg,
        "trunk_body_fraction": None if v.trunk_body_fraction == inf else v.trunk_body_fraction,
        "conditions": v.conditions,
        "population": v.population,
    }


def models_view(document: Document) -> Group:
    """The models in words, their references numbered at the end."""
    references: dict[str, None] = {}
    blocks = []
    for family, title in FAMILIES.items():
        entries = [e for e in document["energy"] if e["family"] == family]
        for entry in entries:
            references |= dict.fromkeys(entry["sources"])
        blocks.append(section(title, *_spaced(_model_lines(e) for e in entries)))
    blocks.append(section("In the equations", *bullets(SYMBOLS)))
    for kind, tables in document["body"].items():
        blocks.append(section(kind, *_spaced(_entry(t, *t["notes"]) for t in tables)))
    grounds: list[list[Cell] | None] = [
        [Words(t["name"]), number(t["factor"], 1), Words(t["title"])] for t in document["terrain"]
    ]
    columns = (Column("terrain", words=True), Column("factor"), Column("ground", words=True))
    measured_by = dict.fromkeys(t["source"] for t in document["terrain"])
    references |= measured_by
    marks = " ".join(_mark(reference) for reference in measured_by)
    title = f"Terrain factors, for the models that depend on terrain {marks}".rstrip()
    blocks.append(section(title, table(columns, grounds)))
    ordered = sorted(references, key=_reference_number)
    blocks.append(section("Sources", *(Words(text, hang=5) for text in ordered)))
    blocks.append(section("Before anyone acts on this", *bullets(document["cautions"])))
    return Group(*blocks)


def _model_lines(entry: Document) -> Group:
    validity = entry["validity"]
    scaling = [word for key, word in _SCALES.items() if entry[key]]
    marks = " ".join(_mark(source) for source in entry["sources"])
    said = [
        entry["equation"],
        f"holds for: {validity['text']}",
        validity["conditions"],
        f"spread: {entry['spread']['text']}",
        f"depends on {listing(scaling)}" if scaling else "the same for every wearer and speed",
        f"from {marks}, {entry['provenance']}",
    ]
    return _entry(entry, *filter(None, said))


def _entry(entry: Document, *lines: str) -> Group:
    name = entry["name"] + (" (default)" if entry["default"] else "")
    return Group(
        Words(f"{name}: {entry['title']}", "group", hang=4),
        *(Words(line, indent=4, hang=6) for line in lines),
    )


def _spaced(blocks: Iterable[Group]) -> list[Group | Text]:
    spaced: list[Group | Text] = []
    for block in blocks:
        spaced += [Text(""), block]
    return spaced


def _mark(reference: str) -> str:
    """ "[3]" of "[3] Soule RG, ...", else the reference itself."""
    match = re.match(r"\[\d+\]", reference)
    return match[0] if match else reference


def _reference_number(reference: str) -> tuple[int, str]:
    match = re.match(r"\[(\d+)\]", reference)
    return (int(match[1]) if match else 10**6, reference)
