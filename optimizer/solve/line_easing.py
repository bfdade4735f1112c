"""What each limit of a line allows by itself, and what a route needs eased.

A line's limits (a typed length, times, drops, an efficiency) each come to a longest length or a
most bend for every way of making the line. They are worked out one kind at a time, the others
away, so that a limit can be eased without the others. A line that exhausting air leaves through
keeps its typed length throughout, because other lines' vent times are reckoned with it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import inf

from optimizer.lines.air_ends import air_ends
from optimizer.lines.line_limits import LineLimits
from optimizer.problem.routing import TOLERANCE, Route
from optimizer.setting import Setting
from optimizer.solve.links import End, Needs, NeedsOf
from optimizer.study.model import Line, Study
from optimizer.study.relax import LINE, LINE_LIMITS, StudyLimit, budget, eased, with_budget

#: What stands for "no share will do" where a limit leaves no length at all.
HOPELESS = 1e3
#: Longest length [m] and most bend [rad].
Reach = tuple[float, float]
#: What a way of making a line reaches that cannot be built at any length.
NOWHERE: Reach = (-1.0, -1.0)
#: Option and models of both ends.
Way = tuple[int, int, int]


@dataclass(frozen=True)
class LineLimit:
    """One limit of one line: its number, and what it allows every way as written and loosened.

    A way that cannot be built at any length reaches `NOWHERE`. `loosened` is None where the limit may be
    lifted, and any share counts.
    """

    number: int
    reach: Mapping[Way, Reach]
    loosened: Mapping[Way, Reach] | None

    def share(self, way: Way, length_m: float, bend_rad: float, most: float) -> float:
        """The share by which it must be eased for a length and a bend; inf if none will do.

        Of a loosened limit the only shares are 0 and `most`; else the share is that by which
        length or bend goes beyond, capped at `HOPELESS`.
        """
        reach = self.reach[way]
        if _within(length_m, bend_rad, reach):
            return 0.0
        if self.loosened is not None:
            return most if _within(length_m, bend_rad, self.loosened[way]) else inf
        beyond = [
            value / limit - 1.0 if limit > 0.0 else HOPELESS
            for value, limit in ((length_m, reach[0]), (bend_rad, reach[1]))
            if value > limit
        ]
        return min(max(beyond, default=0.0), HOPELESS)


def _within(length_m: float, bend_rad: float, reach: Reach) -> bool:
    return (
        length_m <= reach[0] * (1.0 + TOLERANCE) + 1e-12
        and bend_rad <= reach[1] * (1.0 + TOLERANCE) + 1e-12
    )


def line_limits_of(
    setting: Setting, limits: Sequence[StudyLimit], share: float
) -> dict[str, list[LineLimit]]:
    """The limits of every line, by its name; loosened by a share, or to be lifted if infinite."""
    found: dict[str, list[LineLimit]] = {}
    for kind in LINE_LIMITS:
        own = {limit.subject: i for i, limit in enumerate(limits) if limit.kind == kind}
        if not own:
            continue
        reach = reaches(setting.study, kind)
        loosened = None
        if share < inf:
            looser = setting.study
            for i in own.values():
                looser = eased(looser, limits[i], share)
            loosened = reaches(looser, kind)
        for name, number in own.items():
            found.setdefault(name, []).append(
                LineLimit(number, reach[name], None if loosened is None else loosened[name])
            )
    return found


def reaches(study: Study, kind: str) -> dict[str, dict[Way, Reach]]:
    """What one kind of limit allows every way of making every line, the other kinds away."""
    outlets = outlet_names(study)
    lines = tuple(_only(line, kind, keep_length=line.name in outlets) for line in study.lines)
    worked_out = LineLimits(study.parts, lines)
    found: dict[str, dict[Way, Reach]] = {}
    for line in lines:
        found[line.name] = ways = {}
        for way in worked_out.ways(line):
            key = (way.option, way.model_a, way.model_b)
            ways[key] = NOWHERE
            for limit in worked_out.limits[line.name]:
                if (
                    limit.option == way.option
                    and limit.model_a in (None, way.model_a)
                    and limit.model_b in (None, way.model_b)
                ):
                    ways[key] = (limit.max_length_m, limit.max_bend_rad)
    return found


def outlet_names(study: Study) -> set[str]:
    """Lines whose typed length counts in the vent time of another line."""
    parts = {part.name: part for part in study.parts}
    names: set[str] = set()
    for line in study.lines:
        if line.kind == "air_tube":
            ends = air_ends(parts, study.lines, line)
            vented = any(option.physics.vent_s is not None for option in line.options)
            if ends is not None and vented:
                names |= {outlet.name for outlet, _ in ends.outlets}
    return names


def _only(line: Line, kind: str, *, keep_length: bool) -> Line:
    """The line with the limits of one kind only."""
    options = []
    for option in line.options:
        for other in LINE_LIMITS:
            kept = other == kind or (other == LINE and keep_length)
            if not kept and budget(option, other) is not None:
                option = with_budget(option, other, None)
        options.append(option)
    return replace(line, options=tuple(options))


def models_told(line_limits: Sequence[LineLimit]) -> tuple[bool, bool]:
    """Whether limits of a line differ by the model at its first and at its second end."""
    tables = [t for limit in line_limits for t in (limit.reach, limit.loosened) if t is not None]
    return (
        any(reach != table[o, 0, b] for table in tables for (o, _, b), reach in table.items()),
        any(reach != table[o, a, 0] for table in tables for (o, a, _), reach in table.items()),
    )


def needs_of(line_limits: Sequence[LineLimit], slack_m: float, most: Sequence[float]) -> NeedsOf:
    """What the routes of a line need eased; `most` is by how much each limit may be."""

    def needs(option: int, a: End, b: End, route: Route) -> Needs | None:
        found = []
        for limit in line_limits:
            way = (option, a[1] or 0, b[1] or 0)
            share = limit.share(way, route.length_m + slack_m, route.bend_rad, most[limit.number])
            if share > most[limit.number]:
                return None
            if share > 0.0:
                found.append((limit.number, share))
        return tuple(found)

    return needs


def value_reaching(
    study: Study, limit: StudyLimit, way: Way, length_m: float, bend_rad: float
) -> float | None:
    """The least change of one line's limit with which a way of making it reaches so far [SI].

    By bisection, since a time follows from the length but not the other way round. None if even
    `HOPELESS` times the limit does not do.
    """
    if limit.kind == LINE:
        return length_m
    line = next(line for line in study.lines if line.name == limit.subject)
    option = line.options[way[0]]
    own = budget(option, limit.kind)
    assert own is not None
    # only lines that the limit is reckoned with
    kept = tuple(each for each in study.lines if each is line or each.kind == line.kind == "air_tube")

    def value(share: float) -> float:
        return own * (1.0 - share) if limit.falls else own * (1.0 + share)

    def reached(share: float) -> bool:
        changed = replace(
            line,
            options=tuple(
                with_budget(each, limit.kind, value(share)) if each is option else each
                for each in line.options
            ),
        )
        lines = tuple(changed if each is line else each for each in kept)
        reach = reaches(replace(study, lines=lines), limit.kind)[line.name][way]
        return _within(length_m, bend_rad, reach)

    low, high = 0.0, 0.5
    most = 1.0 - 1e-9 if limit.falls else HOPELESS
    while not reached(high):
        if high >= most:
            return None
        low, high = high, min(2.0 * high, most)
    while high - low > 1e-9 * (1.0 + high):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if reached(middle) else (middle, high)
    return value(high)
