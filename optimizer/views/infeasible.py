"""Why nothing fits, in words."""

from __future__ import annotations

from pathlib import PurePath

from rich.console import Group

from optimizer.assess.result import Infeasible, Obstacle
from optimizer.views.table import section
from optimizer.views.words import Words, bullets, counted, listing


def infeasible_view(found: Infeasible) -> Group:
    """Which parts cannot be placed and which limits clash, each with where it was written."""
    lead = f"No layout of {found.study_name} meets every limit."
    blocks: list[Group] = []
    if found.unplaceable:
        blocks.append(
            section(
                "Cannot be placed at all",
                Words(f"{counted(len(found.unplaceable), 'part')}: {listing(found.unplaceable)}"),
            )
        )
    if found.obstacles:
        title = "This cannot hold"
        if found.unplaceable:
            title = "Why not"
        elif len(found.obstacles) > 1:
            title = "These cannot all hold; loosening any one of them may be enough"
        blocks.append(section(title, *bullets(obstacle_words(o) for o in found.obstacles)))
    if found.warnings:
        blocks.append(section("Warnings", *bullets(found.warnings)))
    return Group(section(lead), *blocks)


def obstacle_words(obstacle: Obstacle) -> str:
    """One obstacle and, in brackets, where it was written."""
    origin = obstacle.origin
    where = PurePath(origin.file).name if origin.file else ""
    where += f" row {origin.row}" if origin.row is not None else ""
    where += f" {origin.column}" if origin.column else ""
    return f"{obstacle.text} ({where.strip()})" if where.strip() else obstacle.text
