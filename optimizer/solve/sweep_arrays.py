"""The problem's arrays at any point of a sweep, and layouts as they change along it.

Between two samples everything a layout adds up moves along straight lines, so a layout is known
by its quantities at both ends, and the problem by its arrays there.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from optimizer.problem.arrays import Array, LimitRow, Objective, Problem, SiteCap
from optimizer.problem.presolve import Reduced
from optimizer.problem.quantities import INDEX, MASS
from optimizer.solve.goals import exact_value
from optimizer.solve.program import Solution, solution_of
from optimizer.study.model import TRUNK

TRUNK_LOAD = INDEX[MASS[TRUNK]]
#: Arrays of a problem that hold quantities.
HOLDERS = ("use_q", "site_q", "arc_q")
Key = tuple[tuple[int, ...], tuple[int, ...]]


@dataclass(frozen=True, eq=False)
class Winner:
    """A layout that wins somewhere: its choices, line options, and quantities at s = 0 and 1.

    `excess` holds, for every limit and capacity that moves, by how much the layout oversteps it at
    s = 0 and at s = 1, as a share of it.
    """

    solution: Solution
    quantities: tuple[Array, Array]
    excess: tuple[tuple[float, float], ...]

    @property
    def key(self) -> Key:
        """What makes it different from others: choices and line options."""
        return self.solution.chosen, tuple(option for option, _ in self.solution.routes)


class SweptArrays:
    """A problem that moves along straight lines from s = 0 to s = 1.

    Parameters
    ----------
    reduced : the problem of one sample, with all choices there are
    ends : that problem with its arrays, limits, capacities and objective as at s = 0 and s = 1
    """

    def __init__(self, reduced: Reduced, ends: tuple[Problem, Problem]):
        self._reduced, self.ends = reduced, ends
        a, b = ends
        self.moving_limits = [
            n
            for n, (one, two) in enumerate(zip(a.limits, b.limits, strict=True))
            if self._limit_moves(one, two)
        ]
        self.moving_caps = [
            n
            for n, (one, two) in enumerate(zip(a.caps, b.caps, strict=True))
            if one.cap != two.cap or np.any(one.use != two.use)
        ]
        #: Whether what moves in limits are choices and bounds only, so that rows can be weakened.
        self.searchable = not self.moving_limits or not self._more_than_choices_move()

    @property
    def limits_move(self) -> bool:
        """Whether what is allowed depends on s."""
        return bool(self.moving_limits or self.moving_caps)

    def _limit_moves(self, one: LimitRow, two: LimitRow) -> bool:
        if one.upper != two.upper or np.any(one.coefficients != two.coefficients):
            return True
        a, b = self.ends
        held = [(getattr(a, name), getattr(b, name)) for name in ("choice_q", *HOLDERS)]
        moved = any(
            bool(np.abs((p - q) @ one.coefficients).max(initial=0.0) > 1e-15) for p, q in held
        )
        return moved or self._lines_move()

    def _lines_move(self) -> bool:
        a, b = self.ends
        return any(
            np.any(m.mass_kg_per_m != n.mass_kg_per_m)
            or np.any(m.end_mass_kg != n.end_mass_kg)
            or m.slack_m != n.slack_m
            for m, n in zip(a.lines, b.lines, strict=True)
        )

    def _more_than_choices_move(self) -> bool:
        a, b = self.ends
        held = any(np.any(getattr(a, name) != getattr(b, name)) for name in HOLDERS)
        turned = any(
            np.any(a.limits[n].coefficients != b.limits[n].coefficients) for n in self.moving_limits
        )
        return held or turned or self._lines_move()

    # -- the problem at s ------------------------------------------------------------------

    def at(self, s: float, low: float, high: float) -> Reduced:
        """The problem at s, its moving limits at their weakest between low and high."""
        a, b = self.ends
        lines = tuple(
            replace(
                one,
                mass_kg_per_m=_mix(one.mass_kg_per_m, two.mass_kg_per_m, s),
                end_mass_kg=_mix(one.end_mass_kg, two.end_mass_kg, s),
                slack_m=(1.0 - s) * one.slack_m + s * two.slack_m,
            )
            for one, two in zip(a.lines, b.lines, strict=True)
        )
        problem = replace(
            self._reduced.problem,
            choice_q=_mix(a.choice_q, b.choice_q, s),
            use_q=_mix(a.use_q, b.use_q, s),
            site_q=_mix(a.site_q, b.site_q, s),
            arc_q=_mix(a.arc_q, b.arc_q, s),
            lines=lines,
            caps=self._caps(low, high),
            objective=self.objective(s),
        )
        if self.moving_limits:
            problem = self._weakened(problem, low, high)
        return replace(self._reduced, problem=problem)

    def objective(self, s: float) -> Objective:
        """What is minimised at s."""
        one, two = (p.objective for p in self.ends)
        return replace(
            one,
            linear=_mix(one.linear, two.linear, s),
            curve_weight=(1.0 - s) * one.curve_weight + s * two.curve_weight,
        )

    def _caps(self, low: float, high: float) -> tuple[SiteCap, ...]:
        a, b = (p.caps for p in self.ends)
        caps = list(a)
        for n in self.moving_caps:
            one, two = a[n], b[n]
            use = [_mix(one.use, two.use, s) for s in (low, high)]
            most = max((1.0 - s) * one.cap + s * two.cap for s in (low, high))
            caps[n] = replace(one, use=np.minimum(*use), cap=most)
        return tuple(caps)

    def _weakened(self, problem: Problem, low: float, high: float) -> Problem:
        """Moving limits told by quantities of their own, least per choice in the range."""
        a, b = self.ends
        n_q = problem.choice_q.shape[1]
        extra = []
        limits = list(problem.limits)
        for k, n in enumerate(self.moving_limits):
            one, two = a.limits[n], b.limits[n]
            told = [
                _mix(a.choice_q @ one.coefficients, b.choice_q @ two.coefficients, s)
                for s in (low, high)
            ]
            extra.append((np.minimum(*told), one.coefficients))
            own = np.zeros(n_q + len(self.moving_limits))
            own[n_q + k] = 1.0
            upper = max((1.0 - s) * one.upper + s * two.upper for s in (low, high))
            limits[n] = replace(one, coefficients=own, upper=upper)

        def wider(values: Array) -> Array:
            return np.column_stack([values, *(values @ c for _, c in extra)])

        def longer(values: Array) -> Array:
            return np.append(values, np.zeros(len(extra)))

        return replace(
            problem,
            choice_q=np.column_stack([problem.choice_q, *(least for least, _ in extra)]),
            use_q=wider(problem.use_q),
            site_q=wider(problem.site_q),
            arc_q=wider(problem.arc_q),
            limits=tuple(
                limit
                if len(limit.coefficients) > n_q
                else replace(limit, coefficients=longer(limit.coefficients))
                for limit in limits
            ),
            soft=tuple(
                replace(soft, coefficients=longer(soft.coefficients)) for soft in problem.soft
            ),
            objective=replace(problem.objective, linear=longer(problem.objective.linear)),
        )

    # -- layouts along s -------------------------------------------------------------------

    def winner(self, chosen: tuple[int, ...], options: tuple[int, ...]) -> Winner:
        """A layout with its quantities at both ends."""
        ends = [solution_of(p, chosen, options, p.objective) for p in self.ends]
        excess = []
        for n in self.moving_limits:
            rows = [p.limits[n] for p in self.ends]
            size = abs(rows[0].upper) or 1.0
            over = [
                (float(end.quantities @ row.coefficients) - row.upper) / size
                for end, row in zip(ends, rows, strict=True)
            ]
            excess.append((over[0], over[1]))
        for n in self.moving_caps:
            caps = [p.caps[n] for p in self.ends]
            here = [c for c in chosen if self.ends[0].choice_site[c] == caps[0].site]
            over = [(float(cap.use[here].sum()) - cap.cap) / caps[0].cap for cap in caps]
            if here:
                excess.append((over[0], over[1]))
        quantities = (ends[0].quantities, ends[1].quantities)
        return Winner(ends[0], quantities, tuple(excess))

    def score(self, winner: Winner, s: float) -> float:
        """The exact score of a layout at s."""
        return exact_value(self.objective(s), _mix(*winner.quantities, s))

    def trunk_kg(self, winner: Winner, s: float) -> float:
        """The trunk load of a layout at s."""
        return float(_mix(*winner.quantities, s)[TRUNK_LOAD])


def _mix(a: Array, b: Array, s: float) -> Array:
    mixed: Array = (1.0 - s) * a + s * b
    return mixed
