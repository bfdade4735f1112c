"""The best layout over a whole range of a number, none missed: envelopes of crossing scores.

With what is allowed fixed, take the best layouts at both ends of a range. Where their scores
cross, solve once: either nothing is better there, and then nothing is anywhere between, or a new
layout is, which splits the range [1]. That takes one solve for each piece and one for each switch
point, and needs only that any two layouts cross at most once (straight lines do).

Where rows move as well, a range is solved with the weakest form each row takes in it, so that
nothing allowed anywhere in the range is forbidden. Where a layout that wins this is truly allowed
it is best, for it is among all that are allowed there and more. Where it is not, a moving row
forbids it all the way to the end of its piece, because rows move evenly; the rest is solved anew
with that layout cut off and the rows as tight as the smaller range lets them be. Every step fixes
a stretch or cuts off a layout, so it ends, and no stretch is left to chance.

References
----------
[1] M. J. Eisner, D. G. Severance, "Mathematical techniques for efficient record segmentation in
    large shared databases", Journal of the ACM 23 (1976) 619-635.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from math import inf

import numpy as np

from optimizer.problem.arrays import Array
from optimizer.solve.epsilon import SearchStoppedError
from optimizer.solve.formulation import RowKey
from optimizer.solve.highs import SolveInterrupted
from optimizer.solve.program import Program, Solution
from optimizer.solve.sweep_family import Family, MovingRow

#: Scores closer than this, relative to their size or 1, are equal.
EQUAL = 2e-9
#: Share of the range below which a stretch is not looked into.
FINEST = 1e-9
#: A moving row counts as kept to this (of rows scaled to 1): ten times the solver's own.
KEPT = 1e-8
#: Past the point where a layout breaks a row, the search goes on where it breaks it by this, so
#: that layouts breaking it at the same point do not each win a sliver.
PAST = 1e-7


@dataclass(frozen=True, eq=False)
class Winner:
    """A layout that wins somewhere: the solver's vector, and the choices it stands for."""

    x: Array
    solution: Solution

    @property
    def key(self) -> tuple[object, ...]:
        """What makes it different from others: choices and line options."""
        return self.solution.chosen, tuple(option for option, _ in self.solution.routes)


@dataclass(frozen=True)
class Stretch:
    """From s = low to high `winner` is best; None where nothing meets every limit."""

    winner: Winner | None
    low: float
    high: float


#: A winner, and from where to where.
Piece = tuple[Winner, float, float]


class SweptProgram(Program):
    """The program of a family, alive, to be turned to any s in place."""

    def __init__(self, family: Family, seed: int, threads: int):
        self.family = family
        self._cost = family.cost_at(0.0)
        self._range = (0.0, 0.0)
        self._s = 0.0
        self._cut: dict[tuple[object, ...], Winner] = {}
        self._numbers: dict[RowKey, int] = {}
        self._cut_rows: dict[tuple[object, ...], int] = {}
        super().__init__(
            family.base.reduced,
            seed=seed,
            threads=threads,
            curve_tolerance=1e-9,
            feasibility=1e-9,
        )

    def turn(self, s: float, low: float, high: float, cut: list[Winner]) -> None:
        """Cost as at s; moving rows at their weakest from low to high; `cut` layouts forbidden."""
        self._s, self._range = s, (low, high)
        self._cost = self.family.cost_at(s)
        self._cut = {winner.key: winner for winner in cut}
        self._apply()

    def _written(self) -> None:
        self._numbers = {key: r for r, key in enumerate(self.rows)}
        self._cut_rows = {}
        self._apply()

    def _apply(self) -> None:
        self.live.set_costs(self._cost)
        for row in self.family.rows:
            value, upper = row.weakest(*self._range)
            self._put(row, value, upper)
        load = self.family.load
        if load is not None:
            value, _ = load.at(self._s)
            self._put(load, value, None)
        for key, number in self._cut_rows.items():
            if key not in self._cut:
                self.live.set_row_bounds(number, -inf, inf)
        for key, winner in self._cut.items():
            columns = self._marks(winner)
            if key not in self._cut_rows:
                self._cut_rows[key] = self.live.add_row(
                    -inf, len(columns) - 1.0, columns.astype(float), np.ones(len(columns))
                )
            self.live.set_row_bounds(self._cut_rows[key], -inf, len(columns) - 1.0)

    def _put(self, row: MovingRow, value: Array, upper: float | None) -> None:
        number = self._numbers[row.key]
        for column, coefficient in zip(row.index.tolist(), value.tolist(), strict=True):
            self.live.set_coefficient(number, column, coefficient)
        if upper is not None:
            self.live.set_row_bounds(number, -inf, upper)

    def _marks(self, winner: Winner) -> Array:
        """Columns that are all 1 in this layout and in no other."""
        columns = self.formulation.columns
        chosen = [columns.x[c] for c in winner.solution.chosen]
        bought = [j for j in columns.g.values() if winner.x[j] > 0.5]
        return np.array([*chosen, *bought])

    def start_from(self, winner: Winner) -> None:
        """Offer a layout that is allowed as the first solution to beat."""
        x, columns = winner.x.copy(), self.formulation.columns
        if len(x) != len(self.formulation.names):
            return
        if columns.w is not None and columns.load is not None:
            assert self._curved is not None and self._curved.curve is not None
            x[columns.load] = self.family.trunk_kg(x, self._s)
            x[columns.w] = self._curved.curve(x[columns.load])
        self.live.set_start(x)

    def straightened(self, x: Array, solution: Solution) -> Array:
        """The vector with every line on its own route."""
        columns = self.formulation.columns.f
        straight = x.copy()
        for (number, *_), column in columns.items():
            if solution.routes[number][1] is not None:
                straight[column] = 0.0
        for number, (option, route) in enumerate(solution.routes):
            for a, d in route.arcs:
                straight[columns[number, option, a, d]] = 1.0
        return straight

    def _astray(self, x: Array, solution: Solution) -> frozenset[int]:
        """Lines led another way than their own, if that saved cost or met a limit."""
        straight = self.straightened(x, solution)
        if not np.any(straight != x):
            return frozenset()
        saved = float((self._cost - self.formulation.tie) @ (straight - x))
        if saved <= EQUAL and not self._breaks_limits(straight):
            return frozenset()
        moved = straight != x
        return frozenset(
            number
            for (number, *_), column in self.formulation.columns.f.items()
            if moved[column] and number not in self._cheapest
        )

    def _breaks_limits(self, x: Array) -> bool:
        moving = {row.key: row.weakest(*self._range) for row in self.family.rows}
        for row in self.formulation.rows:
            if row.group != "limit":
                continue
            value, upper = moving.get(
                (row.group, row.subject), (np.array(row.coefficients), row.upper)
            )
            if float(value @ x[row.columns]) - upper > KEPT:
                return True
        return False

    def _loose_at(self, x: Array, solution: Solution) -> float | None:
        if self._curved is None:
            return None
        load = self.family.trunk_kg(x, self._s)
        return self._loose_objective_at(x, load, self.family.score(x, self._s))


class ExactSweep:
    """The search over one family; `stretches` fills from low to high as they are proven."""

    def __init__(
        self,
        family: Family,
        *,
        seed: int = 0,
        threads: int = 1,
        deadline: float = inf,
        on_solve: Callable[[int], None] | None = None,
    ):
        self.family = family
        self.program = SweptProgram(family, seed, threads)
        self._deadline, self._on_solve = deadline, on_solve
        self._known: dict[tuple[object, ...], Winner] = {}
        self._since: float | None = None
        self.stretches: list[Stretch] = []
        self.solves = 0
        self.seconds = 0.0

    def run(self) -> None:
        """Fill `stretches` from s = 0 to 1.

        Raises
        ------
        SearchStoppedError
            When the deadline has passed or on Ctrl-C; what is proven by then is kept.
        """
        self._cover(0.0, 1.0, [])

    # -- ranges in which rows move -----------------------------------------------------------

    def _cover(self, low: float, high: float, cut: list[Winner]) -> None:
        """Prove the range from low to high, the layouts in `cut` being forbidden throughout."""
        winner = self._best(low, (low, high), cut)
        if winner is None:
            self._prove(None, low, high)
            return
        first, last = self._allowed(winner, low, high)
        if first > low or last >= high:
            self._settle(self._envelope(winner, low, high, cut), low, high, cut)
            return
        # best at the start, and forbidden from somewhere on: settle first how far it stays best
        if last - low > FINEST:
            self._settle(self._envelope(winner, low, last, cut), low, last, cut)
        _, after = self._allowed(winner, low, high, PAST)
        self._since = last
        self._cover(after, high, [*cut, winner])

    def _settle(self, pieces: list[Piece], low: float, high: float, cut: list[Winner]) -> None:
        """Keep of the winners under the weakest rows what is allowed; look anew at the rest."""
        for winner, a, b in pieces:
            first, last = self._allowed(winner, a, b)
            if first > last:
                self._again(winner, a, b, low, high, cut)
                continue
            before, after = self._allowed(winner, a, b, PAST)
            if before > a:
                self._again(winner, a, before, low, high, cut)
            self._prove(winner, first, last)
            if after < b:
                self._since = last
                self._again(winner, after, b, low, high, cut)

    def _again(
        self, winner: Winner, a: float, b: float, low: float, high: float, cut: list[Winner]
    ) -> None:
        """Look anew at a stretch in which a winner turned out to be forbidden throughout."""
        if b - a < FINEST:
            self._prove(None, a, b)
            return
        # no narrower than before: halve it, so that the rows get tighter
        parts = [(a, b)] if b - a < 0.6 * (high - low) else [(a, (a + b) / 2), ((a + b) / 2, b)]
        for start, end in parts:
            self._cover(start, end, [*cut, winner])

    def _allowed(
        self, winner: Winner, a: float, b: float, past: float = 0.0
    ) -> tuple[float, float]:
        """Where between a and b a layout meets the moving rows; first > last: nowhere.

        With `past`, where it oversteps none by more than that.
        """
        first, last = a, b
        for row in self.family.rows:
            at_a, at_b = row.excess(winner.x, a) - past, row.excess(winner.x, b) - past
            if at_a <= KEPT and at_b <= KEPT:
                continue
            if at_a > KEPT and at_b > KEPT:
                return b, a
            # the limit itself, not the tolerance, is where the layout changes
            turn = a if at_a <= KEPT else b
            if at_a * at_b < 0.0:
                turn = a + (b - a) * at_a / (at_a - at_b)
            if at_a > KEPT:
                first = max(first, turn)
            else:
                last = min(last, turn)
        return first, last

    def _prove(self, winner: Winner | None, a: float, b: float) -> None:
        """Note that a layout is best from a to b, joining it to an equal stretch before."""
        # what follows a layout that a limit ends follows it from the limit on
        a, self._since = a if self._since is None else self._since, None
        if not self.stretches:
            self.stretches.append(Stretch(winner, a, b))
            return
        before = self.stretches.pop()
        if b - a < FINEST or self._serves(before.winner, winner, a, b):
            self.stretches.append(Stretch(before.winner, before.low, b))
        elif self._serves(winner, before.winner, before.low, before.high):
            self.stretches.append(Stretch(winner, before.low, b))
        else:
            self.stretches += [Stretch(before.winner, before.low, a), Stretch(winner, a, b)]

    def _serves(self, one: Winner | None, other: Winner | None, a: float, b: float) -> bool:
        """Whether a layout is as good from a to b as the one that is best there, and allowed."""
        if one is None or other is None:
            return one is other
        if one.key == other.key:
            return True
        allowed = all(row.excess(one.x, s) <= KEPT for row in self.family.rows for s in (a, b))
        return allowed and self._level(one, other, a) and self._level(one, other, b)

    # -- one range, rows fixed ---------------------------------------------------------------

    def _envelope(self, first: Winner, low: float, high: float, cut: list[Winner]) -> list[Piece]:
        """Winners from low, where `first` is best, to high, the rows at their weakest for that."""
        last = self._best(high, (low, high), cut, first)
        assert last is not None
        return self._between(first, low, last, high, (low, high), cut)

    def _between(
        self,
        first: Winner,
        low: float,
        last: Winner,
        high: float,
        span: tuple[float, float],
        cut: list[Winner],
    ) -> list[Piece]:
        if first.key == last.key or self._level(first, last, high):
            return [(first, low, high)]
        if self._level(last, first, low):
            return [(last, low, high)]
        at = self._crossing(first, last, low, high)
        if at - low < FINEST:
            return [(last, low, high)]
        if high - at < FINEST:
            return [(first, low, high)]
        middle = self._best(at, span, cut, first)
        assert middle is not None
        if middle.key in (first.key, last.key) or self._level(first, middle, at):
            return [(first, low, at), (last, at, high)]
        return [
            *self._between(first, low, middle, at, span, cut),
            *self._between(middle, at, last, high, span, cut),
        ]

    def _level(self, a: Winner, b: Winner, s: float) -> bool:
        """Whether a scores no worse than b at s, b being best there."""
        score = self.family.score(b.x, s)
        return self.family.score(a.x, s) <= score + EQUAL * max(1.0, abs(score))

    def _crossing(self, first: Winner, last: Winner, low: float, high: float) -> float:
        """Where two layouts score the same; each is ahead at its own end."""

        def ahead(s: float) -> float:
            return self.family.score(first.x, s) - self.family.score(last.x, s)

        at_low, at_high = ahead(low), ahead(high)
        if self.family.straight:
            return low + (high - low) * at_low / (at_low - at_high)
        from scipy.optimize import brentq

        return float(brentq(ahead, low, high, xtol=1e-13, rtol=1e-13))

    def _best(
        self, s: float, span: tuple[float, float], cut: list[Winner], start: Winner | None = None
    ) -> Winner | None:
        left = inf if self._deadline == inf else self._deadline - time.perf_counter()
        if left <= 0.0:
            raise SearchStoppedError("time_limit")
        self.program.turn(s, *span, cut)
        if start is not None:
            self.program.start_from(start)
        try:
            outcome, solution = self.program.solve(gap=0.0, time_limit_s=left)
        except SolveInterrupted:
            raise SearchStoppedError("interrupted") from None
        self.solves += 1
        self.seconds += outcome.seconds
        if self._on_solve is not None:
            self._on_solve(self.solves)
        if outcome.status == "infeasible":
            return None
        if outcome.status != "optimal" or outcome.x is None or solution is None:
            raise SearchStoppedError(outcome.status)
        found = Winner(self.program.straightened(outcome.x, solution), solution)
        return self._known.setdefault(found.key, found)
