"""Routes between sites: tables of them against every way there is through small graphs."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from math import inf
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from optimizer.problem.arrays import LineCase, LineRow, Problem
from optimizer.problem.build import build_problem
from optimizer.problem.line_cells import bought, joined, line_cells
from optimizer.problem.presolve import pair_reach, route_of
from optimizer.problem.routing import Route, RouteTable
from optimizer.problem.site_routes import SiteRoutes
from optimizer.setting import build_setting
from tests.instances import random_study

#: Anchors and sites of a small graph.
N_ANCHORS, N_SITES = 7, 4


class Small:
    """A random graph whose weights are few whole numbers, so that many ways are equals."""

    def __init__(self, seed: int, *, by_length: bool, by_bend: bool, scale: float = 1.0):
        rng = np.random.default_rng(seed)
        ends = [(i, j) for i in range(N_ANCHORS) for j in range(i) if rng.random() < 0.5]
        hung = [(int(rng.integers(N_ANCHORS)), N_ANCHORS + s) for s in range(N_SITES)]
        every = [pair if rng.random() < 0.5 else pair[::-1] for pair in (*ends, *hung)]
        self.tail, self.head = np.array(every, dtype=np.int64).reshape(-1, 2).T
        low = [0 if rng.random() < 0.3 else 1, 1, 0]
        self.weights = rng.integers(low, 4, (len(every), 3)).T.astype(float)
        self.weights[0] *= scale
        self.off = np.zeros(N_ANCHORS + N_SITES)
        self.off[:N_ANCHORS] = rng.random(N_ANCHORS) < rng.choice([0.0, 0.3])
        self.by = by_length, by_bend
        self.table = RouteTable(
            self.tail,
            self.head,
            *self.weights,
            np.arange(N_ANCHORS, N_ANCHORS + N_SITES),
            self.off,
            by_length=by_length,
            by_bend=by_bend,
        )

    def ways(self, site_a: int, site_b: int) -> list[Route]:
        """Undominated routes: all simple ways in order of cost, length, bend and nodes."""
        goal, found = N_ANCHORS + site_b, []

        def walk(nodes: tuple[int, ...], arcs: tuple[tuple[int, int], ...]) -> None:
            if nodes[-1] == goal:
                cost, length, bend = self.weights[:, [a for a, _ in arcs]].sum(axis=1)
                found.append(Route(cost, length, bend, arcs, nodes))
                return
            for a, pair in enumerate(zip(self.tail.tolist(), self.head.tolist(), strict=True)):
                for d, (here, there) in enumerate((pair, pair[::-1])):
                    if here != nodes[-1] or there in nodes:
                        continue
                    if there < N_ANCHORS or there == goal:
                        off = self.off[[node for node in (*nodes, there) if node < N_ANCHORS]]
                        if np.abs(np.diff(off)).sum() <= 1:
                            walk((*nodes, there), (*arcs, (a, d)))

        walk((N_ANCHORS + site_a,), ())
        kept: list[Route] = []
        for way in sorted(found, key=lambda r: (r.cost, r.length_m, r.bend_rad, r.nodes)):
            if not any(
                (not self.by[0] or other.length_m <= way.length_m)
                and (not self.by[1] or other.bend_rad <= way.bend_rad)
                for other in kept
            ):
                kept.append(way)
        return kept


@pytest.mark.parametrize(("by_length", "by_bend"), [*product((False, True), repeat=2)])
def test_routes_are_the_undominated_simple_ways_equals_told_apart_by_their_nodes(
    by_length: bool, by_bend: bool
) -> None:
    several = 0
    for seed in range(60):
        small = Small(seed, by_length=by_length, by_bend=by_bend)
        for s, t in product(range(N_SITES), repeat=2):
            if s != t:
                routes = small.table.routes(s, t)
                assert routes == small.ways(s, t)
                several += len(routes) > 1
    assert (several > 20) == (by_length or by_bend)


def test_costs_beyond_64_bits_of_steps_are_put_in_order_all_the_same() -> None:
    for seed in range(20):
        plain = Small(seed, by_length=True, by_bend=True)
        dear = Small(seed, by_length=True, by_bend=True, scale=2.0**40)
        for s, t in product(range(N_SITES), repeat=2):
            nodes = [route.nodes for route in plain.table.routes(s, t)]
            assert [route.nodes for route in dear.table.routes(s, t)] == nodes


def test_routes_asked_for_together_are_those_asked_for_one_by_one() -> None:
    rng = np.random.default_rng(3)
    found = 0
    for seed in range(40):
        together = Small(seed, by_length=True, by_bend=True)
        alone = Small(seed, by_length=True, by_bend=True).table
        routes = SiteRoutes(cast(Problem, SimpleNamespace(routes=together.table)))
        some = rng.integers(0, N_SITES, (10, 2))
        routes.ways(some[:3, 0], some[:3, 1])
        length, bend = rng.integers(0, 12, (2, 10)).astype(float)
        length[rng.random(10) < 0.2] = inf
        number = routes.ways(some[:, 0], some[:, 1]).within(length, bend)
        for k, (s, t) in enumerate(some.tolist()):
            best = alone.best(s, t, length[k], bend[k])
            assert (number[k] < 0) == (best is None)
            if best is not None:
                middle = together.table.between.one(int(number[k]))
                assert list(best.arcs[1:-1]) == middle
                found += len(middle) > 0
    assert found > 50


def bought_by_models(problem: Problem, line: LineRow, rng: np.random.Generator) -> LineRow:
    """The line with further cases of some of its ends' models, its own ones last."""
    cases = []
    for slot in range(2):
        models = problem.choice_model[problem.choices_of((line.slot_a, line.slot_b)[slot])]
        for model in np.unique(models).tolist():
            of = (model, None) if slot == 0 else (None, model)
            option = int(rng.integers(len(line.options)))
            if rng.random() < 0.5:
                cases.append(LineCase(option, *of, line.slack_m + rng.uniform(0.0, 1.5), 20.0))
    return replace(line, cases=(*cases, *line.cases))


def test_pairs_of_choices_side_by_side_are_bought_and_joined_as_each_alone() -> None:
    rng = np.random.default_rng(2)
    by_model = out_of_reach = 0
    for seed in range(60):
        problem = build_problem(build_setting(random_study(seed)))
        lines = tuple(bought_by_models(problem, line, rng) for line in problem.lines)
        by_model += sum(len(line.cases) > len(line.options) for line in lines)
        first = np.searchsorted(problem.choice_slot, np.arange(len(problem.slots) + 1))
        cells = line_cells(problem, lines, np.arange(len(problem.choice_slot)), first)
        routes = SiteRoutes(problem)
        n_options = max((len(line.options) for line in lines), default=1)
        numbers = bought(cells, routes.ways(*cells.sites), n_options)
        some = joined(cells, routes)
        for n, line in enumerate(lines):
            own = cells.of(n)
            a, b, ok = pair_reach(problem, line, routes)
            assert (cells.a[own].reshape(ok.shape) == a[:, None]).all()
            assert (cells.b[own].reshape(ok.shape) == b[None, :]).all()
            assert (some[own].reshape(ok.shape) == ok).all()
            for cell in range(own.start, own.stop):
                fitting = cases_of(problem, line, int(cells.a[cell]), int(cells.b[cell]))
                s, t = (int(problem.choice_site[c]) for c in (cells.a[cell], cells.b[cell]))
                assert some[cell] == any(route_of(problem, line, c, s, t) for c in fitting)
                for option in range(n_options):
                    case = next((c for c in fitting if c.option == option), None)
                    best = None if case is None else route_of(problem, line, case, s, t)
                    assert (numbers[cell, option] < 0) == (best is None)
                    out_of_reach += best is None
                    if best is not None:
                        middle = problem.routes.between.one(int(numbers[cell, option]))
                        assert list(best.arcs[1:-1]) == middle
    assert by_model > 30
    assert out_of_reach > 100


def cases_of(problem: Problem, line: LineRow, a: int, b: int) -> list[LineCase]:
    """The cases of a line that two choices are of the models for."""
    return [
        case
        for case in line.cases
        if case.model_a in (None, problem.choice_model[a])
        and case.model_b in (None, problem.choice_model[b])
    ]
