"""Studies with one limit changed: every limit a designer wrote, and the same study without it.

A limit is what is typed in a file and keeps layouts out: a site's volume, mass or thickness, what
a part needs of its site, a line's longest length, an entry of `[limits]`, a rule. Which sites a
part is allowed at is a decision, not a limit.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import ceil, floor, inf, log10

from optimizer.errors import Origin
from optimizer.study.limits import LIMIT_FLAGS, LIMIT_KEYS, PARAMETERS
from optimizer.study.model import Line, PartModel, Study
from optimizer.study.units import CM3_PER_M3, G_PER_KG, MM_PER_M

#: Kinds of a site's capacities -> attribute of `Site`, column, unit, units per SI unit.
SITE_LIMITS: dict[str, tuple[str, str, str, float]] = {
    "site_volume": ("volume_m3", "volume_cm3", "cm3", CM3_PER_M3),
    "site_mass": ("max_mass_kg", "max_mass_g", "g", G_PER_KG),
    "site_thickness": ("max_thickness_m", "max_thickness_mm", "mm", MM_PER_M),
}
LINE = "line_length"
NEEDS = "needs"
#: Entries of `[limits]` that keep no layout out: figures for others, and what only costs comfort.
SOFT: frozenset[str] = PARAMETERS | {"belt_soft", "protrusion_soft"}
#: What a designer would rather read of, first: their own limits and rules, then the garment's.
_ORDER = ("limit", "rule", LINE, *SITE_LIMITS, NEEDS)


@dataclass(frozen=True, slots=True)
class StudyLimit:
    """One limit of a study.

    `subject` is a site, "part:word" for a need, a line, the subject of an entry of `[limits]`, or
    the two parts of a rule. `value` is in SI, None where a limit is met or not and there is no
    amount to change. `falls` marks a limit that is eased by lowering it (a least distance), `whole`
    one that counts, `computed` a line's that nobody typed. `number` is the place of an entry among the study's limits or rules, else -1.
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
    computed: bool = False

    @property
    def family(self) -> str:
        """"limit" for entries of `[limits]`, "rule" for rules, else the kind."""
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
            StudyLimit(spec.kind, spec.subject, value, unit, scale, spec.origin, i, whole=whole)
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
        limited = [option for option in line.options if option.max_length_m < inf]
        if limited:
            longest = max(limited, key=lambda option: option.max_length_m)
            origin = _at(longest.origin, "max_length_mm")
            value = longest.max_length_m
            found.append(StudyLimit(LINE, line.name, value, "mm", MM_PER_M, origin))
    return found


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
    options : of a line, the options whose longest length becomes `value`; by default all that
        are shorter
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
    if limit.kind == LINE:
        longest = inf if value is None else value
        return replace(
            study,
            lines=tuple(
                _with_length(line, longest, set(options)) if line.name == limit.subject else line
                for line in study.lines
            ),
        )
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
    attribute = SITE_LIMITS[limit.kind][0]
    return replace(
        study,
        sites=tuple(
            replace(site, **{attribute: inf if value is None else value})
            if site.name == limit.subject
            else site
            for site in study.sites
        ),
    )


def _with_length(line: Line, longest: float, options: set[str]) -> Line:
    return replace(
        line,
        options=tuple(
            replace(option, max_length_m=max(option.max_length_m, longest))
            if not options or option.name in options
            else option
            for option in line.options
        ),
    )


def _without_need(model: PartModel, word: str) -> PartModel:
    return replace(model, needs=model.needs - {word})


def eased(study: Study, limit: StudyLimit, share: float) -> Study:
    """The study with one limit loosened by a share of itself; dropped if it has no amount.

    Every option of a line is loosened by the share of its own longest length.
    """
    if limit.kind == LINE:
        return replace(
            study,
            lines=tuple(
                replace(
                    line,
                    options=tuple(
                        replace(o, max_length_m=o.max_length_m * (1.0 + share))
                        for o in line.options
                    ),
                )
                if line.name == limit.subject
                else line
                for line in study.lines
            ),
        )
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
    "NEEDS",
    "SITE_LIMITS",
    "StudyLimit",
    "eased",
    "rounded_up",
    "study_limits",
    "with_value",
    "without",
]
