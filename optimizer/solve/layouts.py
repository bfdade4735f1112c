"""Solutions of the program as layouts with names, and back."""

from __future__ import annotations

from optimizer.assess.result import Ballast, Layout, Placement, Routing
from optimizer.problem.arrays import Problem
from optimizer.setting import Setting
from optimizer.solve.program import Solution

#: What makes two layouts the same: per bundle of copies the places and models, sorted.
Identity = tuple[object, ...]


def layout_of(setting: Setting, problem: Problem, solution: Solution) -> Layout:
    """Name the choices and routes of a solution."""
    placements = tuple(
        Placement(
            unit=slot.unit,
            part=slot.part,
            model=slot.models[int(problem.choice_model[c])],
            site=problem.site_names[int(problem.choice_site[c])],
        )
        for slot, c in zip(problem.slots, solution.chosen, strict=True)
    )
    nodes = setting.graph.nodes
    routings = tuple(
        Routing(
            line=line.name,
            option=line.options[option],
            unit_a=problem.slots[line.slot_a].unit,
            unit_b=problem.slots[line.slot_b].unit,
            nodes=tuple(nodes[n] for n in route.nodes),
        )
        for line, (option, route) in zip(problem.lines, solution.routes, strict=True)
    )
    ballast = tuple(Ballast(problem.site_names[s], kg) for s, kg in solution.ballast)
    return Layout(placements, routings, ballast)


def identity(problem: Problem, chosen: tuple[int, ...]) -> Identity:
    """The layout up to swapping interchangeable copies: equal identities are one layout."""
    return Identities(problem).of(chosen)


class Identities:
    """What makes layouts of one problem the same, for many of them."""

    def __init__(self, problem: Problem):
        copied = {slot for group in problem.exchange for bundle in group for slot in bundle}
        self._singles = [p for p in range(len(problem.slots)) if p not in copied]
        self._exchange = problem.exchange
        #: Per choice, its place and model.
        self._spots = list(
            zip(problem.choice_site.tolist(), problem.choice_model.tolist(), strict=True)
        )

    def of(self, chosen: tuple[int, ...]) -> Identity:
        """The layout up to swapping interchangeable copies: equal identities are one layout."""
        spots = [self._spots[c] for c in chosen]
        singles = tuple(spots[p] for p in self._singles)
        groups = tuple(
            tuple(sorted(tuple(spots[slot] for slot in bundle) for bundle in group))
            for group in self._exchange
        )
        return singles, groups
