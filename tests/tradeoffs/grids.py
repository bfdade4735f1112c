"""A sweep against plain enumeration on a fine grid and on both sides of every switch point."""

from __future__ import annotations

import numpy as np

from optimizer.solve.relay import assess_there
from optimizer.solve.sweep_dial import Dial
from optimizer.solve.sweep_result import Sweep
from tests.solve.oracle import Enumeration

#: How near to a switch point both sides are looked at, as a share of the range: farther than
#: the tolerance of limits, 2e-6 of each.
BESIDE = 1e-4
#: Scores nearer than this are equal.
SAME = 1e-6


def values(found: Sweep, points: int) -> list[float]:
    """A grid over the range, and both sides of every switch point."""
    span = found.high - found.low
    grid = [float(v) for v in np.linspace(found.low, found.high, points)]
    for at in found.switch_points:
        grid += [at - BESIDE * span, at + BESIDE * span]
    return [v for v in grid if found.low <= v <= found.high]


def missed(dial: Dial, found: Sweep, points: int = 15) -> list[tuple[float, object]]:
    """Values at which the sweep does not tell what enumeration finds; empty if it never fails."""
    wrong: list[tuple[float, object]] = []
    for value in values(found, points):
        truth = Enumeration(dial.setting_at(value))
        best = truth.best_score if truth.feasible else None
        here = [piece for piece in found.pieces if piece.low <= value <= piece.high]
        told: list[float | None] = []
        for piece in here:
            if piece.layout is None:
                told.append(None)
                continue
            again = assess_there(dial.setting_at(value), piece.layout)
            if again is not None and again.feasible:
                told.append(again.score)
        right = any(
            score is None if best is None else score is not None and abs(score - best) <= SAME
            for score in told
        )
        if not right:
            wrong.append((value, (best, told)))
    return wrong
