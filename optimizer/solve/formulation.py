"""The mixed-integer program. Every group of rows is named after what it enforces.

Columns
-------
x[c]        choice c (slot, model, site) is made
u[s]        site s is used
t[l,k]      line l is bought as case k (option with the models of its ends)
g[l,o,s], h[l,o,s]   line l as option o starts / ends at site s (lines with several options only;
            with one option they are sums of x)
f[l,o,a,d]  line l as option o runs along arc a in direction d
v[p]        piece p of the garment is put on
k[s], b[s]  ballast is put at site s, and how much of it [kg]
over[r]     how far soft row r is overstepped, in its own units
trunk_kg, w kilograms on the trunk and the watts of a curved trunk model (epigraph; tangents
            come in as rows)

Each line is one unit of flow from the site of its first part to that of its second: its length
is service slack plus the arcs it runs along. See the notes in DEVELOPERS.md for why this needs
O(lines x arcs) columns and no products of choices.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise
from math import inf

import numpy as np

from optimizer.problem.arrays import Array, LineRow, Objective, Problem
from optimizer.problem.build import TIE_PER_M
from optimizer.problem.presolve import Reduced, Switches, pair_reach, route_of
from optimizer.problem.quantities import DISCOMFORT, DONNING, INDEX, MASS
from optimizer.study.model import TRUNK

RowKey = tuple[str, object]
#: Kinds of columns that are not 0 or 1, with what they may reach.
CONTINUOUS = {"trunk_kg": inf, "w": inf, "over": inf, "b": inf, "link": 1.0, "ease": inf}


@dataclass
class Columns:
    """Column numbers by what they mean."""

    x: dict[int, int] = field(default_factory=dict)
    u: dict[int, int] = field(default_factory=dict)
    t: dict[tuple[int, int], int] = field(default_factory=dict)
    g: dict[tuple[int, int, int], int] = field(default_factory=dict)
    h: dict[tuple[int, int, int], int] = field(default_factory=dict)
    f: dict[tuple[int, int, int, int], int] = field(default_factory=dict)
    v: dict[int, int] = field(default_factory=dict)
    k: dict[int, int] = field(default_factory=dict)
    b: dict[int, int] = field(default_factory=dict)
    over: dict[int, int] = field(default_factory=dict)
    load: int | None = None
    w: int | None = None


@dataclass(frozen=True, slots=True)
class Row:
    """lower <= sum of coefficients . columns <= upper, under the name of what it enforces."""

    group: str
    subject: object
    columns: list[int]
    coefficients: list[float]
    lower: float
    upper: float


@dataclass
class Formulation:
    """The program: columns with their quantities, and named rows.

    `quantities` is (n_columns, n_q); `tie` the tie-break cost per column; all columns
    but those of a kind in `CONTINUOUS` are binary.
    """

    columns: Columns
    names: list[tuple[str, object]]
    quantities: Array
    tie: Array
    rows: list[Row]
    reduced: Reduced
    objective: Objective

    def costs(self, objective: Objective) -> Array:
        """Cost of every column under an objective, tie-break included."""
        cost: Array = self.quantities @ objective.linear + self.tie
        if self.columns.w is not None:
            cost[self.columns.w] = objective.curve_weight
        return cost


def formulate(
    reduced: Reduced,
    objective: Objective | None = None,
    switches: Switches = Switches(),  # noqa: B008 - frozen
    cheapest: frozenset[int] = frozenset(),
    writer: Callable[[Reduced, Switches], _Builder] | None = None,
) -> Formulation:
    """Write the program for a reduced problem and an objective (default: the problem's own).

    Lines numbered in `cheapest` get rows that hold them to their cheapest route. Elsewhere the
    objective sees to it; only a limit on a total could make a detour, or a loop, worth its cost.
    `writer` writes columns and rows in another way than `_Builder`.
    """
    problem = reduced.problem
    objective = objective or problem.objective
    builder = (writer or _Builder)(reduced, switches)
    builder.columns_for_choices()
    for number, line in enumerate(problem.lines):
        builder.columns_for_line(number, line)
    builder.columns_for_wear()
    if objective.curve is not None:
        builder.columns.load = builder.new("trunk_kg", 0)
        builder.columns.w = builder.new("w", 0)
    formulation = builder.finish(objective)
    builder.place_every_part()
    builder.use_of_sites()
    builder.site_capacities()
    builder.pair_rules()
    for number, line in enumerate(problem.lines):
        builder.route(number, line)
        builder.line_limits(number, line)
        if number in cheapest:
            builder.cheapest_route(number, line)
        if switches.reach_rows:
            builder.reach(line)
    if switches.order_copies:
        builder.order_copies()
    builder.pieces_put_on()
    builder.ballast()
    builder.study_limits(formulation)
    builder.soft_limits(formulation)
    if objective.curve is not None:
        builder.trunk_load(formulation)
    return formulation


Term = tuple[float, int]


class _Builder:
    """Numbers the columns and writes the rows of one program."""

    def __init__(self, reduced: Reduced, switches: Switches):
        self.reduced, self.switches = reduced, switches
        self.problem: Problem = reduced.problem
        self.columns = Columns()
        self.names: list[tuple[str, object]] = []
        self.rows: list[Row] = []
        self.choices = [int(c) for c in np.flatnonzero(reduced.open)]
        p = self.problem
        self.by_slot_site: dict[tuple[int, int], list[int]] = {}
        for c in self.choices:
            key = (int(p.choice_slot[c]), int(p.choice_site[c]))
            self.by_slot_site.setdefault(key, []).append(c)
        self.sites_of: dict[int, list[int]] = {}
        for slot, site in self.by_slot_site:
            self.sites_of.setdefault(slot, []).append(site)

    # -- columns ---------------------------------------------------------------------------

    def new(self, kind: str, subject: object) -> int:
        self.names.append((kind, subject))
        return len(self.names) - 1

    def columns_for_choices(self) -> None:
        p, cols = self.problem, self.columns
        cols.x = {c: self.new("x", c) for c in self.choices}
        sites = {int(p.choice_site[c]) for c in self.choices}
        sites |= set(p.ballast.sites if p.ballast else ())
        cols.u = {s: self.new("u", s) for s in sorted(sites)}

    def columns_for_wear(self) -> None:
        p, cols = self.problem, self.columns
        for number, piece in enumerate(p.pieces):
            if any(s in cols.u for s in piece.sites):
                cols.v[number] = self.new("v", number)
        for s in p.ballast.sites if p.ballast else ():
            cols.k[s], cols.b[s] = self.new("k", s), self.new("b", s)
        cols.over = {number: self.new("over", number) for number in range(len(p.soft))}

    def columns_for_line(self, number: int, line: LineRow) -> None:
        cols = self.columns
        if _has_cases(line):
            for k in range(len(line.cases)):
                cols.t[number, k] = self.new("t", (number, k))
        if len(line.options) > 1:
            for o in range(len(line.options)):
                for s in self.sites_of.get(line.slot_a, []):
                    cols.g[number, o, s] = self.new("g", (number, o, s))
                for s in self.sites_of.get(line.slot_b, []):
                    cols.h[number, o, s] = self.new("h", (number, o, s))
        for o, directed in enumerate(self.reduced.arcs[number]):
            for a, d in directed:
                cols.f[number, o, a, d] = self.new("f", (number, o, a, d))

    def ends(self, arc: int, direction: int) -> tuple[int, int]:
        tail, head = int(self.problem.arc_tail[arc]), int(self.problem.arc_head[arc])
        return (head, tail) if direction else (tail, head)

    def finish(self, objective: Objective) -> Formulation:
        """Work out every column's quantities; rows may still be added."""
        p, cols = self.problem, self.columns
        quantities = np.zeros((len(self.names), p.choice_q.shape[1]))
        tie = np.zeros(len(self.names))
        chosen = np.array(list(cols.x), dtype=int)
        quantities[list(cols.x.values())] = p.choice_q[chosen]
        quantities[list(cols.u.values())] = p.use_q[list(cols.u)]
        for line in p.lines:
            if len(line.options) > 1:
                continue
            per_end = 0.5 * line.slack_m * line.mass_kg_per_m[0] + line.end_mass_kg[0]
            for slot in (line.slot_a, line.slot_b):
                for s in self.sites_of.get(slot, []):
                    for c in self.by_slot_site[slot, s]:
                        quantities[cols.x[c]] += per_end * p.site_q[s]
        for group in (cols.g, cols.h):
            for (number, o, s), column in group.items():
                line = p.lines[number]
                per_end = 0.5 * line.slack_m * line.mass_kg_per_m[o] + line.end_mass_kg[o]
                quantities[column] = per_end * p.site_q[s]
        if cols.f:
            rate = np.array([p.lines[n].mass_kg_per_m[o] for n, o, _, _ in cols.f])
            arcs = np.array([a for _, _, a, _ in cols.f], dtype=int)
            at = list(cols.f.values())
            quantities[at] = (rate * p.arc_length_m[arcs])[:, None] * p.arc_q[arcs]
            tie[at] = TIE_PER_M * rate * p.arc_length_m[arcs]
        quantities[list(cols.v.values()), INDEX[DONNING]] = 1.0
        if cols.b:
            quantities[list(cols.b.values())] = p.site_q[list(cols.b)]
        for number, column in cols.over.items():
            quantities[column, INDEX[DISCOMFORT]] = p.soft[number].points_per
        return Formulation(cols, self.names, quantities, tie, self.rows, self.reduced, objective)

    # -- rows ------------------------------------------------------------------------------

    def add(self, group: str, subject: object, terms: list[Term], sense: str, right: float) -> None:
        """Add the row sum(terms) (sense) right under a group's name."""
        together: dict[int, float] = {}
        for coefficient, column in terms:
            together[column] = together.get(column, 0.0) + coefficient
        lower = right if sense in ("==", ">=") else -inf
        upper = right if sense in ("==", "<=") else inf
        self.rows.append(Row(group, subject, list(together), list(together.values()), lower, upper))

    def place_every_part(self) -> None:
        for p in range(len(self.problem.slots)):
            terms = [
                (1.0, self.columns.x[c])
                for s in self.sites_of.get(p, [])
                for c in self.by_slot_site[p, s]
            ]
            self.add("place", p, terms, "==", 1.0)

    def at(self, slot: int, site: int) -> list[Term]:
        """Terms that are 1 when the slot sits at the site."""
        return [(1.0, self.columns.x[c]) for c in self.by_slot_site.get((slot, site), [])]

    def use_of_sites(self) -> None:
        for slot, site in self.by_slot_site:
            terms = [*self.at(slot, site), (-1.0, self.columns.u[site])]
            self.add("use", (slot, site), terms, "<=", 0.0)
        for s, var in self.columns.u.items():
            # a site without parts is not in use: its holder stays off
            terms = [(1.0, var)]
            for slot in range(len(self.problem.slots)):
                terms += [(-c, v) for c, v in self.at(slot, s)]
            if s in self.columns.k:
                terms.append((-1.0, self.columns.k[s]))
            self.add("empty", s, terms, "<=", 0.0)

    def site_capacities(self) -> None:
        for cap in self.problem.caps:
            open_here = [int(c) for c in self.choices if cap.use[c] > 0.0]
            weighted = cap.per_ballast_kg > 0.0 and cap.site in self.columns.b
            if not open_here and not weighted:
                continue
            # scaled to 1 so that grams and cubic centimetres weigh alike for the tolerance
            terms = [(float(cap.use[c]) / cap.cap, self.columns.x[c]) for c in open_here]
            if weighted:
                terms.append((cap.per_ballast_kg / cap.cap, self.columns.b[cap.site]))
            terms.append((-1.0, self.columns.u[cap.site]))
            self.add(cap.kind, cap.site, terms, "<=", 0.0)

    def pair_rules(self) -> None:
        for number, rule in enumerate(self.problem.pairs):
            a_sites = self.sites_of.get(rule.slot_a, [])
            b_sites = self.sites_of.get(rule.slot_b, [])
            for i in a_sites:
                barred = [j for j in b_sites if rule.forbidden(i, j)]
                if not barred:
                    continue
                terms = [*self.at(rule.slot_a, i)]
                for j in barred:
                    terms += self.at(rule.slot_b, j)
                self.add(rule.kind, (number, i), terms, "<=", 1.0)

    def route(self, number: int, line: LineRow) -> None:
        p, cols = self.problem, self.columns
        several = len(line.options) > 1
        sites_a, sites_b = self.sites_of.get(line.slot_a, []), self.sites_of.get(line.slot_b, [])
        if several:
            for s in sites_a:
                terms = [(1.0, cols.g[number, o, s]) for o in range(len(line.options))]
                terms += [(-c, v) for c, v in self.at(line.slot_a, s)]
                self.add("line_start", (number, s), terms, "==", 0.0)
            for s in sites_b:
                terms = [(1.0, cols.h[number, o, s]) for o in range(len(line.options))]
                terms += [(-c, v) for c, v in self.at(line.slot_b, s)]
                self.add("line_end", (number, s), terms, "==", 0.0)
        for o in range(len(line.options)):
            balance: dict[int, list[Term]] = {}
            for a, d in self.reduced.arcs[number][o]:
                start, end = self.ends(a, d)
                flow = cols.f[number, o, a, d]
                balance.setdefault(start, []).append((1.0, flow))
                balance.setdefault(end, []).append((-1.0, flow))
            for s in sites_a:
                start_terms = [(-c, v) for c, v in self.begins(number, o, s)]
                balance.setdefault(int(p.site_node[s]), []).extend(start_terms)
            for s in sites_b:
                balance.setdefault(int(p.site_node[s]), []).extend(self.finishes(number, o, s))
            for node, terms in balance.items():
                self.add("flow", (number, o, node), terms, "==", 0.0)
            self.no_thoroughfare(number, o, line)

    def begins(self, number: int, o: int, s: int) -> list[Term]:
        """Adds up to 1 where a line bought as an option begins at a site."""
        line = self.problem.lines[number]
        several = len(line.options) > 1
        return [(1.0, self.columns.g[number, o, s])] if several else self.at(line.slot_a, s)

    def finishes(self, number: int, o: int, s: int) -> list[Term]:
        """Adds up to 1 where a line bought as an option ends at a site."""
        line = self.problem.lines[number]
        several = len(line.options) > 1
        return [(1.0, self.columns.h[number, o, s])] if several else self.at(line.slot_b, s)

    def no_thoroughfare(self, number: int, o: int, line: LineRow) -> None:
        """A line leaves the body only to end off it, and comes onto it only from a start off it.

        So `optimizer.problem.routing` finds its routes.
        """
        routes = self.problem.routes
        ends = ((self.begins, line.slot_a), (self.finishes, line.slot_b))
        for way in (1, -1):
            flow = [
                (1.0, self.columns.f[number, o, a, d])
                for a, d in self.reduced.arcs[number][o]
                if routes.crosses(a, d) == way
            ]
            if not flow:
                continue
            for (told, slot), side in zip(ends, (-way, way), strict=True):
                # leaving: from a start on the body, to an end off it; coming: the other way round
                off = side > 0
                terms = list(flow)
                for s in self.sites_of.get(slot, []):
                    if routes.starts_off_body(s) == off:
                        terms += [(-c, v) for c, v in told(number, o, s)]
                self.add("no_thoroughfare", (number, o, way, off), terms, "<=", 0.0)

    def line_limits(self, number: int, line: LineRow) -> None:
        cols, p = self.columns, self.problem
        cases = range(len(line.cases))
        if _has_cases(line):
            t = cols.t
            self.add("one_case", number, [(1.0, t[number, k]) for k in cases], "==", 1.0)
            for o in range(len(line.options)):
                if len(line.options) > 1:
                    terms = [(1.0, t[number, k]) for k in cases if line.cases[k].option == o]
                    terms += [
                        (-1.0, cols.g[number, o, s]) for s in self.sites_of.get(line.slot_a, [])
                    ]
                    self.add("case_option", (number, o), terms, "==", 0.0)
            for end, slot in (("a", line.slot_a), ("b", line.slot_b)):
                chosen = [getattr(line.cases[k], f"model_{end}") for k in cases]
                if all(model is None for model in chosen):
                    continue
                for model in range(len(p.slots[slot].models)):
                    terms = [(1.0, t[number, k]) for k in cases if chosen[k] == model]
                    terms += [
                        (-1.0, self.columns.x[c])
                        for s in self.sites_of.get(slot, [])
                        for c in self.by_slot_site[slot, s]
                        if p.choice_model[c] == model
                    ]
                    self.add("case_model", (number, end, model), terms, "==", 0.0)
        for o in range(len(line.options)):
            for group, per_arc, fixed, bounds in (
                (
                    "line_length",
                    p.arc_length_m,
                    line.slack_m,
                    [case.max_length_m for case in line.cases],
                ),
                ("line_bend", p.arc_bend_rad, 0.0, [case.max_bend_rad for case in line.cases]),
            ):
                own = [k for k in cases if line.cases[k].option == o]
                if not own or all(bounds[k] == inf for k in own):
                    continue
                terms = [
                    (float(per_arc[a]), cols.f[number, o, a, d])
                    for a, d in self.reduced.arcs[number][o]
                ]
                if not _has_cases(line):
                    self.add(group, (number, o), terms, "<=", bounds[own[0]] - fixed)
                    continue
                longest = float(sum(c for c, _ in terms))
                terms += [
                    (fixed - (bounds[k] if bounds[k] < inf else longest + fixed), cols.t[number, k])
                    for k in own
                ]
                self.add(group, (number, o), terms, "<=", 0.0)

    def cheapest_route(self, number: int, line: LineRow) -> None:
        """For every place of end a: with a there, the line costs no more than its route to b."""
        p, cols = self.problem, self.columns
        sites_a, sites_b = self.sites_of.get(line.slot_a, []), self.sites_of.get(line.slot_b, [])
        several = len(line.options) > 1
        costs: list[dict[tuple[int, int], float]] = []
        for case in line.cases:
            costs.append({})
            for s in sites_a:
                for t in sites_b:
                    # out of reach: the row must hold no more than the line's own limit does
                    route = route_of(p, line, case, s, t) or p.routes.best(s, t)
                    if route is not None:
                        costs[-1][s, t] = route.cost
        # over all cases: a row about one case must not bind a line bought as another
        most = max((cost for each in costs for cost in each.values()), default=0.0)
        if most <= 0.0:
            return
        for k, (case, cost) in enumerate(zip(line.cases, costs, strict=True)):
            o = case.option
            flow = [
                (p.routes.arc_cost(a) / most, cols.f[number, o, a, d])
                for a, d in self.reduced.arcs[number][o]
            ]
            if several:
                bought = [(-1.0, cols.g[number, o, s]) for s in sites_a]
                self.add("cheapest_route", (number, k, -1), flow + bought, "<=", 0.0)
            for s in sites_a:
                terms = list(flow)
                for t in sites_b:
                    there = self.finishes(number, o, t)
                    terms += [(-cost.get((s, t), most) / most * w, c) for w, c in there]
                terms += self.begins(number, o, s)
                room = 1.0
                if _has_cases(line):
                    terms.append((1.0, cols.t[number, k]))
                    room += 1.0
                self.add("cheapest_route", (number, k, s), terms, "<=", room)

    def reach(self, line: LineRow) -> None:
        p = self.problem
        a, b, ok = pair_reach(p, line, self.reduced.site_routes)
        live_a, live_b = self.reduced.open[a], self.reduced.open[b]
        a, b, ok = a[live_a], b[live_b], ok[np.ix_(live_a, live_b)]
        for near, far, mask in ((a, b, ok), (b, a, ok.T)):
            for i, c in enumerate(near):
                if mask[i].all():
                    continue
                terms = [(1.0, self.columns.x[int(c)])]
                terms += [(-1.0, self.columns.x[int(e)]) for e in far[mask[i]]]
                self.add("reach", (line.name, int(c), int(far[0])), terms, "<=", 0.0)

    def order_copies(self) -> None:
        """Interchangeable copies sit in garment order: one layout, one solution."""
        p = self.problem
        for group in p.exchange:
            for before, after in pairwise(group):
                first, second = before[0], after[0]
                rank = {}
                for n, c in enumerate(p.choices_of(first)):
                    rank[int(p.choice_site[c]), int(p.choice_model[c])] = n
                terms = [
                    (float(rank[int(p.choice_site[c]), int(p.choice_model[c])]), var)
                    for c, var in self.columns.x.items()
                    if p.choice_slot[c] == first
                ]
                terms += [
                    (-float(rank[int(p.choice_site[c]), int(p.choice_model[c])]), var)
                    for c, var in self.columns.x.items()
                    if p.choice_slot[c] == second
                ]
                self.add("order_copies", (first, second), terms, "<=", 0.0)

    def trunk_load(self, formulation: Formulation) -> None:
        weights = formulation.quantities[:, TRUNK_LOAD]
        terms = [(float(weights[i]), int(i)) for i in np.flatnonzero(weights)]
        assert self.columns.load is not None
        self.add("trunk_load", 0, [*terms, (-1.0, self.columns.load)], "==", 0.0)

    def pieces_put_on(self) -> None:
        """A piece is put on if, and only if, one of its sites is used."""
        for number, var in self.columns.v.items():
            sites = self.problem.pieces[number].sites
            used = [self.columns.u[s] for s in sites if s in self.columns.u]
            for column in used:
                self.add("piece", (number, column), [(1.0, column), (-1.0, var)], "<=", 0.0)
            spare = [(1.0, var), *((-1.0, column) for column in used)]
            self.add("piece_off", number, spare, "<=", 0.0)

    def ballast(self) -> None:
        """Ballast lies in a site in use, no more than fits there and is allowed in all."""
        ballast, cols = self.problem.ballast, self.columns
        if ballast is None or not ballast.sites:
            return
        for s, most in zip(ballast.sites, ballast.max_kg, strict=True):
            self.add("ballast_room", s, [(1.0 / most, cols.b[s]), (-1.0, cols.k[s])], "<=", 0.0)
            self.add("ballast_held", s, [(1.0, cols.k[s]), (-1.0, cols.u[s])], "<=", 0.0)
        terms = [(1.0 / ballast.total_kg, column) for column in cols.b.values()]
        self.add("ballast", 0, terms, "<=", 1.0)

    def soft_limits(self, formulation: Formulation) -> None:
        """How far each soft limit is overstepped, at least; saying more is never worth it."""
        for number, column in self.columns.over.items():
            soft = self.problem.soft[number]
            size = abs(soft.upper) or 1.0
            weights = formulation.quantities @ soft.coefficients / size
            terms = [(float(weights[i]), int(i)) for i in np.flatnonzero(weights)]
            self.add("soft", number, [*terms, (-1.0 / size, column)], "<=", soft.upper / size)

    def study_limits(self, formulation: Formulation) -> None:
        for number, limit in enumerate(self.problem.limits):
            # scaled to 1, so that the solver's tolerance is relative to the limit
            size = abs(limit.upper) or 1.0
            weights = formulation.quantities @ limit.coefficients / size
            terms = [(float(weights[i]), int(i)) for i in np.flatnonzero(weights)]
            self.add("limit", number, terms, "<=", limit.upper / size)


def _has_cases(line: LineRow) -> bool:
    return (
        len(line.cases) > 1
        or not line.allows_every_option
        or any(case.model_a is not None or case.model_b is not None for case in line.cases)
    )


TRUNK_LOAD = INDEX[MASS[TRUNK]]
