"""A limit of a study in words, as somebody who wrote it would say it."""

from __future__ import annotations

from itertools import zip_longest

from optimizer.problem.limits import LIMITS
from optimizer.setting import Setting
from optimizer.study.model import LimitSpec
from optimizer.study.relax import LINE_LIMITS, NEEDS, StudyLimit, budget

_SITE_WORDS = {
    "site_volume": "{} holds at most {}",
    "site_mass": "{} carries at most {}",
    "site_thickness": "{} takes parts up to {} thick",
}
#: Kinds of what is asked of a line -> the line and the value it may come to, in words.
LINE_WORDS = {
    "line_length": "{} is at most {} long",
    "fill_time": "{} brings pressure within {}",
    "vent_time": "{} vents within {}",
    "pressure_drop": "{} loses at most {}",
    "voltage_drop": "{} loses at most {} of its voltage",
    "cable_loss": "{} passes on at least {} of the force",
}
_ENTRY_WORDS = {
    "protrusion": "parts stand off the skin by at most {}",
    "contact_sustained": "lasting pressure on the skin at most {}",
    "contact_peak": "peak pressure on the skin at most {}",
    "walking_time": "the batteries last at least {}, all parts at rated power",
    "keep_out": "nothing sits at a place to keep out of",
}


def amount(value: float, unit: str) -> str:
    """A number with its unit, no digits that mean nothing."""
    return f"{value:.6g} {unit}".strip()


def unit_of(setting: Setting, limit: StudyLimit) -> str:
    """The unit a reader is told, "sites" for sites in use."""
    if limit.unit or limit.family != "limit":
        return limit.unit
    rows = LIMITS[limit.kind](setting.study.limits[limit.number], setting)
    return rows[0].unit if rows else ""


def told(setting: Setting, limit: StudyLimit, value: float) -> str:
    """A value of the limit [SI] with the designer's unit."""
    return amount(value * limit.scale, unit_of(setting, limit))


def limit_text(setting: Setting, limit: StudyLimit) -> str:
    """The limit as it is written, in words with its value."""
    if limit.kind in _SITE_WORDS:
        assert limit.value is not None
        return _SITE_WORDS[limit.kind].format(limit.subject, told(setting, limit, limit.value))
    if limit.kind == NEEDS:
        part, word = limit.subject.split(":", 1)
        return f"{part} needs {word}"
    if limit.kind in LINE_LIMITS:
        return _line_text(setting, limit)
    if limit.family == "rule":
        if limit.kind == "same_place":
            return f"{limit.subject} share a place"
        by = "" if limit.value is None else f" by {told(setting, limit, limit.value)}"
        return f"{limit.subject} stay apart{by}"
    spec = setting.study.limits[limit.number]
    if spec.kind in _ENTRY_WORDS:
        return _ENTRY_WORDS[spec.kind].format(told(setting, limit, spec.value))
    return f"{entry_label(setting, spec)} at most {told(setting, limit, spec.value)}"


def entry_label(setting: Setting, spec: LimitSpec) -> str:
    """What an entry of `[limits]` is about: its rows' labels, where they differ with a slash."""
    labels = [row.label for row in LIMITS[spec.kind](spec, setting)]
    if not labels:
        return spec.kind.replace("_", " ")
    told_apart = [
        "/".join(dict.fromkeys(filter(None, words)))
        for words in zip_longest(*(label.split() for label in labels), fillvalue="")
    ]
    return " ".join(told_apart)


def _line_text(setting: Setting, limit: StudyLimit) -> str:
    line = next(line for line in setting.study.lines if line.name == limit.subject)
    values = {
        option.name: told(setting, limit, value)
        for option in line.options
        if (value := budget(option, limit.kind)) is not None
    }
    if len(set(values.values())) == 1 and len(values) == len(line.options):
        each = next(iter(values.values()))
    else:
        each = " or ".join(f"{value} ({option})" for option, value in values.items())
    return LINE_WORDS[limit.kind].format(limit.subject, each)
