"""How a layout stands against every limit, worked out from the layout itself."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import inf

from optimizer.assess.report import BINDING_SHARE, report
from optimizer.assess.result import (
    Balance,
    Ballast,
    LimitReport,
    PartReport,
    SwingInertia,
)
from optimizer.assess.rule_limits import RuleLimits
from optimizer.assess.site_limits import Held, SiteLimits
from optimizer.assess.wear_limits import WEAR_LIMITS, counterweight_limits
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
    balance: Balance
    held: Mapping[str, Sequence[Held]]
    """What each site in use holds, by its name."""
    ballast: Sequence[Ballast] = ()

    def leg_mass_kg(self, side: str) -> float:
        """Worn mass on one leg."""
        return sum(self.mass_kg.get((segment, side), 0.0) for segment in LEG_SEGMENTS)

    def hip_inertia_pct(self, side: str) -> float:
        """Added inertia of one leg about its hip, % of the bare leg."""
        return next(s.added_pct for s in self.swing if s.side == side and s.joint == "hip")


def layout_limits(facts: Facts, lines: Iterable[LimitReport]) -> tuple[LimitReport, ...]:
    """Every limit that applies to a layout, sites first, then `lines`, rules and the study's."""
    setting = facts.setting
    reports = [*setting.once(SiteLimits)(facts.held, facts.ballast), *lines]
    reports += setting.once(RuleLimits)(facts.at)
    for spec in setting.study.limits:
        reports += STUDY_LIMITS[spec.kind](spec, facts)
    reports += counterweight_limits(facts)
    return tuple(reports)


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
