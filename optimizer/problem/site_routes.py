"""The routes between sites as arrays, so that whole tables of pairs are looked up at once.

A route is the arc that its first site hangs on, a route between two anchors, and the arc that its
second site hangs on: lengths, bends and what the route brings are put together from these three.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from optimizer.problem.anchor_routes import AnchorRoutes
from optimizer.problem.arrays import Array, IntArray, Problem
from optimizer.problem.routing import TOLERANCE


@dataclass(frozen=True)
class Ways:
    """What there is between n pairs of sites (a, b).

    Routes are known by the number of their middle (`AnchorRoutes`): `first` and on, `count` of
    them, cheapest first. `length_m`, `bend_rad` are of the two arcs the sites hang on, `ends` (n,)
    how often those count: 0 where the sites are one, else 1.
    """

    between: AnchorRoutes
    first: IntArray
    count: IntArray
    length_m: Array
    bend_rad: Array
    ends: Array

    def take(self, pairs: IntArray) -> Ways:
        """Some of the pairs."""
        return Ways(
            self.between,
            self.first[pairs],
            self.count[pairs],
            self.length_m[pairs],
            self.bend_rad[pairs],
            self.ends[pairs],
        )

    def within(self, max_length_m: Array, max_bend_rad: Array) -> IntArray:
        """(n,) number of the cheapest route of each pair within its two limits, -1 for none.

        Limits are those of `Route.fits`: what just fits, fits. No route is of negative length.
        """
        longest = max_length_m * (1 + TOLERANCE) + 1e-12 - self.length_m
        most_bend = max_bend_rad * (1 + TOLERANCE) + 1e-12 - self.bend_rad
        length, bend = self.between.length_m, self.between.bend_rad
        fits = (length[self.first] <= longest) & (bend[self.first] <= most_bend) & (self.count > 0)
        chosen = np.where(fits, self.first, -1)
        rest, k = np.flatnonzero(~fits & (self.count > 1)), 1
        while rest.size:
            number = self.first[rest] + k
            fits = (length[number] <= longest[rest]) & (bend[number] <= most_bend[rest])
            chosen[rest[fits]] = number[fits]
            k += 1
            rest = rest[~fits & (self.count[rest] > k)]
        return chosen


class SiteRoutes:
    """Looks up the routes between sites of a problem."""

    def __init__(self, problem: Problem):
        table = problem.routes
        self._between, self._anchor, self._leaf = table.between, table.site_anchor, table.leaf_arc
        _, self._length, self._bend = table.leaf_weights

    def ways(self, sites_a: IntArray, sites_b: IntArray) -> Ways:
        """The routes between pairs of sites (n,)."""
        between = self._between
        start, goal = self._anchor[sites_a], self._anchor[sites_b]
        between.ask(start, goal)
        one = sites_a == sites_b
        ends = np.where(one, 0.0, 1.0)
        return Ways(
            between,
            np.where(one, 0, between.first[start, goal]),
            np.where(one, 1, between.count[start, goal]),
            (self._length[sites_a] + self._length[sites_b]) * ends,
            (self._bend[sites_a] + self._bend[sites_b]) * ends,
            ends,
        )

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
