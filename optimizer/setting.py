"""The stage a study plays on: wearer, energy model and routing graph, made once per study."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any, TypeVar

from optimizer.body.wearer import Wearer, build_wearer
from optimizer.energy.model import EnergyModel, energy_model
from optimizer.lines.graph import RoutingGraph, build_graph
from optimizer.lines.line_limits import Limit, LineLimits
from optimizer.study.model import Study

T = TypeVar("T")


@dataclass(frozen=True)
class Setting:
    """A study with what follows from it before anything is decided."""

    study: Study
    wearer: Wearer
    energy: EnergyModel
    graph: RoutingGraph

    def once(self, make: Callable[[Setting], T]) -> T:
        """What `make` makes of this setting: made when first asked for, kept as long as it lives.

        Nothing is shared with another setting, not with a changed copy of this one either. Two
        threads that ask at the same time may both make it; one of the two is kept.
        """
        found: T | None = self._kept.get(make)
        return self._kept.setdefault(make, make(self)) if found is None else found

    def changed(self, study: Study) -> Setting:
        """The setting of a changed study of the same wearer, energy models, sites and routes."""
        found = replace(self, study=study)
        if study.parts is self.study.parts and study.lines is self.study.lines:
            # how far lines may run follows from these alone, and takes long to work out
            found.__dict__["line_limits"] = self.line_limits
        return found

    @cached_property
    def _kept(self) -> dict[Callable[[Setting], Any], Any]:
        return {}

    def __getstate__(self) -> dict[str, object]:
        """What it is made of; whatever follows from that is worked out anew where it arrives."""
        return {f.name: getattr(self, f.name) for f in fields(self)}

    @property
    def warnings(self) -> tuple[str, ...]:
        """What is to be said of every answer in this setting, whatever its layout.

        What looks like a slip in the files, and where wearer or task lie outside the range that
        tables and models hold for.
        """
        said = (*self.study.warnings, *self.wearer.warnings, *self.energy.warnings({}))
        return tuple(dict.fromkeys(said))

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
