"""Cards of the published models, read from `optimizer/data/energy_models.csv`."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from math import inf

from optimizer.energy.card import ModelCard, Spread, Validity
from optimizer.energy.conditions import LEGS
from optimizer.energy.tables import read_rows, sources


def _number(text: str, missing: float) -> float:
    return float(text) if text else missing


def _maybe(text: str) -> float | None:
    return float(text) if text else None


def _card(row: Mapping[str, str]) -> ModelCard:
    legs = {s: float(t) for s in LEGS if (t := row[f"{s}_max_kg_per_leg"])}
    cited = [sources()[key] for key in row["sources"].split(";")]
    return ModelCard(
        family=row["family"],
        name=row["name"],
        title=row["title"],
        equation=row["equation"],
        source="; ".join(f"[{s.number}] {s.citation}" for s in cited),
        provenance=row["provenance"],
        validity=Validity(
            speed_m_s=(_number(row["speed_min_m_s"], 0.0), _number(row["speed_max_m_s"], inf)),
            grade_percent=(
                _number(row["grade_min_pct"], -inf),
                _number(row["grade_max_pct"], inf),
            ),
            leg_segment_kg=legs,
            leg_kg=_number(row["leg_max_kg_per_leg"], inf),
            trunk_kg=_number(row["trunk_max_kg"], inf),
            trunk_body_fraction=_number(row["trunk_max_body_fraction"], inf),
            conditions=row["conditions"],
            population=row["population"],
        ),
        spread=Spread(
            text=row["spread"],
            factor=_maybe(row["spread_factor"]),
            w_per_kg_load=_maybe(row["spread_w_per_kg_load"]),
            w_per_kg_body=_maybe(row["spread_w_per_kg_body"]),
        ),
        default=row["default"] == "yes",
        scales_with_body_mass=row["scales_with_body_mass"] == "yes",
        scales_with_speed=row["scales_with_speed"] == "yes",
        uses_terrain=row["uses_terrain"] == "yes",
    )


@cache
def published_cards() -> tuple[ModelCard, ...]:
    """Cards of every published model, in the order of `energy_models.csv`."""
    return tuple(_card(row) for row in read_rows("energy_models.csv"))


def published_card(family: str, name: str) -> ModelCard:
    """Card of one published model; raises KeyError if there is none."""
    for card in published_cards():
        if (card.family, card.name) == (family, name):
            return card
    raise KeyError((family, name))
