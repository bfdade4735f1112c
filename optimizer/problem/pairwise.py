"""The problem as costs of choices, of sites in use, and of pairs of choices.

A route is a function of the two places a line joins, so a line is a table over the choices of its
two ends. What is left is a pairwise assignment problem: choose one choice per slot; pay for each
choice, for each site in use, and for each line its table's entry at the two choices; keep to the
sites' capacities, to the rules on pairs and to the study's limits. Everything is linear in the
choices, sites and entries but for two convex terms, the curve of the trunk's load and the soft
limits, whose values a solution adds exactly.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise as neighbours

import numpy as np
from numpy.typing import NDArray

from optimizer.native import structures
from optimizer.problem.arrays import Array, IntArray, Objective, Problem
from optimizer.problem.compiled_form import structure
from optimizer.problem.line_tables import Cheapest, LineTable, OptionGroup, option_groups
from optimizer.problem.presolve import Reduced
from optimizer.problem.quantities import DISCOMFORT, DONNING, INDEX, MASS
from optimizer.study.model import TRUNK

Mask = NDArray[np.bool_]
TRUNK_LOAD = INDEX[MASS[TRUNK]]
_MASSES = [INDEX[name] for name in MASS.values()]


@dataclass
class Pair:
    """Everything between two slots, a < b in number: its lines, rules and order.

    `ok` (n_a, n_b) tells what may be chosen together; `cost`, `form` are of the cheapest options
    of all its lines; `least_form` the least of each form over the options that may be bought,
    `bottom_form` that over the whole table; `plain` where the cheapest options are best whatever
    the convex terms do.
    """

    slot_a: int
    slot_b: int
    ok: Mask
    cost: Array
    form: Array
    least_form: Array
    bottom_form: Array
    plain: Mask
    lines: tuple[int, ...]


@dataclass
class Pairwise:
    """A reduced problem under one objective, as arrays over its open choices.

    Shapes: n_c open choices in order of slots (`first[p]:first[p+1]` are those of slot p), n_s
    sites, n_k kinds of capacity, n_f forms: the `n_limits` limits that can bind, then soft
    limits, then the trunk's load where its cost is curved. Limits are scaled so that `upper` is 1
    in size. Costs of a curved objective are those of its tangent at `load_kg`.
    """

    problem: Problem
    objective: Objective
    choice: IntArray
    slot: IntArray
    site: IntArray
    first: IntArray
    cost: Array
    use_cost: Array
    constant: float
    load_kg: float
    n_limits: int
    upper: Array
    form: Array
    use_form: Array
    piece_cost: float
    piece_form: Array
    pieces: Mask
    """(n_pieces, n_s) which sites belong to a piece of the garment."""
    soft: tuple[tuple[float, float], ...]
    """Per soft limit its upper and the score per unit over it, forms n_limits and on."""
    capacity_use: Array
    """(n_c, n_k) share of its site's capacity that a choice takes up."""
    tables: tuple[LineTable, ...]
    pairs: dict[tuple[int, int], Pair]
    limits: tuple[int, ...]
    """Numbers of the problem's limits behind the first forms."""
    segment: IntArray
    """(n_c,) numbers that tell the body segments of the choices' sites apart."""

    @property
    def n_slots(self) -> int:
        """How many slots are to be filled."""
        return len(self.first) - 1

    @property
    def n_sites(self) -> int:
        """How many sites the garment has."""
        return len(self.use_cost)

    @property
    def curved(self) -> bool:
        """Whether the trunk's load costs along a curve (then it is the last form)."""
        return self.objective.curve is not None

    @cached_property
    def beside(self) -> tuple[tuple[int, ...], ...]:
        """Per slot, the slots it shares a pair with."""
        found: list[list[int]] = [[] for _ in range(self.n_slots)]
        for a, b in self.pairs:
            found[a].append(b)
            found[b].append(a)
        return tuple(tuple(sorted(others)) for others in found)

    @cached_property
    def compiled(self) -> structures.Problem:
        """The problem as the compiled parts take it."""
        return structure(self)

    def pair(self, slot: int, other: int) -> tuple[Pair, bool]:
        """The pair of two slots, and whether it is stored the other way round."""
        if slot < other:
            return self.pairs[slot, other], False
        return self.pairs[other, slot], True


def pairwise(
    reduced: Reduced,
    objective: Objective | None = None,
    load_kg: float | None = None,
    *,
    order_copies: bool = True,
) -> Pairwise:
    """Write a reduced problem as costs of choices, sites and pairs.

    Parameters
    ----------
    load_kg : trunk load at whose tangent a curved objective is taken; by default what the
        heaviest models of all slots weigh that can sit on the trunk
    order_copies : whether interchangeable copies are held to garment order
    """
    writer = _Writer(reduced, objective or reduced.problem.objective, load_kg, order_copies)
    return writer.write()


class _Writer:
    def __init__(
        self, reduced: Reduced, objective: Objective, load_kg: float | None, order_copies: bool
    ):
        self._order_copies = order_copies
        self.problem = p = reduced.problem
        self.objective = objective
        self.choice: IntArray = np.flatnonzero(reduced.open)
        self.slot = p.choice_slot[self.choice]
        self.site = p.choice_site[self.choice]
        self.first = np.searchsorted(self.slot, np.arange(len(p.slots) + 1))
        self.linear = objective.linear.copy()
        self.constant, self.load_kg = 0.0, 0.0
        if objective.curve is not None:
            assert objective.curve_slope is not None
            self.load_kg = self._usual_load() if load_kg is None else load_kg
            slope = objective.curve_slope(self.load_kg)
            height = objective.curve(self.load_kg) - slope * self.load_kg
            self.linear[TRUNK_LOAD] += objective.curve_weight * slope
            self.constant = objective.curve_weight * height
        self.routes = reduced.site_routes

    def _choices(self, slot: int) -> slice:
        return slice(int(self.first[slot]), int(self.first[slot + 1]))

    def _sites(self, slot: int) -> IntArray:
        return self.site[self._choices(slot)]

    def _capacity_use(self) -> Array:
        """(n_c, n_kinds) share of its site's capacity that each open choice takes up."""
        p = self.problem
        kinds = tuple(dict.fromkeys(cap.kind for cap in p.caps))
        share = np.zeros((len(self.choice), len(kinds)))
        for k, kind in enumerate(kinds):
            caps = [cap for cap in p.caps if cap.kind == kind]
            use = np.array([cap.use for cap in caps])[:, self.choice]
            # looking for them in one dimension takes less than half the time
            number, choice = np.divmod(np.flatnonzero(use > 0.0), len(self.choice))
            share[choice, k] = use[number, choice] / np.array([cap.cap for cap in caps])[number]
        return share

    def _usual_load(self) -> float:
        load = self.problem.choice_q[self.choice, TRUNK_LOAD]
        return float(np.maximum.reduceat(load, self.first[:-1]).sum())

    def write(self) -> Pairwise:
        p, objective = self.problem, self.objective
        used = np.unique(self.site)
        limits, forms, upper, lines = self._forms(used)
        n_limits = len(limits)
        pairs = self._pairs(lines, len(forms))
        in_piece = np.zeros((len(p.pieces), len(p.site_names)), dtype=bool)
        for n, piece in enumerate(p.pieces):
            in_piece[n, list(piece.sites)] = True
        weight = float(objective.linear[INDEX[DISCOMFORT]])
        cost = p.choice_q[self.choice] @ self.linear
        if objective.favour is not None:
            cost = cost + objective.favour[self.choice]
        return Pairwise(
            problem=p,
            objective=objective,
            choice=self.choice,
            slot=self.slot,
            site=self.site,
            first=self.first,
            cost=cost,
            use_cost=p.use_q @ self.linear,
            constant=self.constant,
            load_kg=self.load_kg,
            n_limits=n_limits,
            upper=upper,
            form=p.choice_q[self.choice] @ forms.T,
            use_form=p.use_q @ forms.T,
            piece_cost=float(self.linear[INDEX[DONNING]]),
            piece_form=forms[:, INDEX[DONNING]].copy(),
            pieces=in_piece,
            soft=tuple((soft.upper, weight * soft.points_per) for soft in p.soft),
            capacity_use=self._capacity_use(),
            tables=tuple(table for table, _ in lines),
            pairs=pairs,
            limits=tuple(limits),
            segment=p.site_q[self.site][:, _MASSES].argmax(axis=1),
        )

    def _forms(
        self, used: IntArray
    ) -> tuple[list[int], Array, Array, list[tuple[LineTable, Cheapest]]]:
        """Limits that some choice of choices could break, soft limits, and the trunk's load.

        With the lines' tables of these forms, and the lines at their cheapest.
        """
        p = self.problem
        n_q, n_limits = p.choice_q.shape[1], len(p.limits)
        sizes = np.array([abs(limit.upper) or 1.0 for limit in p.limits])
        rows = np.array([limit.coefficients for limit in p.limits]).reshape(-1, n_q)
        rows = rows / sizes[:, None]
        uppers = np.array([limit.upper for limit in p.limits]) / sizes
        others = [soft.coefficients for soft in p.soft]
        if self.objective.curve is not None:
            others.append(np.eye(n_q)[TRUNK_LOAD])
        every = np.vstack([rows, np.array(others).reshape(-1, n_q)])
        # two more forms: the cost, and the cost without the curve
        all_forms = np.vstack([every, self.linear, self.objective.linear])
        groups = option_groups(p, self.choice, self.first, self.routes, all_forms)
        most = self._most(rows, used)
        most = most + self._most_of_lines(groups, n_limits)
        limits = [int(n) for n in np.flatnonzero(most > uppers * (1 + 1e-12))]
        kept = np.array([*limits, *range(n_limits, len(every))], dtype=np.int64)
        lines = [each for group in groups for each in group.tables(kept, len(every) - n_limits)]
        lines.sort(key=lambda each: each[0].number)
        return limits, every[kept], uppers[limits], lines

    def _most(self, rows: Array, used: IntArray) -> Array:
        """No layout brings more than this of each row, lines left out."""
        p = self.problem
        if not len(rows) or not len(self.choice):
            return np.full(len(rows), np.inf)
        most = np.maximum.reduceat(p.choice_q[self.choice] @ rows.T, self.first[:-1]).sum(axis=0)
        most = most + np.maximum(p.use_q[used] @ rows.T, 0.0).sum(axis=0)
        return np.asarray(most + len(p.pieces) * np.maximum(rows[:, INDEX[DONNING]], 0.0))

    def _most_of_lines(self, groups: list[OptionGroup], n_limits: int) -> Array:
        """(n_limits,) no layout's lines bring more than this of each limit's row."""
        return sum((group.most(n_limits).sum(axis=0) for group in groups), np.zeros(n_limits))

    def _pairs(
        self, lines: Iterable[tuple[LineTable, Cheapest]], n_f: int
    ) -> dict[tuple[int, int], Pair]:
        p = self.problem
        found: dict[tuple[int, int], Pair] = {}
        for table, cheapest in lines:
            a, b = table.slot_a, table.slot_b
            one = cheapest if a < b else cheapest.turned()
            key = (min(a, b), max(a, b))
            found[key] = _with_line(found.get(key), key, table.number, one)
        rules: list[tuple[int, int, Mask]] = []
        for rule in p.pairs:
            sites_a, sites_b = self._sites(rule.slot_a), self._sites(rule.slot_b)
            barred = rule.forbidden(sites_a[:, None], sites_b[None, :])
            rules.append((rule.slot_a, rule.slot_b, ~barred))
        for group in p.exchange if self._order_copies else ():
            for before, after in neighbours(group):
                rank = self._ranks(before[0], after[0])
                rules.append((before[0], after[0], rank[0][:, None] <= rank[1][None, :]))
        for a, b, allowed in rules:
            key = (min(a, b), max(a, b))
            if key not in found:
                found[key] = self._without_lines(key, n_f)
            found[key].ok = found[key].ok & (allowed if a < b else allowed.T)
        for pair in found.values():
            if pair.ok.any():
                pair.bottom_form = pair.least_form[pair.ok].min(axis=0)
        return found

    def _without_lines(self, key: tuple[int, int], n_f: int) -> Pair:
        """A pair of slots that no line joins."""
        shape = (len(self._sites(key[0])), len(self._sites(key[1])))
        return Pair(
            *key,
            np.ones(shape, dtype=bool),
            np.zeros(shape),
            np.zeros((*shape, n_f)),
            np.zeros((*shape, n_f)),
            np.zeros(n_f),
            np.ones(shape, dtype=bool),
            (),
        )

    def _ranks(self, slot: int, twin: int) -> tuple[IntArray, IntArray]:
        """Where the choices of two interchangeable slots stand in garment order."""
        p = self.problem
        width = int(p.choice_model.max(initial=0)) + 1
        name = p.choice_site * width + p.choice_model
        every = name[p.choices_of(slot)]
        order = np.argsort(every)
        of_slot, of_twin = (
            order[np.searchsorted(every, name[self.choice[self._choices(each)]], sorter=order)]
            for each in (slot, twin)
        )
        return of_slot, of_twin


def _with_line(pair: Pair | None, key: tuple[int, int], number: int, line: Cheapest) -> Pair:
    """What is between two slots with one more line."""
    if pair is None:
        none = np.zeros(line.form.shape[2])
        return Pair(
            *key, line.ok, line.cost, line.form, line.least_form, none, line.plain, (number,)
        )
    return Pair(
        *key,
        pair.ok & line.ok,
        pair.cost + line.cost,
        pair.form + line.form,
        pair.least_form + line.least_form,
        pair.bottom_form,
        pair.plain & line.plain,
        (*pair.lines, number),
    )
