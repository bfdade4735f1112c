"""What can be ruled out before solving: places no line can reach, arcs no line can run along.

Arc consistency: a choice of one end of a line stays only while some choice of the other end is
within the line's reach (length and bend, over the cases the two models allow); choices dropped
at one line may empty others, so it runs until nothing changes. It is exact: no feasible layout
is lost. What is left fixes the arcs that any line can run along.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import IntArray, LineCase, LineRow, Problem
from optimizer.problem.routing import TOLERANCE, Route
from optimizer.problem.site_routes import SiteRoutes

Mask = NDArray[np.bool_]
#: Arcs with the direction they are run in: 0 from tail to head, 1 back.
Directed = tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class Reduced:
    """A problem with the choices still open.

    `emptied` are the slots without any, `emptied_by` names the line that took a slot's last one.
    """

    problem: Problem
    open: Mask
    emptied: tuple[int, ...] = ()
    emptied_by: dict[int, str] = field(default_factory=dict)
    known_routes: SiteRoutes | None = None

    @cached_property
    def site_routes(self) -> SiteRoutes:
        """The routes looked up so far, if they are this problem's; more may be asked for."""
        known = self.known_routes
        if known is not None and known.table is self.problem.routes:
            return known
        return SiteRoutes(self.problem)

    @cached_property
    def arcs(self) -> tuple[tuple[Directed, ...], ...]:
        """Per line and option, the arcs it may run."""
        p = self.problem
        return tuple(route_arcs(p, line, self.open) for line in p.lines)


@dataclass(frozen=True)
class Switches:
    """Each speed-up can be turned off; none changes an answer."""

    arc_consistency: bool = True
    reach_rows: bool = True
    order_copies: bool = True
    search: bool = True
    """Rank by one search tree over the pairwise problem; off: solve the program rank by rank."""
    cover_cuts: bool = True
    hull_cuts: bool = True
    limit_cuts: bool = True
    shrinking: bool = True
    first_layouts: bool = True
    local_search: bool = True
    reduced_costs: bool = True
    marginals: bool = True
    enumeration: bool = True
    compiled: bool = True
    """Enumerate with the compiled search, if there is one; off: with arrays."""


def reduce(problem: Problem, switches: Switches = Switches()) -> Reduced:
    """Apply arc consistency."""
    still = np.ones(len(problem.choice_slot), dtype=bool)
    emptied_by: dict[int, str] = {}
    routes = SiteRoutes(problem)
    if switches.arc_consistency:
        limited = [line for line in problem.lines if line.is_limited]
        for line in limited:
            ends = (problem.choices_of(slot) for slot in (line.slot_a, line.slot_b))
            routes.ask(*(problem.choice_site[choices] for choices in ends))
        pairs = {line.name: pair_reach(problem, line, routes) for line in limited}
        changed = True
        while changed:
            changed = False
            for line in limited:
                a, b, ok = pairs[line.name]
                live = ok & still[a][:, None] & still[b][None, :]
                for ends, keep, slot in (
                    (a, live.any(axis=1), line.slot_a),
                    (b, live.any(axis=0), line.slot_b),
                ):
                    drop = ends[still[ends] & ~keep]
                    if drop.size:
                        still[drop] = False
                        changed = True
                        if not still[problem.choice_slot == slot].any():
                            emptied_by.setdefault(slot, line.name)
    left = np.bincount(problem.choice_slot[still], minlength=len(problem.slots))
    emptied = tuple(np.flatnonzero(left == 0).tolist())
    return Reduced(problem, still, emptied, emptied_by, routes)


def pair_reach(
    problem: Problem, line: LineRow, routes: SiteRoutes
) -> tuple[IntArray, IntArray, Mask]:
    """Choices of both ends and which pairs some case of the line can join.

    Returns the choice indices of end a (n_a,), of end b (n_b,) and a mask (n_a, n_b).
    """
    a, b = problem.choices_of(line.slot_a), problem.choices_of(line.slot_b)
    sites_a, sites_b = problem.choice_site[a], problem.choice_site[b]
    routes.ask(sites_a, sites_b)
    ok = np.zeros((len(a), len(b)), dtype=bool)
    for case in line.cases:
        fits = routes.choose(line, case, sites_a, sites_b) >= 0
        if case.model_a is not None:
            fits = fits & (problem.choice_model[a] == case.model_a)[:, None]
        if case.model_b is not None:
            fits = fits & (problem.choice_model[b] == case.model_b)[None, :]
        ok |= fits
    return a, b, ok


def route_of(
    problem: Problem, line: LineRow, case: LineCase, site_a: int, site_b: int
) -> Route | None:
    """The route the line takes between two sites, bought as `case`; None out of reach."""
    if case.max_length_m < line.slack_m * (1 - TOLERANCE):
        return None
    return problem.routes.best(
        int(site_a), int(site_b), case.max_length_m - line.slack_m, case.max_bend_rad
    )


def route_arcs(problem: Problem, line: LineRow, still: Mask) -> tuple[Directed, ...]:
    """Per option, the directed arcs on some route between places still open to both ends."""
    sites_a = np.unique(problem.choice_site[(problem.choice_slot == line.slot_a) & still])
    sites_b = np.unique(problem.choice_site[(problem.choice_slot == line.slot_b) & still])
    found: list[dict[tuple[int, int], None]] = [{} for _ in line.options]
    # cases that limit alike share their routes
    for option, length, bend in dict.fromkeys(
        (case.option, case.max_length_m, case.max_bend_rad) for case in line.cases
    ):
        case = LineCase(option, None, None, length, bend)
        for s in sites_a:
            for t in sites_b:
                route = route_of(problem, line, case, s, t)
                if route is not None:
                    found[option].update(dict.fromkeys(route.arcs))
    return tuple(tuple(sorted(arcs)) for arcs in found)
