"""Studies with one limit changed: every limit a designer wrote, and the same study without it.

A limit is what is typed in a file and keeps layouts out: a site's volume, mass or thickness, what
a part needs of its site, a line's longest length, an entry of `[limits]`, a rule. Which sites a
part is allowed at is a decision, not a limit.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from math import ceil, floor, inf, log10
from typing import Any

from optimizer.errors import Origin
from optimizer.study.limits import LIMIT_FLAGS, LIMIT_KEYS, PARAMETERS
from optimizer.study.model import LineOption, PartModel, Study
from optimizer.study.physics_columns import MS_PER_S, PA_PER_KPA
from optimizer.study.units import CM3_PER_M3, G_PER_KG, MM_PER_M, PERCENT

#: Kinds of a site's capacities -> attribute of `Site`, column, unit, units per SI unit.
SITE_LIMITS: dict[str, tuple[str, str, str, float]] = {
    "site_volume": ("volume_m3", "volume_cm3", "cm3", CM3_PER_M3),
    "site_mass": ("max_mass_kg", "max_mass_g", "g", G_PER_KG),
    "site_thickness": ("max_thickness_m", "max_thickness_mm", "mm", MM_PER_M),
}
LINE = "line_length"
#: Kinds of what is asked of a line -> attribute of `LinePhysics`, column, unit, units per SI unit,
#: whether a lower value is the looser one.
LINE_BUDGETS: dict[str, tuple[str, str, str, float, bool]] = {
    "fill_time": ("response_s", "response_ms", "ms", MS_PER_S, False),
    "vent_time": ("vent_s", "vent_ms", "ms", MS_PER_S, False),
    "pressure_drop": ("max_drop_pa", "max_drop_kpa", "kPa", 1.0 / PA_PER_KPA, False),
    "voltage_drop": ("max_drop_share", "max_drop_pct", "%", PERCENT, False),
    "cable_loss": ("min_efficiency", "min_efficiency_pct", "%", PERCENT, True),
}
#: Column, unit, units per SI unit and whether lower is looser, of all kinds of line limits.
LINE_COLUMNS: dict[str, tuple[str, str, float, bool]] = {
    LINE: ("max_length_mm", "mm", MM_PER_M, False),
    **{kind: budget[1:] for kind, budget in LINE_BUDGETS.items()},
}
#: All kinds of limits that keep a line short or straight.
LINE_LIMITS: tuple[str, ...] = (LINE, *LINE_BUDGETS)
NEEDS = "needs"
#: Entries of `[limits]` that keep no layout out: figures for others, and what only costs comfort.
SOFT: frozenset[str] = PARAMETERS | {"belt_soft", "protrusion_soft"}
#: Entries of `[limits]` that ask for at least a value: a lower one is the looser.
AT_LEAST: frozenset[str] = frozenset({"walking_time"})
#: What a designer would rather read of, first: their own limits and rules, then the garment's.
_ORDER = ("limit", "rule", *LINE_LIMITS, *SITE_LIMITS, NEEDS)


@dataclass(frozen=True, slots=True)
class StudyLimit:
    """One limit of a study.

    `subject` is a site, "part:word" for a need, a line, the subject of an entry of `[limits]`, or
    the two parts of a rule. `value` is in SI, None where a limit is met or not and there is no
    amount to change. `falls` marks a limit that is eased by lowering it (a least distance), `whole`
    one that counts. `number` is the place of an entry among the study's limits or rules, else -1.
    """

    kind: str
    subject: str
    value: float | None
    unit: str
    scale: float
    origin: Origin
    number: int = -1
    falls: bool = False
    whole: bool = False

    @property
    def family(self) -> str:
        """ "limit" for entries of `[limits]`, "rule" for rules, else the kind."""
        if self.number < 0:
            return self.kind
        return "rule" if self.kind in ("same_place", "apart") else "limit"

    @property
    def preference(self) -> int:
        """0 for what a designer would rather read of, rising."""
        return _ORDER.index(self.family)

    def shown(self, value: float | None = None) -> float | None:
        """A value (default: the limit's own) in the designer's unit."""
        value = self.value if value is None else value
        return None if value is None else value * self.scale

    def eased(self, share: float) -> float | None:
        """The value loosened by a share of itself; a limit that counts, by 1 at least."""
        if self.value is None:
            return None
        if self.falls:
            return max(0.0, self.value * (1.0 - share))
        if self.whole:
            return self.value + max(1.0, floor(self.value * share + 1e-9))
        return self.value * (1.0 + share)


def study_limits(study: Study) -> tuple[StudyLimit, ...]:
    """Every limit of a study that is not infinite, preferred ones first."""
    found = [*_entries(study), *_rules(study), *_lines(study), *_sites(study), *_needs(study)]
    return tuple(sorted(found, key=lambda limit: limit.preference))


def _entries(study: Study) -> list[StudyLimit]:
    by_kind = {key.kind: key for key in LIMIT_KEYS.values()}
    found = []
    for i, spec in enumerate(study.limits):
        if spec.kind in SOFT:
            continue
        key = by_kind.get(spec.kind)
        value = None if spec.kind in LIMIT_FLAGS.values() else spec.value
        unit = (key.value.unit if key else "") or ""
        scale = key.per_si if key else 1.0
        whole = bool(key and key.value.whole)
        found.append(
            StudyLimit(
                spec.kind,
                spec.subject,
                value,
                unit,
                scale,
                spec.origin,
                i,
                falls=spec.kind in AT_LEAST,
                whole=whole,
            )
        )
    return found


def _rules(study: Study) -> list[StudyLimit]:
    return [
        StudyLimit(
            rule.kind,
            f"{rule.part_a} and {rule.part_b}",
            rule.distance_m if rule.kind == "apart" and rule.distance_m > 0 else None,
            "mm",
            MM_PER_M,
            rule.origin,
            i,
            falls=True,
        )
        for i, rule in enumerate(study.rules)
    ]


def _lines(study: Study) -> list[StudyLimit]:
    found = []
    for line in study.lines:
        for kind in LINE_LIMITS:
            column, unit, scale, falls = LINE_COLUMNS[kind]
            values = {o.name: value for o in line.options if (value := budget(o, kind)) is not None}
            if values:
                loosest = (min if falls else max)(values, key=lambda name: values[name])
                option = next(o for o in line.options if o.name == loosest)
                origin = _at(option.origin, column)
                value = values[loosest]
                found.append(StudyLimit(kind, line.name, value, unit, scale, origin, falls=falls))
    return found


def budget(option: LineOption, kind: str) -> float | None:
    """What a line's option may come to in one kind of limit [SI]; None for no limit."""
    if kind == LINE:
        return None if option.max_length_m == inf else option.max_length_m
    value: float | None = getattr(option.physics, LINE_BUDGETS[kind][0])
    return value


def with_budget(option: LineOption, kind: str, value: float | None) -> LineOption:
    """The option with another limit of one kind; None for no limit."""
    if kind == LINE:
        return replace(option, max_length_m=inf if value is None else value)
    change: dict[str, Any] = {LINE_BUDGETS[kind][0]: value}
    physics = replace(option.physics, **change)
    return replace(option, physics=physics)


def _sites(study: Study) -> list[StudyLimit]:
    return [
        StudyLimit(kind, site.name, value, unit, scale, _at(site.origin, column))
        for site in study.sites
        for kind, (attribute, column, unit, scale) in SITE_LIMITS.items()
        if (value := getattr(site, attribute)) < inf
    ]


def _needs(study: Study) -> list[StudyLimit]:
    found: dict[str, StudyLimit] = {}
    for part in study.parts:
        for model in part.models:
            for word in sorted(model.needs):
                subject = f"{part.name}:{word}"
                origin = _at(model.origin, "needs")
                found.setdefault(subject, StudyLimit(NEEDS, subject, None, "", 1.0, origin))
    return list(found.values())


def _at(origin: Origin, column: str) -> Origin:
    return origin if origin.column or origin.row is None else replace(origin, column=column)


def with_value(
    study: Study, limit: StudyLimit, value: float | None, options: Iterable[str] = ()
) -> Study:
    """The study with one limit at another value [SI], or without it where `value` is None.

    Parameters
    ----------
    options : of a line, the options whose limit becomes `value`; by default all whose limit is
        tighter
    """
    if limit.family == "limit":
        specs = list(study.limits)
        if value is None:
            del specs[limit.number]
        else:
            specs[limit.number] = replace(specs[limit.number], value=value)
        return replace(study, limits=tuple(specs))
    if limit.family == "rule":
        rules = list(study.rules)
        if value is None:
            del rules[limit.number]
        else:
            rules[limit.number] = replace(rules[limit.number], distance_m=value)
        return replace(study, rules=tuple(rules))
    if limit.kind in LINE_LIMITS:
        named = set(options)

        def loosened(option: LineOption) -> LineOption:
            own = budget(option, limit.kind)
            if own is None or (named and option.name not in named):
                return option
            looser = value if value is None else (min if limit.falls else max)(own, value)
            return with_budget(option, limit.kind, looser)

        return _with_options(study, limit.subject, loosened)
    if limit.kind == NEEDS:
        part_name, word = limit.subject.split(":", 1)
        return replace(
            study,
            parts=tuple(
                replace(part, models=tuple(_without_need(m, word) for m in part.models))
                if part.name == part_name
                else part
                for part in study.parts
            ),
        )
    change: dict[str, Any] = {SITE_LIMITS[limit.kind][0]: inf if value is None else value}
    return replace(
        study,
        sites=tuple(
            replace(site, **change) if site.name == limit.subject else site for site in study.sites
        ),
    )


def _with_options(
    study: Study, line_name: str, change: Callable[[LineOption], LineOption]
) -> Study:
    return replace(
        study,
        lines=tuple(
            replace(line, options=tuple(change(option) for option in line.options))
            if line.name == line_name
            else line
            for line in study.lines
        ),
    )


def _without_need(model: PartModel, word: str) -> PartModel:
    return replace(model, needs=model.needs - {word})


def eased(study: Study, limit: StudyLimit, share: float) -> Study:
    """The study with one limit loosened by a share of itself; dropped if it has no amount.

    Every option of a line is loosened by the share of its own limit.
    """
    if limit.kind in LINE_LIMITS:

        def loosened(option: LineOption) -> LineOption:
            own = budget(option, limit.kind)
            if own is None:
                return option
            factor = 1.0 - share if limit.falls else 1.0 + share
            return with_budget(option, limit.kind, own * factor)

        return _with_options(study, limit.subject, loosened)
    return with_value(study, limit, limit.eased(share))


def without(study: Study, limits: Iterable[StudyLimit]) -> Study:
    """The study with several of its limits taken away."""
    # from the last entry on, so that the places of those before it stay what they are
    for limit in sorted(limits, key=lambda each: -each.number):
        study = with_value(study, limit, None)
    return study


def rounded_up(limit: StudyLimit, value: float, digits: int = 4) -> float:
    """A value [SI] a designer would type, at least as loose: `digits` digits of their unit."""
    shown = value * limit.scale
    if shown == 0.0:
        return value
    step = 10.0 ** (floor(log10(abs(shown))) + 1 - digits)
    if limit.whole:
        step = 1.0
    steps = shown / step
    # what is whole but for rounding stays
    whole = round(steps)
    if abs(steps - whole) > 1e-7 * max(1.0, abs(steps)):
        whole = floor(steps) if limit.falls else ceil(steps)
    return float(f"{whole * step:.12g}") / limit.scale


__all__ = [
    "LINE",
    "LINE_BUDGETS",
    "LINE_LIMITS",
    "NEEDS",
    "SITE_LIMITS",
    "StudyLimit",
    "budget",
    "eased",
    "rounded_up",
    "study_limits",
    "with_budget",
    "with_value",
    "without",
]
