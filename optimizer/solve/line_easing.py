"""What each limit of a line allows by itself, and what a route needs eased.

A line's limits (a typed length, times, drops, an efficiency) each come to a longest length or a
most bend for every way of making the line. They are worked out one kind at a time, the others
away, so that a limit can be eased without the others. A line that exhausting air leaves through
keeps its typed length throughout, because other lines' vent times are reckoned with it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from math import inf, isnan

import numpy as np

from optimizer.lines.air_ends import air_ends
from optimizer.lines.line_limits import LineLimits
from optimizer.problem.routing import TOLERANCE, Route
from optimizer.setting import Setting
from optimizer.solve.links import End, Needs, NeedsOf
from optimizer.study.model import Line, Study
from optimizer.study.relax import LINE, LINE_LIMITS, StudyLimit, budget, eased, with_budget

#: What stands for "no share will do" where a limit leaves no length at all.
HOPELESS = 1e3
#: An ease that counts: less is rounding.
_LEAST = 1e-9
#: Budgets that are not in proportion to the length.
_AIR_BUDGETS = ("fill_time", "vent_time", "pressure_drop")
#: Longest length [m] and most bend [rad].
Reach = tuple[float, float]
#: What a way of making a line reaches that cannot be built at any length.
NOWHERE: Reach = (-1.0, -1.0)
#: Option and models of both ends.
Way = tuple[int, int, int]
#: What each way of making a line costs at a length, as a share of its budget: 1 just meets it.
Spent = Callable[[float], Mapping[Way, float]]


@dataclass(frozen=True)
class LineLimit:
    """One limit of one line: its number, and what it allows every way as written and loosened.

    A way that cannot be built at any length reaches `NOWHERE`. `loosened` is None where the limit
    may be lifted, and any share counts; a share is then one of the limit's own value, which for
    times and drops of air is `spent`, and for an efficiency (`efficiencies`, by option) follows
    from the bend.
    """

    number: int
    reach: Mapping[Way, Reach]
    loosened: Mapping[Way, Reach] | None
    spent: Spent | None = None
    efficiencies: Mapping[int, float] = field(default_factory=dict)

    def share(self, way: Way, length_m: float, bend_rad: float, most: float) -> float:
        """The share by which it must be eased for a length and a bend; inf if none will do.

        Of a loosened limit the only shares are 0 and `most`.
        """
        reach = self.reach[way]
        if _within(length_m, bend_rad, reach):
            return 0.0
        if self.loosened is not None:
            return most if _within(length_m, bend_rad, self.loosened[way]) else inf
        if self.spent is not None:
            share = self.spent(length_m)[way] - 1.0
        elif way[0] in self.efficiencies and reach[1] > 0.0:
            share = 1.0 - self.efficiencies[way[0]] ** (bend_rad / reach[1] - 1.0)
        else:
            share = max(
                value / limit - 1.0 if limit > 0.0 else HOPELESS
                for value, limit in ((length_m, reach[0]), (bend_rad, reach[1]))
                if value > limit
            )
        return HOPELESS if isnan(share) else min(max(share, _LEAST), HOPELESS)


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
        for line in setting.study.lines:
            if line.name not in own:
                continue
            spent, kept = None, {}
            if loosened is None and kind in _AIR_BUDGETS and line.kind == "air_tube":
                spent = _spent(setting.study, line, kind)
            if kind == "cable_loss":
                values = [budget(option, kind) for option in line.options]
                kept = {o: value for o, value in enumerate(values) if value is not None}
            found.setdefault(line.name, []).append(
                LineLimit(
                    own[line.name],
                    reach[line.name],
                    None if loosened is None else loosened[line.name],
                    spent,
                    kept,
                )
            )
    return found


def _spent(study: Study, line: Line, kind: str) -> Spent:
    """What a budget of one air tube is used up by at a length, way by way, worked out once."""
    outlets = outlet_names(study)
    lines = [_only(each, kind, keep_length=each.name in outlets) for each in study.lines]
    own = next(each for each in lines if each.name == line.name)
    budgets = LineLimits(study.parts, lines).budgets(own)

    @cache
    def spent(length_m: float) -> Mapping[Way, float]:
        shares = {}
        for ways, cost_of_length, allowed in budgets:
            cost = cost_of_length(np.full(len(ways), length_m))
            for way, share in zip(ways, (cost / allowed).tolist(), strict=True):
                shares[way.option, way.model_a, way.model_b] = share
        return shares

    return spent


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
    away = [k for k in LINE_LIMITS if k != kind and not (k == LINE and keep_length)]
    options = line.options
    for other in away:
        options = tuple(
            option if budget(option, other) is None else with_budget(option, other, None)
            for option in options
        )
    return replace(line, options=options)


def models_told(line_limits: Sequence[LineLimit]) -> tuple[bool, bool]:
    """Whether limits of a line differ by the model at its first and at its second end."""
    tables: list[Mapping[Way, object]] = [limit.reach for limit in line_limits]
    tables += [limit.loosened for limit in line_limits if limit.loosened is not None]
    # where no way reaches anywhere they still need different budgets
    tables += [limit.spent(1.0) for limit in line_limits if limit.spent is not None]
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
