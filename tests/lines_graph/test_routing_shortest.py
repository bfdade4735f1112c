"""Shortest routes against scipy's graph routines."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import dijkstra

from optimizer.lines.graph import build_graph
from optimizer.lines.shortest import all_pairs, one_pair
from optimizer.study.model import RoutesSpec


def _scipy(n, tail, head, weight):
    # scipy adds up parallel entries of a sparse matrix, so the least of them is taken first
    least = {}
    for a, b, w in zip(tail, head, weight, strict=True):
        pair = (min(a, b), max(a, b))
        least[pair] = min(w, least.get(pair, np.inf))
    rows, columns = ([p[k] for p in least] for k in (0, 1))
    matrix = csr_matrix((list(least.values()), (rows, columns)), shape=(n, n))
    return dijkstra(matrix, directed=False)


@st.composite
def graphs(draw):
    n = draw(st.integers(2, 9))
    node = st.integers(0, n - 1)
    pairs = draw(st.lists(st.tuples(node, node).filter(lambda p: p[0] != p[1]), max_size=20))
    weights = [draw(st.integers(1, 9)) / 7.0 for _ in pairs]
    ends = np.array(pairs, dtype=np.int64).reshape(-1, 2)
    return n, ends[:, 0], ends[:, 1], np.array(weights, dtype=float)


@given(graphs())
@settings(max_examples=150, deadline=None)
def test_random_graphs_agree_with_scipy(graph):
    n, tail, head, weight = graph
    expected = _scipy(n, tail, head, weight)
    found = all_pairs(n, tail, head, weight)
    np.testing.assert_allclose(found, expected, rtol=1e-12)
    for goal in range(n):
        route = one_pair(n, (tail.tolist(), head.tolist()), weight.tolist(), 0, goal)
        if np.isinf(expected[0, goal]):
            assert route is None
            continue
        nodes, arcs = route
        assert (nodes[0], nodes[-1]) == (0, goal)
        assert weight[list(arcs)].sum() == pytest.approx(expected[0, goal], abs=1e-12)
        for arc, step in zip(arcs, pairwise(nodes), strict=True):
            assert {int(tail[arc]), int(head[arc])} == set(step)


def test_routing_graph_agrees_with_scipy(wearer, garment):
    graph = build_graph(wearer, garment, RoutesSpec())
    n, sites = len(graph.nodes), graph.site_node
    for found, weight in (
        (graph.shortest_lengths(), graph.length_m),
        (graph.shortest_bends(), graph.bend_rad),
    ):
        # scipy drops arcs of weight 0 (a leaf is unbent), so they get a hair
        hair = np.maximum(weight, 1e-12)
        expected = _scipy(n, graph.tail, graph.head, hair)[np.ix_(sites, sites)]
        np.testing.assert_allclose(found, expected, rtol=1e-9, atol=1e-9)
    lengths = graph.shortest_lengths()
    for i, a in enumerate(sites):
        for j, b in enumerate(sites):
            nodes, arcs = graph.shortest_path(int(a), int(b))
            assert graph.length_m[list(arcs)].sum() == pytest.approx(lengths[i, j], abs=1e-12)
            assert graph.route_arcs([graph.nodes[k] for k in nodes]) == arcs


def test_least_bent_route_is_not_longer_bent_than_the_shortest(wearer, garment):
    graph = build_graph(wearer, garment, RoutesSpec())
    a, b = (int(graph.site_node[k]) for k in (0, -1))
    _, short = graph.shortest_path(a, b)
    _, smooth = graph.shortest_path(a, b, graph.bend_rad)
    assert graph.bend_rad[list(smooth)].sum() <= graph.bend_rad[list(short)].sum()
    assert graph.length_m[list(smooth)].sum() >= graph.length_m[list(short)].sum()
