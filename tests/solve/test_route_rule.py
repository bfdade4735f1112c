"""Which way a line runs: the route table against plain searches of the graph."""

from __future__ import annotations

import heapq
from dataclasses import replace
from itertools import islice
from math import inf

import numpy as np
import pytest

from optimizer.lines.graph import RoutingGraph
from optimizer.problem.build import build_problem, route_table
from optimizer.problem.presolve import Switches
from optimizer.problem.routing import RouteTable
from optimizer.setting import Setting, build_setting
from optimizer.solve.place import place
from optimizer.study.model import OFF_BODY, AddedArc, RoutesSpec, Weights
from tests.instances import HERE, PLACES, few_routes, line_option, model, random_study, site, study
from tests.solve.comparing import scores
from tests.solve.oracle import Enumeration, Routes, Scale


def table_of(setting: Setting) -> RouteTable:
    """The routes of a setting as if its lines limited length and bend."""
    problem = build_problem(setting)
    lines = tuple(
        replace(
            line,
            cases=tuple(replace(c, max_length_m=9.0, max_bend_rad=99.0) for c in line.cases),
        )
        for line in problem.lines
    )
    return route_table(setting, problem.arc_q, lines)


def test_routes_are_the_cheapest_within_length_and_bend() -> None:
    rng = np.random.default_rng(5)
    compared = unreachable = dearer = 0
    for seed in range(40):
        random = random_study(seed, sites=6)
        if not random.lines:
            continue
        setting = build_setting(random)
        table, routes = table_of(setting), Routes(setting, Scale(setting))
        for _ in range(25):
            s, t = (int(v) for v in rng.integers(0, 6, size=2))
            free = routes.best(s, t)
            assert free is not None
            length = free.length_m * rng.uniform(0.6, 1.3) if rng.random() < 0.7 else inf
            bend = free.bend_rad * rng.uniform(0.6, 1.3) if rng.random() < 0.7 else inf
            mine, theirs = routes.best(s, t, length, bend), table.best(s, t, length, bend)
            compared += 1
            if mine is None or theirs is None:
                assert mine is None
                assert theirs is None
                unreachable += 1
                continue
            dearer += mine.cost > free.cost + 1e-9
            assert theirs.cost == pytest.approx(mine.cost, rel=1e-6, abs=1e-8)
            assert theirs.length_m == pytest.approx(mine.length_m, abs=1e-9)
    assert compared > 500
    assert unreachable > 50
    assert dearer > 20


def whole_body(trunk: str = "browning_waist", bench: bool = False) -> Setting:
    """All anchors of the body and a site at each random place."""
    sites = tuple(site(f"s{i}", place) for i, place in enumerate(PLACES))
    parts = random_study(1, sites=4).parts
    routes = RoutesSpec()
    if bench:
        arcs = tuple(
            AddedArc(end, "bench", 0.05, 0.0, 0.0, "off_body", HERE)
            for end in ("waist_back", "waist_front", "foot_heel_left")
        )
        routes = RoutesSpec(add=arcs)
        sites = (*sites, replace(site("beside", PLACES[2]), segment="off_body", side="centre"))
    base = study(parts=parts, sites=sites, routes=routes, weights=Weights(1.0, 0.1, 0.0))
    return build_setting(replace(base, energy=replace(base.energy, trunk=trunk)))


def cheapest(
    graph: RoutingGraph, cost: np.ndarray, start: int, goal: int, longest_m: float
) -> tuple[float, float] | None:
    """Cost and length of the cheapest path within a length: all paths, cheapest first.

    A best-first search over paths, none dropped but for what its rest must cost or measure.
    """
    sites = set(graph.site_node.tolist()) - {start, goal}
    beside: dict[int, list[tuple[int, float, float]]] = {}
    for a, (i, j) in enumerate(zip(graph.tail.tolist(), graph.head.tolist(), strict=True)):
        for here, there in ((i, j), (j, i)):
            if here not in sites and there not in sites:
                beside.setdefault(here, []).append((there, cost[a], float(graph.length_m[a])))

    def rest(weight: int) -> dict[int, float]:
        left = {goal: 0.0}
        queue = [(0.0, goal)]
        while queue:
            far, here = heapq.heappop(queue)
            if far > left[here]:
                continue
            for arc in beside[here]:
                total = far + arc[1 + weight]
                if total < left.get(arc[0], inf):
                    left[arc[0]] = total
                    heapq.heappush(queue, (total, arc[0]))
        return left

    to_pay, to_go = rest(0), rest(1)
    off = [key == OFF_BODY for key in graph.segment_of]
    queue: list[tuple[float, float, float, tuple[int, ...]]]
    queue = [(to_pay[start], 0.0, 0.0, (start,))]
    while queue:
        _, paid, gone, path = heapq.heappop(queue)
        here = path[-1]
        if here == goal:
            return paid, gone
        for there, c, m in beside[here]:
            back = off[here] != off[start] and off[there] == off[start]
            if there in path or back or gone + m + to_go[there] > longest_m + 1e-9:
                continue
            step = (paid + c + to_pay[there], paid + c, gone + m, (*path, there))
            heapq.heappush(queue, step)
    return None


@pytest.mark.parametrize("bench", [False, True])
@pytest.mark.parametrize("trunk", ["browning_waist", "pandolf"])
def test_routes_over_the_whole_body_are_the_cheapest_within_their_length(
    trunk: str, bench: bool
) -> None:
    setting = whole_body(trunk, bench)
    graph = setting.graph
    some = random_study(3).lines[0]
    names = [p.name for p in setting.study.parts]
    line = replace(some, part_a=names[0], part_b=names[1])
    wired = replace(setting, study=replace(setting.study, lines=(line,)))
    table = table_of(wired)
    cost = Routes(setting, Scale(setting)).cost + 1e-9 * graph.length_m
    shortest = graph.shortest_lengths()
    rng = np.random.default_rng(11)
    detours = 0
    n = len(setting.study.sites)
    for _ in range(400):
        s, t = (int(v) for v in rng.choice(n, size=2, replace=False))
        start, goal = int(graph.site_node[s]), int(graph.site_node[t])
        longest = float(rng.choice([shortest[s, t] * rng.uniform(0.98, 1.4), inf]))
        mine = cheapest(graph, cost, start, goal, longest)
        theirs = table.best(s, t, longest)
        if mine is None or theirs is None:
            assert mine is None
            assert theirs is None
            continue
        detours += mine[1] > shortest[s, t] + 1e-6
        assert theirs.cost == pytest.approx(mine[0], rel=1e-9, abs=1e-9)
        assert theirs.length_m == pytest.approx(mine[1], abs=1e-9)
    assert detours >= 5


def test_no_line_takes_a_short_cut_off_the_body() -> None:
    setting = whole_body(bench=True)
    graph = setting.graph
    table = table_of(replace(setting))
    off = {i for i, key in enumerate(graph.segment_of) if key == OFF_BODY}
    worn = [s for s, here in enumerate(setting.study.sites) if here.segment != "off_body"]
    beside = len(setting.study.sites) - 1
    for s in worn:
        for t in worn:
            route = table.best(s, t)
            assert route is not None
            assert not off & set(route.nodes)
        out = table.best(s, beside)
        assert out is not None
        gone = [node in off for node in out.nodes]
        assert gone == sorted(gone), "once off the body it stays off"


def test_a_line_just_as_long_as_its_limit_fits() -> None:
    belt, cuff = site("belt", PLACES[0]), site("cuff", PLACES[5])
    parts = tuple(
        replace(random_study(1).parts[0], name=n, count=1, models=(model("m", 0.1, (w,)),))
        for n, w in (("a", "belt"), ("b", "cuff"))
    )
    base = study(parts=parts, sites=(belt, cuff), routes=few_routes())
    free = build_setting(base)
    (length,) = {float(v) for v in free.graph.shortest_lengths()[0, 1:]}
    line = replace(
        random_study(3).lines[0],
        part_a="a",
        part_b="b",
        slack_m=0.05,
        options=(line_option("o", 0.02, length + 0.05),),
    )
    from optimizer.solve.place import place

    found = place(replace(base, lines=(line,)))
    assert found.layouts[0].assessment.lines[0].length_m == pytest.approx(length + 0.05)  # type: ignore[union-attr]
    short = replace(line, options=(line_option("o", 0.02, length + 0.0499),))
    assert not hasattr(place(replace(base, lines=(short,))), "layouts")


def test_the_program_runs_no_line_off_the_body_and_back() -> None:
    """A study where that would be cheaper than any route: found by plain enumeration to be lost."""
    setting = build_setting(random_study(413))
    truth = [each.score for each in islice(Enumeration(setting).ranked(), 3)]
    for switches in (Switches(), Switches(search=False)):
        assert scores(place(setting, top=3, switches=switches)) == pytest.approx(truth, abs=1e-7)
