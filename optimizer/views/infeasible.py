"""Why nothing fits, in words."""

from __future__ import annotations

from pathlib import PurePath

from rich.console import Group, RenderableType

from optimizer.assess.result import Clash, Infeasible, Obstacle
from optimizer.errors import Origin
from optimizer.views.table import section
from optimizer.views.words import Words, counted, listing


def infeasible_view(found: Infeasible) -> Group:
    """Which limits clash, each with where it was written and the least change that mends it."""
    lead = f"No layout of {found.study_name} meets every limit."
    blocks: list[Group] = []
    if found.unplaceable:
        blocks.append(
            section(
                "Cannot be placed at all",
                Words(f"{counted(len(found.unplaceable), 'part')}: {listing(found.unplaceable)}"),
            )
        )
    if not found.whole and not found.obstacles:
        blocks.append(
            section("Why not", Words("Many limits together; no few of them could be told."))
        )
    if found.obstacles:
        first = Clash(found.obstacles, found.parts, found.smallest, found.whole)
        blocks.append(_clash(first, found, title="Why not" if found.unplaceable else ""))
    blocks += [
        _clash(clash, found, title="And with that out of the way, still") for clash in found.further
    ]
    if not found.complete:
        blocks.append(
            section("Cut short", Words("The explanation was ended early; there may be more."))
        )
    return Group(section(lead), *blocks)


def _clash(clash: Clash, found: Infeasible, title: str) -> Group:
    """One clash: its limits, what would mend it, and what it is about."""
    n = len(clash.obstacles)
    plain = "This cannot hold" if n == 1 else f"These {n} cannot all hold; any one less, they can"
    rows: list[RenderableType] = []
    if not clash.whole:
        plain = "Many limits share in this; changing any one of these is enough"
    for obstacle in clash.obstacles:
        rows.append(Words(f"- {obstacle_words(obstacle)}", hang=2))
        if obstacle.also:
            rows.append(Words(f"likewise {origins_words(obstacle.also)}", hang=4, indent=4))
        if obstacle.least_change_text:
            rows.append(Words(f"-> {obstacle.least_change_text}", hang=4, indent=4))
    if clash.parts and not set(clash.parts) <= set(found.unplaceable):
        what = "it leaves" if n == 1 else "together they leave"
        rows.append(Words(f"What {what} no place for: {listing(clash.parts)}."))
    if n > 1 and clash.smallest:
        rows.append(Words("No fewer limits clash.", "quiet"))
    return section(title or plain, *rows)


def obstacle_words(obstacle: Obstacle) -> str:
    """One obstacle and, in brackets, where it was written."""
    where = origin_words(obstacle.origin)
    return f"{obstacle.text} ({where})" if where else obstacle.text


def origin_words(origin: Origin) -> str:
    """ "sites.csv row 7 max_mass_g", as far as known."""
    where = PurePath(origin.file).name if origin.file else ""
    where += f" row {origin.row}" if origin.row is not None else ""
    where += f" {origin.column}" if origin.column else ""
    return where.strip()


def origins_words(origins: tuple[Origin, ...]) -> str:
    """Several rows, the file named once: "sites.csv rows 7, 8 and 9"."""
    files: dict[str, list[str]] = {}
    for origin in origins:
        row = "" if origin.row is None else str(origin.row)
        files.setdefault(PurePath(origin.file).name, []).append(row)
    return listing(
        [
            f"{file} row{'s' if len(rows) > 1 else ''} {listing([r for r in rows if r])}".strip()
            for file, rows in files.items()
        ]
    )
