"""Which way a line runs between two places.

A line takes the cheapest route that its own limits allow: least score per kilogram of line,
ties to the shorter. It is never led a longer way to serve as ballast or to dodge a limit on a
total, so a route is a function of the two places and the line's longest length and most bend.
Off-body anchors are no thoroughfare: a line between two places on the body stays on it.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass
from math import inf

from optimizer.problem.arrays import Array, IntArray

#: Relative slack when a length or bend is compared with its limit: what just fits, fits.
TOLERANCE = 1e-9
#: Costs (score points per kg/m), lengths [m] and bends [rad] are counted in steps of this to put
#: routes in order, so that equals are told apart by length, bend and nodes, not by rounding noise.
STEP = 1e-12


@dataclass(frozen=True, slots=True)
class Route:
    """A way between two sites: cost per (kg/m), length, bend, directed arcs, nodes."""

    cost: float
    length_m: float
    bend_rad: float
    arcs: tuple[tuple[int, int], ...]
    nodes: tuple[int, ...]

    def fits(self, max_length_m: float, max_bend_rad: float) -> bool:
        """Whether the route alone, without service slack, keeps to both limits."""
        return (
            self.length_m <= max_length_m * (1 + TOLERANCE) + 1e-12
            and self.bend_rad <= max_bend_rad * (1 + TOLERANCE) + 1e-12
        )


NOWHERE = Route(0.0, 0.0, 0.0, (), ())


class RouteTable:
    """All routes worth taking between sites: none is dearer, longer and more bent than another.

    Parameters
    ----------
    tail, head : (n_a,) node numbers of undirected arcs, at most one between two nodes
    cost : (n_a,) score points per (kg/m) of line lying on the arc, not negative
    length_m, bend_rad : (n_a,)
    site_node : (n_s,) the leaf node of each site; all other nodes are anchors
    off_body : (n_nodes,) which nodes are off the body
    by_length, by_bend : whether any line limits its length, its bend
    """

    def __init__(
        self,
        tail: IntArray,
        head: IntArray,
        cost: Array,
        length_m: Array,
        bend_rad: Array,
        site_node: IntArray,
        off_body: Array,
        *,
        by_length: bool,
        by_bend: bool,
    ):
        self._weights = list(zip(cost.tolist(), length_m.tolist(), bend_rad.tolist(), strict=True))
        self._steps = [tuple(round(v / STEP) for v in weights) for weights in self._weights]
        self._by = (by_length, by_bend)
        self._off = off_body.astype(bool).tolist()
        self._site_node = site_node.tolist()
        self._leaves = leaves = set(self._site_node)
        self._next: dict[int, list[tuple[int, int, int]]] = {}
        self._leaf: dict[int, tuple[int, int]] = {}
        for a, (i, j) in enumerate(zip(tail.tolist(), head.tolist(), strict=True)):
            for d, (here, there) in enumerate(((i, j), (j, i))):
                if here in leaves:
                    self._leaf[here] = (a, d)
                elif there not in leaves:
                    self._next.setdefault(here, []).append((there, a, d))
        self._ends = list(zip(tail.tolist(), head.tolist(), strict=True))
        self._between: dict[int, dict[int, list[Route]]] = {}
        self._routes: dict[tuple[int, int], list[Route]] = {}

    def arc_cost(self, arc: int) -> float:
        """Score points per (kg/m) of line lying on an arc."""
        return float(self._weights[arc][0])

    def routes(self, site_a: int, site_b: int) -> list[Route]:
        """Routes from one site to another, cheapest first; one of no length if they are one."""
        if site_a == site_b:
            return [NOWHERE]
        key = (site_a, site_b)
        if key not in self._routes:
            self._routes[key] = self._join(site_a, site_b)
        return self._routes[key]

    def best(
        self, site_a: int, site_b: int, max_length_m: float = inf, max_bend_rad: float = inf
    ) -> Route | None:
        """The cheapest route within both limits, None if there is none."""
        for route in self.routes(site_a, site_b):
            if route.fits(max_length_m, max_bend_rad):
                return route
        return None

    def crosses(self, arc: int, direction: int) -> int:
        """1 if an arc between anchors leads off the body that way, -1 if onto it, else 0."""
        tail, head = self._ends[arc]
        if tail in self._leaves or head in self._leaves:
            return 0
        here, there = (tail, head) if direction == 0 else (head, tail)
        return int(self._off[there]) - int(self._off[here])

    def starts_off_body(self, site: int) -> bool:
        """Whether lines of a site begin at an anchor off the body."""
        node = self._site_node[site]
        return node in self._leaf and self._off[self._far_end(self._leaf[node])]

    def _join(self, site_a: int, site_b: int) -> list[Route]:
        node_a, node_b = self._site_node[site_a], self._site_node[site_b]
        if node_a not in self._leaf or node_b not in self._leaf:
            return []
        out, back = self._leaf[node_a], self._leaf[node_b]
        into = (back[0], 1 - back[1])
        anchor_a, anchor_b = self._far_end(out), self._far_end(back)
        if anchor_a not in self._between:
            self._between[anchor_a] = self._labels(anchor_a)
        joined = []
        for middle in self._between[anchor_a].get(anchor_b, []):
            arcs = (out, *middle.arcs, into)
            cost = length = bend = 0.0
            for a, _ in arcs:
                c, m, turn = self._weights[a]
                cost, length, bend = cost + c, length + m, bend + turn
            joined.append(Route(cost, length, bend, arcs, (node_a, *middle.nodes, node_b)))
        return joined

    def _far_end(self, directed: tuple[int, int]) -> int:
        arc, direction = directed
        return self._ends[arc][1 - direction]

    def _labels(self, start: int) -> dict[int, list[Route]]:
        """Undominated routes from an anchor to every anchor, in order of cost, in steps."""
        kept: dict[int, list[Route]] = {}
        heap: list[tuple[int, int, int, tuple[int, ...], tuple[tuple[int, int], ...]]]
        heap = [(0, 0, 0, (start,), ())]
        by_length, by_bend = self._by

        def beaten(here: int, length: int, bend: int) -> bool:
            """Whether a label kept, none of which costs more, is no longer and no more bent."""
            for r in kept.get(here, ()):
                if not (by_length and r.length_m > length) and not (by_bend and r.bend_rad > bend):
                    return True
            return False

        while heap:
            cost, length, bend, nodes, arcs = heapq.heappop(heap)
            here = nodes[-1]
            if beaten(here, length, bend):
                continue
            kept.setdefault(here, []).append(Route(cost, length, bend, arcs, nodes))
            moved = self._off[here] != self._off[start]
            for there, a, d in self._next.get(here, []):
                if there in nodes or (moved and self._off[there] == self._off[start]):
                    continue
                c, m, b = self._steps[a]
                if not beaten(there, length + m, bend + b):
                    label = (cost + c, length + m, bend + b, (*nodes, there), (*arcs, (a, d)))
                    heapq.heappush(heap, label)
        return kept
