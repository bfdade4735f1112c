"""Which way a line runs, by listing every simple route of a small graph."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from optimizer.setting import Setting
from optimizer.study.model import OFF_BODY
from tests.solve.tally import CLEAR, WIDTH, Ints, Mask, Scale, Vector


@lru_cache(maxsize=4096)
def simple_paths(
    edges: tuple[tuple[int, int], ...], off: tuple[bool, ...], start: int, goal: int
) -> tuple[Mask, tuple[tuple[int, ...], ...]]:
    """All simple paths between two anchors that go on or off the body at most once.

    Returns which edges each uses (n_paths, n_edges) and the nodes it passes.
    """
    beside: dict[int, list[tuple[int, int]]] = {}
    for e, (i, j) in enumerate(edges):
        beside.setdefault(i, []).append((j, e))
        beside.setdefault(j, []).append((i, e))
    used: list[tuple[int, ...]] = []
    passed: list[tuple[int, ...]] = []

    def walk(nodes: tuple[int, ...], arcs: tuple[int, ...]) -> None:
        if nodes[-1] == goal:
            used.append(arcs)
            passed.append(nodes)
            return
        for there, e in beside.get(nodes[-1], []):
            crossed = off[nodes[-1]] != off[start]
            if there not in nodes and not (crossed and off[there] == off[start]):
                walk((*nodes, there), (*arcs, e))

    walk((start,), ())
    uses = np.zeros((len(used), len(edges)), dtype=bool)
    for row, arcs in enumerate(used):
        uses[row, list(arcs)] = True
    return uses, tuple(passed)


@dataclass
class Way:
    """A route between two sites; `tally` is per (kg/m) of line."""

    cost: float
    length_m: float
    bend_rad: float
    tally: Vector
    nodes: tuple[str, ...]


HERE = Way(0.0, 0.0, 0.0, np.zeros(WIDTH), ())


class Routes:
    """The route rule by exhaustion: least score per kilogram within the limit, then shortest."""

    def __init__(self, setting: Setting, scale: Scale):
        graph = setting.graph
        self.graph = graph
        self.n_anchors = len(graph.nodes) - len(graph.site_node)
        per_kg = np.zeros((len(graph.tail), WIDTH))
        for a, keys in enumerate(graph.half_keys):
            for half in (0, 1):
                per_kg[a] += 0.5 * scale.kilogram(keys[half], graph.half_points[a, half])
        self.tally = per_kg * graph.length_m[:, None]
        self.cost = self.tally @ scale.marginal()
        ends = list(zip(graph.tail.tolist(), graph.head.tolist(), strict=True))
        self.inner = [a for a, e in enumerate(ends) if max(e) < self.n_anchors]
        self.edges = tuple(ends[a] for a in self.inner)
        self.off = tuple(key == OFF_BODY for key in graph.segment_of[: self.n_anchors])
        self.leaf = {}
        for s, node in enumerate(graph.site_node.tolist()):
            (arc,) = [a for a, e in enumerate(ends) if node in e]
            self.leaf[s] = (arc, sum(ends[arc]) - node)
        self._known: dict[tuple[int, int], tuple[Vector, Vector, Vector, Ints]] = {}
        self._ways: dict[tuple[int, int, float], Way | None] = {}

    def best(
        self, s: int, t: int, longest_m: float = np.inf, most_bend: float = np.inf
    ) -> Way | None:
        if s == t:
            return HERE
        key = (s, t, longest_m)
        if most_bend < np.inf or key not in self._ways:
            found = self._search(s, t, longest_m, most_bend)
            if most_bend < np.inf:
                return found
            self._ways[key] = found
        return self._ways[key]

    def _search(self, s: int, t: int, longest_m: float, most_bend: float) -> Way | None:
        (out, a), (back, b) = self.leaf[s], self.leaf[t]
        uses, passed = simple_paths(self.edges, self.off, a, b)
        if (s, t) not in self._known:
            columns = np.stack([self.cost, self.graph.length_m, self.graph.bend_rad], axis=1)
            sums = uses @ columns[self.inner] + columns[out] + columns[back]
            cost, length, bend = sums.T
            order = np.lexsort((length, np.round(cost, 12)))
            self._known[s, t] = (cost, length, bend, order)
        cost, length, bend, order = self._known[s, t]
        fits = length[order] <= longest_m + CLEAR
        fits &= bend[order] <= most_bend + CLEAR
        if not fits.any():
            return None
        row = int(order[np.argmax(fits)])
        arcs = [out, *(self.inner[e] for e in np.flatnonzero(uses[row])), back]
        names = self.graph.nodes
        ends = [int(self.graph.site_node[i]) for i in (s, t)]
        nodes = (ends[0], *passed[row], ends[1])
        return Way(
            float(cost[row]),
            float(length[row]),
            float(bend[row]),
            self.tally[arcs].sum(axis=0),
            tuple(names[n] for n in nodes),
        )
