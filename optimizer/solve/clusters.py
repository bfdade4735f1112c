"""Cuts for joined parts that cannot all sit in one site.

The relaxation likes to put half of everything here and half there: joined halves pay for no line.
Take a site and a tree of lines whose slots do not fit there together. If the tree's root sits at
the site, some line of the tree must leave it: there is a line whose end nearer the root sits at
the site and whose other end does not. So, for every root r of such a tree,

    x[r at s] <= sum over lines (a -> b) of the tree, away from r, (x[a at s] - y[a and b at s]).

References
----------
[1] C. E. Ferreira, A. Martin, C. C. de Souza, R. Weismantel, L. A. Wolsey, "Formulations and valid
    inequalities for the node capacitated graph partitioning problem", Math. Programming 74
    (1996) 247-266: knapsack tree inequalities, here directed away from a root.
"""

from __future__ import annotations

import numpy as np

from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.pairwise import Pairwise
from optimizer.solve.relaxation import Cut, Relaxation

_ROOM = 1e-9
#: Less of a slot than this at a site makes no root there.
_LEAST_HELD = 0.05
#: Trees grow by the line that leaves least per weight won; this much is added to what it leaves.
_GROWTH = (1e-6, 1e-3, 0.05)


class Clusters:
    """Looks for violated cluster cuts of one problem."""

    def __init__(self, model: Pairwise, relaxation: Relaxation):
        self._m, self._relaxation = model, relaxation
        m = model
        key, self._place_of = np.unique(m.slot * m.n_sites + m.site, return_inverse=True)
        self._place = {(int(k) // m.n_sites, int(k) % m.n_sites): n for n, k in enumerate(key)}
        self._columns = [np.flatnonzero(self._place_of == n) for n in range(len(key))]
        weight = np.full((len(key), m.capacity_use.shape[1]), np.inf)
        np.minimum.at(weight, self._place_of, m.capacity_use)
        self._weight = weight
        self._together: dict[tuple[int, int, int], IntArray] = {}
        self._beside: list[list[int]] = [[] for _ in range(m.n_slots)]
        seen = set()
        for block in relaxation.blocks:
            a, b = block.key
            if block.key in seen:
                continue
            seen.add(block.key)
            self._beside[a].append(b)
            self._beside[b].append(a)
            site_a, site_b = m.site[m.first[a] + block.row], m.site[m.first[b] + block.column]
            shared = site_a == site_b
            for site in np.unique(site_a[shared]).tolist():
                self._together[a, b, site] = block.columns[shared & (site_a == site)]
        for key_ in relaxation.folded:
            a, b = key_
            self._beside[a].append(b)
            self._beside[b].append(a)
        self._single = np.diff(m.first) == 1
        by_site: dict[int, list[int]] = {}
        for slot, site in self._place:
            by_site.setdefault(site, []).append(slot)
        # sites that everything may share need no cuts
        self._sites = {
            site: slots
            for site, slots in by_site.items()
            if (sum(weight[self._place[slot, site]] for slot in slots) > 1.0 + _ROOM).any()
        }
        self._known: set[tuple[int, int, frozenset[int]]] = set()

    def violated(self, value: Array, least: float) -> list[Cut]:
        """Cuts that a fractional point oversteps by more than `least`."""
        held = np.bincount(
            self._place_of, weights=value[: len(self._place_of)], minlength=len(self._columns)
        )
        cuts = []
        for site, slots in self._sites.items():
            at = {slot: float(held[self._place[slot, site]]) for slot in slots}
            if max(at.values()) < _LEAST_HELD:
                continue
            for root in sorted(slots, key=lambda slot: -at[slot]):
                if at[root] <= max(_LEAST_HELD, least):
                    break
                found = None
                for added in _GROWTH:
                    grown = self._grow(site, root, at, value, added, at[root] - least)
                    if grown is not None and (found is None or grown[0] < found[0]):
                        found = grown
                if found is not None:
                    cut = self._cut(site, root, found[1])
                    if cut is not None:
                        cuts.append(cut)
        return cuts

    def _leaves(self, a: int, b: int, site: int, at: dict[int, float], value: Array) -> float:
        """How much of a sits at the site without b."""
        if b not in at:
            return at[a]
        low, high = min(a, b), max(a, b)
        columns = self._together.get((low, high, site))
        if columns is not None:
            return at[a] - float(value[columns].sum())
        if self._single[a]:
            return 1.0 - at[b]
        return 0.0 if self._single[b] else at[a]

    def _grow(
        self,
        site: int,
        root: int,
        at: dict[int, float],
        value: Array,
        added: float,
        most: float,
    ) -> tuple[float, list[tuple[int, int]]] | None:
        """A tree from the root that does not fit, and what leaves along it; None if too much."""
        inside = {root}
        weight = self._weight[self._place[root, site]].copy()
        tree: list[tuple[int, int]] = []
        left = 0.0
        fringe: dict[int, tuple[float, int]] = {}
        newest = root
        while True:
            for other in self._beside[newest]:
                if other not in inside:
                    leaves = max(self._leaves(newest, other, site, at, value), 0.0)
                    if other not in fringe or leaves < fringe[other][0]:
                        fringe[other] = (leaves, newest)
            if not fringe:
                return None
            newest = min(
                fringe,
                key=lambda slot: (
                    (fringe[slot][0] + added)
                    / (1e-3 + (float(self._weight[self._place[slot, site]].max()) if slot in at else 9.0))
                ),
            )
            leaves, near = fringe.pop(newest)
            left += leaves
            if left >= most:
                return None
            inside.add(newest)
            tree.append((near, newest))
            if newest not in at:
                return left, tree
            weight += self._weight[self._place[newest, site]]
            if (weight > 1.0 + _ROOM).any():
                return left, tree

    def _cut(self, site: int, root: int, tree: list[tuple[int, int]]) -> Cut | None:
        name = (site, root, frozenset(slot for _, slot in tree))
        if name in self._known:
            return None
        self._known.add(name)
        row: dict[int, float] = {}
        upper = 0.0

        def add(columns: IntArray, coefficient: float) -> None:
            for column in columns.tolist():
                row[column] = row.get(column, 0.0) + coefficient

        add(self._columns[self._place[root, site]], 1.0)
        for a, b in tree:
            mine = self._columns[self._place[a, site]]
            together = self._together.get((min(a, b), max(a, b), site))
            if (b, site) not in self._place:
                add(mine, -1.0)
            elif together is not None:
                add(mine, -1.0)
                add(together, 1.0)
            elif self._single[a]:
                add(self._columns[self._place[b, site]], 1.0)
                upper += 1.0
            elif not self._single[b]:
                add(mine, -1.0)
        kept = {column: value for column, value in row.items() if value != 0.0}
        return Cut(np.array(list(kept)), np.array(list(kept.values())), upper)
