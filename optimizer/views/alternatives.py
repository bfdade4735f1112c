"""Parts that may be bought as one of several models: what was chosen, and among what."""

from __future__ import annotations

from math import inf

from rich.console import Group

from optimizer.assess.result import Assessment
from optimizer.solve.figures import power_of, price_of, unpriced
from optimizer.study.model import PartModel, Study
from optimizer.views.quantity import grams, number
from optimizer.views.table import Cell, Column, section, table
from optimizer.views.words import Words, counted


def has_alternatives(study: Study) -> bool:
    """Whether there was anything to choose."""
    return any(len(part.models) > 1 for part in study.parts)


def alternatives_view(study: Study, found: Assessment) -> Group | None:
    """Every model of the parts that have several, with mass, price and power; None if none has."""
    if not has_alternatives(study):
        return None
    bought: dict[tuple[str, str], int] = {}
    for placed in found.parts:
        key = placed.part, placed.model
        bought[key] = bought.get(key, 0) + 1
    listed = [
        (part.name, model) for part in study.parts if len(part.models) > 1 for model in part.models
    ]
    priced = any(model.price is not None for _, model in listed)
    mass = grams((model.mass_kg for _, model in listed), light_g=inf)
    columns = [Column("part", words=True), Column("model", words=True), Column("mass", "g")]
    columns += [Column("price")] if priced else []
    columns += [Column("power", "W"), Column("bought", words=True)]
    rows: list[list[Cell] | None] = []
    for i, (name, model) in enumerate(listed):
        first = i == 0 or listed[i - 1][0] != name
        row: list[Cell] = [Words(name if first else ""), Words(model.name), mass[i]]
        row += [_price(model)] if priced else []
        n = bought.get((name, model.name), 0)
        row += [number(model.power_w, 1), Words(f"{n} of these" if n > 1 else "yes" if n else "")]
        rows.append(row)
    return section("Models to choose from", table(columns, rows), *_totals(study, found, priced))


def _price(model: PartModel) -> str:
    return "-" if model.price is None else f"{model.price:g}"


def _totals(study: Study, found: Assessment, priced: bool) -> list[Words]:
    power = f"All parts together are rated {number(power_of(study, found), 1)} W"
    if not priced:
        return [Words(f"{power}.", "quiet")]
    unknown = unpriced(study, found)
    text = f"{power} and cost {price_of(study, found):g}"
    if unknown:
        text += f", {counted(len(unknown), 'part')} without a price not counted"
    return [Words(f"{text}.", "quiet")]
