"""The garment: its table, and sites made of the rows."""

from __future__ import annotations

import re
from math import inf
from typing import Annotated

from optimizer.errors import Flaw
from optimizer.study.cells import Choice, Name, Names, Number, expectation
from optimizer.study.model import LEG_SEGMENTS, Site
from optimizer.study.selectors import SiteCard
from optimizer.study.tables import RowSchema, Table, TableFormat, TableRow, parse_rows
from optimizer.study.units import CM2_PER_M2, CM3_PER_M3, G_PER_KG, MM_PER_M, PERCENT
from optimizer.study.words import quoted

_SEGMENTS = ("trunk", "thigh", "shank", "foot", "off_body")
_SIDES = ("left", "right", "centre")


class SiteRow(RowSchema):
    """One row of a sites table. An empty capacity is no limit; 0 closes the site."""

    name: Annotated[str, Name("a site's name")]
    segment: Annotated[str, Choice(_SEGMENTS)]
    side: Annotated[str, Choice(_SIDES, blank="", aliases=(("center", "centre"),))]
    along_pct: Annotated[float | None, Number("%", least=-25, most=125, optional=True)]
    front_mm: Annotated[float | None, Number("mm", least=-1000, most=1000, optional=True)]
    outside_mm: Annotated[float | None, Number("mm", least=-1000, most=1000, optional=True)]
    volume_cm3: Annotated[float | None, Number("cm3", least=0, optional=True)]
    max_mass_g: Annotated[float | None, Number("g", least=0, optional=True)]
    max_thickness_mm: Annotated[float | None, Number("mm", least=0, optional=True)]
    holder_mass_g: Annotated[float, Number("g", least=0, optional=True, blank=0.0)]
    contact_cm2: Annotated[float | None, Number("cm2", above=0, optional=True)]
    offers: Annotated[tuple[str, ...], Names("what the site offers")]
    comfort: Annotated[float | None, Number(least=0, most=10, optional=True)]
    tags: Annotated[tuple[str, ...], Names("tags")]
    anchor: Annotated[str, Name("a routing anchor's name", blank="")]
    notes: str
    standoff_mm: Annotated[float, Number("mm", least=0, most=1000, optional=True, blank=0.0)]
    piece: Annotated[str, Name("a piece of the garment", blank="")]


SITES = TableFormat(
    "sites",
    tuple(SiteRow.model_fields),
    ("name", "segment", "along_pct", "front_mm", "outside_mm"),
)
_POSITION = ("along_pct", "front_mm", "outside_mm")


def site_cards(table: Table) -> list[SiteCard]:
    """Names and tags of all rows, sound or not, so that one bad cell is complained of once."""
    cards: dict[str, SiteCard] = {}
    for row in table.rows:
        name = row.get("name")
        if name:
            # any word of a misread row may be one of its tags
            tags = f"{row.get('tags')} {row.misread}".split()
            cards.setdefault(name, SiteCard(name, frozenset(tags)))
    return list(cards.values())


def offered_words(table: Table) -> frozenset[str]:
    """All that any row offers, however it separates the words: for looking names up."""
    cells = [f"{row.get('offers')} {row.misread}" for row in table.rows]
    return frozenset(w for cell in cells for w in re.split(r"[\s,;]+", cell) if w)


def make_sites(table: Table, flaws: list[Flaw]) -> tuple[Site, ...]:
    """The sites of the sound rows, in the table's order."""
    lines: dict[str, int] = {}
    sites: list[Site] = []
    for row, values in parse_rows(table, SiteRow, flaws):
        name = row.get("name")
        if name and name in lines:
            expected = f"a name not used yet (row {lines[name]} has it)"
            flaws.append(Flaw(table.origin(row, "name"), quoted(name), expected))
            continue
        lines[name] = row.line
        before = len(flaws)
        _check_place(table, row, flaws)
        if values is not None and len(flaws) == before:
            sites.append(_site(table, row, values))
    if not table.rows and not table.missing and table.complete:
        flaws.append(Flaw(table.whole, "no rows", "at least one site"))
    return tuple(sites)


def _check_place(table: Table, row: TableRow, flaws: list[Flaw]) -> None:
    """What the segment asks of the row's side and position, whatever else is wrong with it."""
    segment, side = row.get("segment").casefold(), row.get("side").casefold()
    if segment in LEG_SEGMENTS and side in ("", "centre", "center"):
        found = quoted(side) if side else "an empty cell"
        expected = f"left or right, since the {segment} has a side"
        flaws.append(Flaw(table.origin(row, "side"), found, expected))
    if segment == "off_body" and side in ("left", "right"):
        expected = "an empty cell: a place off the body has no side"
        flaws.append(Flaw(table.origin(row, "side"), quoted(side), expected))
    if segment in (*LEG_SEGMENTS, "trunk"):
        for column in _POSITION:
            if not row.get(column) and column not in table.missing:
                expected = expectation(SiteRow, column)
                flaws.append(Flaw(table.origin(row, column), "an empty cell", expected))


def _site(table: Table, row: TableRow, values: SiteRow) -> Site:
    side = values.side or "centre"
    return Site(
        name=values.name,
        segment=values.segment,
        side=side,
        along=(values.along_pct or 0.0) / PERCENT,
        front_m=(values.front_mm or 0.0) / MM_PER_M,
        outside_m=(values.outside_mm or 0.0) / MM_PER_M,
        volume_m3=_capacity(values.volume_cm3, CM3_PER_M3),
        max_mass_kg=_capacity(values.max_mass_g, G_PER_KG),
        max_thickness_m=_capacity(values.max_thickness_mm, MM_PER_M),
        holder_mass_kg=values.holder_mass_g / G_PER_KG,
        contact_m2=None if values.contact_cm2 is None else values.contact_cm2 / CM2_PER_M2,
        offers=frozenset(values.offers),
        comfort=values.comfort,
        tags=frozenset(values.tags),
        anchor=values.anchor or None,
        origin=table.origin(row),
        extra=table.extra(row),
        standoff_m=values.standoff_mm / MM_PER_M,
        piece=values.piece,
    )


def _capacity(value: float | None, per_si: float) -> float:
    return inf if value is None else value / per_si
