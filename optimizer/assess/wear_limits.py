"""Wearability limits of a study, worked out from the layout itself."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from optimizer.assess.lookup import Lookup
from optimizer.assess.report import report
from optimizer.assess.result import Balance, LimitReport
from optimizer.body.gait import GRAVITY_M_S2
from optimizer.body.places import keep_out
from optimizer.body.wear_defaults import default_value
from optimizer.setting import Setting
from optimizer.study.limits import LIMIT_KEYS
from optimizer.study.model import LEG_SEGMENTS, LimitSpec, PartModel, Site

if TYPE_CHECKING:
    from optimizer.assess.limits import Facts

_DIRECTIONS: dict[str, tuple[int, str, str]] = {
    "fore_aft": (0, "front", "back"),
    "vertical": (1, "upwards", "downwards"),
    "lateral": (2, "right", "left"),
}

WearLimit = Callable[[LimitSpec, "Facts"], list[LimitReport]]


def _written(setting: Setting) -> dict[tuple[str, str], float]:
    return {(spec.kind, spec.subject): spec.value for spec in setting.study.limits}


def _kept_out(setting: Setting) -> dict[str, str | None]:
    return {site.name: keep_out(site) for site in setting.study.sites}


def _figure(setting: Setting, key: str, subject: str = "") -> float:
    """A figure limits are made with: as written in the study, else the recommended one, in SI."""
    limit = LIMIT_KEYS[key]
    try:
        return setting.once(_written)[limit.kind, subject]
    except KeyError:
        return default_value(key, subject, setting.study.wearer.sex) / limit.per_si


def soft_points(
    setting: Setting,
    at: Mapping[str, Site],
    models: Mapping[str, PartModel],
    balance: Balance,
) -> float:
    """Comfort points of overstepped soft limits."""
    points = 0.0
    for spec in setting.study.limits:
        if spec.kind == "belt_soft":
            over = max(0.0, balance.belt_kg - spec.value)
            points += over * _figure(setting, "belt_points_per_kg")
        elif spec.kind == "protrusion_soft":
            rate = _figure(setting, "protrusion_points_per_cm")
            for unit, site in at.items():
                if site.segment != "off_body":
                    points += rate * max(0.0, _protrusion_m(models[unit], site) - spec.value)
    return points


def _protrusion_m(model: PartModel, site: Site) -> float:
    return site.standoff_m + model.size_m[2]


def _both_ways(spec: LimitSpec, noun: str, value: Callable[[int], float]) -> list[LimitReport]:
    axis, positive, negative = _DIRECTIONS[spec.subject]
    reports = []
    for way, sign in ((positive, 1.0), (negative, -1.0)):
        to = way if spec.subject == "vertical" else f"to the {way}"
        reports.append(
            report(
                spec.kind,
                f"{spec.subject}.{way}",
                f"{noun} {to}",
                sign * value(axis),
                spec.value,
                "mm",
                1e3,
                spec.origin,
            )
        )
    return reports


def _trunk_offset(spec: LimitSpec, facts: Facts) -> list[LimitReport]:
    offset = {0: facts.balance.trunk_front_m, 2: facts.balance.trunk_right_m}
    return _both_ways(spec, "offset of the trunk's load", offset.__getitem__)


def _com_shift(spec: LimitSpec, facts: Facts) -> list[LimitReport]:
    noun = "shift of the body's centre of mass"
    return _both_ways(spec, noun, lambda axis: facts.balance.shift_m[axis])


def _belt(spec: LimitSpec, facts: Facts) -> list[LimitReport]:
    soft = spec.kind == "belt_soft"
    label = "load on the belt" + (" before it costs comfort" if soft else "")
    kg = facts.balance.belt_kg
    return [report(spec.kind, "belt", label, kg, spec.value, "g", 1e3, spec.origin, soft=soft)]


def _donning_steps(spec: LimitSpec, facts: Facts) -> list[LimitReport]:
    steps = facts.balance.donning_steps
    label = "pieces to put on"
    return [report(spec.kind, "garment", label, steps, spec.value, "pieces", 1.0, spec.origin)]


def _contact(spec: LimitSpec, facts: Facts) -> list[LimitReport]:
    setting = facts.setting
    mass_at: dict[str, float] = {}
    for part in facts.parts:
        mass_at[part.site] = mass_at.get(part.site, 0.0) + part.mass_kg
    for ballast in facts.ballast:
        mass_at[ballast.site] = mass_at.get(ballast.site, 0.0) + ballast.mass_kg
    reports = []
    for site in setting.study.sites:
        if site.name not in mass_at or site.contact_m2 is None:
            continue
        times = 1.0
        if spec.kind == "contact_peak" and site.segment != "off_body":
            times = _figure(setting, "contact_factor", site.segment)
        load_n = (mass_at[site.name] + site.holder_mass_kg) * GRAVITY_M_S2 * times
        label = f"contact pressure at {site.name}"
        label += f", {times:g} x gravity" if times != 1.0 else ", under gravity"
        value = load_n / site.contact_m2
        reports.append(
            report(spec.kind, site.name, label, value, spec.value, "kPa", 1e-3, spec.origin)
        )
    return reports


def _protrusion(spec: LimitSpec, facts: Facts) -> list[LimitReport]:
    soft = spec.kind == "protrusion_soft"
    reports = []
    for unit, site in facts.at.items():
        if site.segment == "off_body":
            continue
        reach = _protrusion_m(facts.models[unit], site)
        label = f"{unit} stands off the skin at {site.name}"
        reports.append(
            report(spec.kind, unit, label, reach, spec.value, "mm", 1e3, spec.origin, soft=soft)
        )
    return reports


def _keep_out(spec: LimitSpec, facts: Facts) -> list[LimitReport]:
    reports = []
    places = facts.setting.once(_kept_out)
    held = [(unit, site.name) for unit, site in facts.at.items()]
    for unit, site in [*held, *((f"ballast in {b.site}", b.site) for b in facts.ballast)]:
        place = places[site]
        label = f"{unit} keeps out of {place or 'places not to be used'}"
        value = 0.0 if place is None else 1.0
        reports.append(report(spec.kind, unit, label, value, 0.0, "places", 1.0, spec.origin))
    return reports


def _none(spec: LimitSpec, facts: Facts) -> list[LimitReport]:
    """A figure that other limits are made with."""
    return []


def counterweight_limits(facts: Facts) -> list[LimitReport]:
    """How much ballast there is, and that none is where it may not be."""
    counterweight = facts.setting.study.counterweight
    if counterweight is None:
        return []
    sites = facts.setting.once(Lookup).sites
    total = sum(b.mass_kg for b in facts.ballast)
    stray = sum(
        b.mass_kg
        for b in facts.ballast
        if sites[b.site].side != counterweight.side or sites[b.site].segment not in LEG_SEGMENTS
    )
    origin = counterweight.origin
    side = counterweight.side
    return [
        report(
            "counterweight", side, f"ballast on the {side} leg", total,
            counterweight.max_mass_kg, "g", 1e3, origin,
        ),
        report("counterweight", "elsewhere", "ballast elsewhere", stray, 0.0, "g", 1e3, origin),
    ]  # fmt: skip


#: Limit kind of the study -> how a layout stands against it.
WEAR_LIMITS: dict[str, WearLimit] = {
    "trunk_offset": _trunk_offset,
    "com_shift": _com_shift,
    "belt_soft": _belt,
    "belt_hard": _belt,
    "donning_steps": _donning_steps,
    "contact_sustained": _contact,
    "contact_peak": _contact,
    "protrusion": _protrusion,
    "protrusion_soft": _protrusion,
    "keep_out": _keep_out,
    "belt_points": _none,
    "contact_factor": _none,
    "protrusion_points": _none,
}
