"""A smallest set of limits that cannot all hold, found by QuickXplain.

References
----------
[1] U. Junker, "QuickXplain: preferred explanations and relaxations for over-constrained
    problems", AAAI 2004. The set found is irreducible: drop any member and the rest fits.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from math import inf

import numpy as np

from optimizer.assess.result import Obstacle
from optimizer.errors import Origin
from optimizer.problem.arrays import Problem
from optimizer.problem.presolve import Switches, reduce, route_arcs
from optimizer.setting import Setting
from optimizer.solve.formulation import RowKey
from optimizer.solve.program import Program


@dataclasses.dataclass(frozen=True)
class Member:
    """One limit that may take part in a clash: its rows and how to name it."""

    text: str
    origin: Origin
    kind: str
    subject: str
    rows: tuple[int, ...]


def clashing_limits(setting: Setting, problem: Problem) -> list[Obstacle]:
    """An irreducible set of limits of `problem` that no layout meets together."""
    # first with lines free to run any way; if that mends it, the route rule is part of the clash
    for guarded in (False, True):
        program = _plain_program(problem, guarded)
        members = _members(setting, problem, program.rows)
        clash = quickxplain(members, _feasible_with(program, members))
        if clash:
            break
    return [Obstacle(m.text, m.origin, m.kind, m.subject) for m in clash]


def _feasible_with(
    program: Program, members: Sequence[Member]
) -> Callable[[Sequence[Member]], bool]:
    """Whether a layout meets given members, all others switched off."""
    bounds = {
        row: (program.row_lower[row], program.row_upper[row])
        for member in members
        for row in member.rows
    }

    def feasible(kept: Sequence[Member]) -> bool:
        on = {row for member in kept for row in member.rows}
        for row, (lower, upper) in bounds.items():
            if row in on:
                program.live.set_row_bounds(row, lower, upper)
            else:
                program.live.set_row_bounds(row, -inf, inf)
        return program.live.solve(gap=inf).x is not None

    return feasible


def quickxplain(
    members: Sequence[Member], feasible: Callable[[Sequence[Member]], bool]
) -> list[Member]:
    """An irreducible infeasible subset of `members`; [] if all together are feasible, or if even
    none of them is (then the clash is not about limits)."""
    if feasible(members) or not feasible([]):
        return []

    def search(background: list[Member], changed: bool, rest: list[Member]) -> list[Member]:
        if changed and not feasible(background):
            return []
        if len(rest) == 1:
            return list(rest)
        half = len(rest) // 2
        left, right = rest[:half], rest[half:]
        second = search(background + left, bool(left), right)
        first = search(background + second, bool(second), left)
        return first + second

    found = search([], False, list(members))
    order = {id(m): i for i, m in enumerate(members)}
    return sorted(found, key=lambda m: order[id(m)])


def _plain_program(problem: Problem, guarded: bool) -> Program:
    """The program without any presolve that bakes limits in, and nothing to minimise.

    Lines may run along the arcs of their routes with and without their own limits.
    """
    switches = Switches(arc_consistency=False, reach_rows=False)
    everything = reduce(problem, switches)
    arcs = []
    for line, own in zip(problem.lines, everything.arcs, strict=True):
        cases = tuple(
            dataclasses.replace(case, max_length_m=inf, max_bend_rad=inf) for case in line.cases
        )
        free = route_arcs(problem, dataclasses.replace(line, cases=cases), everything.open)
        arcs.append(tuple(tuple(sorted({*a, *b})) for a, b in zip(own, free, strict=True)))
    nothing = dataclasses.replace(
        problem.objective,
        linear=np.zeros_like(problem.objective.linear),
        curve_weight=0.0,
        curve=None,
        curve_slope=None,
    )
    return Program(
        dataclasses.replace(everything, arcs=tuple(arcs)),
        nothing,
        switches=switches,
        cheapest=frozenset(range(len(problem.lines)) if guarded else ()),
    )


def _members(setting: Setting, problem: Problem, rows: Sequence[RowKey]) -> list[Member]:
    """Limits by subject, the study's own first: what comes late is preferred in a clash."""
    by_limit: dict[tuple[str, object], list[int]] = {}
    for r, (group, index) in enumerate(rows):
        if group in ("site_volume", "site_mass", "limit"):
            by_limit.setdefault((group, index), []).append(r)
        elif group in ("line_length", "line_bend", "same_place", "apart"):
            number = index[0] if isinstance(index, tuple) else index
            by_limit.setdefault((group, number), []).append(r)
    members = []
    for (group, number), own in by_limit.items():
        text, origin, kind, subject = _name(setting, problem, group, int(number))  # type: ignore[call-overload]
        members.append(Member(text, origin, kind, subject, tuple(own)))
    return members


def _name(
    setting: Setting, problem: Problem, group: str, number: int
) -> tuple[str, Origin, str, str]:
    if group == "limit":
        limit = problem.limits[number]
        text = f"{limit.label} at most {limit.upper * limit.scale:g} {limit.unit}"
        return text, limit.origin, limit.kind, limit.subject
    if group in ("same_place", "apart"):
        rule = problem.pairs[number]
        return rule.label, rule.origin, rule.kind, rule.label
    if group in ("line_length", "line_bend"):
        line = problem.lines[number]
        if group == "line_length":
            longest = max(case.max_length_m for case in line.cases)
            text = f"line {line.name} at most {longest * 1e3:.0f} mm long"
        else:
            most = max(case.max_bend_rad for case in line.cases)
            text = f"line {line.name} bends at most {np.degrees(most):.0f} deg"
        return text, line.origin, group, line.name
    cap = next(c for c in problem.caps if c.kind == group and c.site == number)
    name = problem.site_names[number]
    amount = f"{cap.cap * 1e6:g} cm3" if group == "site_volume" else f"{cap.cap * 1e3:g} g"
    return f"{name} holds at most {amount}", cap.origin, group, name
