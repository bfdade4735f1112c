"""A clash told as obstacles: each limit in words, with the least change that would mend it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from optimizer.assess.result import Obstacle
from optimizer.errors import Origin
from optimizer.setting import Setting
from optimizer.solve.conflicts import Oracle
from optimizer.solve.least_change import LeastChange
from optimizer.solve.limit_words import amount, limit_text, told, unit_of
from optimizer.study.model import PartModel
from optimizer.study.relax import LINE_LIMITS, NEEDS, SITE_LIMITS, StudyLimit, budget

#: Per limit its least change, None where none is enough, and whether everything fits then.
Changes = Mapping[int, tuple[LeastChange | None, bool]]
#: What a part is, and what its site does, by kind of limit.
_GROUPED = {
    "site_volume": ("takes", "holds"),
    "site_mass": ("weighs", "carries"),
    "site_thickness": ("is", "takes"),
}


def obstacles_of(
    oracle: Oracle,
    limits: Sequence[int],
    parts: Sequence[int],
    changes: Changes,
) -> tuple[Obstacle, ...]:
    """The limits of one clash in words; like limits that keep one part out are told as one.

    Parameters
    ----------
    limits, parts : the clash, and the slots it is about
    changes : of as many of the limits as are known
    """
    found: list[tuple[int, Obstacle]] = []
    together: dict[str, list[int]] = {}
    for m in limits:
        limit = oracle.limits[m]
        if _is_one_part(oracle, parts) and limit.kind in SITE_LIMITS:
            together.setdefault(limit.kind, []).append(m)
        else:
            found.append((m, _obstacle(oracle, m, changes)))
    for members in together.values():
        if len(members) == 1:
            m = members[0]
            found.append((m, _obstacle(oracle, m, changes)))
        else:
            found.append((members[0], _grouped(oracle, members, parts[0], changes)))
    return tuple(obstacle for _, obstacle in sorted(found, key=lambda pair: pair[0]))


def _is_one_part(oracle: Oracle, slots: Sequence[int]) -> bool:
    return len({oracle.easing.problem.slots[p].part for p in slots}) == 1


def _obstacle(oracle: Oracle, m: int, changes: Changes) -> Obstacle:
    setting, limit = oracle.easing.setting, oracle.limits[m]
    needed, text, enough = _change(oracle, m, changes)
    return Obstacle(
        limit_text(setting, limit),
        limit.origin,
        limit.kind,
        limit.subject,
        limit.shown(),
        needed,
        unit_of(setting, limit),
        text,
        enough,
    )


def _change(oracle: Oracle, m: int, changes: Changes) -> tuple[float | None, str, bool]:
    """What a limit would have to be, the same in words, and whether that is enough."""
    if m not in changes:
        return None, "", False
    (change, enough), limit = changes[m], oracle.limits[m]
    needed = None if change is None or change.value is None else change.value * limit.scale
    return needed, change_text(oracle.easing.setting, limit, change, enough), enough


def change_text(
    setting: Setting, limit: StudyLimit, change: LeastChange | None, enough: bool
) -> str:
    """The least change in words: "687 cm3 would be enough (47 cm3 more)"."""
    if change is None:
        return "no change of this alone is enough"
    lead = "would be enough" if enough else "would settle this clash, but not all"
    if change.typed is None or limit.value is None:
        what = {NEEDS: "need"}.get(limit.kind, "rule" if limit.family == "rule" else "limit")
        return f"doing without this {what} {lead}"
    before = limit.value
    named = ""
    if limit.kind in LINE_LIMITS:
        line = next(line for line in setting.study.lines if line.name == limit.subject)
        own = [budget(o, limit.kind) for o in line.options if o.name in change.options]
        values = [value for value in own if value is not None]
        before = min(values) if limit.falls else max(values)
        if len(line.options) > 1:
            named = f" for {' and '.join(change.options)}"
    way = "less" if limit.falls else "more"
    by = amount(abs(change.typed - before) * limit.scale, unit_of(setting, limit))
    return f"{told(setting, limit, change.typed)}{named} {lead} ({by} {way})"


def _grouped(
    oracle: Oracle,
    members: Sequence[int],
    slot: int,
    changes: Changes,
) -> Obstacle:
    """Several sites too small for one part in the same way, as one obstacle."""
    setting, own = oracle.easing.setting, oracle.easing.problem.slots[slot]
    kind = oracle.limits[members[0]].kind
    part = next(part for part in setting.study.parts if part.name == own.part)
    allowed = {name for model in part.models for name in model.sites}

    def room(m: int) -> tuple[bool, float]:
        """How little is missing where that is known, else how much room there is."""
        change, value = changes.get(m, (None, False))[0], oracle.limits[m].value or 0.0
        if change is None or change.value is None:
            return (True, -value)
        return (False, change.value / value)

    roomiest = min(members, key=lambda m: (*room(m), m))
    limit = oracle.limits[roomiest]
    needed, change, enough = _change(oracle, roomiest, changes)
    assert limit.value is not None
    models = [model for model in part.models if limit.subject in model.sites]
    size = min(_size(model, kind) for model in models)
    is_, takes = _GROUPED[kind]
    thick = " thick" if kind == "site_thickness" else ""
    of = (
        f"of its {len(members)} sites the roomiest"
        if len(members) == len(allowed)
        else f"of {len(members)} of its {len(allowed)} sites the roomiest"
    )
    text = (
        f"{own.part} {is_} {told(setting, limit, size)}{thick}; {of}, {limit.subject}, "
        f"{takes} {told(setting, limit, limit.value)}"
    )
    also: tuple[Origin, ...] = tuple(oracle.limits[m].origin for m in members if m != roomiest)
    return Obstacle(
        text,
        limit.origin,
        kind,
        limit.subject,
        limit.shown(),
        needed,
        limit.unit,
        change,
        enough,
        also,
    )


def _size(model: PartModel, kind: str) -> float:
    return {
        "site_volume": model.volume_m3,
        "site_mass": model.mass_kg,
        "site_thickness": model.size_m[2],
    }[kind]
