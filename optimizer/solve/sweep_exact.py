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

from optimizer.solve.epsilon import SearchStoppedError, solve_once
from optimizer.solve.highs import SolveInterrupted
from optimizer.solve.program import Solution
from optimizer.solve.rank import can_search
from optimizer.solve.sweep_arrays import Key, Winner
from optimizer.solve.sweep_family import Family
from optimizer.solve.sweep_program import EQUAL, KEPT, SweptProgram

#: Share of the range below which a stretch is not looked into.
FINEST = 1e-9
#: Past the point where a layout breaks a row, the search goes on where it breaks it by this, so
#: that layouts breaking it at the same point do not each win a sliver.
PAST = 1e-7


@dataclass(frozen=True)
class Stretch:
    """From s = low to high `winner` is best; None where nothing meets every limit."""

    winner: Winner | None
    low: float
    high: float


#: A winner, and from where to where.
Piece = tuple[Winner, float, float]


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
        self._seed, self._threads = seed, threads
        self._program: SweptProgram | None = None
        self._deadline, self._on_solve = deadline, on_solve
        self._known: dict[Key, Winner] = {}
        self._since: float | None = None
        self.stretches: list[Stretch] = []
        self.solves = 0

    def run(self) -> None:
        """Fill `stretches` from s = 0 to 1.

        Raises
        ------
        SearchStoppedError
            When the deadline has passed or on Ctrl-C; what is proven by then is kept.
        """
        self._cover(0.0, 1.0, [])
        # what a limit ends within its resolution before the end of the range lasts to the end
        last = self.stretches.pop()
        self.stretches.append(Stretch(last.winner, last.low, 1.0))

    # -- ranges in which rows move -----------------------------------------------------------

    def _cover(self, low: float, high: float, cut: list[Winner]) -> None:
        """Prove the range from low to high, the layouts in `cut` being forbidden throughout."""
        winner = self._best(low, (low, high), cut)
        if winner is None:
            self._prove(None, low, high)
            return
        first, last = self._allowed(winner, low, high)
        if first > last:
            self._again(winner, low, high, low, high, cut)
            return
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
        for ends in winner.excess:
            at_a, at_b = (_along(ends, s) - past for s in (a, b))
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
            self.stretches.append(Stretch(winner, 0.0, b))
            return
        before = self.stretches.pop()
        sliver = before.high - before.low < FINEST  # at the start of the range only
        if b - a < FINEST or self._serves(before.winner, winner, a, b):
            self.stretches.append(Stretch(before.winner, before.low, b))
        elif sliver or self._serves(winner, before.winner, before.low, before.high):
            self.stretches.append(Stretch(winner, before.low, b))
        else:
            self.stretches += [Stretch(before.winner, before.low, a), Stretch(winner, a, b)]

    def _serves(self, one: Winner | None, other: Winner | None, a: float, b: float) -> bool:
        """Whether a layout is as good from a to b as the one that is best there, and allowed."""
        if one is None or other is None:
            return one is other
        if one.key == other.key:
            return True
        allowed = all(_along(ends, s) <= KEPT for ends in one.excess for s in (a, b))
        return allowed and self._level(one, other, a) and self._level(one, other, b)

    # -- one range, rows fixed ---------------------------------------------------------------

    def _envelope(self, first: Winner, low: float, high: float, cut: list[Winner]) -> list[Piece]:
        """Winners from low, where `first` is best, to high, the rows at their weakest for that."""
        last = self._best(high, (low, high), cut)
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
        middle = self._best(at, span, cut)
        assert middle is not None
        if middle.key in (first.key, last.key) or self._level(first, middle, at):
            return [(first, low, at), (last, at, high)]
        return [
            *self._between(first, low, middle, at, span, cut),
            *self._between(middle, at, last, high, span, cut),
        ]

    def _level(self, a: Winner, b: Winner, s: float) -> bool:
        """Whether a scores no worse than b at s, b being best there."""
        arrays = self.family.arrays
        score = arrays.score(b, s)
        return arrays.score(a, s) <= score + EQUAL * max(1.0, abs(score))

    def _crossing(self, first: Winner, last: Winner, low: float, high: float) -> float:
        """Where two layouts score the same; each is ahead at its own end."""

        arrays = self.family.arrays

        def ahead(s: float) -> float:
            return arrays.score(first, s) - arrays.score(last, s)

        at_low, at_high = ahead(low), ahead(high)
        if self.family.straight:
            return low + (high - low) * at_low / (at_low - at_high)
        from scipy.optimize import brentq

        return float(brentq(ahead, low, high, xtol=1e-13, rtol=1e-13))

    def _best(self, s: float, span: tuple[float, float], cut: list[Winner]) -> Winner | None:
        """The best layout at s that is not cut off, moving limits at their weakest in the span."""
        arrays = self.family.arrays
        solution = None
        reduced = arrays.at(s, *span) if arrays.searchable else None
        if reduced is not None and can_search(reduced):
            solution = solve_once(reduced, time_limit_s=self._left(), seed=self._seed)
            self._count()
            if solution is None:
                return None
        forbidden = {winner.key for winner in cut}
        if solution is None or _key(solution) in forbidden:
            solution = self._by_program(s, span, cut)
        if solution is None:
            return None
        key = _key(solution)
        if key not in self._known:
            self._known[key] = arrays.winner(*key)
        return self._known[key]

    def _by_program(
        self, s: float, span: tuple[float, float], cut: list[Winner]
    ) -> Solution | None:
        """The same from the program, which can forbid single layouts."""
        if self._program is None:
            self._program = SweptProgram(self.family, self._seed, self._threads)
        self._program.turn(s, *span, cut)
        try:
            outcome, solution = self._program.solve(gap=0.0, time_limit_s=self._left())
        except SolveInterrupted:
            raise SearchStoppedError("interrupted") from None
        self._count()
        if outcome.status == "infeasible":
            return None
        if outcome.status != "optimal":
            raise SearchStoppedError(outcome.status)
        return solution

    def _left(self) -> float:
        left = inf if self._deadline == inf else self._deadline - time.perf_counter()
        if left <= 0.0:
            raise SearchStoppedError("time_limit")
        return left

    def _count(self) -> None:
        self.solves += 1
        if self._on_solve is not None:
            self._on_solve(self.solves)


def _along(ends: tuple[float, float], s: float) -> float:
    return (1.0 - s) * ends[0] + s * ends[1]


def _key(solution: Solution) -> Key:
    return solution.chosen, tuple(option for option, _ in solution.routes)
