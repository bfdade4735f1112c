"""One layout for several worlds: least mean, or least worst, of convex forms of it; proven.

Columns are choices, sites in use and links (and what wearability adds); every world adds them up
with its own arrays. What is minimised is z with z >= f(columns) for each form f (a linear form
plus, for a curved trunk model, a convex curve of the load). Rows z >= f are added where a
solution breaks them, and so are limits of worlds beside the first, until none is broken; the
solver's bound holds at every step because rows left out can only lower it (Kelley's cutting
planes; for the least worst regret: Aissi, Bazgan and Vanderpooten, Eur J Oper Res 197 (2009) 427).
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import inf
from typing import cast

import numpy as np

from optimizer.joint.world import Plan, World, common_choices, common_links
from optimizer.joint.writer import LINK, write
from optimizer.problem.arrays import Array, Objective
from optimizer.problem.quantities import INDEX, MASS
from optimizer.solve.highs import LiveModel, Outcome
from optimizer.solve.program import compile_matrix
from optimizer.study.model import TRUNK

TRUNK_LOAD = INDEX[MASS[TRUNK]]
#: Forms are exact at a solution to this share of the value.
EXACT = 1e-8
#: Rows added per round at most.
ROUND = 6
#: Rounds after which something must be wrong.
MOST_ROUNDS = 400


@dataclass(frozen=True)
class Form:
    """linear . columns + weight x curve(load . columns) - less."""

    linear: Array
    load: Array | None = None
    weight: float = 0.0
    curve: Callable[[float], float] | None = None
    slope: Callable[[float], float] | None = None
    less: float = 0.0

    def value(self, x: Array) -> float:
        """Its value at columns x."""
        value = float(self.linear @ x) - self.less
        if self.curve is not None:
            assert self.load is not None
            value += self.weight * self.curve(max(float(self.load @ x), 0.0))
        return value

    def tangent(self, x: Array) -> tuple[Array, float]:
        """(g, c): the form is at least g . columns + c, and that at x."""
        if self.curve is None:
            return self.linear, -self.less
        assert self.load is not None and self.slope is not None
        at = max(float(self.load @ x), 0.0)
        slope = self.weight * self.slope(at)
        return (
            self.linear + slope * self.load,
            self.weight * self.curve(at) - slope * at - self.less,
        )


@dataclass(frozen=True)
class Joint:
    """A layout found: `value` is what was minimised, `bound` the proven lower bound on it.

    `status` as the solver's: "optimal" is proven. `forms` are the forms' values.
    """

    status: str
    plan: Plan | None
    value: float
    bound: float
    forms: tuple[float, ...] = ()
    columns: Array | None = None
    seconds: float = 0.0

    @property
    def proven(self) -> bool:
        """Whether nothing is better."""
        return self.status == "optimal"


class JointProgram:
    """The program of one layout worn in every one of some worlds."""

    def __init__(self, worlds: Sequence[World], *, seed: int = 0, threads: int = 1):
        self.worlds = tuple(worlds)
        self.choices = common_choices(worlds)
        self.links = common_links(worlds)
        self.writer, self.formulation = write(worlds, self.choices, self.links)
        self.n = len(self.formulation.names)
        self._column_of = self.writer.choice_keys()
        self._quantities: dict[int, Array] = {0: self.formulation.quantities}
        self._seed, self._threads = seed, threads
        self.live = self._hand_over()
        self._z_rows: list[int] = []
        self._own_caps = [self._caps_unlike_first(w) for w in range(len(self.worlds))]

    def _hand_over(self) -> LiveModel:
        zeros = Objective(np.zeros(self.formulation.quantities.shape[1]))
        m = compile_matrix(self.formulation, zeros)
        matrix = replace(
            m,
            cost=np.append(np.zeros(self.n), 1.0),
            col_lower=np.append(m.col_lower, -1e7),
            col_upper=np.append(m.col_upper, inf),
            integer=np.append(m.integer, False),
        )
        return LiveModel(matrix, seed=self._seed, threads=self._threads, feasibility=1e-9)

    def quantities(self, world: int) -> Array:
        """(n_columns, n_q) of a world."""
        if world not in self._quantities:
            self._quantities[world] = self.writer.quantities_in(self.worlds[world])
        return self._quantities[world]

    def column_scale(self, by_slot: Array) -> Array:
        """(n_columns,): a factor per slot on its choices' columns, 1 elsewhere."""
        scale = np.ones(self.n)
        for (slot, _, _), column in self._column_of.items():
            scale[column] = by_slot[slot]
        return scale

    def form(self, world: int, objective: Objective | None = None, less: float = 0.0) -> Form:
        """An objective (default: the world's own score) as a form of the columns."""
        objective = objective or self.worlds[world].problem.objective
        q = self.quantities(world)
        if objective.curve is None:
            return Form(q @ objective.linear, less=less)
        return Form(
            q @ objective.linear,
            q[:, TRUNK_LOAD],
            objective.curve_weight,
            objective.curve,
            objective.curve_slope,
            less,
        )

    # -- solving -----------------------------------------------------------------------------

    def least_mean(
        self, forms: Sequence[Form], *, start: Array | None = None, time_limit_s: float = inf
    ) -> Joint:
        """The layout of least mean of the forms.

        `start` offers columns of a known layout. Raises SolveInterrupted on Ctrl-C.
        """
        linear = np.mean([form.linear for form in forms], axis=0)
        less = float(np.mean([form.less for form in forms]))
        curved = [form for form in forms if form.curve is not None]
        share = 1.0 / len(forms)

        def rest(x: Array) -> list[tuple[float, Array, float]]:
            """The curves' mean: its value, and its tangent."""
            value, gradient, constant = 0.0, np.zeros(self.n), 0.0
            for form in curved:
                flat = replace(form, linear=np.zeros(self.n), less=0.0)
                g, c = flat.tangent(x)
                value += share * flat.value(x)
                gradient, constant = gradient + share * g, constant + share * c
            return [(value, gradient, constant)]

        self._free()
        cost = linear + self.formulation.tie
        found = self._minimise(cost, 1.0 if curved else 0.0, rest, time_limit_s, start)
        return self._joint(found, forms, lambda values: float(np.mean(values)), -less)

    def least_worst(
        self, forms: Sequence[Form], *, start: Array | None = None, time_limit_s: float = inf
    ) -> Joint:
        """The layout whose greatest form is least; `start` as for the mean."""
        begun = time.perf_counter()
        known = start
        if known is None:
            start_at = self.least_mean(forms, time_limit_s=time_limit_s)
            if start_at.columns is None:
                return start_at
            known = start_at.columns
        self._free()
        for form in sorted(forms, key=lambda f: -f.value(known))[:ROUND]:
            self._row(*form.tangent(known))

        def rest(x: Array) -> list[tuple[float, Array, float]]:
            ranked = sorted(forms, key=lambda form: -form.value(x))[:ROUND]
            return [(form.value(x), *form.tangent(x)) for form in ranked]

        left = time_limit_s - (time.perf_counter() - begun)
        found = self._minimise(self.formulation.tie, 1.0, rest, left, known)
        return self._joint(found, forms, max, 0.0)

    def exclude(self, plan: Plan) -> None:
        """Forbid a plan's places: at least one part must sit elsewhere or be another model."""
        columns = [self._column_of[choice] for choice in plan.choices]
        self.live.add_row(-inf, len(columns) - 1.0, np.array(columns), np.ones(len(columns)))

    def _minimise(
        self,
        cost: Array,
        z_cost: float,
        rest: Callable[[Array], list[tuple[float, Array, float]]],
        time_limit_s: float,
        start: Array | None = None,
    ) -> Outcome:
        """Minimise cost . columns + z_cost z: z >= what `rest` says, every world's limits kept."""
        self.live.set_costs(np.append(cost, z_cost))
        spent = 0.0
        for _ in range(MOST_ROUNDS):
            if start is not None:
                z = max((value for value, _, _ in rest(start)), default=0.0)
                self.live.set_start(np.append(start, z))
            outcome = self.live.solve(gap=0.0, time_limit_s=max(time_limit_s - spent, 0.01))
            spent += outcome.seconds
            if outcome.x is None or outcome.status != "optimal":
                return replace(outcome, seconds=spent)
            x, z = outcome.x[: self.n], float(outcome.x[self.n])
            if self._add_broken(x):
                start = None
                continue
            start = x
            loose = False
            for value, gradient, constant in rest(x) if z_cost else []:
                if value - z > EXACT * max(1.0, abs(value)):
                    self._row(gradient, constant)
                    loose = True
            if not loose:
                return replace(outcome, seconds=spent)
        raise RuntimeError("the cutting planes do not close")

    def _row(self, gradient: Array, constant: float) -> None:
        """z >= gradient . columns + constant."""
        index = np.flatnonzero(gradient)
        columns = np.append(index, self.n)
        row = self.live.add_row(constant, inf, columns, np.append(-gradient[index], 1.0))
        self._z_rows.append(row)

    def _free(self) -> None:
        """Lift the rows on z: they belong to what was minimised before."""
        for row in self._z_rows:
            self.live.set_row_bounds(row, -inf, inf)
        self._z_rows.clear()

    def _joint(
        self,
        outcome: Outcome,
        forms: Sequence[Form],
        gather: Callable[[Sequence[float]], float],
        shift: float,
    ) -> Joint:
        if outcome.x is None:
            return Joint(outcome.status, None, inf, outcome.bound, seconds=outcome.seconds)
        x = outcome.x[: self.n]
        values = [form.value(x) for form in forms]
        value = gather(values)
        bound = value if outcome.status == "optimal" else min(outcome.bound + shift, value)
        return Joint(outcome.status, self.plan(x), value, bound, tuple(values), x, outcome.seconds)

    def plan(self, x: Array) -> Plan:
        """Columns read as a plan."""
        p, cols = self.worlds[0].problem, self.formulation.columns
        by_slot = {choice[0]: choice for choice, c in self._column_of.items() if x[c] > 0.5}
        options = [0] * len(p.lines)
        for (number, option, _, _), column in self.writer.link_columns.items():
            if x[column] > 0.5:
                options[number] = option
        ballast = tuple((s, float(max(x[cols.b[s]], 0.0))) for s, k in cols.k.items() if x[k] > 0.5)
        return Plan(tuple(by_slot[s] for s in range(len(p.slots))), tuple(options), ballast)

    def columns_of(self, plan: Plan) -> Array:
        """A plan as columns, limits not looked at.

        Raises
        ------
        KeyError
            If it needs a choice or a link that not every world has.
        """
        p, cols = self.worlds[0].problem, self.formulation.columns
        x = np.zeros(self.n)
        for choice in plan.choices:
            x[self._column_of[choice]] = 1.0
        site = {slot: s for slot, _, s in plan.choices}
        model = {slot: k for slot, k, _ in plan.choices}
        ballast = dict(plan.ballast)
        used = set(site.values()) | set(ballast)
        for s in used:
            x[cols.u[s]] = 1.0
        for s, kg in ballast.items():
            x[cols.k[s]], x[cols.b[s]] = 1.0, kg
        for number, column in cols.v.items():
            x[column] = float(bool(used.intersection(p.pieces[number].sites)))
        for key, column in self.writer.link_columns.items():
            line = p.lines[key[0]]
            if plan.options[key[0]] == key[1] and all(
                site[slot] == end[0] and end[1] in (None, model[slot])
                for slot, end in ((line.slot_a, key[2]), (line.slot_b, key[3]))
            ):
                x[column] = 1.0
        for number, column in cols.over.items():
            soft = p.soft[number]
            load = float(x @ self.formulation.quantities @ soft.coefficients)
            x[column] = max(0.0, load - soft.upper)
        return x

    # -- limits of the other worlds -----------------------------------------------------------

    def _add_broken(self, x: Array) -> bool:
        """Add the limits, capacities and rules of the other worlds that columns break."""
        added = False
        for w in range(1, len(self.worlds)):
            added = self._limits_of(w, x) or added
            added = self._caps_of(w, x) or added
            added = self._rules_of(w, x) or added
        return added

    def _limits_of(self, w: int, x: Array) -> bool:
        added = False
        limits = self.worlds[w].problem.limits
        if not limits:
            return False
        totals = x @ self.quantities(w)
        for limit in limits:
            size = abs(limit.upper) or 1.0
            if float(totals @ limit.coefficients) - limit.upper > 2e-6 * max(1.0, size):
                weights = self.quantities(w) @ limit.coefficients / size
                index = np.flatnonzero(weights)
                self.live.add_row(-inf, limit.upper / size, cast(Array, index), weights[index])
                added = True
        return added

    def _caps_unlike_first(self, w: int) -> list[Array]:
        """Capacities of a world, as weights of the columns with sum <= 1, that differ from the
        first world's."""
        first, here = (self._cap_weights(world) for world in (self.worlds[0], self.worlds[w]))
        return (
            [] if w == 0 else [row for key, row in here.items() if not _alike(first.get(key), row)]
        )

    def _cap_weights(self, world: World) -> dict[tuple[str, int], Array]:
        found, cols = {}, self.formulation.columns
        of_choice = {world.choice_number[key]: column for key, column in self._column_of.items()}
        chosen, columns = np.array(list(of_choice)), np.array(list(of_choice.values()))
        for cap in world.problem.caps:
            weights = np.zeros(self.n)
            if len(chosen):
                weights[columns] = cap.use[chosen] / cap.cap
            if cap.site in cols.b:
                weights[cols.b[cap.site]] = cap.per_ballast_kg / cap.cap
            found[cap.kind, cap.site] = weights
        return found

    def _caps_of(self, w: int, x: Array) -> bool:
        added = False
        for weights in self._own_caps[w]:
            if float(weights @ x) > 1.0 + 2e-6:
                index = np.flatnonzero(weights)
                self.live.add_row(-inf, 1.0, cast(Array, index), weights[index])
                added = True
        return added

    def _rules_of(self, w: int, x: Array) -> bool:
        added, world = False, self.worlds[w]
        at = {slot: s for (slot, _, s), column in self._column_of.items() if x[column] > 0.5}
        for rule in world.problem.pairs:
            i, j = at[rule.slot_a], at[rule.slot_b]
            if rule.forbidden(i, j):
                columns = [
                    column
                    for (slot, _, s), column in self._column_of.items()
                    if (slot, s) in ((rule.slot_a, i), (rule.slot_b, j))
                ]
                self.live.add_row(-inf, 1.0, np.array(columns), np.ones(len(columns)))
                added = True
        return added


def _alike(a: Array | None, b: Array) -> bool:
    return a is not None and bool(np.allclose(a, b, rtol=1e-12, atol=0.0))


__all__ = ["LINK", "Form", "Joint", "JointProgram"]
