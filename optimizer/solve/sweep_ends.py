"""The problem at both ends of a sweep, from two samples somewhere along it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from optimizer.problem.arrays import Array, Problem
from optimizer.solve.sweep_sample import NotSteadyError, Sample


def straight_ends(shares: Sequence[float], values: Sequence[Array]) -> tuple[Array, Array]:
    """Values at s = 0 and s = 1 on the straight line through the first two samples."""
    slope = (values[1] - values[0]) / (shares[1] - shares[0])
    return values[0] - shares[0] * slope, values[0] + (1.0 - shares[0]) * slope


def problem_ends(base: Sample, other: Sample, shares: Sequence[float]) -> tuple[Problem, Problem]:
    """The problem as at s = 0 and s = 1, with the choices of the first sample."""
    p, q = base.problem, other.problem
    if len(p.caps) != len(q.caps) or len(p.limits) != len(q.limits):
        raise NotSteadyError("it changes which limits there are")
    known = {q_key: c for c, q_key in enumerate(_choice_keys(q))}
    # what only the first sample has is closed in both, and is never chosen
    place = np.array([known.get(key, -1) for key in _choice_keys(p)], dtype=np.int64)

    def aligned(mine: Array, theirs: Array) -> Array:
        values = mine.copy()
        values[place >= 0] = theirs[place[place >= 0]]
        return values

    def ends(mine: Array, theirs: Array) -> tuple[Array, Array]:
        return straight_ends(shares, [mine, theirs])

    def number(mine: float, theirs: float) -> tuple[float, float]:
        low, high = straight_ends(shares, [np.array([mine]), np.array([theirs])])
        return float(low[0]), float(high[0])

    choice_q = ends(p.choice_q, aligned(p.choice_q, q.choice_q))
    use_q, site_q, arc_q = ends(p.use_q, q.use_q), ends(p.site_q, q.site_q), ends(p.arc_q, q.arc_q)
    linear = ends(p.objective.linear, q.objective.linear)
    weight = number(p.objective.curve_weight, q.objective.curve_weight)
    made = []
    for e in (0, 1):
        caps = tuple(
            replace(
                one,
                use=ends(one.use, aligned(one.use, two.use))[e],
                cap=number(one.cap, two.cap)[e],
            )
            for one, two in zip(p.caps, q.caps, strict=True)
        )
        limits = tuple(
            replace(
                one,
                coefficients=ends(one.coefficients, two.coefficients)[e],
                upper=number(one.upper, two.upper)[e],
            )
            for one, two in zip(p.limits, q.limits, strict=True)
        )
        lines = tuple(
            replace(
                one,
                mass_kg_per_m=ends(one.mass_kg_per_m, two.mass_kg_per_m)[e],
                end_mass_kg=ends(one.end_mass_kg, two.end_mass_kg)[e],
                slack_m=number(one.slack_m, two.slack_m)[e],
            )
            for one, two in zip(p.lines, q.lines, strict=True)
        )
        made.append(
            replace(
                p,
                choice_q=choice_q[e],
                use_q=use_q[e],
                site_q=site_q[e],
                arc_q=arc_q[e],
                caps=caps,
                limits=limits,
                lines=lines,
                objective=replace(p.objective, linear=linear[e], curve_weight=weight[e]),
            )
        )
    return made[0], made[1]


def _choice_keys(p: Problem) -> list[tuple[int, int, int]]:
    columns = (p.choice_slot, p.choice_model, p.choice_site)
    return list(zip(*(column.tolist() for column in columns), strict=True))
