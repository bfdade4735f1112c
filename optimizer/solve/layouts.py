"""Solutions of the program as layouts with names, and back."""

from __future__ import annotations

from optimizer.assess.result import Ballast, Layout, Placement, Routing
from optimizer.problem.arrays import Problem
from optimizer.problem.routing import Route
from optimizer.setting import Setting
from optimizer.solve.program import Solution

#: What makes two layouts the same: per bundle of copies the places and models, sorted.
Identity = tuple[object, ...]


class LayoutNames:
    """Names the solutions of one problem; what they have in common is named once."""

    def __init__(self, setting: Setting, problem: Problem) -> None:
        self._nodes = setting.graph.nodes
        self._problem = problem
        self._placements: dict[int, Placement] = {}
        self._routings: dict[tuple[int, int, tuple[int, ...]], Routing] = {}

    def layout(self, solution: Solution) -> Layout:
        """The choices and routes of a solution, by name."""
        placements = [self._placement(n, c) for n, c in enumerate(solution.chosen)]
        routings = [self._routing(n, *taken) for n, taken in enumerate(solution.routes)]
        names = self._problem.site_names
        ballast = tuple(Ballast(names[s], kg) for s, kg in solution.ballast)
        return Layout(tuple(placements), tuple(routings), ballast)

    def _placement(self, number: int, choice: int) -> Placement:
        found = self._placements.get(choice)
        if found is None:
            p, slot = self._problem, self._problem.slots[number]
            found = self._placements[choice] = Placement(
                unit=slot.unit,
                part=slot.part,
                model=slot.models[int(p.choice_model[choice])],
                site=p.site_names[int(p.choice_site[choice])],
            )
        return found

    def _routing(self, number: int, option: int, route: Route) -> Routing:
        found = self._routings.get((number, option, route.nodes))
        if found is None:
            slots, line = self._problem.slots, self._problem.lines[number]
            found = self._routings[number, option, route.nodes] = Routing(
                line=line.name,
                option=line.options[option],
                unit_a=slots[line.slot_a].unit,
                unit_b=slots[line.slot_b].unit,
                nodes=tuple(self._nodes[n] for n in route.nodes),
            )
        return found


def layout_of(setting: Setting, problem: Problem, solution: Solution) -> Layout:
    """Name the choices and routes of a solution."""
    return LayoutNames(setting, problem).layout(solution)


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
