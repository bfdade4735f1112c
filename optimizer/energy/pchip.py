"""Monotone cubic interpolation."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

# Why not scipy.interpolate.PchipInterpolator: importing it takes about 0.4 s, most of what a
# check of a study may take in all. The test suite holds this one to scipy's values.


def _end_slope(h0: float, h1: float, m0: float, m1: float) -> float:
    """One-sided three-point slope, limited so that the end piece stays monotone."""
    slope = ((2 * h0 + h1) * m0 - h0 * m1) / (h0 + h1)
    if np.sign(slope) != np.sign(m0):
        return 0.0
    if np.sign(m0) != np.sign(m1) and abs(slope) > 3 * abs(m0):
        return 3 * m0
    return slope


class Pchip:
    """Piecewise cubic Hermite curve through points, monotone wherever the points are.

    Slopes at inner points are the weighted harmonic mean of the neighbouring chords, zero at a
    turning point (Fritsch and Carlson, SIAM J Numer Anal 17:238, 1980; Fritsch and Butland,
    SIAM J Sci Stat Comput 5:300, 1984). Outside the points the curve is constant.

    `x` (n,) strictly increasing and `y` (n,), n >= 2; raises ValueError otherwise.
    """

    __slots__ = ("slopes", "x", "y")

    def __init__(self, x: Sequence[float], y: Sequence[float]) -> None:
        self.x = np.asarray(x, dtype=float)
        self.y = np.asarray(y, dtype=float)
        if self.x.ndim != 1 or self.x.shape != self.y.shape or self.x.size < 2:
            raise ValueError("x and y must be of the same length, two points or more")
        h = np.diff(self.x)
        if not (np.all(np.isfinite(self.x)) and np.all(np.isfinite(self.y)) and np.all(h > 0)):
            raise ValueError("x must be finite and strictly increasing, y finite")
        m = np.diff(self.y) / h
        if h.size == 1:
            self.slopes = np.repeat(m, 2)
            return
        d = np.zeros_like(self.x)
        w1, w2 = 2 * h[1:] + h[:-1], h[1:] + 2 * h[:-1]
        same = np.sign(m[:-1]) * np.sign(m[1:]) > 0
        below, above = np.where(same, m[:-1], 1.0), np.where(same, m[1:], 1.0)
        d[1:-1] = np.where(same, (w1 + w2) / (w1 / below + w2 / above), 0.0)
        d[0] = _end_slope(h[0], h[1], m[0], m[1])
        d[-1] = _end_slope(h[-1], h[-2], m[-1], m[-2])
        self.slopes = d

    def __call__(self, at: ArrayLike) -> NDArray[np.float64]:
        """Values at `at`, of its shape."""
        q = np.clip(np.asarray(at, dtype=float), self.x[0], self.x[-1])
        i = np.clip(np.searchsorted(self.x, q, side="right") - 1, 0, self.x.size - 2)
        h = self.x[i + 1] - self.x[i]
        t = (q - self.x[i]) / h
        # Hermite form written so that both ends of a piece are hit exactly.
        rise = self.y[i + 1] - self.y[i]
        bend = t * (1 - t) * ((1 - t) * self.slopes[i] - t * self.slopes[i + 1]) * h
        value = self.y[i] + t * t * (3 - 2 * t) * rise + bend
        return np.asarray(np.where(t == 1, self.y[i + 1], value))
