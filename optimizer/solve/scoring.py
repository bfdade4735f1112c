"""Exact scores of whole assignments, many at once, with the line options that serve them best."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.pairwise import LineTable, Pairwise

#: Relative room left when a form is compared with its limit: what just fits, fits.
ROOM = 1e-9


def with_sites(
    model: Pairwise, used: NDArray[np.bool_], cost: Array, form: Array
) -> tuple[Array, Array]:
    """Costs (n,) and forms (n, n_f) with what the sites in use (n, n_s) and their pieces bring."""
    cost = cost + used @ model.use_cost
    form = form + used @ model.use_form
    if len(model.pieces):
        worn = (used[:, None, :] & model.pieces[None]).any(axis=2).sum(axis=1)
        cost = cost + worn * model.piece_cost
        form = form + worn[:, None] * model.piece_form
    return cost, form


class Scorer:
    """Scores assignments: rows of numbers of open choices, one per slot.

    Lines are bought as their cheapest options where that breaks no limit and no convex term
    prefers another; else the cheapest combination of options that keeps all limits is looked for.
    """

    def __init__(self, model: Pairwise):
        self._m = model
        self._choosable = [table for table in model.tables if table.kept.sum(axis=2).max() > 1]
        self._pairs = list(model.pairs.values())

    def scores(self, chosen: IntArray, most: float) -> tuple[Array, dict[int, tuple[int, ...]]]:
        """Scores (n,) of assignments (n, n_slots); inf where infeasible or above `most`.

        The dictionary has the options of all lines for rows where they are not the cheapest.
        """
        m = self._m
        cost, form = self._sums(chosen)
        convex, plain = self._convex(cost, form), self._plain(chosen)
        broken = (form[:, : m.n_limits] > m.upper + ROOM).any(axis=1)
        score = np.where(broken, np.inf, convex)
        options: dict[int, tuple[int, ...]] = {}
        if self._choosable:
            # the cheapest options bound what any options cost
            for n in np.flatnonzero((broken | ~plain) & (cost <= most)):
                score[n], options[int(n)] = self._best_options(chosen[n], most)
        score[score > most] = np.inf
        return score, options

    def options_of(self, chosen: IntArray) -> tuple[int, ...]:
        """The cheapest option of every line."""
        m = self._m
        return tuple(
            int(
                table.best[
                    chosen[table.slot_a] - m.first[table.slot_a],
                    chosen[table.slot_b] - m.first[table.slot_b],
                ]
            )
            for table in m.tables
        )

    def _sums(self, chosen: IntArray) -> tuple[Array, Array]:
        """Cost and forms with the cheapest options, the convex terms left out."""
        m = self._m
        n = len(chosen)
        cost = m.constant + m.cost[chosen].sum(axis=1)
        form = m.form[chosen].sum(axis=1)
        for pair in self._pairs:
            if pair.lines:
                i = chosen[:, pair.slot_a] - m.first[pair.slot_a]
                j = chosen[:, pair.slot_b] - m.first[pair.slot_b]
                cost = cost + pair.cost[i, j]
                form = form + pair.form[i, j]
        used = np.zeros((n, m.n_sites), dtype=bool)
        used[np.arange(n)[:, None], m.site[chosen]] = True
        return with_sites(m, used, cost, form)

    def _convex(self, cost: Array, form: Array) -> Array:
        """Costs with the curve in place of its tangent and with soft limits."""
        m = self._m
        total = cost
        for n, (upper, per) in enumerate(m.soft):
            total = total + per * np.maximum(form[:, m.n_limits + n] - upper, 0.0)
        objective = m.objective
        if objective.curve is not None and objective.curve_slope is not None:
            slope = objective.curve_slope(m.load_kg)
            height = objective.curve(m.load_kg) - slope * m.load_kg
            curve = np.array([objective.curve(float(load)) for load in form[:, -1]])
            total = total + objective.curve_weight * (curve - height - slope * form[:, -1])
        return total

    def _plain(self, chosen: IntArray) -> NDArray[np.bool_]:
        m = self._m
        plain = np.ones(len(chosen), dtype=bool)
        for pair in self._pairs:
            if not pair.plain.all():
                i = chosen[:, pair.slot_a] - m.first[pair.slot_a]
                j = chosen[:, pair.slot_b] - m.first[pair.slot_b]
                plain &= pair.plain[i, j]
        return plain

    def _best_options(self, chosen: IntArray, most: float) -> tuple[float, tuple[int, ...]]:
        """The best combination of line options at one assignment, by depth-first search."""
        m = self._m
        cheapest = list(self.options_of(chosen))
        cost, form = self._sums(chosen[None])
        steps: list[tuple[LineTable, list[int], Array, Array]] = []
        for table in self._choosable:
            i = int(chosen[table.slot_a] - m.first[table.slot_a])
            j = int(chosen[table.slot_b] - m.first[table.slot_b])
            kept = np.flatnonzero(table.kept[i, j])
            if len(kept) > 1:
                best = int(table.best[i, j])
                more = table.cost[i, j, kept] - table.cost[i, j, best]
                by_cost = np.argsort(more, kind="stable")
                kept, more = kept[by_cost], more[by_cost]
                steps.append(
                    (table, kept.tolist(), more, table.form[i, j, kept] - table.form[i, j, best])
                )
        n_l = m.n_limits
        # the most that options still to be chosen can take off each limit
        relief = np.zeros((len(steps) + 1, n_l))
        for k in range(len(steps) - 1, -1, -1):
            relief[k] = relief[k + 1] + np.minimum(steps[k][3][:, :n_l].min(axis=0), 0.0)
        found: tuple[float, tuple[int, ...]] = (np.inf, ())
        picked = list(cheapest)

        def search(k: int, cost_now: float, form_now: Array) -> None:
            nonlocal found
            if (
                cost_now > min(most, found[0])
                or (form_now[:n_l] + relief[k] > m.upper + ROOM).any()
            ):
                return
            if k == len(steps):
                score = float(self._convex(np.array([cost_now]), form_now[None])[0])
                if score < found[0]:
                    found = (score, tuple(picked))
                return
            table, kept, more, change = steps[k]
            for n, option in enumerate(kept):
                picked[table.number] = option
                search(k + 1, cost_now + float(more[n]), form_now + change[n])
            picked[table.number] = cheapest[table.number]

        search(0, float(cost[0]), form[0])
        return found if found[0] <= most else (np.inf, ())
