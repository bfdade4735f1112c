"""Each line as a table over the choices of its two ends: how it can be bought, at what cost."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, IntArray, Problem
from optimizer.problem.line_cells import LineCells, bought, line_cells
from optimizer.problem.site_routes import SiteRoutes

Mask = NDArray[np.bool_]
#: Costs and forms this close are equal when line options are compared.
_EQUAL = 1e-12
#: Lines are worked out together until they have this many pairs and options in all: enough that
#: numpy's calls cost little, few enough that the arrays stay in the processor's cache.
_TOGETHER = 8192


@dataclass
class LineTable:
    """A line over the choices of its ends: which options it can be bought as, at what cost.

    Shapes: n_a, n_b open choices of the two slots, n_o options, n_f forms. `kept` leaves out
    options that another one beats in cost and in every form; `base` is the cost without a
    curve's tangent.
    """

    number: int
    slot_a: int
    slot_b: int
    kept: Mask
    cost: Array
    base: Array
    form: Array

    best: IntArray = field(init=False)
    """(n_a, n_b) the cheapest option."""

    def __post_init__(self) -> None:
        if self.kept.shape[2] == 1:  # looking for the least along an axis of one takes long
            self.best = np.zeros(self.kept.shape[:2], dtype=np.int64)
        else:
            self.best = np.where(self.kept, self.cost, np.inf).argmin(axis=2)


@dataclass(frozen=True)
class Cheapest:
    """A line at its cheapest options, over the choices of its ends (n_a, n_b).

    `ok` tells where it can be bought at all, `cost` and `form` are of the cheapest option,
    `least_form` is the least of each form over all options, `plain` where the cheapest option is
    best whatever the convex terms do.
    """

    ok: Mask
    cost: Array
    form: Array
    least_form: Array
    plain: Mask

    def turned(self) -> Cheapest:
        """The same with the ends swapped."""
        return Cheapest(
            self.ok.T.copy(),
            self.cost.T.copy(),
            self.form.swapaxes(0, 1).copy(),
            self.least_form.swapaxes(0, 1).copy(),
            self.plain.T.copy(),
        )


@dataclass(frozen=True)
class OptionGroup:
    """Some lines with equally many options, over all pairs of open choices (n_cells).

    `numbers` are the lines' in the problem, `allowed` (n_cells, n_o) tells which options can be
    bought, `value` (n_cells, n_o, n_v) what they bring: all forms there are, then the cost, then
    the cost without the curve; 0 where not allowed.
    """

    numbers: tuple[int, ...]
    cells: LineCells
    allowed: Mask
    value: Array

    def most(self, n_forms: int) -> Array:
        """(n_lines, n_forms) the most each line can bring of the first forms; 0 if unbuyable."""
        most = np.zeros((len(self.numbers), n_forms))
        some = np.flatnonzero(np.diff(self.cells.at))
        if some.size and n_forms:
            value = np.where(self.allowed[..., None], self.value[..., :n_forms], -np.inf)
            begins = self.cells.at[some] * self.allowed.shape[1]
            found = np.maximum.reduceat(value.reshape(-1, n_forms), begins, axis=0)
            most[some] = np.where(np.isfinite(found), found, 0.0)
        return most

    def tables(self, forms: IntArray, n_convex: int) -> Iterator[tuple[LineTable, Cheapest]]:
        """The lines' tables of some of the forms; convex terms are of the last `n_convex`."""
        n_options = self.allowed.shape[1]
        cost = np.where(self.allowed, self.value[..., -2], np.inf)
        base = self.value[..., -1].copy()
        form = np.take(self.value, forms, axis=2)
        if n_options == 1:
            kept, always = self.allowed, np.ones(len(cost), dtype=bool)
            best = Cheapest(kept[:, 0], cost[:, 0], form[:, 0], form[:, 0], always)
        else:
            kept = _undominated(self.allowed, base, form)
            best = _cheapest(kept, cost, base, form, n_convex)
        for place, number in enumerate(self.numbers):
            line, shape, own = (
                self.cells.lines[place],
                self.cells.shapes[place],
                self.cells.of(place),
            )
            full = (*shape, n_options)
            table = LineTable(
                number,
                line.slot_a,
                line.slot_b,
                kept[own].reshape(full),
                cost[own].reshape(full),
                base[own].reshape(full),
                form[own].reshape(*full, -1) if len(forms) else np.zeros((*full, 0)),
            )
            yield (
                table,
                Cheapest(
                    best.ok[own].reshape(shape),
                    best.cost[own].reshape(shape),
                    best.form[own].reshape(*shape, len(forms)),
                    best.least_form[own].reshape(*shape, len(forms)),
                    best.plain[own].reshape(shape),
                ),
            )


def option_groups(
    problem: Problem, choice: IntArray, first: IntArray, routes: SiteRoutes, forms: Array
) -> list[OptionGroup]:
    """All lines over the open choices, grouped by how many options they have.

    Parameters
    ----------
    choice, first : open choices in order of slots, and where each slot's begin
    forms : (n_v, n_q) what is worked out of each option, the two costs last
    """
    size = np.diff(first).tolist()
    drawn: list[tuple[list[int], int]] = []
    order = sorted(range(len(problem.lines)), key=lambda n: len(problem.lines[n].options))
    n_before, room = -1, 0
    for number in order:
        line = problem.lines[number]
        n_options = len(line.options)
        rows = size[line.slot_a] * size[line.slot_b] * n_options
        if n_options != n_before or rows > room:
            drawn.append(([], n_options))
            n_before, room = n_options, _TOGETHER
        drawn[-1][0].append(number)
        room -= rows
    found = []
    for numbers, n_options in drawn:
        cells = line_cells(problem, [problem.lines[n] for n in numbers], choice, first)
        ways = routes.ways(*cells.sites)
        found.append((tuple(numbers), cells, bought(cells, ways, n_options)))
    # only now are all routes known
    leaf, middle = routes.value(problem, forms)
    at = problem.site_q @ forms.T
    groups = []
    for numbers_of, cells, route in found:
        a, b = cells.sites
        rate = np.array([line.mass_kg_per_m for line in cells.lines])
        slack = np.array([line.slack_m for line in cells.lines])
        end_kg = 0.5 * slack[:, None] * rate + [line.end_mass_kg for line in cells.lines]
        allowed = route >= 0
        # an option that cannot be bought brings nothing
        per_m = (rate[cells.line] * allowed)[..., None]
        per_end = (end_kg[cells.line] * allowed)[..., None]
        value = middle[np.maximum(route, 0)]
        value += ((leaf[a] + leaf[b]) * (a != b)[:, None])[:, None]
        value *= per_m
        value += per_end * (at[a] + at[b])[:, None]
        groups.append(OptionGroup(numbers_of, cells, allowed, value))
    return groups


def _cheapest(kept: Mask, cost: Array, base: Array, form: Array, n_convex: int) -> Cheapest:
    """Lines at their cheapest options, (n_cells, n_o) each, `form` with n_f more."""
    options = range(kept.shape[1])
    cells = np.arange(len(kept))
    best = np.where(kept, cost, np.inf).argmin(axis=1)
    bought_form = form[cells, best]
    open_form, open_base = np.where(kept[..., None], form, np.inf), np.where(kept, base, np.inf)
    least = reduce(np.minimum, (open_form[:, o] for o in options))
    least_base = reduce(np.minimum, (open_base[:, o] for o in options))
    plain = open_base[cells, best] <= least_base + _EQUAL
    for f in range(form.shape[2] - n_convex, form.shape[2]):
        plain &= bought_form[:, f] <= least[:, f] + _EQUAL
    ok = np.asarray(kept.any(axis=1))
    return Cheapest(ok, cost[cells, best], bought_form, np.where(ok[:, None], least, 0.0), plain)


def _undominated(allowed: Mask, base: Array, form: Array) -> Mask:
    """Options that no other one equals or beats in cost and every form; of equals the first."""
    kept = allowed.copy()
    n_options = allowed.shape[1]
    for one in range(n_options):
        for other in range(one + 1, n_options):
            more = form[:, one] - form[:, other]
            more_base = base[:, one] - base[:, other]
            least = np.minimum(more.min(axis=1, initial=np.inf), more_base)
            most = np.maximum(more.max(axis=1, initial=-np.inf), more_base)
            kept[:, one] &= ~(allowed[:, other] & (least >= -_EQUAL) & (most > _EQUAL))
            kept[:, other] &= ~(allowed[:, one] & (most <= _EQUAL))
    return kept
