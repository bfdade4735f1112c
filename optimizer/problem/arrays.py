"""The problem as plain arrays: what each choice costs and uses. No files, no printing."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from math import inf
from typing import TYPE_CHECKING, Protocol, overload

import numpy as np
from numpy.typing import NDArray

from optimizer.errors import Origin

if TYPE_CHECKING:
    from optimizer.problem.routing import RouteTable

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Slot:
    """One thing to place: a part, or one copy of a part of which there are several."""

    unit: str
    part: str
    models: tuple[str, ...]
    origin: Origin


@dataclass(frozen=True, slots=True)
class Exclusion:
    """Why a site that the designer allows cannot take a part by itself."""

    slot: int
    model: int
    site: int
    reason: str
    kind: str
    origin: Origin


@dataclass(frozen=True, slots=True)
class LineCase:
    """What one way of buying a line allows: an option with a model of each end's part.

    `model_a`/`model_b` None: any model. Infinite limits bind nothing.
    """

    option: int
    model_a: int | None
    model_b: int | None
    max_length_m: float = inf
    max_bend_rad: float = inf


@dataclass(frozen=True, slots=True)
class LineRow:
    """One line to route between the places of two slots."""

    name: str
    line: str
    slot_a: int
    slot_b: int
    slack_m: float
    options: tuple[str, ...]
    mass_kg_per_m: Array
    end_mass_kg: Array
    cases: tuple[LineCase, ...]
    origin: Origin

    @property
    def allows_every_option(self) -> bool:
        """Whether each option can be bought at all, with some models of the ends."""
        return {case.option for case in self.cases} == set(range(len(self.options)))

    @property
    def is_limited(self) -> bool:
        """Whether its length, its bend or its ends' models restrict where it can run."""
        return not self.allows_every_option or any(
            case.max_length_m < inf
            or case.max_bend_rad < inf
            or case.model_a is not None
            or case.model_b is not None
            for case in self.cases
        )


@dataclass(frozen=True, slots=True)
class SiteCap:
    """A capacity of one site: sum of `use[choice]` over the choices at the site <= `cap`.

    A kilogram of ballast there uses `per_ballast_kg`. `shown` is the cap as written, in `unit`,
    where it is not `cap` itself that was written.
    """

    kind: str
    site: int
    use: Array
    cap: float
    unit: str
    origin: Origin
    per_ballast_kg: float = 0.0
    shown: float | None = None


@dataclass(frozen=True, slots=True)
class LimitRow:
    """A limit on quantities: coefficients . quantities <= upper. `scale` turns SI into `unit`.

    `value` is the limit as written (SI) where that is not `upper` itself: a limit on a quotient
    such as an offset is multiplied out.
    """

    kind: str
    subject: str
    label: str
    coefficients: Array
    upper: float
    unit: str
    scale: float
    origin: Origin
    value: float | None = None

    @property
    def shown(self) -> float:
        """The limit as written, in `unit`."""
        return (self.upper if self.value is None else self.value) * self.scale


@dataclass(frozen=True, slots=True)
class SoftRow:
    """What overstepping costs: points_per x max(0, coefficients . quantities - upper).

    The points are discomfort, and count in the score with the weight of comfort.
    """

    kind: str
    subject: str
    label: str
    coefficients: Array
    upper: float
    points_per: float
    unit: str
    scale: float
    origin: Origin


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of the garment with its sites: put on, one donning step, if any of them is used."""

    name: str
    sites: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class BallastSites:
    """Where plain ballast may go, and how much [kg], each and in all."""

    sites: tuple[int, ...]
    max_kg: tuple[float, ...]
    total_kg: float
    origin: Origin


class SiteRule(Protocol):
    """Whether a rule on two sites forbids them: of two sites, or of arrays of them."""

    @overload
    def __call__(self, i: int, j: int, /) -> bool: ...

    @overload
    def __call__(self, i: IntArray, j: IntArray, /) -> NDArray[np.bool_]: ...


@dataclass(frozen=True, slots=True)
class PairRow:
    """A rule on two slots: choices (i, j) that may not both be made."""

    kind: str
    slot_a: int
    slot_b: int
    forbidden: SiteRule
    """Given the sites of the two slots, whether the rule forbids them."""
    label: str
    origin: Origin


@dataclass(frozen=True)
class Objective:
    """score = linear . quantities + curve_weight * curve(mass.trunk) + constant."""

    linear: Array
    curve_weight: float = 0.0
    curve: Callable[[float], float] | None = None
    curve_slope: Callable[[float], float] | None = None
    favour: Array | None = None
    """(n_c,) points that the search counts for every choice besides: of equals, which is taken."""


@dataclass(frozen=True)
class Problem:
    """Slots, choices, sites, arcs and lines with their contributions to the quantities.

    Shapes: n_c choices (slot, model, site), n_s sites, n_a undirected arcs, n_q quantities
    (`optimizer.problem.quantities.NAMES`). Nodes number anchors first, then sites.
    """

    slots: tuple[Slot, ...]
    exchange: tuple[tuple[tuple[int, ...], ...], ...]
    """Groups of interchangeable bundles of slots: ((a1, b1), (a2, b2)) may be swapped."""
    site_names: tuple[str, ...]
    choice_slot: IntArray
    choice_model: IntArray
    choice_site: IntArray
    choice_q: Array
    use_q: Array
    """(n_s, n_q): what using a site brings (its holder), before any part."""
    site_q: Array
    """(n_s, n_q): per kilogram at the site."""
    arc_tail: IntArray
    arc_head: IntArray
    arc_length_m: Array
    arc_bend_rad: Array
    arc_q: Array
    """(n_a, n_q): per kilogram of line lying on the arc."""
    site_node: IntArray
    routes: RouteTable
    lines: tuple[LineRow, ...]
    caps: tuple[SiteCap, ...]
    limits: tuple[LimitRow, ...]
    pairs: tuple[PairRow, ...]
    objective: Objective
    exclusions: tuple[Exclusion, ...]
    counts: Mapping[str, int] = field(default_factory=dict)
    soft: tuple[SoftRow, ...] = ()
    pieces: tuple[Piece, ...] = ()
    ballast: BallastSites | None = None

    def named(self, choice: int) -> tuple[str, str, str]:
        """(unit, model, site) of a choice."""
        slot = self.slots[int(self.choice_slot[choice])]
        model = slot.models[int(self.choice_model[choice])]
        return slot.unit, model, self.site_names[int(self.choice_site[choice])]

    def choices_of(self, slot: int) -> IntArray:
        """Indices of the choices of one slot."""
        return np.flatnonzero(self.choice_slot == slot)
