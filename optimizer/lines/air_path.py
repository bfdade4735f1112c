"""Restrictions one behind another and side by side: one conductance and ratio for the path.

References
----------
.. [1] Pair rule of ISO 6358-3 (after Gidlund): from memory; the choked conductance is derived
   below and is exact, the combined b is a fit whose effect on filling times the tests measure.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from optimizer.lines.air import DM3_PER_S_BAR, FloatArray
from optimizer.lines.impossible import require, require_positive


class Restriction(NamedTuple):
    """A valve, fitting or tube: sonic conductance [m^3/(s Pa)] and critical ratio b [-].

    Arrays are allowed in both and broadcast.
    """

    conductance: ArrayLike
    critical_ratio: ArrayLike

    @classmethod
    def from_catalogue(cls, c_dm3_s_bar: ArrayLike, b: ArrayLike) -> Restriction:
        """From catalogue figures, C in dm^3/(s bar)."""
        return cls(np.asarray(c_dm3_s_bar, dtype=float) * DM3_PER_S_BAR, b)


def checked(restriction: Restriction, name: str = "restriction") -> tuple[FloatArray, FloatArray]:
    """(C, b) as arrays; raises `ImpossiblePhysics` for C <= 0 or b outside 0..1."""
    C = np.asarray(restriction.conductance, dtype=float)
    b = np.asarray(restriction.critical_ratio, dtype=float)
    require_positive(f"sonic conductance of the {name} (m3/(s Pa))", C)
    require(
        (b >= 0) & (b < 1), f"critical pressure ratio b of the {name}", b, "at least 0 and below 1"
    )
    return C, b


def series(*path: Restriction) -> Restriction:
    r"""One restriction that stands for several in series, upstream first [1].

    For a pair with a = C1/C2: if a <= b1 the first one chokes alone and C = C1. Otherwise the
    second one chokes, C = C2 y with y = p_middle/p_upstream from equal mass flow,
    a^2 [1 - ((y-b1)/(1-b1))^2] = y^2, i.e.

    .. math:: y = a\,\frac{a b_1 + (1-b_1)\sqrt{a^2 + 1 - 2 b_1}}{a^2 + (1-b_1)^2}

    (the published pair rule with alpha = a/b1, written so that b1 = 0 is no special case). C is
    exact for a pair. The ratio is b = 1 - C^2 [(1-b1)/C1^2 + (1-b2)/C2^2], exact for all b = 0.
    Longer paths are combined pair by pair from the upstream end. Order matters. Filling times
    with the combined path differ from those with the exact one by less than 1.5 % (tests).
    """
    if not path:
        raise ValueError("a path needs at least one restriction")
    C1, b1 = checked(path[0])
    for following in path[1:]:
        C2, b2 = checked(following)
        a = C1 / C2
        root = np.sqrt(np.maximum(a * a + 1.0 - 2.0 * b1, 0.0))
        middle = a * (a * b1 + (1.0 - b1) * root) / (a * a + (1.0 - b1) ** 2)
        C = np.where(a <= b1, C1, C2 * middle)
        b = 1.0 - C * C * ((1.0 - b1) / C1**2 + (1.0 - b2) / C2**2)
        # Rounding may leave -1e-17 where all ratios are 0.
        C1, b1 = C, np.maximum(b, 0.0)
    return Restriction(C1, b1)


def parallel(*paths: Restriction) -> Restriction:
    r"""One restriction that stands for several side by side.

    C = sum C_i and b from C/sqrt(1-b) = sum C_i/sqrt(1-b_i) (from memory). Exact where all are
    choked and in the limit of small pressure drops, where phi -> sqrt(2(1-x)/(1-b)).
    """
    if not paths:
        raise ValueError("a path needs at least one restriction")
    pairs = [checked(path) for path in paths]
    C = np.asarray(sum(c for c, _ in pairs), dtype=float)
    slope = np.asarray(sum(c / np.sqrt(1.0 - b) for c, b in pairs), dtype=float)
    return Restriction(C, np.maximum(1.0 - (C / slope) ** 2, 0.0))
