"""How a layout stands against every limit, worked out from the layout itself."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import inf

import numpy as np

from optimizer.assess.line_limits import line_limits
from optimizer.assess.report import BINDING_SHARE, report
from optimizer.assess.result import (
    Balance,
    Ballast,
    LimitReport,
    LineReport,
    PartReport,
    SwingInertia,
)
from optimizer.assess.wear_limits import WEAR_LIMITS, counterweight_limits
from optimizer.body.places import offers_of
from optimizer.setting import Setting
from optimizer.study.model import (
    LEG_SEGMENTS,
    SIDES,
    TRUNK,
    LimitSpec,
    PartModel,
    SegmentKey,
    Site,
)
from optimizer.study.units import S_PER_H


@dataclass(frozen=True)
class Facts:
    """What the limits look at."""

    setting: Setting
    at: Mapping[str, Site]
    models: Mapping[str, PartModel]
    mass_kg: Mapping[SegmentKey, float]
    swing: Sequence[SwingInertia]
    parts: Sequence[PartReport]
    lines: Sequence[LineReport]
    balance: Balance
    ballast: Sequence[Ballast] = ()

    def leg_mass_kg(self, side: str) -> float:
        """Worn mass on one leg."""
        return sum(self.mass_kg.get((segment, side), 0.0) for segment in LEG_SEGMENTS)

    def hip_inertia_pct(self, side: str) -> float:
        """Added inertia of one leg about its hip, % of the bare leg."""
        return next(s.added_pct for s in self.swing if s.side == side and s.joint == "hip")


def layout_limits(
    setting: Setting,
    at: Mapping[str, Site],
    models: Mapping[str, PartModel],
    mass_kg: Mapping[SegmentKey, float],
    swing: Sequence[SwingInertia],
    parts: Sequence[PartReport],
    lines: Sequence[LineReport],
    balance: Balance,
    ballast: Sequence[Ballast] = (),
) -> tuple[LimitReport, ...]:
    """Every limit that applies to a layout, sites first, then lines, rules and the study's."""
    facts = Facts(setting, at, models, mass_kg, swing, parts, lines, balance, ballast)
    reports = [*_site_limits(facts), *line_limits(setting.study, lines), *_rules(facts)]
    for spec in setting.study.limits:
        reports += STUDY_LIMITS[spec.kind](spec, facts)
    reports += counterweight_limits(facts)
    return tuple(reports)


def _site_limits(facts: Facts) -> list[LimitReport]:
    reports = []
    masses = {p.unit: p.mass_kg for p in facts.parts}
    for site in facts.setting.study.sites:
        units = [unit for unit, here in facts.at.items() if here.name == site.name]
        ballast = sum(b.mass_kg for b in facts.ballast if b.site == site.name)
        if not units and not ballast:
            continue
        models = [facts.models[unit] for unit in units]
        if site.volume_m3 < inf:
            used = sum(model.volume_m3 for model in models)
            if (counterweight := facts.setting.study.counterweight) is not None:
                used += ballast / counterweight.density_kg_m3
            label = f"volume in {site.name}"
            reports.append(
                report(
                    "site_volume", site.name, label, used, site.volume_m3, "cm3", 1e6, site.origin
                )
            )
        if site.max_mass_kg < inf:
            used = ballast + sum(masses[unit] for unit in units)
            label = f"mass in {site.name}"
            reports.append(
                report("site_mass", site.name, label, used, site.max_mass_kg, "g", 1e3, site.origin)
            )
        if site.max_thickness_m < inf and models:
            thickest = max(model.size_m[2] for model in models)
            label = f"thickness in {site.name}"
            reports.append(
                report(
                    "site_thickness",
                    site.name,
                    label,
                    thickest,
                    site.max_thickness_m,
                    "mm",
                    1e3,
                    site.origin,
                )
            )
        for unit, model in zip(units, models, strict=True):
            missing = model.needs - offers_of(facts.setting.wearer, site)
            if missing:
                label = f"{site.name} offers {unit} {', '.join(sorted(missing))}"
                reports.append(
                    report("needs", unit, label, len(missing), 0.0, "needs", 1.0, model.origin)
                )
            if site.name not in model.sites:
                label = f"{unit} allowed at {site.name}"
                reports.append(
                    report("allowed_site", unit, label, 1.0, 0.0, "places", 1.0, model.origin)
                )
    return reports


def _rules(facts: Facts) -> list[LimitReport]:
    reports = []
    for rule in facts.setting.study.rules:
        for a in _units(facts, rule.part_a):
            for b in _units(facts, rule.part_b):
                if a == b:
                    continue
                here, there = facts.at[a], facts.at[b]
                same = here.name == there.name
                if rule.kind == "same_place":
                    label = f"{a} and {b} share a place"
                    value = 0.0 if same else 1.0
                    reports.append(
                        report("same_place", a, label, value, 0.0, "places", 1.0, rule.origin)
                    )
                    continue
                wearer = facts.setting.wearer
                gap = float(np.linalg.norm(wearer.position(here) - wearer.position(there)))
                broken = same or gap < rule.distance_m
                label = f"{a} and {b} stay apart"
                reports.append(
                    report(
                        "apart",
                        a,
                        label,
                        (max(rule.distance_m, 1e-3) if same else rule.distance_m) - gap
                        if broken
                        else min(0.0, rule.distance_m - gap),
                        0.0,
                        "mm short",
                        1e3,
                        rule.origin,
                    )
                )
    return reports


def _units(facts: Facts, part: str) -> list[str]:
    return [unit for unit in facts.at if unit.split("#")[0] == part]


StudyLimit = Callable[[LimitSpec, Facts], list[LimitReport]]


def _segment_mass(spec: LimitSpec, facts: Facts) -> list[LimitReport]:
    keys = [TRUNK] if spec.subject == "trunk" else [(spec.subject, side) for side in SIDES]
    reports = []
    for key in keys:
        where = f"the {key[1]} {key[0]}" if key[1] in SIDES else f"the {key[0]}"
        subject = f"{key[0]}.{key[1]}" if key[1] in SIDES else key[0]
        reports.append(
            report(
                spec.kind,
                subject,
                f"mass on {where}",
                facts.mass_kg.get(key, 0.0),
                spec.value,
                "g",
                1e3,
                spec.origin,
            )
        )
    return reports


def _device_mass(spec: LimitSpec, facts: Facts) -> list[LimitReport]:
    worn = sum(mass for key, mass in facts.mass_kg.items() if key[0] != "off_body")
    return [report(spec.kind, "device", "worn mass", worn, spec.value, "g", 1e3, spec.origin)]


def _left_right(
    spec: LimitSpec, of_side: Callable[[str], float], noun: str, unit: str, scale: float
) -> list[LimitReport]:
    reports = []
    for more, less in (SIDES, SIDES[::-1]):
        label = f"{noun} of the {more} leg beyond the {less}"
        value = of_side(more) - of_side(less)
        reports.append(
            report(spec.kind, f"{more}>{less}", label, value, spec.value, unit, scale, spec.origin)
        )
    return reports


def _left_right_mass(spec: LimitSpec, facts: Facts) -> list[LimitReport]:
    return _left_right(spec, facts.leg_mass_kg, "mass", "g", 1e3)


def _left_right_swing_inertia(spec: LimitSpec, facts: Facts) -> list[LimitReport]:
    return _left_right(spec, facts.hip_inertia_pct, "swing inertia", "% of the bare leg", 1.0)


def _sites_in_use(spec: LimitSpec, facts: Facts) -> list[LimitReport]:
    used = len({site.name for site in facts.at.values()} | {b.site for b in facts.ballast})
    return [
        report(spec.kind, "garment", "sites in use", used, spec.value, "sites", 1.0, spec.origin)
    ]


def _walking_time(spec: LimitSpec, facts: Facts) -> list[LimitReport]:
    """How long the chosen batteries feed all chosen parts at rated power [h]; a least value."""
    power_w = sum(model.power_w for model in facts.models.values())
    held_j = sum(model.physics.battery_j or 0.0 for model in facts.models.values())
    hours = held_j / power_w / S_PER_H if power_w > 0.0 else inf
    wanted = spec.value / S_PER_H
    return [
        LimitReport(
            kind=spec.kind,
            subject="batteries",
            label="walking time on the batteries, all parts at rated power",
            value=hours,
            limit=wanted,
            slack=hours - wanted,
            unit="h",
            binding=hours - wanted <= BINDING_SHARE * max(1.0, wanted),
            origin=spec.origin,
        )
    ]


#: Limit kind of the study -> how a layout stands against it.
STUDY_LIMITS: dict[str, StudyLimit] = {
    "segment_mass": _segment_mass,
    "device_mass": _device_mass,
    "left_right_mass": _left_right_mass,
    "left_right_swing_inertia": _left_right_swing_inertia,
    "sites_in_use": _sites_in_use,
    "walking_time": _walking_time,
    **WEAR_LIMITS,
}
