"""What can be ruled out before solving: places no line can reach, arcs no line can run along.

Arc consistency: a choice of one end of a line stays only while some choice of the other end is
within the line's reach (length and bend, over the cases the two models allow); choices dropped
at one line may empty others, so it runs until nothing changes. It is exact: no feasible layout
is lost. What is left fixes the arcs that any line can run along.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import IntArray, LineCase, LineRow, Problem
from optimizer.problem.line_cells import joined, line_cells, room_m
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

    @cached_property
    def site_routes(self) -> SiteRoutes:
        """Looks up routes; those that reducing asked for are known already."""
        return SiteRoutes(self.problem)

    def narrowed(self, open_: Mask) -> Reduced:
        """The same with fewer choices open; routes looked up by now are kept."""
        left = np.zeros(len(self.problem.slots), dtype=bool)
        left[self.problem.choice_slot[open_]] = True
        found = replace(self, open=open_, emptied=tuple(np.flatnonzero(~left).tolist()))
        found.__dict__["site_routes"] = self.site_routes
        return found

    @cached_property
    def arcs(self) -> tuple[tuple[Directed, ...], ...]:
        """Per line and option, the arcs it may run."""
        p = self.problem
        return tuple(route_arcs(p, line, self.open, self.site_routes) for line in p.lines)


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
    counts: bool = True
    """Ask how many sites of a body segment are used."""
    long_trials: bool = True
    """Try the questions that look best for as many simplex iterations as it takes."""
    regions: bool = True
    """List the layouts of the trunk and of each leg by themselves where the tree takes long."""
    node_cuts: bool = True
    """Cut nodes like the root, on relaxations of their own, where the tree takes long."""
    enumeration: bool = True
    filling: bool = True
    """See in the compiled search that sites cannot be filled as well as the multipliers pay for."""
    compiled: bool = True
    """Enumerate with the compiled search, if there is one; off: with arrays."""


def reduce(problem: Problem, switches: Switches = Switches()) -> Reduced:
    """Apply arc consistency."""
    still = np.ones(len(problem.choice_slot), dtype=bool)
    emptied_by: dict[int, str] = {}
    if switches.arc_consistency:
        still, emptied_by = _consistent(problem)
    left = np.bincount(problem.choice_slot[still], minlength=len(problem.slots))
    emptied = tuple(np.flatnonzero(left == 0).tolist())
    return Reduced(problem, still, emptied, emptied_by)


def _consistent(problem: Problem) -> tuple[Mask, dict[int, str]]:
    """Choices (n_c,) that every line can join to another, and what emptied a slot."""
    limited = [line for line in problem.lines if line.is_limited]
    slots = problem.choice_slot
    first = np.searchsorted(slots, np.arange(len(problem.slots) + 1))
    cells = line_cells(problem, limited, np.arange(len(slots)), first)
    # counted by matrix products, which take less long than asking of every pair
    ok = joined(cells, SiteRoutes(problem)).astype(np.float32)
    still = np.ones(len(slots), dtype=np.float32)
    tables = [
        (line, ok[cells.of(n)].reshape(cells.shapes[n]), *_slices(first, line))
        for n, line in enumerate(limited)
    ]
    n_open: list[int] = np.diff(first).tolist()
    emptied_by: dict[int, str] = {}
    # a line is looked at again once a slot of its ends has lost choices since
    due = [True] * len(limited)
    of_slot: dict[int, list[int]] = {}
    for n, line in enumerate(limited):
        of_slot.setdefault(line.slot_a, []).append(n)
        of_slot.setdefault(line.slot_b, []).append(n)
    while any(due):
        for n, (line, table, a, b) in enumerate(tables):
            if not due[n]:
                continue
            due[n] = False
            # of noughts and ones: a flag that the product now and then leaves behind means nothing
            with np.errstate(invalid="ignore"):
                reached_a, reached_b = table @ still[b] > 0.0, still[a] @ table > 0.0
            for ends, reached, slot in ((a, reached_a, line.slot_a), (b, reached_b, line.slot_b)):
                kept = still[ends] * reached
                n_kept = int(np.count_nonzero(kept))
                if n_kept == n_open[slot]:
                    continue
                still[ends], n_open[slot] = kept, n_kept
                for other in of_slot[slot]:
                    due[other] = True
                if not n_kept:
                    emptied_by.setdefault(slot, line.name)
    return still > 0.0, emptied_by


def _slices(first: IntArray, line: LineRow) -> tuple[slice, slice]:
    """Where the choices of a line's two ends stand."""
    a, b = (slice(int(first[slot]), int(first[slot + 1])) for slot in (line.slot_a, line.slot_b))
    return a, b


def pair_reach(
    problem: Problem, line: LineRow, routes: SiteRoutes
) -> tuple[IntArray, IntArray, Mask]:
    """Choices of both ends and which pairs some case of the line can join.

    Returns the choice indices of end a (n_a,), of end b (n_b,) and a mask (n_a, n_b).
    """
    first = np.searchsorted(problem.choice_slot, np.arange(len(problem.slots) + 1))
    cells = line_cells(problem, [line], np.arange(len(problem.choice_slot)), first)
    ok = joined(cells, routes).reshape(cells.shapes[0])
    return problem.choices_of(line.slot_a), problem.choices_of(line.slot_b), ok


def route_of(
    problem: Problem, line: LineRow, case: LineCase, site_a: int, site_b: int
) -> Route | None:
    """The route the line takes between two sites, bought as `case`; None out of reach."""
    if case.max_length_m < line.slack_m * (1 - TOLERANCE):
        return None
    return problem.routes.best(
        int(site_a), int(site_b), case.max_length_m - line.slack_m, case.max_bend_rad
    )


def route_arcs(
    problem: Problem, line: LineRow, still: Mask, routes: SiteRoutes
) -> tuple[Directed, ...]:
    """Per option, the directed arcs on some route between places still open to both ends."""
    sites_a = np.unique(problem.choice_site[(problem.choice_slot == line.slot_a) & still])
    sites_b = np.unique(problem.choice_site[(problem.choice_slot == line.slot_b) & still])
    a, b = np.repeat(sites_a, len(sites_b)), np.tile(sites_b, len(sites_a))
    ways = routes.ways(a, b)
    found: list[set[int]] = [set() for _ in line.options]
    # cases that limit alike share their routes
    for option, longest, most_bend in dict.fromkeys(
        (case.option, room_m(line, case), case.max_bend_rad) for case in line.cases
    ):
        number = ways.within(np.full(len(a), longest), np.full(len(a), most_bend))
        there = number >= 0
        found[option].update(routes.arcs(number[there], a[there], b[there]).tolist())
    return tuple(tuple((arc >> 1, arc & 1) for arc in sorted(arcs)) for arcs in found)
