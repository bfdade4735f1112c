"""Shortest routes in a small undirected graph with non-negative weights."""

from __future__ import annotations

from collections.abc import Sequence
from heapq import heappop, heappush
from math import inf

import numpy as np
from numpy.typing import NDArray


def all_pairs(
    n: int, tail: NDArray[np.int64], head: NDArray[np.int64], weight: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Least total weight (n, n) between all nodes, inf where there is no route (Floyd 1962)."""
    best = np.full((n, n), inf)
    np.minimum.at(best, (tail, head), weight)
    best = np.minimum(best, best.T)
    np.fill_diagonal(best, 0.0)
    for via in range(n):
        np.minimum(best, best[:, via, None] + best[None, via, :], out=best)
    return best


def one_pair(
    n: int,
    ends: tuple[Sequence[int], Sequence[int]],
    weight: Sequence[float],
    start: int,
    goal: int,
) -> tuple[tuple[int, ...], tuple[int, ...]] | None:
    """Nodes and arcs of a least-weight route from `start` to `goal`, None if there is none.

    `ends` are the arcs' tails and heads.

    Dijkstra 1959. Among routes of equal weight the one with fewer arcs, then the one met
    first in the order of node numbers, so the answer does not depend on chance.
    """
    beside: list[list[tuple[int, int]]] = [[] for _ in range(n)]
    for arc, (a, b) in enumerate(zip(*ends, strict=True)):
        beside[a].append((b, arc))
        beside[b].append((a, arc))
    reached: dict[int, tuple[int, int]] = {}
    queue: list[tuple[float, int, int, int, int]] = [(0.0, 0, start, -1, -1)]
    while queue:
        cost, hops, node, before, by = heappop(queue)
        if node in reached:
            continue
        reached[node] = (before, by)
        if node == goal:
            break
        for other, arc in beside[node]:
            if other not in reached:
                heappush(queue, (cost + weight[arc], hops + 1, other, node, arc))
    if goal not in reached:
        return None
    nodes, arcs = [goal], []
    while nodes[-1] != start:
        before, by = reached[nodes[-1]]
        nodes.append(before)
        arcs.append(by)
    return tuple(reversed(nodes)), tuple(reversed(arcs))
