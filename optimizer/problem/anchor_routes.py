"""The routes between anchors asked for so far, as arrays: the middles of routes between sites."""

from __future__ import annotations

import numpy as np

from optimizer.problem.anchor_graph import AnchorGraph
from optimizer.problem.arrays import Array, IntArray


class AnchorRoutes:
    """Undominated routes between anchors, each known by a number.

    Number 0 is no way at all, from an anchor to itself. The routes between two anchors are
    `first[a, b]` and on, `count[a, b]` of them, cheapest first. Anchor n stands for none: no
    route leads there.

    Parameters
    ----------
    arc : (n_e,) twice the arc's number in the problem, plus 1 if run back, of each directed arc
    length_m, bend_rad : (n_e,)
    """

    def __init__(self, graph: AnchorGraph, arc: IntArray, length_m: Array, bend_rad: Array):
        self._graph = graph
        self._arc, self._arc_length, self._arc_bend = arc, length_m, bend_rad
        n = graph.n
        self.first = np.full((n + 1, n + 1), -1, dtype=np.int64)
        self.count = np.zeros((n + 1, n + 1), dtype=np.int64)
        self.first[n, :] = self.first[:, n] = 0
        self.first[np.arange(n), np.arange(n)] = 0
        self.count[np.arange(n), np.arange(n)] = 1
        self.owner = np.zeros(0, dtype=np.int64)
        """(n_steps,) which route each step belongs to, in order."""
        self._steps = np.zeros(0, dtype=np.int64)
        self._ends = np.zeros(1, dtype=np.int64)
        self.length_m, self.bend_rad = np.zeros(1), np.zeros(1)

    @property
    def n_anchors(self) -> int:
        """How many anchors there are."""
        return self._graph.n

    @property
    def n_routes(self) -> int:
        """How many routes are known."""
        return len(self._ends)

    @property
    def arcs(self) -> IntArray:
        """(n_steps,) the problem's arcs of all steps, those of a route in the order run."""
        return np.asarray(self._arc[self._steps] >> 1)

    def directed(self, numbers: IntArray) -> IntArray:
        """Arcs of some routes, one route's after another's: twice their numbers, plus 1 if back."""
        begins = np.append(0, self._ends)[numbers]
        sizes = self._ends[numbers] - begins
        shift = np.cumsum(sizes) - sizes - begins
        steps = np.arange(int(sizes.sum())) - np.repeat(shift, sizes)
        return np.asarray(self._arc[self._steps[steps]])

    def one(self, number: int) -> list[tuple[int, int]]:
        """Arcs of one route, each with the direction it is run in."""
        begin = self._ends[number - 1] if number else 0
        arcs = self._arc[self._steps[begin : self._ends[number]]]
        return [(arc >> 1, arc & 1) for arc in arcs.tolist()]

    def ask(self, start: IntArray, goal: IntArray) -> None:
        """Make the routes between pairs of anchors (n_p,) known."""
        unknown = self.first[start, goal] < 0
        if not unknown.any():
            return
        width = self._graph.n + 1
        start, goal = np.divmod(np.unique(start[unknown] * width + goal[unknown]), width)
        there = self._graph.reached(start, goal)
        self.first[start[~there], goal[~there]] = 0
        start, goal = start[there], goal[there]
        # pairs with one route all at once, the others one by one
        several = self._graph.has_more_ways(start, goal)
        order = np.argsort(several, kind="stable")
        start, goal, n_single = start[order], goal[order], int((~several).sum())
        ways = self._graph.cheapest_ways(start, goal).T
        real = ways < len(self._arc)
        hops = real.sum(axis=1)
        known = self.n_routes
        self.first[start, goal] = known + np.arange(len(start))
        self.count[start, goal] = 1
        steps, sizes = [ways[:n_single][real[:n_single]]], [hops[:n_single]]
        known += n_single
        for p in range(n_single, len(start)):
            dearer = self._graph.dearer_ways(int(start[p]), int(goal[p]))
            self.first[start[p], goal[p]] = known
            self.count[start[p], goal[p]] = 1 + len(dearer)
            known += 1 + len(dearer)
            steps += [ways[p, : hops[p]], *(np.array(way, dtype=np.int64) for way in dearer)]
            sizes += [hops[p : p + 1], np.array([len(way) for way in dearer], dtype=np.int64)]
        self._add(np.concatenate(steps), np.concatenate(sizes))

    def _add(self, steps: IntArray, sizes: IntArray) -> None:
        """Further routes, as the directed arcs of all of them and how many each has."""
        known = self.n_routes
        of = np.repeat(np.arange(len(sizes)), sizes)
        length = np.bincount(of, weights=self._arc_length[steps], minlength=len(sizes))
        bend = np.bincount(of, weights=self._arc_bend[steps], minlength=len(sizes))
        self.owner = np.concatenate([self.owner, known + of])
        self._steps = np.concatenate([self._steps, steps])
        self._ends = np.concatenate([self._ends, self._ends[-1] + np.cumsum(sizes)])
        self.length_m = np.concatenate([self.length_m, length])
        self.bend_rad = np.concatenate([self.bend_rad, bend])
