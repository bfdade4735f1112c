"""What sits where, ready to be drawn: loads of the sites, the views worth showing, routes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from optimizer.assess.result import Assessment, LineReport
from optimizer.report.outline import Array, View
from optimizer.setting import Setting
from optimizer.study.model import LEG_SEGMENTS, OFF_BODY, Site


@dataclass(frozen=True, slots=True)
class Load:
    """What one site holds: (name, mass) of each part or ballast, heaviest first."""

    number: int
    site: Site
    items: tuple[tuple[str, float], ...]
    position: Array

    @property
    def mass_kg(self) -> float:
        """All that is put there, without the holder."""
        return sum(mass for _, mass in self.items)


def loads(setting: Setting, assessment: Assessment) -> tuple[Load, ...]:
    """The worn sites in use, numbered from the top of the body down."""
    held: dict[str, list[tuple[str, float]]] = {}
    for part in assessment.parts:
        held.setdefault(part.site, []).append((part.unit, part.mass_kg))
    for ballast in assessment.layout.ballast:
        if ballast.mass_kg > 0.0:
            held.setdefault(ballast.site, []).append(("counterweight", ballast.mass_kg))
    worn = [s for s in setting.study.sites if s.name in held and s.key != OFF_BODY]
    placed = [(s, np.asarray(setting.wearer.position(s), dtype=float)) for s in worn]
    placed.sort(key=lambda item: (-item[1][1], item[0].name))
    return tuple(
        Load(i, site, tuple(sorted(held[site.name], key=lambda p: (-p[1], p[0]))), position)
        for i, (site, position) in enumerate(placed, start=1)
    )


def route_points(setting: Setting, line: LineReport) -> Array:
    """Where a line passes, (k, 3) [m]: site, anchors, site; empty within one site."""
    graph = setting.graph
    if len(line.nodes) < 2:
        return np.empty((0, 3))
    anchors = dict(zip(graph.nodes[: graph.n_anchors], graph.positions, strict=False))
    sites = dict(
        zip(graph.nodes[graph.n_anchors :], graph.positions[graph.n_anchors :], strict=True)
    )
    ends = (sites[line.nodes[0]], sites[line.nodes[-1]])
    return np.array([ends[0], *(anchors[name] for name in line.nodes[1:-1]), ends[1]])


def views_of(held: tuple[Load, ...]) -> tuple[View, ...]:
    """The front, and the side of every leg that carries something; the right if neither does."""
    sides: list[View] = [
        side
        for side in ("right", "left")
        if any(load.site.segment in LEG_SEGMENTS and load.site.side == side for load in held)
    ]
    return ("front", *(sides or ("right",)))


def in_view(site: Site, view: View) -> bool:
    """A side view leaves out the leg behind."""
    return site.segment not in LEG_SEGMENTS or view in ("front", site.side)
