"""The stage a study plays on: wearer, energy model and routing graph, made once per study."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from optimizer.body.wearer import Wearer, build_wearer
from optimizer.energy.model import EnergyModel, energy_model
from optimizer.lines.graph import RoutingGraph, build_graph
from optimizer.lines.line_limits import Limit, LineLimits
from optimizer.study.model import SegmentKey, Study

#: W per kg on the leg, and the squared distance [m^2] from each joint it swings about.
PointCost = tuple[float, tuple[tuple[str, float], ...]]


@dataclass(frozen=True)
class Setting:
    """A study with what follows from it before anything is decided."""

    study: Study
    wearer: Wearer
    energy: EnergyModel
    graph: RoutingGraph

    @cached_property
    def point_costs(self) -> dict[tuple[SegmentKey, bytes], PointCost]:
        """What the assessment has worked out per kilogram at a place, kept between layouts."""
        return {}

    @cached_property
    def line_limits(self) -> Mapping[str, tuple[Limit, ...]]:
        """How far each way of making each line may run, by the line's name."""
        return LineLimits(self.study.parts, self.study.lines).limits


def build_setting(study: Study) -> Setting:
    """Build the wearer, the energy model and the routing graph of `study`.

    Raises
    ------
    InputError
        If the wearer, a model name or a route of the study cannot be used.
    """
    wearer = build_wearer(study.wearer)
    energy = energy_model(study.energy, wearer, study.task)
    graph = build_graph(wearer, study.sites, study.routes)
    return Setting(study, wearer, energy, graph)
