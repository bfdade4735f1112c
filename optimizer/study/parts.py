"""The catalog: its table, and parts with their alternative models made of the rows."""

from __future__ import annotations

from typing import Annotated

from optimizer.errors import Flaw
from optimizer.study.cells import Name, Names, Number, Text, is_name
from optimizer.study.model import Part, PartModel
from optimizer.study.physics_columns import PartPhysicsColumns, part_physics
from optimizer.study.selectors import SiteCard, select_sites
from optimizer.study.tables import Table, TableFormat, TableRow, own_first, parse_rows
from optimizer.study.units import CM3_PER_M3, G_PER_KG, MM_PER_M
from optimizer.study.words import nearest, quoted, unknown

#: Name of a part's model where the cell is left empty.
STANDARD = "standard"


class PartRow(PartPhysicsColumns):
    """One row of a parts table: a part, or one of the models it may be bought as."""

    name: Annotated[str, Name("a part's name")]
    model: Annotated[str, Name("a model's name", spaces=True, blank=STANDARD)]
    mass_g: Annotated[float, Number("g", above=0)]
    volume_cm3: Annotated[float, Number("cm3", above=0)]
    length_mm: Annotated[float, Number("mm", above=0)]
    width_mm: Annotated[float, Number("mm", above=0)]
    thickness_mm: Annotated[float, Number("mm", above=0)]
    sites: Annotated[str, Text("names of sites", optional=True)]
    fixed_site: Annotated[str, Name("a site's name", blank="")]
    quantity: Annotated[int, Number(least=1, most=99, whole=True, optional=True, blank=1)]
    needs: Annotated[tuple[str, ...], Names("what the part needs of a site")]
    power_w: Annotated[float, Number("W", least=0, optional=True, blank=0.0)]
    price: Annotated[float | None, Number(least=0, optional=True)]
    notes: str


PARTS = TableFormat(
    "parts",
    own_first(PartRow, PartPhysicsColumns),
    ("name", "mass_g", "volume_cm3", "length_mm", "width_mm", "thickness_mm"),
    ("sites", "fixed_site"),
)


def make_parts(
    table: Table, cards: list[SiteCard] | None, flaws: list[Flaw]
) -> tuple[tuple[Part, ...], dict[str, str]]:
    """The parts, and the fixed site of each part whose models all have the same one.

    `cards` is None where the garment could not be read; sites are then not checked.
    """
    groups: dict[str, list[tuple[TableRow, PartRow | None]]] = {}
    for row, values in parse_rows(table, PartRow, flaws):
        groups.setdefault(row.get("name"), []).append((row, values))
    parts: list[Part] = []
    fixed: dict[str, str] = {}
    for name, rows in groups.items():
        _check_models(table, rows, flaws)
        models = []
        for row, values in rows:
            sites = () if cards is None else _allowed(table, row, cards, flaws)
            if values is not None:
                models.append(_model(table, row, values, sites))
        if not name or len(models) < len(rows):
            continue
        counts = {values.quantity for _, values in rows if values is not None}
        parts.append(Part(name, tuple(models), max(counts), table.origin(rows[0][0])))
        places = {values.fixed_site for _, values in rows if values is not None}
        if len(places) == 1 and "" not in places:
            fixed[name] = places.pop()
    if not table.rows and not table.missing and table.complete:
        flaws.append(Flaw(table.whole, "no rows", "at least one part"))
    return tuple(parts), fixed


def model_name(row: TableRow) -> str:
    """What a model is called: its model cell, else "standard"."""
    return row.get("model") or STANDARD


def _check_models(
    table: Table, rows: list[tuple[TableRow, PartRow | None]], flaws: list[Flaw]
) -> None:
    """Several rows of one name are its models: names must differ, the quantity agree."""
    first_row, first = rows[0]
    seen: dict[str, int] = {}
    for row, values in rows:
        if not row.get("name"):
            continue
        model = model_name(row)
        if model in seen:
            what = f"part {quoted(row.get('name'))} with model {quoted(model)} again"
            expected = f"a model name that differs from row {seen[model]}'s"
            flaws.append(Flaw(table.origin(row, "model"), what, expected))
        seen.setdefault(model, row.line)
        if first is not None and values is not None and values.quantity != first.quantity:
            found = f"quantity {values.quantity}"
            expected = f"{first.quantity}, as for this part in row {first_row.line}"
            flaws.append(Flaw(table.origin(row, "quantity"), found, expected))


def _model(
    table: Table,
    row: TableRow,
    values: PartRow,
    sites: tuple[str, ...],
) -> PartModel:
    return PartModel(
        name=values.model,
        mass_kg=values.mass_g / G_PER_KG,
        volume_m3=values.volume_cm3 / CM3_PER_M3,
        size_m=(
            values.length_mm / MM_PER_M,
            values.width_mm / MM_PER_M,
            values.thickness_mm / MM_PER_M,
        ),
        sites=sites,
        needs=frozenset(values.needs),
        power_w=values.power_w,
        price=values.price,
        origin=table.origin(row),
        extra=table.extra(row),
        physics=part_physics(values),
    )


def _allowed(
    table: Table, row: TableRow, cards: list[SiteCard], flaws: list[Flaw]
) -> tuple[str, ...]:
    """Sites the row allows; a fixed site must be among those of its `sites` cell, if any."""
    cell, fixed = row.get("sites"), row.get("fixed_site")
    chosen: tuple[str, ...] = ()
    if cell:
        chosen = select_sites(cell, cards, table.origin(row, "sites"), flaws)
    if not fixed:
        if not cell and not {"sites", "fixed_site"} <= table.missing:
            expected = "a site, a pattern or a #tag here, or a fixed_site"
            flaws.append(Flaw(table.origin(row, "sites"), "an empty cell", expected))
        return chosen
    origin = table.origin(row, "fixed_site")
    names = [card.name for card in cards]
    if fixed not in names:
        if is_name(fixed):  # else said already
            flaws.append(unknown(origin, fixed, "a site of the garment", names))
        return ()
    if chosen and fixed not in chosen:
        found = f"{quoted(fixed)}, which {quoted(cell)} leaves out"
        flaws.append(Flaw(origin, found, "a fixed site among the allowed ones, or no sites cell"))
    return (fixed,)


def check_needs(table: Table, offers: frozenset[str], flaws: list[Flaw]) -> None:
    """Note needs that no site of the whole garment offers: misspelt, or never to be met."""
    known = sorted(offers)
    for row in table.rows:
        for need in row.get("needs").split():
            if need not in offers and is_name(need):
                name = row.get("name")
                expected = f"something a site offers: {', '.join(known) or 'none offers anything'}"
                origin = table.origin(row, "needs")
                found = f"{quoted(need)}, needed by {name}"
                flaws.append(Flaw(origin, found, expected, nearest(need, known)))
