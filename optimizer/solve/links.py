"""Every way one line can join two places: option bought, place of either end, route taken.

With few places for each part these are few, and a program that picks one for every line is
tighter and quicker to solve again and again than one that routes flows: a line's limits are then
not rows but the absence of links. That is what reasons and clashes are worked out with.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, LineCase, LineRow, Problem
from optimizer.problem.routing import TOLERANCE, Route
from optimizer.solve.program import case_of

#: A place a line's end may be at: site, and model where the line's limits tell models apart.
End = tuple[int, int | None]
#: By how much limits must be eased: (number of the limit, share), only those that must.
Needs = tuple[tuple[int, float], ...]
#: Which limits a route of a line needs eased between two ends; None if no easing will do.
NeedsOf = Callable[[int, End, End, Route], Needs | None]


@dataclass(frozen=True, slots=True)
class Link:
    """A line bought as an option, between two ends, along a route, with the easing it needs."""

    line: int
    option: int
    end_a: End
    end_b: End
    route: Route
    needs: Needs = ()

    @property
    def group(self) -> tuple[int, End, End]:
        """What the line's other routes there share; of a group the first allowed is taken."""
        return (self.option, self.end_a, self.end_b)

    def is_allowed(self, eases: Mapping[int, float]) -> bool:
        """Whether the line's limits allow the route, eased as they are."""
        return all(eases.get(m, 0.0) >= share for m, share in self.needs)


def taken(links: Sequence[Link], eases: Mapping[int, float]) -> list[bool]:
    """Which links of one line are open to it: of each group the cheapest route allowed."""
    settled = set()
    found = []
    for link in links:
        first = link.group not in settled and link.is_allowed(eases)
        if first:
            settled.add(link.group)
        found.append(first)
    return found


def tells_models(line: LineRow) -> tuple[bool, bool]:
    """Whether the line's cases differ by the model at its first and at its second end."""
    return (
        any(case.model_a is not None for case in line.cases),
        any(case.model_b is not None for case in line.cases),
    )


def ends_of(problem: Problem, slot: int, choices: Iterable[int], told: bool) -> dict[int, End]:
    """The end that each choice of a slot amounts to; models count if they are `told` apart."""
    return {
        int(c): (int(problem.choice_site[c]), int(problem.choice_model[c]) if told else None)
        for c in choices
        if problem.choice_slot[c] == slot
    }


def line_links(
    problem: Problem,
    number: int,
    ends_a: Iterable[End],
    ends_b: Iterable[End],
    needs_of: NeedsOf,
) -> list[Link]:
    """The links of one line between given ends; routes of one group cheapest first."""
    line = problem.lines[number]
    ends_b = list(ends_b)
    found = []
    for a in ends_a:
        for b in ends_b:
            for option in range(len(line.options)):
                kept: list[dict[int, float]] = []
                for route in problem.routes.routes(a[0], b[0]):
                    needs = needs_of(option, a, b, route)
                    if needs is None:
                        continue
                    shares = dict(needs)
                    if any(_covers(shares, cheaper) for cheaper in kept):
                        continue  # wherever this is allowed, a cheaper route is
                    kept.append(shares)
                    found.append(Link(number, option, a, b, route, needs))
                    if not needs:
                        break
    return found


def _covers(shares: Mapping[int, float], cheaper: Mapping[int, float]) -> bool:
    return all(shares.get(m, 0.0) >= share for m, share in cheaper.items())


def as_written(line: LineRow) -> NeedsOf:
    """Routes that fit the line's cases as they stand."""

    def needs_of(option: int, a: End, b: End, route: Route) -> Needs | None:
        case = case_of(line, option, a[1] or 0, b[1] or 0)
        return () if case is not None and case_fits(line, case, route) else None

    return needs_of


def case_fits(line: LineRow, case: LineCase, route: Route) -> bool:
    """Whether a route, with the line's service slack, keeps to a case's length and bend."""
    if case.max_length_m < line.slack_m * (1 - TOLERANCE):
        return False
    return route.fits(case.max_length_m - line.slack_m, case.max_bend_rad)


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
    problem: Problem,
    needs_of: Sequence[NeedsOf] | None = None,
    told: Sequence[tuple[bool, bool]] | None = None,
) -> tuple[NDArray[np.bool_], tuple[tuple[Link, ...], ...]]:
    """Choices and links left when every place must be joined to some place of each linked part.

    Parameters
    ----------
    needs_of : per line, what its routes need; by default that they fit as the limits stand
    told : per line, whether models are told apart at its ends; by default as its cases do

    Returns the mask of choices still open (n_c,) and every line's links. Nothing feasible is lost.
    """
    lines = problem.lines
    needs_of = [as_written(line) for line in lines] if needs_of is None else needs_of
    told = [tells_models(line) for line in lines] if told is None else told
    still = np.ones(len(problem.choice_slot), dtype=bool)
    sides, links = [], []
    for number, line in enumerate(lines):
        a, b = (
            ends_of(problem, slot, problem.choices_of(slot).tolist(), apart)
            for slot, apart in zip((line.slot_a, line.slot_b), told[number], strict=True)
        )
        sides.append((a, b))
        links.append(
            line_links(
                problem, number, dict.fromkeys(a.values()), dict.fromkeys(b.values()),
                needs_of[number],
            )
        )  # fmt: skip
    changed = True
    while changed:
        changed = False
        for number, (side_a, side_b) in enumerate(sides):
            open_a = {end for c, end in side_a.items() if still[c]}
            open_b = {end for c, end in side_b.items() if still[c]}
            links[number] = [
                link for link in links[number] if link.end_a in open_a and link.end_b in open_b
            ]
            joined_a = {link.end_a for link in links[number]}
            joined_b = {link.end_b for link in links[number]}
            for side, joined in ((side_a, joined_a), (side_b, joined_b)):
                for c, end in side.items():
                    if still[c] and end not in joined:
                        still[c] = False
                        changed = True
    return still, tuple(tuple(each) for each in links)


__all__ = [
    "End",
    "Link",
    "Needs",
    "NeedsOf",
    "as_written",
    "case_fits",
    "consistent",
    "ends_of",
    "line_links",
    "link_quantities",
    "taken",
    "tells_models",
]
