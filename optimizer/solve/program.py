"""A formulated program alive in the solver: solve it, read layouts, cut them off, change it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import inf

import numpy as np

from optimizer.problem.arrays import Array, LimitRow, LineCase, LineRow, Objective, Problem
from optimizer.problem.presolve import Reduced, Switches, route_of
from optimizer.problem.quantities import DISCOMFORT, DONNING, INDEX
from optimizer.problem.routing import Route
from optimizer.solve.formulation import CONTINUOUS, TRUNK_LOAD, Formulation, RowKey, formulate
from optimizer.solve.highs import LiveModel, Matrix, Outcome, Tick

#: Tangents laid under a curved trunk model before solving; more are added where a solution lands.
FIRST_TANGENTS = 8
#: A curved model's tangents are tight enough when the exact curve lies within this share of the
#: score above them at the solution.
CURVE_TOLERANCE = 1e-7
#: How far to either side of a load tangents are laid close, at most how many.
CLOSE_KG = 0.3
CLOSE_TANGENTS = 40


#: How far a limit may be overstepped before it counts as broken, relative (the solver's own).
FEASIBILITY = 2e-6
#: How exactly the solver keeps rows and whole numbers. At its own 1e-6 its restart after presolve
#: was seen to cut off the optimum of a small program and to call the next best proven; at 1e-7 and
#: below it was not. Costs no time that could be measured.
FEASIBLE_TO = 1e-8


@dataclass(frozen=True)
class Solution:
    """A solution read as choices: the chosen choice of every slot, and every line's route.

    `routes[l]` is (option, route); `score` is recomputed from the arrays with
    the exact trunk curve, not the solver's objective.
    """

    chosen: tuple[int, ...]
    routes: tuple[tuple[int, Route], ...]
    quantities: Array
    score: float
    ballast: tuple[tuple[int, float], ...] = ()
    """Sites that hold ballast, and how much of it [kg]."""


class Program:
    """The program of one reduced problem under one objective."""

    def __init__(
        self,
        reduced: Reduced,
        objective: Objective | None = None,
        *,
        switches: Switches = Switches(),  # noqa: B008 - frozen
        seed: int = 0,
        threads: int = 1,
        curve_tolerance: float = CURVE_TOLERANCE,
        feasibility: float = FEASIBLE_TO,
    ):
        self.problem: Problem = reduced.problem
        self.reduced, self.switches = reduced, switches
        self.objective = objective or self.problem.objective
        self._curved = self.objective if self.objective.curve is not None else None
        self._curve_tolerance = curve_tolerance
        self._seed, self._threads, self._feasibility = seed, threads, feasibility
        self._cheapest: frozenset[int] = frozenset()
        self._tangents: list[float] = []
        self._excluded: list[tuple[int, ...]] = []
        if self.objective.curve is not None:
            self._tangents = [float(v) for v in np.linspace(0, self._heaviest(), FIRST_TANGENTS)]
        self._write()
        if self.objective.curve is not None:
            self._lay_tangents_by_relaxation()

    def _lay_tangents_by_relaxation(self) -> None:
        """Tangents where the linear relaxation lands, then close together around there."""
        assert self.objective.curve is not None
        for _ in range(8):
            x = self.live.relaxed()
            if x is None:
                return
            load = float(x[self._load])
            if self.objective.curve(load) - x[self._w] < 1e-3:
                score = float(self.formulation.costs(self.objective) @ x)
                self.add_tangents_near(load, score)
                return
            self.add_tangent(load)

    def _write(self) -> None:
        """Formulate and hand over to the solver, with all tangents and exclusions so far."""
        self.formulation: Formulation = self._formulate()
        matrix = compile_matrix(self.formulation, self.objective)
        self.rows: list[RowKey] = [(r.group, r.subject) for r in self.formulation.rows]
        self.row_lower, self.row_upper = matrix.row_lower, matrix.row_upper
        self.live = LiveModel(
            matrix, seed=self._seed, threads=self._threads, feasibility=self._feasibility
        )
        for load in self._tangents:
            self._tangent_row(load)
        for chosen in self._excluded:
            self._exclusion_row(chosen)
        self._written()

    def _written(self) -> None:
        """Called whenever the program was handed over anew; a subclass repeats its changes."""

    def _formulate(self) -> Formulation:
        return formulate(
            self.reduced, self._curved or self.objective, self.switches, self._cheapest
        )

    # -- solving ---------------------------------------------------------------------------

    def solve(
        self,
        *,
        gap: float = 0.0,
        time_limit_s: float = inf,
        cutoff: float | None = None,
        on_tick: Callable[[Tick], None] | None = None,
    ) -> tuple[Outcome, Solution | None]:
        """Solve, tightening the tangents of a curved trunk model until they are exact.

        Raises SolveInterrupted on Ctrl-C.
        """
        spent, nodes = 0.0, 0
        while True:
            outcome = self.live.solve(
                gap=gap, time_limit_s=time_limit_s - spent, cutoff=cutoff, on_tick=on_tick
            )
            spent, nodes = spent + outcome.seconds, nodes + outcome.nodes
            solution = None if outcome.x is None else self.read(outcome.x)
            outcome = Outcome(
                outcome.status,
                outcome.x,
                outcome.objective,
                outcome.bound,
                outcome.gap,
                nodes,
                spent,
            )
            if solution is None or outcome.x is None:
                return outcome, solution
            if outcome.status != "optimal":
                # stopped early: what breaks a limit once its lines run their own way is no layout
                return outcome, None if self.breaks_a_limit(solution) else solution
            astray = self._astray(outcome.x, solution)
            if astray:
                self._cheapest |= astray
                self._write()
                continue
            load = self._loose_at(outcome.x, solution)
            if load is None:
                return outcome, solution
            self.add_tangents_near(load, solution.score)

    def _loose_at(self, x: Array, solution: Solution) -> float | None:
        """The trunk load at which tangents are not yet as good as the curve; None if they are."""
        if self._curved is None:
            return None
        return self._loose_objective_at(x, float(solution.quantities[TRUNK_LOAD]), solution.score)

    def _loose_objective_at(self, x: Array, load_kg: float, score: float) -> float | None:
        if self.objective.curve is None or self._has_tangent(load_kg):
            return None
        short = self.objective.curve_weight * (self.objective.curve(load_kg) - float(x[self._w]))
        return None if short <= self._curve_tolerance * max(1.0, abs(score)) else load_kg

    def _has_tangent(self, load_kg: float) -> bool:
        return any(abs(load_kg - at) < 1e-9 for at in self._tangents)

    @property
    def _w(self) -> int:
        column = self.formulation.columns.w
        assert column is not None
        return column

    @property
    def _load(self) -> int:
        column = self.formulation.columns.load
        assert column is not None
        return column

    def add_tangents_near(self, load_kg: float, score: float) -> None:
        """Lay tangents so close around a load that the chord error there is negligible."""
        objective = self._curved
        assert objective is not None and objective.curve_slope is not None
        step = 1e-3
        low = max(load_kg - step, 0.0)
        bend = (objective.curve_slope(load_kg + step) - objective.curve_slope(low)) / (
            load_kg + step - low
        )
        # halfway between tangents a distance d apart the curve lies bend d^2 / 8 above them
        error = 0.5 * self._curve_tolerance * max(1.0, abs(score)) / objective.curve_weight
        apart = max(np.sqrt(8.0 * error / max(bend, 1e-12)), 2.0 * CLOSE_KG / CLOSE_TANGENTS)
        count = int(np.ceil(CLOSE_KG / apart))
        for k in range(-count, count + 1):
            if load_kg + k * apart >= 0.0:
                self.add_tangent(load_kg + k * apart)

    def add_tangent(self, load_kg: float) -> None:
        """Lay a tangent of the trunk curve at a load: w >= curve(L0) + slope(L0) (L - L0)."""
        self._tangents.append(load_kg)
        self._tangent_row(load_kg)

    def _tangent_row(self, load_kg: float) -> None:
        objective = self._curved
        assert objective is not None
        assert objective.curve is not None and objective.curve_slope is not None
        slope = objective.curve_slope(load_kg)
        value = objective.curve(load_kg)
        # written in milliwatts, so that the solver's tolerance on rows is 1e-9 W
        self.live.add_row(
            1e3 * (value - slope * load_kg),
            inf,
            np.array([self._load, self._w]),
            np.array([-1e3 * slope, 1e3]),
        )

    def exclude(self, chosen: tuple[int, ...]) -> None:
        """Forbid one layout: at least one slot must sit elsewhere or be another model."""
        self._excluded.append(chosen)
        self._exclusion_row(chosen)

    def _exclusion_row(self, chosen: tuple[int, ...]) -> None:
        columns = [self.formulation.columns.x[c] for c in chosen]
        self.live.add_row(-inf, len(columns) - 1.0, np.array(columns), np.ones(len(columns)))

    def breaks_a_limit(self, solution: Solution) -> bool:
        """Whether a limit does not hold where every line runs its own way."""
        return any(
            float(solution.quantities @ limit.coefficients) - limit.upper > overstepped(limit)
            for limit in self.problem.limits
        )

    def _astray(self, x: Array, solution: Solution) -> frozenset[int]:
        """Lines the solver led another way than their own, if that was worth something to it.

        It is when a limit breaks without it, or where what is minimised differs from the score
        that lines choose their routes by.
        """
        gained = float(
            (solution.quantities - x @ self.formulation.quantities) @ self._linear_here(solution)
        )
        if gained <= self._curve_tolerance and not self.breaks_a_limit(solution):
            return frozenset()
        run: dict[int, set[tuple[int, int]]] = {}
        for (number, _, a, d), column in self.formulation.columns.f.items():
            if x[column] > 0.5:
                run.setdefault(number, set()).add((a, d))
        return frozenset(
            number
            for number, (_, route) in enumerate(solution.routes)
            if run.get(number, set()) != set(route.arcs) and number not in self._cheapest
        )

    def _linear_here(self, solution: Solution) -> Array:
        """What is minimised as a linear form, tangent to the curve at a solution."""
        objective = self.objective
        if objective.curve_slope is None:
            return objective.linear
        linear = objective.linear.copy()
        slope = objective.curve_slope(float(solution.quantities[TRUNK_LOAD]))
        linear[TRUNK_LOAD] += objective.curve_weight * slope
        return linear

    # -- reading ---------------------------------------------------------------------------

    def read(self, x: Array) -> Solution:
        """Read a solver's vector as choices and routes, and add up its quantities anew."""
        p, cols = self.problem, self.formulation.columns
        chosen = [-1] * len(p.slots)
        for c, var in cols.x.items():
            if x[var] > 0.5:
                chosen[int(p.choice_slot[c])] = c
        ballast = tuple((s, float(max(x[cols.b[s]], 0.0))) for s, k in cols.k.items() if x[k] > 0.5)
        return solution_of(p, tuple(chosen), self._options(x), self.objective, ballast)

    def _options(self, x: Array) -> tuple[int, ...]:
        """The option every line is bought as."""
        options = [0] * len(self.problem.lines)
        for (number, option, _), column in self.formulation.columns.g.items():
            if x[column] > 0.5:
                options[number] = option
        return tuple(options)

    def _heaviest(self) -> float:
        """An upper bound on the trunk load worth laying tangents for [kg]."""
        p = self.problem
        heaviest = sum(
            float(p.choice_q[p.choices_of(slot), TRUNK_LOAD].max(initial=0.0))
            for slot in range(len(p.slots))
        )
        return heaviest + float(p.use_q[:, TRUNK_LOAD].sum())


def overstepped(limit: LimitRow) -> float:
    """How far a limit may be overstepped before it counts as broken, as the assessment has it."""
    least = 1.0 / limit.scale if limit.value is None else 1.0
    return FEASIBILITY * max(least, abs(limit.upper))


def solution_of(
    problem: Problem,
    chosen: tuple[int, ...],
    options: tuple[int, ...],
    objective: Objective,
    ballast: tuple[tuple[int, float], ...] = (),
) -> Solution:
    """Route every line, and add up the quantities and the exact score of given choices.

    Raises
    ------
    ValueError
        If a line cannot join the places of its ends as bought.
    """
    p = problem
    q = p.choice_q[list(chosen)].sum(axis=0)
    used = {int(p.choice_site[c]) for c in chosen} | {s for s, _ in ballast}
    q = q + p.use_q[sorted(used)].sum(axis=0)
    q[INDEX[DONNING]] += sum(1 for piece in p.pieces if used.intersection(piece.sites))
    for s, kg in ballast:
        q = q + kg * p.site_q[s]
    routes: list[tuple[int, Route]] = []
    ends: list[tuple[int, int, float]] = []
    rates: list[float] = []
    for line, option in zip(p.lines, options, strict=True):
        a, b = chosen[line.slot_a], chosen[line.slot_b]
        case = case_of(line, option, int(p.choice_model[a]), int(p.choice_model[b]))
        site_a, site_b = int(p.choice_site[a]), int(p.choice_site[b])
        route = None if case is None else route_of(p, line, case, site_a, site_b)
        if route is None:
            raise ValueError(f"line {line.name} as {line.options[option]} is out of reach")
        routes.append((option, route))
        rate = line.mass_kg_per_m[option]
        rates.append(rate)
        ends.append((site_a, site_b, 0.5 * line.slack_m * rate + line.end_mass_kg[option]))
    if routes:
        q = _with_lines(p, q, [route for _, route in routes], rates, ends)
    for soft in p.soft:
        over = float(q @ soft.coefficients) - soft.upper
        q[INDEX[DISCOMFORT]] += soft.points_per * max(0.0, over)
    score = float(q @ objective.linear)
    if objective.curve is not None:
        score += objective.curve_weight * objective.curve(float(q[TRUNK_LOAD]))
    return Solution(chosen, tuple(routes), q, score, ballast)


def _with_lines(
    problem: Problem,
    q: Array,
    routes: Sequence[Route],
    kg_per_m: Sequence[float],
    ends: Sequence[tuple[int, int, float]],
) -> Array:
    """Quantities `q` (quantities,) with lines added to them, one after the other.

    `ends` are the sites of each line's ends and the mass [kg] at either.
    """
    p = problem
    site_a, site_b, end_kg = (np.array(column) for column in zip(*ends, strict=True))
    counts = [len(route.arcs) for route in routes]
    arcs = np.array([arc for route in routes for arc, _ in route.arcs], dtype=np.int64)
    # row 0 is what there is already; each line has a row for its ends, then one for every arc
    first = 1 + np.arange(len(routes)) + np.concatenate([[0], np.cumsum(counts[:-1], dtype=int)])
    rows = np.empty((1 + len(routes) + len(arcs), len(q)))
    on_arc = np.ones(len(rows), dtype=bool)
    on_arc[0] = on_arc[first] = False
    rows[0] = q
    rows[first] = end_kg[:, None] * (p.site_q[site_a] + p.site_q[site_b])
    rows[on_arc] = (np.repeat(kg_per_m, counts) * p.arc_length_m[arcs])[:, None] * p.arc_q[arcs]
    # added from the first row down, so that equal layouts come to equal sums
    return np.asarray(np.add.reduce(rows, axis=0))


def case_of(line: LineRow, option: int, model_a: int, model_b: int) -> LineCase | None:
    """The case a line is bought as, given its option and its ends' models; None if impossible."""
    for case in line.cases:
        if (
            case.option == option
            and case.model_a in (None, model_a)
            and case.model_b in (None, model_b)
        ):
            return case
    return None


def compile_matrix(formulation: Formulation, objective: Objective) -> Matrix:
    """The arrays of a formulation under an objective."""
    rows = formulation.rows
    n = len(formulation.names)
    lengths = [len(row.columns) for row in rows]
    binary = np.array([kind not in CONTINUOUS for kind, _ in formulation.names])
    return Matrix(
        cost=formulation.costs(objective),
        col_lower=np.zeros(n),
        col_upper=np.array([CONTINUOUS.get(kind, 1.0) for kind, _ in formulation.names]),
        integer=binary,
        start=np.concatenate([[0], np.cumsum(lengths)]).astype(np.int32),
        index=np.array([c for row in rows for c in row.columns], dtype=np.int32),
        value=np.array([v for row in rows for v in row.coefficients]),
        row_lower=np.array([row.lower for row in rows]),
        row_upper=np.array([row.upper for row in rows]),
    )
