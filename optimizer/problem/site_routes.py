"""The routes between sites as arrays, so that whole tables of pairs are looked up at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, IntArray, LineCase, LineRow, Problem
from optimizer.problem.routing import TOLERANCE, Route

Mask = NDArray[np.bool_]


class SiteRoutes:
    """All undominated routes between sites asked for so far, each known by a number.

    `value` gives every route's contribution per (kg/m) of line to linear forms of the
    quantities; `choose` the number of the route that a line takes between two sites, as
    `optimizer.problem.presolve.route_of` has it, for whole arrays of sites.
    """

    def __init__(self, problem: Problem):
        self.table = problem.routes
        n_sites = len(problem.site_names)
        self._pair = np.full((n_sites, n_sites), -1, dtype=np.int64)
        self._first: list[int] = []
        self._count: list[int] = []
        self.routes: list[Route] = []
        self._closed = False

    def ask(self, sites_a: IntArray, sites_b: IntArray) -> None:
        """Make the routes from every one of `sites_a` to every one of `sites_b` known."""
        a, b = np.unique(sites_a), np.unique(sites_b)
        row, column = np.nonzero(self._pair[np.ix_(a, b)] < 0)
        for s, t in zip(a[row].tolist(), b[column].tolist(), strict=True):
            found = self.table.routes(s, t)
            self._pair[s, t] = len(self._first)
            self._first.append(len(self.routes))
            self._count.append(len(found))
            self.routes.extend(found)
        if len(row):
            self._closed = False

    def _close(self) -> None:
        """Turn what is known into arrays."""
        if self._closed:
            return
        self._closed = True
        self._starts = np.array(self._first, dtype=np.int64)
        self._counts = np.array(self._count, dtype=np.int64)
        self._length = np.array([route.length_m for route in self.routes])
        self._bend = np.array([route.bend_rad for route in self.routes])
        arcs = [a for route in self.routes for a, _ in route.arcs]
        self._arcs = np.array(arcs, dtype=np.int64)
        lengths = np.array([len(route.arcs) for route in self.routes], dtype=np.int64)
        self._owner = np.repeat(np.arange(len(self.routes)), lengths)

    def value(self, problem: Problem, forms: Array) -> Array:
        """Contribution of each route, per (kg/m), to forms (n_forms, n_q): (n_routes, n_forms).

        The problem may hold other quantities than the one the routes are known from.
        """
        self._close()
        per_arc = problem.arc_length_m[:, None] * (problem.arc_q @ forms.T)
        out = np.empty((len(self.routes), len(forms)))
        for k in range(len(forms)):
            out[:, k] = np.bincount(
                self._owner, weights=per_arc[self._arcs, k], minlength=len(self.routes)
            )
        return out

    def choose(
        self, line: LineRow, case: LineCase, sites_a: IntArray, sites_b: IntArray
    ) -> IntArray:
        """Numbers of the routes (n_a, n_b) the line takes as `case`, -1 where out of reach."""
        self._close()
        pairs = self._pair[np.ix_(sites_a, sites_b)]
        chosen = np.full(pairs.shape, -1, dtype=np.int64)
        if case.max_length_m < line.slack_m * (1 - TOLERANCE):
            return chosen
        longest = (case.max_length_m - line.slack_m) * (1 + TOLERANCE) + 1e-12
        most_bend = case.max_bend_rad * (1 + TOLERANCE) + 1e-12
        starts, counts = self._starts[pairs], self._counts[pairs]
        for k in range(int(counts.max(initial=0))):
            here = (chosen < 0) & (k < counts)
            number = np.where(here, starts + k, 0)
            fits = here & (self._length[number] <= longest) & (self._bend[number] <= most_bend)
            chosen[fits] = number[fits]
        return chosen
