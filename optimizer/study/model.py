"""The checked study: what a designer wrote, in SI units, with names resolved.

Nothing in here knows of files or printing; `optimizer.study.load` makes these objects and
everything downstream reads them. All are immutable: a what-if loads the study again with
overrides.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import inf
from typing import Literal

from optimizer.errors import Origin
from optimizer.study.physics import LinePhysics, PartPhysics

#: A body segment: ("thigh", "left"); the trunk is ("trunk", "centre").
SegmentKey = tuple[str, str]

TRUNK: SegmentKey = ("trunk", "centre")
OFF_BODY: SegmentKey = ("off_body", "centre")
LEG_SEGMENTS: tuple[str, ...] = ("thigh", "shank", "foot")
SIDES: tuple[str, ...] = ("left", "right")
LINE_KINDS: tuple[str, ...] = ("air_tube", "hose", "pull_cable", "wire")
#: The origin of what nobody wrote.
NOWHERE = Origin("")


@dataclass(frozen=True, slots=True)
class PartModel:
    """One alternative a part may be bought as.

    `size_m` is (length, width, thickness): length lies along the segment's long axis, thickness
    stands off the skin. `sites` are the names of the sites the designer allows, in the garment's
    order, before any limit is looked at. `extra` holds further columns as written.
    """

    name: str
    mass_kg: float
    volume_m3: float
    size_m: tuple[float, float, float]
    sites: tuple[str, ...]
    needs: frozenset[str]
    power_w: float
    price: float | None
    origin: Origin
    extra: Mapping[str, str] = field(default_factory=dict)
    physics: PartPhysics = field(default_factory=PartPhysics)


@dataclass(frozen=True, slots=True)
class Part:
    """A part to be placed `count` times. Copies of one part are interchangeable."""

    name: str
    models: tuple[PartModel, ...]
    count: int
    origin: Origin


@dataclass(frozen=True, slots=True)
class Site:
    """A place of the garment that can hold parts.

    `along` runs from 0 at the end nearer the head end of a leg segment (hip for the thigh, knee
    for the shank, heel for the foot) to 1 at the other end (knee, ankle, toe tip); on the trunk
    from 0 at hip level to 1 at the suprasternale. `front_m` is in front of the segment's axis
    (for the foot: above it), negative behind; `outside_m` is away from the body's midline,
    negative towards it. `anchor` names the routing anchor it hangs on, None for the nearest.
    `standoff_m` is the gap between the skin and what the site holds; `piece` the piece of the
    garment it belongs to, "" if it is put on by itself.
    """

    name: str
    segment: str
    side: str
    along: float
    front_m: float
    outside_m: float
    volume_m3: float
    max_mass_kg: float
    max_thickness_m: float
    holder_mass_kg: float
    contact_m2: float | None
    offers: frozenset[str]
    comfort: float | None
    tags: frozenset[str]
    anchor: str | None
    origin: Origin
    extra: Mapping[str, str] = field(default_factory=dict)
    standoff_m: float = 0.0
    piece: str = ""

    @property
    def key(self) -> SegmentKey:
        """The body segment the site moves with."""
        return (self.segment, self.side if self.segment in LEG_SEGMENTS else "centre")


@dataclass(frozen=True, slots=True)
class LineOption:
    """One bore, gauge or cable a line may be made of.

    `bore_m` is the inside diameter of a tube or hose, or the diameter of a cable; `size` is the
    designation as written ("6x4", "AWG 20"). `end_mass_kg` is what each end's fitting weighs.
    """

    name: str
    size: str
    bore_m: float | None
    mass_kg_per_m: float
    end_mass_kg: float
    max_length_m: float
    origin: Origin
    extra: Mapping[str, str] = field(default_factory=dict)
    physics: LinePhysics = field(default_factory=LinePhysics)


@dataclass(frozen=True, slots=True)
class Line:
    """A tube, hose, pull-cable or wire joining two parts, from `part_a` to `part_b`.

    `slack_m` is the service slack every such line carries, half at each end. If a part it joins
    has `count` > 1 the line is drawn once for every copy.
    """

    name: str
    kind: str
    part_a: str
    part_b: str
    slack_m: float
    options: tuple[LineOption, ...]
    origin: Origin


@dataclass(frozen=True, slots=True)
class WearerSpec:
    """The wearer as written: `measured` overrides lengths, masses and breadths by name, in SI."""

    sex: Literal["female", "male"]
    stature_m: float
    mass_kg: float
    inertia_table: str = "deleva1996"
    length_table: str | None = None
    affected_side: Literal["left", "right", "both", "none"] = "none"
    measured: Mapping[str, float] = field(default_factory=dict, hash=False)
    origin: Origin = NOWHERE


@dataclass(frozen=True, slots=True)
class Task:
    """The walking task: speed, grade (percent, uphill positive), terrain by name."""

    speed_m_s: float = 1.25
    grade_percent: float = 0.0
    terrain: str = "treadmill"
    origin: Origin = NOWHERE


@dataclass(frozen=True, slots=True)
class EnergySpec:
    """Names of the energy models: leg, trunk, and the wearer's own walking power."""

    leg: str = "segment_curve"
    trunk: str = "browning_waist"
    walking: str = "looney2019"
    origin: Origin = NOWHERE


@dataclass(frozen=True, slots=True)
class Weights:
    """What the score adds up: each term is a percentage of the bare wearer's own value."""

    metabolic: float = 1.0
    swing_inertia: float = 0.1
    comfort: float = 0.0


@dataclass(frozen=True, slots=True)
class LimitSpec:
    """One limit of the study: `kind` with its subject, e.g. ("segment_mass", "thigh")."""

    kind: str
    subject: str
    value: float
    origin: Origin


@dataclass(frozen=True, slots=True)
class PairRule:
    """Two parts that must share a place ("same_place") or stay apart ("apart").

    `distance_m` is the least straight distance for "apart"; 0 means merely different sites.
    """

    kind: Literal["same_place", "apart"]
    part_a: str
    part_b: str
    distance_m: float
    origin: Origin


@dataclass(frozen=True, slots=True)
class AddedArc:
    """A routing arc a study adds; `length_m` None for the straight distance.

    `carried_by` names the segment carrying the arc's mass ("off_body", "trunk", "thigh.left"),
    None for half to the segment of each end. An unknown end name makes a new off-body anchor.
    """

    tail: str
    head: str
    length_m: float | None
    slack_m: float
    bend_rad: float
    carried_by: str | None
    origin: Origin


@dataclass(frozen=True, slots=True)
class RoutesSpec:
    """What a study changes about the routing graph. `joint_range`: "gait" or "sit"."""

    joint_range: str = "gait"
    add: tuple[AddedArc, ...] = ()
    forbid: tuple[tuple[str, str], ...] = ()
    forbid_anchors: tuple[str, ...] = ()
    keep_out: bool = False
    """Whether lines keep away from the back of thigh and knee."""


@dataclass(frozen=True, slots=True)
class SolveSpec:
    """How to solve: relative gap at which to stop (0 = proven), time limit, layouts to rank."""

    gap: float = 0.0
    time_limit_s: float = inf
    top: int = 5
    seed: int = 0
    threads: int = 1


@dataclass(frozen=True, slots=True)
class Counterweight:
    """Plain ballast that may be put on one leg, `side`, so that left-right limits are met.

    At most `max_mass_kg` in all, of a material of `density_kg_m3`.
    """

    side: Literal["left", "right"]
    max_mass_kg: float
    density_kg_m3: float
    origin: Origin = NOWHERE


@dataclass(frozen=True, slots=True)
class Scenario:
    """A what-if written in the study: what it sets, by dotted path, as an override would."""

    name: str
    settings: Mapping[str, object]
    origin: Origin


@dataclass(frozen=True, slots=True)
class Study:
    """Everything a run needs, checked and in SI."""

    name: str
    title: str
    invented: bool
    parts: tuple[Part, ...]
    sites: tuple[Site, ...]
    lines: tuple[Line, ...]
    wearer: WearerSpec
    task: Task
    energy: EnergySpec
    weights: Weights
    limits: tuple[LimitSpec, ...]
    rules: tuple[PairRule, ...]
    routes: RoutesSpec
    solve: SolveSpec
    inertia_pose: Literal["straight", "swing"]
    origin: Origin
    files: Mapping[str, str] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    counterweight: Counterweight | None = None
    scenarios: tuple[Scenario, ...] = ()
