"""The problem as costs of choices, of sites in use, and of pairs of choices.

A route is a function of the two places a line joins, so a line is a table over the choices of its
two ends. What is left is a pairwise assignment problem: choose one choice per slot; pay for each
choice, for each site in use, and for each line its table's entry at the two choices; keep to the
sites' capacities, to the rules on pairs and to the study's limits. Everything is linear in the
choices, sites and entries but for two convex terms, the curve of the trunk's load and the soft
limits, whose values a solution adds exactly.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise as neighbours

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, IntArray, LineRow, Objective, Problem
from optimizer.problem.presolve import Reduced
from optimizer.problem.quantities import DISCOMFORT, DONNING, INDEX, MASS
from optimizer.study.model import TRUNK

Mask = NDArray[np.bool_]
TRUNK_LOAD = INDEX[MASS[TRUNK]]
_MASSES = [INDEX[name] for name in MASS.values()]
#: Costs and forms this close are equal when line options are compared.
_EQUAL = 1e-12


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
    capacity_kinds: tuple[str, ...]
    tables: tuple[LineTable, ...]
    pairs: dict[tuple[int, int], Pair]
    beside: tuple[tuple[int, ...], ...]
    """Per slot, the slots it shares a pair with."""
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
        for line in p.lines:
            self.routes.ask(self._sites(line.slot_a), self._sites(line.slot_b))

    def _choices(self, slot: int) -> slice:
        return slice(int(self.first[slot]), int(self.first[slot + 1]))

    def _sites(self, slot: int) -> IntArray:
        return self.site[self._choices(slot)]

    def _usual_load(self) -> float:
        load = self.problem.choice_q[self.choice, TRUNK_LOAD]
        return float(np.maximum.reduceat(load, self.first[:-1]).sum())

    def write(self) -> Pairwise:
        p, objective = self.problem, self.objective
        used = np.unique(self.site)
        limits, forms, upper, tables = self._forms(used)
        n_limits = len(limits)
        pairs = self._pairs(tables, len(forms))
        kinds = tuple(dict.fromkeys(cap.kind for cap in p.caps))
        capacity_use = np.zeros((len(self.choice), len(kinds)))
        for cap in p.caps:
            share = cap.use[self.choice] / cap.cap
            here = share > 0.0
            capacity_use[here, kinds.index(cap.kind)] = share[here]
        in_piece = np.zeros((len(p.pieces), len(p.site_names)), dtype=bool)
        for n, piece in enumerate(p.pieces):
            in_piece[n, list(piece.sites)] = True
        beside: list[list[int]] = [[] for _ in p.slots]
        for a, b in pairs:
            beside[a].append(b)
            beside[b].append(a)
        weight = float(objective.linear[INDEX[DISCOMFORT]])
        return Pairwise(
            problem=p,
            objective=objective,
            choice=self.choice,
            slot=self.slot,
            site=self.site,
            first=self.first,
            cost=p.choice_q[self.choice] @ self.linear,
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
            capacity_use=capacity_use,
            capacity_kinds=kinds,
            tables=tables,
            pairs=pairs,
            beside=tuple(tuple(sorted(others)) for others in beside),
            limits=tuple(limits),
            segment=p.site_q[self.site][:, _MASSES].argmax(axis=1),
        )

    def _forms(self, used: IntArray) -> tuple[list[int], Array, Array, tuple[LineTable, ...]]:
        """Limits that some choice of choices could break, soft limits, and the trunk's load.

        With the lines' tables of these forms.
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
        along = self.routes.value(p, all_forms)
        raw = [self._raw_table(line, all_forms, along) for line in p.lines]
        most = self._most(rows, used)
        for allowed, value in raw:
            if allowed.any() and n_limits:
                most = most + value[allowed][:, :n_limits].max(axis=0)
        limits = [int(n) for n in np.flatnonzero(most > uppers * (1 + 1e-12))]
        kept = np.array([*limits, *range(n_limits, len(every))], dtype=np.int64)
        tables = tuple(
            _line_table(number, line, allowed, value, kept)
            for number, (line, (allowed, value)) in enumerate(zip(p.lines, raw, strict=True))
        )
        return limits, every[kept], uppers[limits], tables

    def _most(self, rows: Array, used: IntArray) -> Array:
        """No layout brings more than this of each row, lines left out."""
        p = self.problem
        if not len(rows) or not len(self.choice):
            return np.full(len(rows), np.inf)
        most = np.maximum.reduceat(p.choice_q[self.choice] @ rows.T, self.first[:-1]).sum(axis=0)
        most = most + np.maximum(p.use_q[used] @ rows.T, 0.0).sum(axis=0)
        return np.asarray(most + len(p.pieces) * np.maximum(rows[:, INDEX[DONNING]], 0.0))

    def _raw_table(self, line: LineRow, all_forms: Array, along: Array) -> tuple[Mask, Array]:
        """Which options a line can be bought as between all choices, and what they bring."""
        p = self.problem
        a, b = self._choices(line.slot_a), self._choices(line.slot_b)
        sites_a, sites_b = self.site[a], self.site[b]
        model_a = p.choice_model[self.choice[a]]
        model_b = p.choice_model[self.choice[b]]
        shape = (len(sites_a), len(sites_b), len(line.options))
        route = np.full(shape, -1, dtype=np.int64)
        settled = np.zeros(shape, dtype=bool)
        for case in line.cases:
            fits = np.ones(shape[:2], dtype=bool)
            if case.model_a is not None:
                fits &= (model_a == case.model_a)[:, None]
            if case.model_b is not None:
                fits &= (model_b == case.model_b)[None, :]
            fits &= ~settled[:, :, case.option]
            if not fits.any():
                continue
            chosen = self.routes.choose(line, case, sites_a, sites_b)
            route[:, :, case.option][fits] = chosen[fits]
            settled[:, :, case.option] |= fits
        allowed = route >= 0
        rate = line.mass_kg_per_m
        at_a, at_b = p.site_q[sites_a] @ all_forms.T, p.site_q[sites_b] @ all_forms.T
        end_kg = 0.5 * line.slack_m * rate + line.end_mass_kg
        value = end_kg[None, None, :, None] * (at_a[:, None, None, :] + at_b[None, :, None, :])
        value = value + rate[None, None, :, None] * along[np.where(allowed, route, 0)]
        value[~allowed] = 0.0
        return allowed, value

    def _pairs(self, tables: tuple[LineTable, ...], n_f: int) -> dict[tuple[int, int], Pair]:
        p = self.problem
        found: dict[tuple[int, int], Pair] = {}

        def between(a: int, b: int) -> tuple[Pair, bool]:
            low, high = min(a, b), max(a, b)
            if (low, high) not in found:
                shape = (len(self._sites(low)), len(self._sites(high)))
                found[low, high] = Pair(
                    low,
                    high,
                    np.ones(shape, dtype=bool),
                    np.zeros(shape),
                    np.zeros((*shape, n_f)),
                    np.zeros((*shape, n_f)),
                    np.zeros(n_f),
                    np.ones(shape, dtype=bool),
                    (),
                )
            return found[low, high], a > b

        for table in tables:
            pair, turned = between(table.slot_a, table.slot_b)
            ok: Mask = np.asarray(table.kept.any(axis=2))
            best = table.best[..., None]
            cost = np.take_along_axis(table.cost, best, axis=2)[..., 0]
            form = np.take_along_axis(table.form, best[..., None], axis=2)[:, :, 0]
            least = np.where(table.kept[..., None], table.form, np.inf).min(axis=2)
            convex = slice(n_f - len(p.soft) - (self.objective.curve is not None), n_f)
            plain = np.all(form[..., convex] <= least[..., convex] + _EQUAL, axis=-1)
            base = np.where(table.kept, table.base, np.inf)
            plain &= np.take_along_axis(base, best, axis=2)[..., 0] <= base.min(axis=2) + _EQUAL
            least = np.where(ok[..., None], least, 0.0)
            pair.ok &= ok.T if turned else ok
            pair.cost += cost.T if turned else cost
            pair.form += form.swapaxes(0, 1) if turned else form
            pair.least_form += least.swapaxes(0, 1) if turned else least
            pair.plain &= plain.T if turned else plain
            pair.lines = (*pair.lines, table.number)
        for rule in p.pairs:
            pair, turned = between(rule.slot_a, rule.slot_b)
            sites_a, sites_b = self._sites(rule.slot_a), self._sites(rule.slot_b)
            free = [[not rule.forbidden(int(s), int(t)) for t in sites_b] for s in sites_a]
            allowed = np.array(free, dtype=bool).reshape(len(sites_a), len(sites_b))
            pair.ok &= allowed.T if turned else allowed
        for group in p.exchange if self._order_copies else ():
            for before, after in neighbours(group):
                pair, turned = between(before[0], after[0])
                rank = self._ranks(before[0], after[0])
                ordered = rank[0][:, None] <= rank[1][None, :]
                pair.ok &= ordered.T if turned else ordered
        for pair in found.values():
            if pair.ok.any():
                pair.bottom_form = pair.least_form[pair.ok].min(axis=0)
        return found

    def _ranks(self, slot: int, twin: int) -> tuple[IntArray, IntArray]:
        """Where the choices of two interchangeable slots stand in garment order."""
        p = self.problem
        rank = {
            (int(p.choice_site[c]), int(p.choice_model[c])): n
            for n, c in enumerate(p.choices_of(slot))
        }
        found = []
        for each in (slot, twin):
            own = self.choice[self._choices(each)]
            found.append(
                np.array(
                    [rank[int(p.choice_site[c]), int(p.choice_model[c])] for c in own],
                    dtype=np.int64,
                )
            )
        return found[0], found[1]


def _line_table(
    number: int, line: LineRow, allowed: Mask, value: Array, forms: IntArray
) -> LineTable:
    """A line's table of some forms; the last two of all values are the costs."""
    cost = np.where(allowed, value[..., -2], np.inf)
    form, base = value[..., forms], value[..., -1]
    kept = _undominated(allowed, base, form)
    return LineTable(number, line.slot_a, line.slot_b, kept, cost, base, form)


def _undominated(allowed: Mask, base: Array, form: Array) -> Mask:
    """Options that no other one equals or beats in cost and every form; of equals the first."""
    kept = allowed.copy()
    n_options = allowed.shape[2]
    for o in range(n_options):
        for other in range(n_options):
            if other == o:
                continue
            gain = np.concatenate(
                [(base[:, :, o] - base[:, :, other])[..., None], form[:, :, o] - form[:, :, other]],
                axis=-1,
            )
            no_worse = (gain >= -_EQUAL).all(axis=-1)
            better = (gain > _EQUAL).any(axis=-1) | (other < o)
            kept[:, :, o] &= ~(allowed[:, :, other] & no_worse & better)
    return kept
