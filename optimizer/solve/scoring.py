"""Exact scores of whole assignments, many at once, with the line options that serve them best."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.pairwise import Pairwise

#: Relative room left when a form is compared with its limit: what just fits, fits.
ROOM = 1e-9


def with_sites(
    model: Pairwise, used: NDArray[np.bool_], cost: Array, form: Array
) -> tuple[Array, Array]:
    """Costs (n,) and forms (n, n_f) with what the sites in use (n, n_s) and their pieces bring.

    To the last bit the same, however many are asked of at once: products of matrices are not.
    """
    cost = cost + np.where(used, model.use_cost, 0.0).sum(axis=1)
    form = form + np.where(used[:, None, :], model.use_form.T, 0.0).sum(axis=2)
    if len(model.pieces):
        worn = (used[:, None, :] & model.pieces[None]).any(axis=2).sum(axis=1)
        cost = cost + worn * model.piece_cost
        form = form + worn[:, None] * model.piece_form
    return cost, form


@dataclass
class _Step:
    """A line over the options it may be bought as, at many assignments, against the cheapest.

    Shapes: n assignments, n_o options, n_f forms. What may not be bought costs inf more.
    """

    line: int
    more: Array
    change: Array
    relief: Array
    """(n, n_limits) the most that an option takes off each limit."""


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
        broken = (form[:, : m.n_limits] > m.upper + ROOM).any(axis=1)
        score = np.where(broken, np.inf, self._convex(cost, form))
        options: dict[int, tuple[int, ...]] = {}
        if self._choosable:
            # the cheapest options bound what any options cost
            unsure = np.flatnonzero((broken | ~self._plain(chosen)) & (cost <= most))
            steps = self._steps(chosen[unsure])
            relief = np.zeros((len(unsure), m.n_limits))
            for step in steps:
                relief += step.relief
            # where all options together take too little off a limit, nothing is to be looked for
            lost = (form[unsure, : m.n_limits] + relief > m.upper + ROOM).any(axis=1)
            least = cost[unsure] + self._least_more(form[unsure], steps)
            lost |= least > most + ROOM * abs(most)
            score[unsure[lost]] = np.inf
            for k in np.flatnonzero(~lost).tolist():
                n = int(unsure[k])
                score[n], options[n] = self._best_options(
                    chosen[n], float(cost[n]), form[n], steps, k, most
                )
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

    def _steps(self, chosen: IntArray) -> list[_Step]:
        """The lines that can be bought in several ways at some of the assignments (n, n_slots)."""
        m = self._m
        steps = []
        for table in self._choosable:
            i = chosen[:, table.slot_a] - m.first[table.slot_a]
            j = chosen[:, table.slot_b] - m.first[table.slot_b]
            kept, best = table.kept[i, j], table.best[i, j]
            if not (kept.sum(axis=1) > 1).any():
                continue
            row = np.arange(len(chosen))
            cost, form = table.cost[i, j], table.form[i, j]
            more = np.where(kept, cost - cost[row, best][:, None], np.inf)
            change = form - form[row, best][:, None]
            # the cheapest itself takes nothing off
            taken = np.where(kept[..., None], change[..., : m.n_limits], 0.0).min(axis=1)
            steps.append(_Step(table.number, more, change, np.minimum(taken, 0.0)))
        return steps

    def _least_more(self, form: Array, steps: list[_Step]) -> Array:
        """(n,) no options that keep all limits cost less than this more than the cheapest.

        Each limit by itself: what it is over is taken off by the options that do it most cheaply,
        as much of them as it takes.
        """
        least = np.zeros(len(form))
        for f in range(self._m.n_limits):
            over = form[:, f] - self._m.upper[f] - ROOM
            if not steps or not (over > 0.0).any():
                continue
            most = np.array([-step.relief[:, f] for step in steps])
            per = np.array([_cheapest_per(step, f) for step in steps])
            order = np.argsort(per, axis=0, kind="stable")
            most, per = (np.take_along_axis(each, order, axis=0) for each in (most, per))
            before = np.cumsum(most, axis=0) - most
            taken = np.clip(over - before, 0.0, most)
            paid = np.where(taken > 0.0, taken * np.where(np.isfinite(per), per, 0.0), 0.0)
            least = np.maximum(least, paid.sum(axis=0))
        return least

    def _best_options(
        self,
        chosen: IntArray,
        cost: float,
        form: Array,
        steps: list[_Step],
        row: int,
        most: float,
    ) -> tuple[float, tuple[int, ...]]:
        """The best combination of line options at one assignment, by depth-first search.

        Parameters
        ----------
        cost, form : with the cheapest options
        row : which row of `steps` the assignment is
        """
        m = self._m
        n_l = m.n_limits
        lines: list[tuple[int, list[tuple[int, float, Array]]]] = []
        reliefs: list[Array] = []
        for step in steps:
            of_option = step.more[row].tolist()
            kept = [
                o
                for o in np.argsort(step.more[row], kind="stable").tolist()
                if of_option[o] < np.inf
            ]
            if len(kept) > 1:
                lines.append((step.line, [(o, of_option[o], step.change[row, o]) for o in kept]))
                reliefs.append(step.relief[row])
        # the most that options still to be chosen can take off each limit
        relief = np.zeros((len(lines) + 1, n_l))
        for k in range(len(lines) - 1, -1, -1):
            relief[k] = relief[k + 1] + reliefs[k]
        found: tuple[float, tuple[int, ...]] = (np.inf, ())
        cheapest = self.options_of(chosen)
        picked = list(cheapest)

        def search(k: int, cost_now: float, form_now: Array) -> None:
            nonlocal found
            if (
                cost_now > min(most, found[0])
                or (form_now[:n_l] + relief[k] > m.upper + ROOM).any()
            ):
                return
            if k == len(lines):
                score = float(self._convex(np.array([cost_now]), form_now[None])[0])
                if score < found[0]:
                    found = (score, tuple(picked))
                return
            line, options = lines[k]
            for option, more, change in options:
                picked[line] = option
                search(k + 1, cost_now + more, form_now + change)
            picked[line] = cheapest[line]

        search(0, cost, form)
        return found if found[0] <= most else (np.inf, ())


def _cheapest_per(step: _Step, f: int) -> Array:
    """(n,) what a line's options cost at least for each unit that they take off a limit."""
    off = -step.change[..., f]
    with np.errstate(divide="ignore", invalid="ignore"):
        per = np.where((off > 0.0) & np.isfinite(step.more), step.more / off, np.inf)
    return np.asarray(per.min(axis=1))
