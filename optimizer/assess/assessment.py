"""One layout, everything true of it, from the study itself.

This is the second road to every number: it walks parts, holders and lines one by one through
the wearer's geometry and the energy model, and shares no array with the program.

Layouts of one setting mostly differ in a few parts. What a part at its place, or a line along its
route, puts on the wearer does not depend on the rest; the `Assessor` of the setting works it out
once for all layouts that have it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from optimizer.assess.air_budget import air_of, chamber_air
from optimizer.assess.balance import balance_of
from optimizer.assess.limits import Facts, layout_limits
from optimizer.assess.line_air import chamber_end, hung_volumes_m3
from optimizer.assess.line_limits import line_limits
from optimizer.assess.line_notes import sitting_words, warm_wire, warm_words
from optimizer.assess.line_physics import with_physics
from optimizer.assess.line_runs import Run, line_run
from optimizer.assess.loads import (
    LEG_KEYS,
    PROXIMAL_OF,
    Load,
    Lump,
    Places,
    Totals,
    load_of,
    sagittal_distance,
    total,
)
from optimizer.assess.lookup import Lookup
from optimizer.assess.result import (
    Assessment,
    Ballast,
    ChamberAir,
    Layout,
    LimitReport,
    LineReport,
    PartReport,
    Placement,
    Routing,
    SwingInertia,
)
from optimizer.assess.site_limits import Held
from optimizer.assess.wear_limits import soft_points
from optimizer.body.inertia import bare_leg_inertia, box_inertia_ml
from optimizer.energy.assist import assist_power_w
from optimizer.setting import Setting
from optimizer.study.model import LEG_SEGMENTS, SIDES, TRUNK, PartModel, SegmentKey, Site

#: Reporting order of segments: vest first, foot last.
ORDER = ("trunk", *LEG_SEGMENTS, "off_body")
BEST_COMFORT = 10.0
#: Parts at places, and lines along routes, that a setting's assessor remembers at most.
_MOST = 4096


# The two below are told apart by being themselves: quick to look up, and each is made but once.


@dataclass(frozen=True, slots=True, eq=False)
class _Placed:
    """A part at its place. Of one on the trunk the watts in `report` are still missing."""

    load: Load
    model: PartModel
    site: Site
    held: Held
    report: PartReport
    order: tuple[int, int, str]


@dataclass(frozen=True, slots=True, eq=False)
class _Described:
    """A line between its places as made; the trunk's share of its watts in `report` is missing."""

    report: LineReport
    limits: tuple[LimitReport, ...]
    trunk_kg: float
    warm: str
    chamber: ChamberAir | None


def assess(setting: Setting, layout: Layout) -> Assessment:
    """Everything true of one layout, measured masses and lengths taken where given."""
    return setting.once(Assessor).assess(layout)


def layout_lumps(setting: Setting, layout: Layout) -> list[Lump]:
    """All worn masses of a layout: holders, ballast, parts, lines."""
    return setting.once(Assessor).lumps(layout)


class Assessor:
    """Assesses the layouts of one setting, which keeps it (`Setting.once`)."""

    def __init__(self, setting: Setting) -> None:
        self._setting = setting
        self._lookup = setting.once(Lookup)
        self._places = setting.once(Places)
        study = setting.study
        self._bare = {
            (joint, side): bare_leg_inertia(setting.wearer, side, joint, study.inertia_pose)
            for joint in PROXIMAL_OF
            for side in SIDES
        }
        # bounded: a long run over many layouts must not fill the memory
        self._holder = lru_cache(_MOST)(self._make_holder)
        self._placed = lru_cache(_MOST)(self._make_placed)
        self._part_report = lru_cache(_MOST)(self._make_part_report)
        self._run = lru_cache(_MOST)(self._make_run)
        self._described = lru_cache(_MOST)(self._make_described)
        self._line_report = lru_cache(_MOST)(self._make_line_report)

    def assess(self, layout: Layout) -> Assessment:
        """Everything true of one layout; see `assess`."""
        setting, study, energy = self._setting, self._setting.study, self._setting.energy
        placed = [self._placed(p) for p in layout.placements]
        at = {p.held.unit: p.site for p in placed}
        models = {p.held.unit: p.model for p in placed}
        held: dict[str, list[Held]] = {}
        for p in placed:
            held.setdefault(p.site.name, []).append(p.held)
        order = self._lookup.site_order
        used = sorted({*held, *(b.site for b in layout.ballast)}, key=order.__getitem__)
        runs = self._runs(layout, placed)
        totals = total(self._loads(used, layout.ballast, placed, runs))

        trunk_kg = totals.mass_kg.get(TRUNK, 0.0)
        trunk_w = float(energy.trunk_cost(trunk_kg))
        per_trunk_kg = float(energy.trunk_slope(trunk_kg))
        metabolic_w = totals.leg_w + trunk_w
        swing, swing_pct = self._swing(totals)
        sites = [self._lookup.sites[name] for name in used]
        balance = balance_of(setting, totals, sites)
        discomfort = sum(
            BEST_COMFORT - (BEST_COMFORT if (c := site.comfort) is None else c) for site in sites
        ) + soft_points(setting, at, models, balance)

        reports = [
            self._part_report(p, per_trunk_kg) if p.site.key == TRUNK else p.report
            for p in sorted(placed, key=_order)
        ]
        described = self._describe(runs, placed)
        lines = tuple(
            self._line_report(line, per_trunk_kg) if line.trunk_kg else line.report
            for line in described
        )
        facts = Facts(
            setting, at, models, totals.mass_kg, swing, reports, balance, held, layout.ballast
        )
        by_segment = {
            _name(key): totals.mass_kg.get(key, 0.0)
            for key in (TRUNK, *((seg, side) for seg in LEG_SEGMENTS for side in SIDES))
        }
        legs_kg = {
            segment: sum(mass for key, mass in totals.mass_kg.items() if key[0] == segment)
            for segment in ("trunk", *LEG_SEGMENTS)
        }
        air = air_of(setting, models, reports, (line.chamber for line in described))
        said = (
            *setting.warnings,
            *energy.warnings(legs_kg),
            *(() if air is None else air.cautions),
            *warm_words([line.warm for line in described]),
        )
        return Assessment(
            layout=layout,
            parts=tuple(reports),
            lines=lines,
            holder_mass_kg={site.name: site.holder_mass_kg for site in sites},
            mass_kg=by_segment,
            total_mass_kg=sum(by_segment.values()),
            off_body_mass_kg=totals.mass_kg.get(("off_body", "centre"), 0.0),
            leg_w=totals.leg_w,
            trunk_w=trunk_w,
            metabolic_w=metabolic_w,
            metabolic_pct=100.0 * metabolic_w / energy.walking_w,
            walking_w=energy.walking_w,
            assist_w=assist_power_w(metabolic_w),
            swing_inertia=swing,
            swing_inertia_pct=swing_pct,
            discomfort=discomfort,
            score=self._score(metabolic_w, swing_pct) + study.weights.comfort * discomfort,
            limits=layout_limits(facts, (x for line in described for x in line.limits)),
            warnings=tuple(dict.fromkeys(said)),
            balance=balance,
            air=air,
            line_notes=sitting_words(lines),
            metabolic_w_by_segment={
                "trunk": trunk_w,
                **{_name(key): totals.leg_w_on[key] for key in LEG_KEYS},
            },
        )

    def lumps(self, layout: Layout) -> list[Lump]:
        """All worn masses of a layout: holders, ballast, parts, lines."""
        placed = [self._placed(p) for p in layout.placements]
        used = [*(p.site.name for p in placed), *(b.site for b in layout.ballast)]
        runs = self._runs(layout, placed)
        loads = self._loads(list(dict.fromkeys(used)), layout.ballast, placed, runs)
        return [lump for load in loads for lump in load.lumps]

    def _loads(
        self,
        used: Sequence[str],
        ballast: Sequence[Ballast],
        placed: Sequence[_Placed],
        runs: Sequence[Run],
    ) -> list[Load]:
        """What a layout puts on the wearer: holders of the `used` sites, ballast, parts, lines."""
        loads = [self._holder(name) for name in used]
        loads += [load_of([(self._places.site(b.site), b.mass_kg)]) for b in ballast]
        loads += [p.load for p in placed]
        loads += [run.load for run in runs]
        return loads

    def _make_holder(self, name: str) -> Load:
        return load_of([(self._places.site(name), self._lookup.sites[name].holder_mass_kg)])

    def _make_placed(self, placement: Placement) -> _Placed:
        lookup, setting = self._lookup, self._setting
        site, model = lookup.sites[placement.site], lookup.model(placement.part, placement.model)
        measured = placement.measured_mass_kg
        mass = model.mass_kg if measured is None else measured
        sideways = abs(site.outside_m) > abs(site.front_m)
        place = self._places.site(site.name)
        load = load_of([(place, mass)], box_inertia_ml(mass, model.size_m, sideways))
        pct, score = self._worth(load.leg_w, load.hip_inertia_kg_m2)
        report = PartReport(
            unit=placement.unit,
            part=placement.part,
            model=placement.model,
            site=site.name,
            segment=site.segment,
            side=site.side,
            mass_kg=mass,
            distance_m=sagittal_distance(setting, site.key, place.position),
            metabolic_w=load.leg_w,
            metabolic_pct=pct,
            swing_inertia_kg_m2=load.hip_inertia_kg_m2,
            score=score,
        )
        return _Placed(
            load=load,
            model=model,
            site=site,
            held=Held(placement.unit, placement.part, placement.model, mass),
            report=report,
            order=(ORDER.index(site.segment), lookup.site_order[site.name], placement.unit),
        )

    def _make_part_report(self, placed: _Placed, per_trunk_kg: float) -> PartReport:
        report = placed.report
        watts = report.mass_kg * per_trunk_kg
        pct, score = self._worth(watts, report.swing_inertia_kg_m2)
        return replace(report, metabolic_w=watts, metabolic_pct=pct, score=score)

    def _worth(self, watts: float, inertia_kg_m2: float) -> tuple[float, float]:
        """Watts in % of walking, and the score of watts and inertia about the hip."""
        inertia_pct = 100.0 * inertia_kg_m2 / self._bare["hip", "right"]
        pct = 100.0 * watts / self._setting.energy.walking_w
        return pct, self._score(watts, inertia_pct)

    def _score(self, watts: float, inertia_pct: float) -> float:
        weights = self._setting.study.weights
        return (
            weights.metabolic * 100.0 * watts / self._setting.energy.walking_w
            + weights.swing_inertia * inertia_pct
        )

    def _swing(self, totals: Totals) -> tuple[tuple[SwingInertia, ...], float]:
        """Added and bare inertia of both legs; the added about the hips, as % of one bare leg."""
        swing = tuple(
            SwingInertia(side, joint, self._bare[joint, side], totals.inertia_kg_m2[joint, side])
            for side in SIDES
            for joint in PROXIMAL_OF
        )
        one_leg = self._bare["hip", "right"]
        return swing, 100.0 * sum(s.added_kg_m2 for s in swing if s.joint == "hip") / one_leg

    def _runs(self, layout: Layout, placed: Sequence[_Placed]) -> list[Run]:
        at = {p.held.unit: p.site.name for p in placed}
        return [self._run(r, at[r.unit_a], at[r.unit_b]) for r in layout.routings]

    def _make_run(self, routing: Routing, site_a: str, site_b: str) -> Run:
        return line_run(self._setting, routing, site_a, site_b)

    def _describe(self, runs: Sequence[Run], placed: Sequence[_Placed]) -> list[_Described]:
        """Every line with its figures; tubes that end at one chamber have a part in its times."""
        made = {p.held.unit: (p.held.part, p.held.model) for p in placed}
        hung = hung_volumes_m3(self._setting, [run.report for run in runs])
        described = []
        for run in runs:
            report, hung_m3 = run.report, 0.0
            if hung and (chamber := chamber_end(self._setting, report)) is not None:
                hung_m3 = hung[chamber]
            ends = made[report.unit_a], made[report.unit_b]
            described.append(self._described(run, *ends, hung_m3))
        return described

    def _make_described(
        self, run: Run, made_a: tuple[str, str], made_b: tuple[str, str], hung_m3: float
    ) -> _Described:
        models = self._lookup.model(*made_a), self._lookup.model(*made_b)
        option = self._lookup.option(run.report.line, run.report.option)
        report = with_physics(self._setting, run.report, models, hung_m3)
        return _Described(
            report=report,
            limits=line_limits(option, report),
            trunk_kg=run.load.trunk_kg,
            warm=warm_wire(option, report),
            chamber=chamber_air(self._setting, report, models, hung_m3),
        )

    def _make_line_report(self, line: _Described, per_trunk_kg: float) -> LineReport:
        watts = line.report.metabolic_w + line.trunk_kg * per_trunk_kg
        return replace(line.report, metabolic_w=watts)


def _order(placed: _Placed) -> tuple[int, int, str]:
    return placed.order


def _name(key: SegmentKey) -> str:
    return f"{key[0]}.{key[1]}" if key[1] in SIDES else key[0]
