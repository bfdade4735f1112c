"""The longest line that still meets a time, for many lines at once.

References
----------
.. [1] Chandrupatla (1997), A new hybrid quadratic/bisection algorithm for finding the zero of a
   nonlinear function without using derivatives, Advances in Engineering Software 28:145.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.lines.air import FloatArray
from optimizer.lines.impossible import require

#: Longest line looked for; a budget met even there counts as no limit.
_ENDLESS_M = 2.0**20
#: Bisection alone needs 50 steps from there to 1e-9 m.
_MOST_STEPS = 200


def max_length_for_time(
    time_of_length: Callable[[FloatArray], FloatArray],
    budget_s: ArrayLike,
    tolerance_m: float = 1e-9,
) -> FloatArray:
    """Longest length [m] with `time_of_length(length) <= budget_s`, elementwise.

    `time_of_length` takes an array of lengths and returns times that never fall with length,
    inf where the pressure is never reached. Bracketed root-finding (inverse quadratic with
    bisection as a safeguard [1]) down to `tolerance_m`; the end of the bracket that meets the
    budget is returned, so the answer itself always meets it. nan where even length 0 is too
    slow, inf where the budget is inf.
    """
    budget = np.asarray(budget_s, dtype=float)
    require(budget > 0, "time budget (s)", budget, "above 0")

    finite = np.where(np.isinf(budget), 0.0, budget)

    def late(length: FloatArray) -> FloatArray:
        return np.asarray(time_of_length(length) - finite)

    late_at_zero = late(np.zeros_like(budget))
    endless = np.isinf(budget) & np.isfinite(late_at_zero)
    sought = (late_at_zero <= 0.0) & ~endless
    bracket = _bracket(late, late_at_zero, sought)
    # Bracketing stops at a length no body has: there the budget is no limit.
    endless = endless | (sought & (bracket.late_high <= 0.0))
    sought = sought & ~endless
    low = _narrow(late, bracket, sought, tolerance_m)
    return np.asarray(np.where(sought, low, np.where(endless, np.inf, np.nan)))


class _Bracket(NamedTuple):
    low: FloatArray
    high: FloatArray
    late_low: FloatArray
    late_high: FloatArray


def _bracket(
    late: Callable[[FloatArray], FloatArray], late_at_zero: FloatArray, sought: NDArray[np.bool_]
) -> _Bracket:
    """Double the upper end until it is too long everywhere it matters."""
    shape = late_at_zero.shape
    low, high, late_low = np.zeros(shape), np.ones(shape), late_at_zero
    late_high = late(high)
    while True:
        grow = sought & (late_high <= 0.0) & (high < _ENDLESS_M)
        if not grow.any():
            return _Bracket(low, high, late_low, late_high)
        low, late_low = np.where(grow, high, low), np.where(grow, late_high, late_low)
        high = np.where(grow, 2.0 * high, high)
        late_high = np.where(grow, late(high), late_high)


def _narrow(
    late: Callable[[FloatArray], FloatArray],
    bracket: _Bracket,
    sought: NDArray[np.bool_],
    tolerance_m: float,
) -> FloatArray:
    """Lower ends of brackets narrowed to the tolerance [1]; a and b enclose the root."""
    b, a, fb, fa = bracket
    t = np.full(a.shape, 0.5)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        for _ in range(_MOST_STEPS):
            if not np.any(sought & (np.abs(b - a) > tolerance_m)):
                break
            x = a + t * (b - a)
            fx = late(x)
            same = (fx <= 0.0) == (fa <= 0.0)
            c, fc = np.where(same, a, b), np.where(same, fa, fb)
            b, fb = np.where(same, b, a), np.where(same, fb, fa)
            a, fa = x, fx
            guess = _inverse_quadratic((a, b, c), (fa, fb, fc))
            least = np.minimum(0.5 * tolerance_m / np.maximum(np.abs(b - a), tolerance_m), 0.5)
            t = np.clip(guess, least, 1.0 - least)
    return np.asarray(np.where(fa <= 0.0, a, b))


def _inverse_quadratic(
    x: tuple[FloatArray, FloatArray, FloatArray], f: tuple[FloatArray, FloatArray, FloatArray]
) -> FloatArray:
    """Where to look next, as a share of the way from a to b: the middle if in doubt [1]."""
    (a, b, c), (fa, fb, fc) = x, f
    xi = (a - b) / (c - b)
    slope = (fa - fb) / (fc - fb)
    curved = (slope**2 < xi) & ((1.0 - slope) ** 2 < 1.0 - xi)
    guess = fa / (fb - fa) * fc / (fb - fc) + (c - a) / (b - a) * fa / (fc - fa) * fb / (fc - fb)
    return np.asarray(np.where(curved & np.isfinite(guess), guess, 0.5))
