"""What is known of one layout: plain records that the views print and nothing else computes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from optimizer.errors import Origin


@dataclass(frozen=True, slots=True)
class Placement:
    """Where one copy of a part sits: `unit` is the part's name, with "#2" for further copies."""

    unit: str
    part: str
    model: str
    site: str
    measured_mass_kg: float | None = None


@dataclass(frozen=True, slots=True)
class Routing:
    """How one line runs: the option bought and the routing nodes passed, site to site.

    `nodes` is empty when both ends sit at one site. `measured_length_m` is a built line's.
    """

    line: str
    option: str
    unit_a: str
    unit_b: str
    nodes: tuple[str, ...]
    measured_length_m: float | None = None


@dataclass(frozen=True, slots=True)
class Ballast:
    """Plain ballast put into a site as a counterweight; with 0 kg the empty holder is one."""

    site: str
    mass_kg: float


@dataclass(frozen=True, slots=True)
class Layout:
    """A full answer to "what goes where": a place for every part and a route for every line."""

    placements: tuple[Placement, ...]
    routings: tuple[Routing, ...]
    ballast: tuple[Ballast, ...] = ()


@dataclass(frozen=True, slots=True)
class PartReport:
    """One placed part. `metabolic_w` is what it costs there, at the margin of the trunk load."""

    unit: str
    part: str
    model: str
    site: str
    segment: str
    side: str
    mass_kg: float
    distance_m: float
    """Distance from the hip's mediolateral axis in the standing body, sagittal plane."""
    metabolic_w: float
    metabolic_pct: float
    swing_inertia_kg_m2: float
    """Added about the hip of its own side, at the study's pose; 0 on the trunk."""
    score: float


@dataclass(frozen=True, slots=True)
class LineReport:
    """One routed line: `length_m` is cut length with joint slack and service slack."""

    line: str
    kind: str
    option: str
    size: str
    unit_a: str
    unit_b: str
    site_a: str
    site_b: str
    nodes: tuple[str, ...]
    length_m: float
    slack_m: float
    bend_rad: float
    joints: tuple[str, ...]
    """Joints crossed, e.g. ("hip.left", "knee.left")."""
    mass_kg: float
    metabolic_w: float
    swing_inertia_kg_m2: float
    max_length_m: float | None
    cautions: tuple[str, ...] = ()
    physics: Mapping[str, float] = field(default_factory=dict)
    """Further figures by name with the unit in it, e.g. {"fill_ms": 96.0}."""


@dataclass(frozen=True, slots=True)
class LimitReport:
    """One limit and how the layout stands: `slack` >= 0 is met; values in `unit`.

    `kind` groups ("site_volume", "segment_mass", "line_length", ...); `subject` is what it is
    about (a site, "thigh.left", a line). `label` says it in words.
    """

    kind: str
    subject: str
    label: str
    value: float
    limit: float
    slack: float
    unit: str
    binding: bool
    origin: Origin
    soft: bool = False
    """Whether overstepping only costs comfort points."""

    @property
    def met(self) -> bool:
        """Whether the limit holds, to the program's own tolerance of 2e-6 of the limit."""
        return self.soft or self.slack >= -2e-6 * max(1.0, abs(self.limit))


@dataclass(frozen=True, slots=True)
class SwingInertia:
    """Added and bare moment of inertia of one leg about one joint's mediolateral axis."""

    side: str
    joint: str
    bare_kg_m2: float
    added_kg_m2: float

    @property
    def added_pct(self) -> float:
        """Added inertia as a percentage of the bare leg's."""
        return 100.0 * self.added_kg_m2 / self.bare_kg_m2


@dataclass(frozen=True, slots=True)
class Balance:
    """How a layout's load lies on the wearer; lengths are signed: forward, up, to the right.

    `trunk_front_m`, `trunk_right_m`: the trunk load's centre of mass from the hips' middle;
    `shift_m`: of the whole body's centre of mass (forward, up, right). `belt_kg` is what hangs at
    places tagged belt or pelvis, `donning_steps` the pieces of the garment put on.
    """

    trunk_front_m: float
    trunk_right_m: float
    shift_m: tuple[float, float, float]
    belt_kg: float
    donning_steps: int


@dataclass(frozen=True, slots=True)
class ChamberAir:
    """What one stride takes at one air chamber; pressures absolute, `air_m3` ANR."""

    unit: str
    high_pa: float
    supply_pa: float
    dead_volume_m3: float
    """Air inside all tubes that end at the chamber."""
    air_m3: float


@dataclass(frozen=True, slots=True)
class AirReport:
    """What a layout's air costs while walking; flows and `air_per_stride_m3` are ANR.

    None where the parts table does not say (no pump flow, no reservoir, no battery).
    """

    chambers: tuple[ChamberAir, ...]
    cadence_per_min: float
    """Steps per minute of this wearer at the study's speed; a stride is two steps."""
    air_per_stride_m3: float
    dead_volume_m3: float
    pump_needed_m3_s: float
    pump_rated_m3_s: float | None
    reservoir_m3: float | None
    dip_pa: float | None
    """Fall of the reservoir's pressure if one stride's air is taken at once."""
    pump_w: float | None
    """Mean electrical power, the pump running as large a share of the time as it must."""
    other_w: float
    """Power of all other parts."""
    pump_efficiency: float | None
    """Ideal adiabatic work of the pump's rated flow over its electrical power."""
    battery_j: float | None
    walking_h: float | None
    battery_kg_per_h: float | None
    """Battery mass that one hour of walking takes, of batteries like those chosen."""
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Assessment:
    """Everything true of one layout, recomputed from the study."""

    layout: Layout
    parts: tuple[PartReport, ...]
    """Vest first, foot last: trunk, thigh, shank, foot, then off the body."""
    lines: tuple[LineReport, ...]
    holder_mass_kg: Mapping[str, float]
    """Holder mass of every site in use, by site name."""
    mass_kg: Mapping[str, float]
    """Worn mass by segment ("trunk", "thigh.left", ...), parts, holders and lines."""
    total_mass_kg: float
    off_body_mass_kg: float
    leg_w: float
    trunk_w: float
    metabolic_w: float
    metabolic_pct: float
    walking_w: float
    """The wearer's own net walking power, the 100 % of `metabolic_pct`."""
    assist_w: float
    """Mean positive assist power that would pay the mass back (efficiency 0.41)."""
    swing_inertia: tuple[SwingInertia, ...]
    swing_inertia_pct: float
    """Added about the hip, both legs summed, as % of one bare leg."""
    discomfort: float
    score: float
    limits: tuple[LimitReport, ...]
    warnings: tuple[str, ...]
    """What every answer that rests on this layout has to say: the setting's warnings, loads beyond
    what the models were measured at, air that pump or battery cannot give, wires that get warm."""
    balance: Balance | None = None
    air: AirReport | None = None
    """What walking takes in air; None without an air chamber that a line fills."""
    line_notes: tuple[str, ...] = ()
    """What is worth knowing of the lines together, a sentence each."""
    metabolic_w_by_segment: Mapping[str, float] = field(default_factory=dict)
    """What the worn mass of each segment costs, by the names of `mass_kg`; adds up to the whole."""

    @property
    def feasible(self) -> bool:
        """Whether every limit is met."""
        return all(limit.met for limit in self.limits)

    @property
    def joint_crossings(self) -> dict[str, int]:
        """How often lines cross each joint, e.g. {"knee.right": 7}."""
        counts: dict[str, int] = {}
        for line in self.lines:
            for joint in line.joints:
                counts[joint] = counts.get(joint, 0) + 1
        return dict(sorted(counts.items()))


@dataclass(frozen=True, slots=True)
class Proof:
    """What the solver proved of one layout.

    `status` is "optimal" (proven to the gap asked for), "time_limit", "interrupted" or
    "given" (a layout somebody else chose). `bound` is the proven lower bound on the score.
    """

    status: str
    score: float
    bound: float
    gap: float
    seconds: float
    branch_nodes: int


@dataclass(frozen=True, slots=True)
class RankedLayout:
    """A layout with its rank (1 = best), what is true of it and what was proven."""

    rank: int
    assessment: Assessment
    proof: Proof


@dataclass(frozen=True, slots=True)
class CounterweightReport:
    """Whether ballast on the sound leg pays: the best score with it allowed and without it.

    `score_without` is None where nothing fits without ballast; `proven` says whether both
    scores are proven best. `ballast` is the best layout's.
    """

    ballast: tuple[Ballast, ...]
    score_with: float
    score_without: float | None
    proven: bool

    @property
    def pays(self) -> bool:
        """Whether the best layout carries a counterweight."""
        return bool(self.ballast)

    @property
    def mass_kg(self) -> float:
        """Ballast in the best layout, without holders."""
        return sum(b.mass_kg for b in self.ballast)


@dataclass(frozen=True, slots=True)
class Ranking:
    """The answer of `place`: ranked layouts and how the search went.

    `exhausted` is True when there are no further layouts than those listed. `size` holds
    counts such as "choices", "choices_after_presolve", "rows", "columns".
    """

    study_name: str
    layouts: tuple[RankedLayout, ...]
    exhausted: bool
    seconds: float
    size: Mapping[str, int]
    warnings: tuple[str, ...]
    counterweight: CounterweightReport | None = None


@dataclass(frozen=True, slots=True)
class Obstacle:
    """One reason why nothing fits, in words, with where the limit was written.

    `value` is the limit and `needed_value` what it would have to be, all else as written, both in
    `unit`, the designer's; None where there is no amount, or no change of it alone is enough.
    `least_change_text` says it in words. `enough` tells whether everything then fits, or only this
    clash is out of the way. `also` lists further rows that this reason stands for.
    """

    text: str
    origin: Origin
    kind: str = ""
    subject: str = ""
    value: float | None = None
    needed_value: float | None = None
    unit: str = ""
    least_change_text: str = ""
    enough: bool = False
    also: tuple[Origin, ...] = ()


@dataclass(frozen=True, slots=True)
class Clash:
    """Limits that cannot all hold: drop any one and the others can.

    `parts` cannot be placed together under these limits; any of them less, and the rest can.
    `smallest`: no other set of so few limits clashes. If not `whole`, the search got too long, and
    these are only limits without any one of which everything fits: part of every clash.
    """

    obstacles: tuple[Obstacle, ...]
    parts: tuple[str, ...] = ()
    smallest: bool = False
    whole: bool = True


@dataclass(frozen=True, slots=True)
class Infeasible:
    """No layout meets every limit. `obstacles` together cannot all hold.

    They are one clash, about `parts`; for `smallest` and `whole` see `Clash`. `further` are
    clashes that remain when those before them are out of the way. `unplaceable` are parts that no
    allowed site takes, even empty. `complete` is False if the explanation was cut short.
    """

    study_name: str
    obstacles: tuple[Obstacle, ...]
    unplaceable: tuple[str, ...]
    seconds: float
    warnings: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    smallest: bool = False
    whole: bool = True
    further: tuple[Clash, ...] = ()
    complete: bool = True
