"""The routes between sites as arrays, so that whole tables of pairs are looked up at once.

A route is the arc that its first site hangs on, a route between two anchors, and the arc that its
second site hangs on: lengths, bends and what the route brings are put together from these three.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from optimizer.problem.anchor_routes import AnchorRoutes
from optimizer.problem.arrays import Array, IntArray, Problem
from optimizer.problem.routing import TOLERANCE


@dataclass(frozen=True)
class Ways:
    """What there is between n pairs of sites (a, b).

    `pair` (n,) tells each pair by its place in tables over all pairs of sites (n_s * n_s). Routes
    are known by the number of their middle (`AnchorRoutes`): `first` and on, `count` of them,
    cheapest first. `length_m`, `bend_rad` are of the two arcs the sites hang on, 0 where the sites
    are one.
    """

    between: AnchorRoutes
    pair: IntArray
    first: IntArray
    count: IntArray
    length_m: Array
    bend_rad: Array

    def take(self, which: IntArray) -> Ways:
        """Some of the pairs."""
        return replace(self, pair=self.pair[which])

    def within(self, max_length_m: Array, max_bend_rad: Array) -> IntArray:
        """(n,) number of the cheapest route of each pair within its two limits, -1 for none.

        Limits are those of `Route.fits`: what just fits, fits. No route is of negative length.
        """
        first, count = self.first[self.pair], self.count[self.pair]
        longest = max_length_m * (1 + TOLERANCE) + 1e-12 - self.length_m[self.pair]
        most_bend = max_bend_rad * (1 + TOLERANCE) + 1e-12 - self.bend_rad[self.pair]
        length, bend = self.between.length_m, self.between.bend_rad
        fits = (length[first] <= longest) & (bend[first] <= most_bend) & (count > 0)
        chosen = np.where(fits, first, -1)
        rest, k = np.flatnonzero(~fits & (count > 1)), 1
        while rest.size:
            number = first[rest] + k
            fits = (length[number] <= longest[rest]) & (bend[number] <= most_bend[rest])
            chosen[rest[fits]] = number[fits]
            k += 1
            rest = rest[~fits & (count[rest] > k)]
        return chosen


class SiteRoutes:
    """Looks up the routes between sites of a problem."""

    def __init__(self, problem: Problem):
        table = problem.routes
        self._between, self._anchor, self._leaf = table.between, table.site_anchor, table.leaf_arc
        _, self._length, self._bend = table.leaf_weights

    def ways(self, sites_a: IntArray, sites_b: IntArray) -> Ways:
        """The routes between pairs of sites (n,)."""
        between, anchor = self._between, self._anchor
        n = len(anchor)
        pair = sites_a * n + sites_b
        asked = np.zeros(n * n, dtype=bool)
        asked[pair] = True
        a, b = np.divmod(np.flatnonzero(asked), n)
        between.ask(anchor[a], anchor[b])
        first, count = (table[anchor[:, None], anchor] for table in (between.first, between.count))
        length, bend = (leaf[:, None] + leaf for leaf in (self._length, self._bend))
        for table, value in ((first, 0), (count, 1), (length, 0.0), (bend, 0.0)):
            np.fill_diagonal(table, value)
        return Ways(between, pair, first.ravel(), count.ravel(), length.ravel(), bend.ravel())

    def arcs(self, number: IntArray, sites_a: IntArray, sites_b: IntArray) -> IntArray:
        """Arcs on some of the routes of pairs of sites (n,), known by the numbers of their middles.

        In order: twice the number of each arc, plus 1 if run back.
        """
        apart = sites_a != sites_b
        out, into = self._leaf[sites_a[apart]], self._leaf[sites_b[apart]] ^ 1
        return np.unique(np.concatenate([out, into, self._between.directed(np.unique(number))]))

    def value(self, problem: Problem, forms: Array) -> tuple[Array, Array]:
        """What line brings to forms (n_forms, n_q), per (kg/m).

        On the arc that each site hangs on (n_s, n_forms), and on each route between anchors known
        so far (n_routes, n_forms). The problem may hold other quantities than the one the routes
        are known from.
        """
        per_arc = problem.arc_length_m[:, None] * (problem.arc_q @ forms.T)
        leaf = per_arc[self._leaf >> 1] * (self._leaf >= 0)[:, None]
        arcs, owner, n_routes = self._between.arcs, self._between.owner, self._between.n_routes
        middle = np.empty((n_routes, len(forms)))
        for k in range(len(forms)):
            middle[:, k] = np.bincount(owner, weights=per_arc[arcs, k], minlength=n_routes)
        return leaf, middle
