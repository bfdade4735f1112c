"""Which parts a clash is about: parts that cannot be placed together, while any fewer can."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import inf

from optimizer.problem.arrays import Problem
from optimizer.problem.routing import Route
from optimizer.solve.conflicts import Oracle, quickxplain
from optimizer.solve.links import End, Needs, consistent


class PartsOracle:
    """Whether some of the parts can be placed under given limits, the others left out.

    A part left out needs no place, and its lines are not drawn.
    """

    def __init__(self, oracle: Oracle, kept: frozenset[int]):
        self._oracle, self._kept = oracle, kept
        problem = oracle.easing.problem
        self.slots = range(len(problem.slots))
        self._rows: dict[int, list[int]] = {p: [] for p in self.slots}
        self._place: dict[int, int] = {}
        for number, (group, subject) in enumerate(oracle.program.rows):
            if group == "place" and isinstance(subject, int):
                self._place[subject] = number
            elif group in ("line_end", "option") and isinstance(subject, tuple):
                line = problem.lines[subject[0]]
                for slot in {line.slot_a, line.slot_b}:
                    self._rows[slot].append(number)
            elif group == "order_copies" and isinstance(subject, tuple):
                for slot in subject:
                    self._rows[slot].append(number)

    def fits(self, slots: Sequence[int]) -> bool:
        """Whether these parts can be placed."""
        live, program = self._oracle.program.live, self._oracle.program
        out = [p for p in self.slots if p not in slots]
        freed = {row for p in out for row in self._rows[p]}
        for p in out:
            live.set_row_bounds(self._place[p], 0.0, 1.0)
        for row in freed:
            live.set_row_bounds(row, -inf, inf)
        try:
            self._oracle.lift_all_but(self._kept)
            return self._oracle.run().x is not None
        finally:
            for row in (*freed, *(self._place[p] for p in out)):
                live.set_row_bounds(row, program.row_lower[row], program.row_upper[row])


def clashing_parts(oracle: Oracle, kept: frozenset[int]) -> list[int]:
    """Slots that cannot be placed together under the limits `kept` alone; irreducible."""
    parts = PartsOracle(oracle, kept)
    return quickxplain(list(parts.slots), parts.fits)


def unjoinable_parts(problem: Problem) -> list[int]:
    """Slots that have no places, or none that lines of any length could join; irreducible.

    By arc consistency: without limits, places can be joined or not, whatever else is done.
    """

    def joined(slots: Sequence[int]) -> bool:
        lines = [line for line in problem.lines if {line.slot_a, line.slot_b} <= {*slots}]
        still, _ = consistent(replace(problem, lines=tuple(lines)), [_any_route] * len(lines))
        return all(still[problem.choice_slot == p].any() for p in slots)

    return quickxplain(list(range(len(problem.slots))), joined)


def _any_route(option: int, a: End, b: End, route: Route) -> Needs:
    return ()
