"""The build sheet: what goes where, what is cut how long, what to weigh, in which order it is worn.

Masses and lengths are the assessment's. What a maker's hand decides is judgement and says so:
the cutting tolerance and the order of dressing are common practice, without a source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor

from optimizer.assess.result import Assessment, LineReport
from optimizer.setting import Setting
from optimizer.study.model import LEG_SEGMENTS, Line, LineOption, PartModel, Site
from optimizer.views.quantity import cut_mm
from optimizer.views.words import segment_words

#: Cutting tolerance: never shorter; longer by this, or by this share if that is more.
LONGER_MM = 5.0
LONGER_SHARE = 0.02
#: How far a pocket on the scale may be off its plan: this, or this share if that is more.
SCALE_G = 5.0
SCALE_SHARE = 0.02
TOLERANCE_WORDS = (
    "Tolerances are judgement (common practice, no source): a line is never cut shorter than "
    f"written, and longer by at most {LONGER_MM:.0f} mm or {100 * LONGER_SHARE:.0f} % of its "
    "length, whichever is more, as far as its longest length allows; a weighed mass may be off by "
    f"{SCALE_G:.0f} g or {100 * SCALE_SHARE:.0f} %, whichever is more, before it is worth weighing "
    "the prototype anew."
)
FASTENER_WORDS = (
    "Fasteners, seams and padding are left to the maker; what a holder weighs is counted as "
    "written in the garment's table, so weigh it with its fasteners."
)
_ORDER = ("trunk", *LEG_SEGMENTS, "off_body")


@dataclass(frozen=True, slots=True)
class PocketPart:
    """One thing put into a pocket; sizes in mm: along the limb, across it, off the skin."""

    unit: str
    model: str
    mass_g: float
    size_mm: tuple[float, float, float] | None


@dataclass(frozen=True, slots=True)
class Pocket:
    """A site in use: where it is, which way it faces, what goes in, heaviest first."""

    site: str
    where: str
    faces: str
    orientation: str
    holder_g: float
    parts: tuple[PocketPart, ...]

    @property
    def mass_g(self) -> float:
        """Holder and contents, without lines."""
        return self.holder_g + sum(part.mass_g for part in self.parts)


@dataclass(frozen=True, slots=True)
class Cut:
    """One line to cut: `length_mm` includes `slack_mm` (service and joints).

    `longer_mm` is how much longer it may be; `bore` is the bore, gauge or diameter.
    """

    line: str
    kind: str
    option: str
    bore: str
    start: str
    end: str
    route: str
    length_mm: int
    slack_mm: float
    longer_mm: int
    mass_g: float
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Weighing:
    """A mass to check on a scale."""

    what: str
    mass_g: float
    within_g: float


@dataclass(frozen=True, slots=True)
class Compared:
    """Plan against prototype: one measured value, or a figure that follows from all of them."""

    what: str
    unit: str
    planned: float
    built: float
    decimals: int

    @property
    def change(self) -> float:
        """Built less planned."""
        return self.built - self.planned


@dataclass(frozen=True, slots=True)
class BuildSheet:
    """Everything a workshop needs of one layout. `compared` is empty before anything is weighed."""

    title: str
    pockets: tuple[Pocket, ...]
    cuts: tuple[Cut, ...]
    scale: tuple[Weighing, ...]
    donning: tuple[str, ...]
    broken: tuple[str, ...]
    compared: tuple[Compared, ...]
    compared_notes: tuple[str, ...]
    warnings: tuple[str, ...] = ()
    """What is to be said of the plan, and of the prototype."""
    standing: str = ""
    """Which layout this is, and what was proven of it."""


def build_sheet(
    setting: Setting,
    plan: Assessment,
    built: Assessment | None = None,
    title: str = "",
    standing: str = "",
) -> BuildSheet:
    """The build sheet of a planned layout, compared with the weighed prototype if there is one.

    `standing` says which of the ranked layouts it is and what was proven of it.
    """
    pockets = _pockets(setting, plan)
    return BuildSheet(
        title=title or setting.study.name,
        pockets=pockets,
        cuts=tuple(_cut(setting, line) for line in plan.lines),
        scale=_scale(plan, pockets),
        donning=donning_order(setting, plan),
        broken=tuple(m.label for m in plan.limits if not m.met),
        compared=() if built is None else _compared(plan, built),
        compared_notes=() if built is None else _compared_notes(plan, built),
        warnings=_warnings(plan, built),
        standing=standing,
    )


def _warnings(plan: Assessment, built: Assessment | None) -> tuple[str, ...]:
    """Warnings and notes of the lines; of a prototype only what was not said of the plan."""
    said = (*plan.warnings, *plan.line_notes, *(() if built is None else built.warnings))
    return tuple(dict.fromkeys(said))


def _pockets(setting: Setting, plan: Assessment) -> tuple[Pocket, ...]:
    sites = {site.name: site for site in setting.study.sites}
    models = {
        (part.name, model.name): model for part in setting.study.parts for model in part.models
    }
    order = {name: i for i, name in enumerate(sites)}
    held: dict[str, list[PocketPart]] = {}
    for part in plan.parts:
        held.setdefault(part.site, []).append(
            PocketPart(
                part.unit, part.model, part.mass_kg * 1e3, _size_mm(models[part.part, part.model])
            )
        )
    for ballast in plan.layout.ballast:
        held.setdefault(ballast.site, []).append(
            PocketPart("counterweight", "ballast", ballast.mass_kg * 1e3, None)
        )
    names = sorted(held, key=lambda n: (_ORDER.index(sites[n].segment), order[n]))
    return tuple(
        Pocket(
            site=name,
            where=where_words(sites[name]),
            faces=faces_words(sites[name]),
            orientation=orientation_words(sites[name]),
            holder_g=plan.holder_mass_kg.get(name, 0.0) * 1e3,
            parts=tuple(sorted(held[name], key=lambda p: (-p.mass_g, p.unit))),
        )
        for name in names
    )


def _size_mm(model: PartModel) -> tuple[float, float, float]:
    length, width, thickness = (1e3 * v for v in model.size_m)
    return length, width, thickness


def where_words(site: Site) -> str:
    """Where a site is: "right shank, 94 % of the way from knee to ankle, 10 mm in front..."."""
    if site.segment == "off_body":
        return "off the body"
    way = {
        "trunk": "from hip level to the top of the breastbone",
        "thigh": "from hip to knee",
        "shank": "from knee to ankle",
        "foot": "from heel to toe tip",
    }[site.segment]
    front = ("above", "below") if site.segment == "foot" else ("in front of", "behind")
    if site.segment == "trunk":
        outward = {"left": "left", "right": "right"}.get(site.side, "right")
        inward = "right" if outward == "left" else "left"
        out = (f"to the {outward} of", f"to the {inward} of")
    else:
        out = ("outside", "inside")
    said = [f"{segment_words(site.segment, site.side)}, {100 * site.along:.0f} % of the way {way}"]
    if abs(site.front_m) >= 5e-4:
        said.append(f"{abs(site.front_m) * 1e3:.0f} mm {front[site.front_m < 0]} the axis")
    if abs(site.outside_m) >= 5e-4:
        said.append(f"{abs(site.outside_m) * 1e3:.0f} mm {out[site.outside_m < 0]} it")
    return ", ".join(said)


def faces_words(site: Site) -> str:
    """Which way the pocket faces: front, back, outwards, inwards, up or down (foot)."""
    if site.segment == "off_body":
        return "-"
    if abs(site.front_m) >= abs(site.outside_m):
        ways = ("up", "down") if site.segment == "foot" else ("front", "back")
        return ways[site.front_m < 0]
    return "outwards" if site.outside_m > 0 else "inwards"


def orientation_words(site: Site) -> str:
    """How parts lie in it, as the assessment counted them."""
    if site.segment == "off_body":
        return "as it stands"
    axis = {"trunk": "upright", "foot": "heel to toe"}.get(site.segment, "along the limb")
    return f"length {axis}, thickness off the skin"


def _cut(setting: Setting, report: LineReport) -> Cut:
    line, option = _option(setting, report)
    length = cut_mm(report.length_m)
    longest = None if report.max_length_m is None else report.max_length_m * 1e3
    longer = max(LONGER_MM, LONGER_SHARE * length)
    if longest is not None:
        longer = min(longer, max(0.0, longest - length))
    route = " > ".join(report.nodes) if report.nodes else f"within {report.site_a}"
    return Cut(
        line=report.line,
        kind=report.kind,
        option=report.option,
        bore=bore_words(line, option),
        start=f"{report.unit_a} at {report.site_a}",
        end=f"{report.unit_b} at {report.site_b}",
        route=route,
        length_mm=length,
        slack_mm=report.slack_m * 1e3,
        longer_mm=floor(longer + 1e-9),
        mass_g=report.mass_kg * 1e3,
        cautions=report.cautions,
    )


def _option(setting: Setting, report: LineReport) -> tuple[Line, LineOption]:
    name = (
        report.line
        if report.line in {n.name for n in setting.study.lines}
        else (report.line.rpartition("#")[0])
    )
    line = next(n for n in setting.study.lines if n.name == name)
    return line, next(o for o in line.options if o.name == report.option)


def bore_words(line: Line, option: LineOption) -> str:
    """ "6x4, bore 4 mm", "AWG 20", "diameter 1.2 mm"; "" where the option's name says it all."""
    said = [option.size] if option.size and option.size not in option.name else []
    if option.bore_m is not None:
        name = "diameter" if line.kind == "pull_cable" else "bore"
        said.append(f"{name} {option.bore_m * 1e3:g} mm")
    return ", ".join(said)


def of_words(cut: Cut) -> str:
    """What a line is cut of: the option bought, with its bore, gauge or diameter."""
    return f"{cut.option}, {cut.bore}" if cut.bore else cut.option


def _scale(plan: Assessment, pockets: Sequence[Pocket]) -> tuple[Weighing, ...]:
    rows = [("everything worn", plan.total_mass_kg * 1e3)]
    if plan.off_body_mass_kg > 0:
        rows.append(("everything off the body", plan.off_body_mass_kg * 1e3))
    rows += [(f"{p.site}, holder and contents", p.mass_g) for p in pockets]
    rows += [("all lines with their ends", 1e3 * sum(line.mass_kg for line in plan.lines))]
    return tuple(
        Weighing(what, mass, max(SCALE_G, SCALE_SHARE * mass)) for what, mass in rows if mass > 0.0
    )


def donning_order(setting: Setting, plan: Assessment) -> tuple[str, ...]:
    """Piece by piece from the vest down; a line is joined once both its ends are on.

    Vest first so that its lines hang down and nothing is pulled up over a worn cuff: common
    practice, no source.
    """
    sites = {site.name: site for site in setting.study.sites}
    rank = {name: i for i, name in enumerate(sites)}
    used = [s for s in setting.study.sites if s.name in plan.holder_mass_kg]
    used.sort(key=lambda s: (_ORDER.index(s.segment), s.side, rank[s.name]))
    steps: list[str] = []
    on: set[str] = set()
    pending = list(plan.lines)
    pieces: dict[tuple[str, str], list[Site]] = {}
    for site in used:
        key = ("piece", site.piece) if site.piece else ("site", site.name)
        pieces.setdefault(key, []).append(site)
    for (kind, name), members in pieces.items():
        where = segment_words(members[0].segment, members[0].side)
        held = ", ".join(s.name for s in members)
        worn = members[0].segment != "off_body"
        what = f"Put on {name} ({where})" if worn else f"Set down {name}"
        if kind == "piece" and held != name:
            what += f" with {held}"
        before = set(on)
        on.update(s.name for s in members)
        joined = [n for n in pending if {n.site_a, n.site_b} <= on]
        pending = [n for n in pending if n not in joined]
        across = [n.line for n in joined if {n.site_a, n.site_b} & before]
        what += f"; then join {', '.join(across)}" if across else ""
        steps.append(f"{what}.")
    steps.append("Look along every line for kinks with hip, knee and ankle bent, sitting.")
    steps.append("Switch on last; take off in the opposite order, switched off and vented first.")
    return tuple(steps)


def _compared(plan: Assessment, built: Assessment) -> tuple[Compared, ...]:
    rows = [
        Compared("worn mass", "g", plan.total_mass_kg * 1e3, built.total_mass_kg * 1e3, 1),
        Compared("metabolic penalty", "W", plan.metabolic_w, built.metabolic_w, 3),
        Compared("metabolic penalty", "%", plan.metabolic_pct, built.metabolic_pct, 3),
        Compared("added swing inertia", "%", plan.swing_inertia_pct, built.swing_inertia_pct, 3),
        Compared("score", "", plan.score, built.score, 4),
    ]
    parts = {p.unit: p for p in plan.parts}
    for part in built.parts:
        if part.unit in parts:
            planned = parts[part.unit].mass_kg
            rows.append(Compared(part.unit, "g", planned * 1e3, part.mass_kg * 1e3, 1))
    lines = {n.line: n for n in plan.lines}
    measured = {r.line for r in built.layout.routings if r.measured_length_m is not None}
    for line in built.lines:
        if line.line in lines:
            planned = cut_mm(lines[line.line].length_m)
            # not measured, it is taken to be cut as planned
            made = line.length_m * 1e3 if line.line in measured else cut_mm(line.length_m)
            rows.append(Compared(line.line, "mm", planned, made, 0))
    return tuple(rows)


def _compared_notes(plan: Assessment, built: Assessment) -> tuple[str, ...]:
    from optimizer.views.differences import differences_in_short

    changes = differences_in_short(plan.layout, built.layout)
    notes = [f"built otherwise than planned: {change}" for change in changes]
    notes += [f"the prototype breaks a limit: {m.label}" for m in built.limits if not m.met]
    unweighed = [p.unit for p in built.layout.placements if p.measured_mass_kg is None]
    unmeasured = [r.line for r in built.layout.routings if r.measured_length_m is None]
    if unweighed:
        notes.append(f"not weighed, so counted as planned: {', '.join(unweighed)}")
    if unmeasured:
        notes.append(f"not measured, so counted as planned: {', '.join(unmeasured)}")
    return tuple(notes)
