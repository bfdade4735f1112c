"""Every way one line can join two places: option bought, place of either end, route taken.

With few places for each part these are few, and a program that picks one for every line is
tighter and quicker to solve again and again than one that routes flows: a line's limits are then
not rows but the absence of links. That is what reasons and clashes are worked out with.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, LineCase, LineRow, Problem
from optimizer.problem.routing import TOLERANCE, Route
from optimizer.solve.program import case_of

#: What stands for "no easing will do" where a line's own limit leaves no length at all.
HOPELESS = 1e3
#: A place a line's end may be at: site, and model where the line's cases tell models apart.
End = tuple[int, int | None]


@dataclass(frozen=True, slots=True)
class Link:
    """A line bought as an option, between two ends, along a route.

    `need` is the share by which the line's own limit must be eased for it, 0 as it stands;
    `until` the share from which on a cheaper route is allowed, and taken instead.
    """

    line: int
    option: int
    end_a: End
    end_b: End
    route: Route
    need: float
    until: float

    def is_taken(self, eased: float) -> bool:
        """Whether this is the route taken with the line's limit eased by a share."""
        return self.need <= eased < self.until


def ends_of(problem: Problem, line: LineRow, slot: int, choices: Iterable[int]) -> list[End]:
    """The ends that choices of a slot amount to for a line, in order."""
    told = tells_models(line, slot)
    return sorted(
        {
            (int(problem.choice_site[c]), int(problem.choice_model[c]) if told else None)
            for c in choices
        },
        key=lambda end: (end[0], -1 if end[1] is None else end[1]),
    )


def tells_models(line: LineRow, slot: int) -> bool:
    """Whether the line's cases differ by the model at that slot."""
    return any(
        (case.model_a if slot == line.slot_a else case.model_b) is not None for case in line.cases
    )


def line_links(
    problem: Problem, number: int, ends_a: Sequence[End], ends_b: Sequence[End], most: float
) -> list[Link]:
    """The links of one line between given ends, its own limit eased by at most `most`."""
    line = problem.lines[number]
    found = []
    for a in ends_a:
        for b in ends_b:
            for option in range(len(line.options)):
                case = case_of(line, option, a[1] or 0, b[1] or 0)
                if case is None:
                    continue
                until = inf
                for route in problem.routes.routes(a[0], b[0]):
                    need = easing_needed(line, case, route)
                    if need < until and need <= most:
                        found.append(Link(number, option, a, b, route, need, until))
                        until = need
                    if until == 0.0:
                        break
    return found


def easing_needed(line: LineRow, case: LineCase, route: Route) -> float:
    """The share by which length and bend limits must grow for a route; 0 if it fits."""
    slack = line.slack_m if case.max_length_m < inf else 0.0
    if case.max_length_m >= slack * (1 - TOLERANCE) and route.fits(
        case.max_length_m - slack, case.max_bend_rad
    ):
        return 0.0
    need = 0.0
    for value, limit in (
        (route.length_m + slack, case.max_length_m),
        (route.bend_rad, case.max_bend_rad),
    ):
        if limit < inf and value > limit:
            need = max(need, value / limit - 1.0 if limit > 0.0 else HOPELESS)
    return min(need, HOPELESS)


def link_quantities(problem: Problem, link: Link) -> Array:
    """What a line adds to every quantity when it is joined so, shape (n_q,)."""
    line = problem.lines[link.line]
    rate = line.mass_kg_per_m[link.option]
    end_kg = 0.5 * line.slack_m * rate + line.end_mass_kg[link.option]
    total: Array = end_kg * (problem.site_q[link.end_a[0]] + problem.site_q[link.end_b[0]])
    for arc, _ in link.route.arcs:
        total = total + rate * problem.arc_length_m[arc] * problem.arc_q[arc]
    return total


def consistent(
    problem: Problem, most: Sequence[float]
) -> tuple[NDArray[np.bool_], tuple[tuple[Link, ...], ...]]:
    """Choices and links left when every place must be joined to some place of each linked part.

    Parameters
    ----------
    most : per line, the share its own limit may be eased by

    Returns the mask of choices still open (n_c,) and every line's links. Nothing feasible is lost.
    """
    still = np.ones(len(problem.choice_slot), dtype=bool)
    links: list[list[Link]] = []
    ends: list[tuple[list[tuple[End, int]], list[tuple[End, int]]]] = []
    for number, line in enumerate(problem.lines):
        sides = []
        for slot in (line.slot_a, line.slot_b):
            told = tells_models(line, slot)
            sides.append(
                [
                    ((int(problem.choice_site[c]), int(problem.choice_model[c]) if told else None),
                     int(c))
                    for c in problem.choices_of(slot)
                ]
            )
        ends.append((sides[0], sides[1]))
        ends_a, ends_b = (
            ends_of(problem, line, slot, problem.choices_of(slot))
            for slot in (line.slot_a, line.slot_b)
        )
        links.append(line_links(problem, number, ends_a, ends_b, most[number]))
    changed = True
    while changed:
        changed = False
        for number, (side_a, side_b) in enumerate(ends):
            open_a = {end for end, c in side_a if still[c]}
            open_b = {end for end, c in side_b if still[c]}
            links[number] = [
                link for link in links[number] if link.end_a in open_a and link.end_b in open_b
            ]
            joined_a = {link.end_a for link in links[number]}
            joined_b = {link.end_b for link in links[number]}
            for side, joined in ((side_a, joined_a), (side_b, joined_b)):
                for end, c in side:
                    if still[c] and end not in joined:
                        still[c] = False
                        changed = True
    return still, tuple(tuple(each) for each in links)
