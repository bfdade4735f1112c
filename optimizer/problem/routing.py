"""Which way a line runs between two places.

A line takes the cheapest route that its own limits allow: least score per kilogram of line,
ties to the shorter. It is never led a longer way to serve as ballast or to dodge a limit on a
total, so a route is a function of the two places and the line's longest length and most bend.
Off-body anchors are no thoroughfare: a line between two places on the body stays on it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import inf

import numpy as np

from optimizer.problem.anchor_graph import AnchorGraph
from optimizer.problem.anchor_routes import AnchorRoutes
from optimizer.problem.arrays import Array, IntArray

#: Relative slack when a length or bend is compared with its limit: what just fits, fits.
TOLERANCE = 1e-9


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
        self._tail, self._head = tail, head
        self._weights = np.array([cost, length_m, bend_rad])
        self._by_length, self._by_bend = by_length, by_bend
        self._off = off_body.astype(bool)
        self._site_node = site_node
        self._is_site = np.zeros(len(self._off), dtype=bool)
        self._is_site[site_node] = True
        self._routes: dict[tuple[int, int], list[Route]] = {}

    @cached_property
    def _anchor_of_node(self) -> IntArray:
        """(n_nodes,) anchors counted in order of their nodes, each site's as if it were one."""
        return np.cumsum(~self._is_site) - 1

    @cached_property
    def leaf_arc(self) -> IntArray:
        """(n_s,) twice the arc each site hangs on, plus 1 if run back from there; -1 if none."""
        leaf = np.full(len(self._off), -1, dtype=np.int64)
        for direction, ends in enumerate((self._tail, self._head)):
            hung = np.flatnonzero(self._is_site[ends])
            leaf[ends[hung]] = 2 * hung + direction
        return np.asarray(leaf[self._site_node])

    @cached_property
    def leaf_weights(self) -> Array:
        """(3, n_s) cost, length [m] and bend [rad] of the arc each site hangs on, 0 if none."""
        return np.where(self.leaf_arc < 0, 0.0, self._weights[:, self.leaf_arc >> 1])

    @cached_property
    def site_anchor(self) -> IntArray:
        """(n_s,) the anchor each site hangs on, as `between` counts them; their number if none."""
        arc, back = self.leaf_arc >> 1, self.leaf_arc & 1
        anchor = self._anchor_of_node[np.where(back == 1, self._tail[arc], self._head[arc])]
        return np.where(self.leaf_arc < 0, self.between.n_anchors, anchor)

    @cached_property
    def between(self) -> AnchorRoutes:
        """The routes between anchors, found when they are asked for."""
        inner = np.flatnonzero(~(self._is_site[self._tail] | self._is_site[self._head]))
        one, other = (self._anchor_of_node[ends[inner]] for ends in (self._tail, self._head))
        tail, head = np.concatenate([one, other]), np.concatenate([other, one])
        arc = np.concatenate([2 * inner, 2 * inner + 1])
        order = np.lexsort((head, tail))
        tail, head, arc = tail[order], head[order], arc[order]
        weights = self._weights[:, arc >> 1]
        graph = AnchorGraph(
            tail,
            head,
            weights,
            self._off[~self._is_site],
            by_length=self._by_length,
            by_bend=self._by_bend,
        )
        return AnchorRoutes(graph, arc, weights[1], weights[2])

    def arc_cost(self, arc: int) -> float:
        """Score points per (kg/m) of line lying on an arc."""
        return float(self._weights[0, arc])

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
        tail, head = self._tail[arc], self._head[arc]
        if self._is_site[tail] or self._is_site[head]:
            return 0
        here, there = (tail, head) if direction == 0 else (head, tail)
        return int(self._off[there]) - int(self._off[here])

    def starts_off_body(self, site: int) -> bool:
        """Whether lines of a site begin at an anchor off the body."""
        leaf = int(self.leaf_arc[site])
        return leaf >= 0 and bool(self._off[self._far_end((leaf >> 1, leaf & 1))])

    def _join(self, site_a: int, site_b: int) -> list[Route]:
        out, back = int(self.leaf_arc[site_a]), int(self.leaf_arc[site_b])
        anchor_a, anchor_b = int(self.site_anchor[site_a]), int(self.site_anchor[site_b])
        between = self.between
        if between.first[anchor_a, anchor_b] < 0:
            # who asks for one will ask for more from there, and many take little longer than one
            between.ask(np.full(len(self.site_anchor), anchor_a), self.site_anchor)
        first, count = int(between.first[anchor_a, anchor_b]), between.count[anchor_a, anchor_b]
        joined = []
        for number in range(first, first + int(count)):
            arcs = ((out >> 1, out & 1), *between.one(number), (back >> 1, 1 - (back & 1)))
            cost = length = bend = 0.0
            nodes = [int(self._site_node[site_a])]
            for a, direction in arcs:
                c, m, turn, *ends = self._arc_rows[a]
                cost, length, bend = cost + c, length + m, bend + turn
                nodes.append(ends[1 - direction])
            joined.append(Route(cost, length, bend, arcs, tuple(nodes)))
        return joined

    @cached_property
    def _arc_rows(self) -> list[tuple[float, float, float, int, int]]:
        """Cost, length, bend, tail and head of each arc."""
        ends = self._tail.tolist(), self._head.tolist()
        return list(zip(*self._weights.tolist(), *ends, strict=True))

    def _far_end(self, directed: tuple[int, int]) -> int:
        arc, direction = directed
        return int((self._head, self._tail)[direction][arc])
