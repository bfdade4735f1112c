"""One set of circumstances: a wearer walking somewhere, with every way to place and join parts.

Worlds of one study differ in body and task only. Choices and links (a line bought as an option
between two places) are known by what they are, not by number, because a place that one body can
reach another may not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from optimizer.assess.result import Layout
from optimizer.problem.arrays import Array, Problem
from optimizer.problem.build import build_problem
from optimizer.setting import Setting, build_setting
from optimizer.solve.layouts import identity, layout_of
from optimizer.solve.links import Link, consistent, ends_of
from optimizer.solve.program import Solution, solution_of
from optimizer.study.model import Study

#: A choice by what it is: slot, model, site.
Choice = tuple[int, int, int]
#: A link by what it is: line, option, (site, model or None) of either end.
LinkKey = tuple[int, int, tuple[int, int | None], tuple[int, int | None]]
#: How exactly a limit must be kept, relative: as the program counts it.
KEPT = 2e-6


@dataclass(frozen=True, slots=True)
class Plan:
    """A layout that means the same for every body: choices, options bought, ballast (site, kg)."""

    choices: tuple[Choice, ...]
    options: tuple[int, ...]
    ballast: tuple[tuple[int, float], ...] = ()


@dataclass(frozen=True)
class World:
    """A setting, its problem, and what arc consistency leaves of choices and links."""

    setting: Setting
    problem: Problem
    choice_number: dict[Choice, int] = field(repr=False)
    open: frozenset[Choice] = field(repr=False)
    links: dict[LinkKey, Link] = field(repr=False)

    @cached_property
    def emptied(self) -> tuple[int, ...]:
        """Slots without any place left."""
        left = {slot for slot, _, _ in self.open}
        return tuple(p for p in range(len(self.problem.slots)) if p not in left)

    def plan_of(self, solution: Solution) -> Plan:
        """What a solution of this world's problem is in any world."""
        p = self.problem
        choices = tuple(
            (int(p.choice_slot[c]), int(p.choice_model[c]), int(p.choice_site[c]))
            for c in solution.chosen
        )
        return Plan(choices, tuple(option for option, _ in solution.routes), solution.ballast)

    def solution(self, plan: Plan) -> Solution | None:
        """The plan worn here, lines routed for this body; None if a place or a line is amiss.

        Limits are not looked at: see `broken`.
        """
        if any(choice not in self.choice_number for choice in plan.choices):
            return None
        chosen = tuple(self.choice_number[choice] for choice in plan.choices)
        try:
            return solution_of(
                self.problem, chosen, plan.options, self.problem.objective, plan.ballast
            )
        except ValueError:
            return None

    def broken(self, solution: Solution) -> tuple[str, ...]:
        """Labels of the limits, capacities and rules a solution breaks here."""
        p = self.problem
        found = [
            limit.label
            for limit in p.limits
            if float(solution.quantities @ limit.coefficients) - limit.upper
            > KEPT * max(1.0, abs(limit.upper))
        ]
        ballast = dict(solution.ballast)
        for cap in p.caps:
            used = sum(float(cap.use[c]) for c in solution.chosen)
            used += cap.per_ballast_kg * ballast.get(cap.site, 0.0)
            if used > cap.cap * (1.0 + KEPT):
                found.append(f"{cap.kind} of {p.site_names[cap.site]}")
        for rule in p.pairs:
            i, j = (int(p.choice_site[solution.chosen[s]]) for s in (rule.slot_a, rule.slot_b))
            if rule.forbidden(i, j):
                found.append(rule.label)
        return tuple(found)

    def fits(self, plan: Plan) -> bool:
        """Whether the plan can be worn here, every limit kept."""
        solution = self.solution(plan)
        return solution is not None and not self.broken(solution)

    def layout(self, solution: Solution) -> Layout:
        """The solution with names."""
        return layout_of(self.setting, self.problem, solution)

    def key(self, plan: Plan) -> tuple[object, ...]:
        """What makes plans the same layout: places up to swapping copies, options, ballast."""
        chosen = tuple(self.choice_number[choice] for choice in plan.choices)
        ballast = tuple((s, round(kg, 4)) for s, kg in plan.ballast)
        return (*identity(self.problem, chosen), plan.options, ballast)


def make_world(setting: Setting | Study) -> World:
    """Work out the choices and links of a setting, or of a study for its own wearer.

    Raises
    ------
    InputError
        If the wearer, a model name or a route of the study cannot be used.
    """
    setting = build_setting(setting) if isinstance(setting, Study) else setting
    problem = build_problem(setting)
    still, links = consistent(problem)
    keys = [
        (int(p), int(k), int(s))
        for p, k, s in zip(
            problem.choice_slot, problem.choice_model, problem.choice_site, strict=True
        )
    ]
    return World(
        setting=setting,
        problem=problem,
        choice_number={key: c for c, key in enumerate(keys)},
        open=frozenset(keys[int(c)] for c in np.flatnonzero(still)),
        links={
            (link.line, link.option, link.end_a, link.end_b): link
            for each in links
            for link in each
        },
    )


def link_quantities(
    problem: Problem, links: Sequence[Link], per_site: Array, per_arc: Array
) -> Array:
    """What each link adds, shape (n_links, width).

    Parameters
    ----------
    per_site : (n_s, width), what a kilogram at each site adds
    per_arc : (n_a, width), what a kilogram along each arc adds
    """
    out = np.zeros((len(links), per_site.shape[1]))
    for i, link in enumerate(links):
        line = problem.lines[link.line]
        rate = float(line.mass_kg_per_m[link.option])
        end_kg = 0.5 * line.slack_m * rate + float(line.end_mass_kg[link.option])
        row = end_kg * (per_site[link.end_a[0]] + per_site[link.end_b[0]])
        arcs = [a for a, _ in link.route.arcs]
        if arcs:
            row = row + (rate * problem.arc_length_m[arcs]) @ per_arc[arcs]
        out[i] = row
    return out


def common_links(worlds: Sequence[World]) -> list[LinkKey]:
    """Links that every world has, in the first one's order."""
    return [key for key in worlds[0].links if all(key in w.links for w in worlds[1:])]


def common_choices(worlds: Sequence[World]) -> list[Choice]:
    """Choices open in every world, in the first one's order."""
    return [key for key in worlds[0].choice_number if all(key in w.open for w in worlds)]


__all__ = [
    "Choice",
    "LinkKey",
    "Plan",
    "World",
    "common_choices",
    "common_links",
    "ends_of",
    "link_quantities",
    "make_world",
]
