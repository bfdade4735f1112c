"""A range of a number cut where lines change their ways, so that each part can be swept exactly."""

from __future__ import annotations

import numpy as np

from optimizer.problem.presolve import route_of
from optimizer.problem.routing import Route
from optimizer.solve.sweep_dial import Dial
from optimizer.solve.sweep_family import Family, make_family
from optimizer.solve.sweep_sample import (
    NotSteadyError,
    Sample,
    alike,
    same_barred,
    same_routes,
    sample,
)

#: Parts into which a range is cut at most before it is bisected instead.
PARTS = 8
#: Share of the range to which a cut is found.
CUT = 1e-8
#: Share of the range that must be steady for cutting to be worth trying, and where.
CORE, CORES = 2e-3, (0.5, 0.31)


def steady_families(dial: Dial, low: float, high: float) -> list[Family]:
    """Families that cover the range from low to high.

    Raises
    ------
    NotSteadyError
        If there are none, or it would take too many.
    """
    try:
        return [make_family(dial, low, high)]
    except NotSteadyError as reason:
        why = reason
    if not any(_steady_at(dial, low, high, share) for share in CORES):
        raise why
    families: list[Family] = []
    start = low
    while start < high:
        if len(families) == PARTS:
            raise NotSteadyError("it changes the ways that lines run again and again")
        family, start = _next(dial, start, high, CUT * (high - low))
        families.append(family)
    return families


def _steady_at(dial: Dial, low: float, high: float, share: float) -> bool:
    middle, half = low + share * (high - low), 0.5 * CORE * (high - low)
    try:
        make_family(dial, middle - half, middle + half)
    except NotSteadyError:
        return False
    return True


def _next(dial: Dial, start: float, high: float, width: float) -> tuple[Family, float]:
    """The family over the longest part from start on, and where the next part begins."""
    try:
        return make_family(dial, start, high), high
    except NotSteadyError:
        pass
    here, beyond = sample(dial, start), sample(dial, high)
    if here is None:
        raise NotSteadyError("it changes what may go where, other than by mass or volume")
    near, far = start, high
    while far - near > width:
        guess = None if beyond is None else _overtaken(here, beyond)
        at = (near + far) / 2 if guess is None else start + guess * (beyond.value - start)  # type: ignore[union-attr]
        at = min(max(at, near + width), far - width) if far - near > 2 * width else (near + far) / 2
        for value in (at - 0.4 * width, at + 0.4 * width):
            there = sample(dial, value)
            if _steady(here, there):
                near = value
            else:
                far, beyond = value, there
                break
    if near == start:
        raise NotSteadyError("it changes the ways that lines run again and again")
    return make_family(dial, start, near), far


def _overtaken(here: Sample, there: Sample) -> float | None:
    """Share of the way at which the first line would change its way, costs moving evenly.

    None if no line does, or none can be told.
    """
    p, q = here.problem, there.problem
    if len(p.arc_tail) != len(q.arc_tail):
        return None

    def cost(s: Sample, route: Route) -> float:
        return sum(s.problem.routes.arc_cost(a) for a, _ in route.arcs)

    shares = []
    for line, again in zip(p.lines, q.lines, strict=True):
        sites_a, sites_b = (
            np.unique(p.choice_site[(p.choice_slot == slot) & here.reduced.open]).tolist()
            for slot in (line.slot_a, line.slot_b)
        )
        for case, same in zip(line.cases, again.cases, strict=False):
            for s in sites_a:
                for t in sites_b:
                    old, new = route_of(p, line, case, s, t), route_of(q, again, same, s, t)
                    if old is None or new is None or old.arcs == new.arcs:
                        continue
                    ahead = cost(here, new) - cost(here, old)
                    behind = cost(there, old) - cost(there, new)
                    if ahead >= 0.0 and behind >= 0.0 and ahead + behind > 0.0:
                        shares.append(ahead / (ahead + behind))
    return min(shares, default=None)


def _steady(a: Sample, b: Sample | None) -> bool:
    if b is None or not alike(a, b):
        return False
    try:
        same_barred(a, b)
        same_routes(a, b)
    except NotSteadyError:
        return False
    return True
