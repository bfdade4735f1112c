"""Facets of the cone that some sets span, as a fractional point sees them.

A point, weighed by how much it is in use, that is no mixture of the sets is cut off by

    a . point <= c use,         a . P <= c for every set P,

and of all such inequalities by the one that the line from the sets' middle to the point crosses
last: a linear program over a and c. Its dual looks for the least of the middle that has to be
mixed in before the point is a mixture,

    minimise m     sum of y_P P = point + m middle,     sum of y_P = use + m,     y, m >= 0,

and has as many rows as the point has items, however many sets there are. The simplex method
solves it on a dense table of a dozen rows, from the sets of one or two items: a fraction of what
handing it to a solver of large programs takes. Whatever comes out, the caller sets the right side
by all sets, so a cut never depends on this arithmetic.

References
----------
[1] E. A. Boyd, "Fenchel cutting planes for integer programs", Operations Research 42 (1994) 53-64.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array

Mask = NDArray[np.bool_]

#: Less of an item than this is none.
NONE = 1e-6
#: Coefficients smaller than this (of the largest) are none.
_TINY = 1e-6
#: What a start within the sets costs beside the middle; less than this is no gain, no step.
_AWAY, _LITTLE = 1e3, 1e-9
#: Added to what is left in a row, so that of rows with nothing left the largest pivot is taken.
_NUDGE, _ZERO = 1e-12, 1e-24
#: Steps at most per row.
_STEPS = 20


def facet(held: Mask, point: Array, used: float = 1.0) -> Array | None:
    """Coefficients (d,), the largest 1 in size, of the facet that a point oversteps most.

    None if the point is in the cone.

    Parameters
    ----------
    held : (n, d) which coordinates every set has: first none, every set after its subsets, and
        with it all of them (a coordinate may tell that two others are there)
    point : (d,) all above nothing
    """
    d = held.shape[1]
    n = d + 1
    # columns of the dual: every set, then the middle
    columns = np.ones((len(held) + 1, n))
    columns[:-1, :d] = held
    middle = columns[-1]
    np.negative(columns[:-1].mean(axis=0), out=middle)
    never = middle == 0.0
    if never.any():
        # in no set: any coefficient holds
        found = np.ones(d)
        rest = facet(held[:, ~never[:d]], point[~never[:d]], used)
        found[~never[:d]] = 0.0 if rest is None else rest
        return found
    table = _begin(columns[held.argmax(axis=0)], np.append(point, used))
    if table is None:
        return None
    for _ in range(_STEPS * n):
        gain = columns @ table[n, :n]
        gain[-1] -= 1.0
        j = int(gain.argmax())
        if gain[j] <= _LITTLE:
            break
        step = table[:, :n] @ columns[j]
        step[n] = gain[j]
        r = int(((table[:n, n] + _NUDGE) / np.maximum(step[:n], _ZERO)).argmin())
        if step[r] <= _LITTLE:
            break
        _pivot(table, step, r)
        if table[n, n] <= _LITTLE:
            return None
    normal = table[n, :d]
    scale = float(np.abs(normal).max(initial=0.0))
    if scale <= 0.0:
        return None
    found = normal / scale
    found[np.abs(found) < _TINY] = 0.0
    return found


def _begin(basis: Array, right: Array) -> Array | None:
    """The inverse of a first basis of one set per coordinate and the empty one, a set per row.

    What the columns amount to is at the end of each row; the last row has the prices. None if
    the point is a mixture of the basis.
    """
    n = len(right)
    table = np.zeros((n + 1, n + 1))
    matrix = np.zeros((n, n))
    matrix[:, :-1] = basis.T
    matrix[-1, -1] = 1.0
    table[:n, :n] = np.linalg.inv(matrix)
    table[:n, n] = table[:n, :n] @ right
    r = int(table[:n, n].argmin())
    if table[r, n] >= -_LITTLE:
        return None
    # enough of the basis' own middle makes a mixture of it; that costs, and is driven out
    step = np.full(n + 1, -1.0 / n)
    step[n] = -_AWAY
    _pivot(table, step, r)
    return table


def _pivot(table: Array, step: Array, r: int) -> None:
    """Bring a column into the basis in place of that of row r."""
    row = table[r] / step[r]
    table -= step[:, None] * row
    table[r] = row
