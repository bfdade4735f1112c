"""Facets of the cone that some sets span, as a fractional point sees them.

A point, weighed by how much it is in use, that is no mixture of the sets is cut off by

    a . point <= c use,         a . P <= c for every set P,

and of all such inequalities by the one that the line from the sets' middle to the point crosses
last: a linear program over a and c. It stays alive, since from one point to the next only its
costs change, and which coefficients are held at nothing.

References
----------
[1] E. A. Boyd, "Fenchel cutting planes for integer programs", Operations Research 42 (1994) 53-64.
"""

from __future__ import annotations

from math import inf

import numpy as np

from optimizer.problem.arrays import Array
from optimizer.solve.highs_lp import LiveLinear, Rows

#: Less of an item than this is none.
NONE = 1e-6
#: Coefficients are held within this while a facet is looked for; smaller than that they are none.
_BOX, _TINY = 1e4, 1e-6
#: Sets to begin with per coefficient, sets that come in at a time, and rounds at most.
_BEGIN, _MORE, _ROUNDS = 8, 8, 60


class Facets:
    """Facets of the cone that sets, held (n, d) as points, span at use 1."""

    def __init__(self, held: Array):
        self.held = held
        self._live: LiveLinear | None = None
        self._chosen = np.zeros(len(held), dtype=bool)

    def of(self, point: Array, used: float = 1.0) -> Array | None:
        """Coefficients (d,), the largest 1 in size, of the facet that a point oversteps most.

        None if the point is in the cone. What the point does not use has none.
        """
        d = self.held.shape[1]
        nothing = point <= NONE
        if self._live is None:
            self._live = self._begin(point)
        live = self._live
        live.set_costs(np.concatenate([np.where(nothing, 0.0, -point), [used]]))
        box = np.where(nothing, 0.0, _BOX)
        live.set_bounds(np.arange(d), -box, box)
        normal = np.zeros(d + 1)
        for _ in range(_ROUNDS):
            if live.solve() != "optimal" or live.objective > -1e-9:
                return None
            normal, _ = live.solution()
            over = self.held @ normal[:d] - normal[d]
            over[self._chosen] = -inf
            worst = np.argsort(-over, kind="stable")[:_MORE]
            worst = worst[over[worst] > 1e-9 * max(1.0, float(np.abs(normal).max()))]
            if not len(worst):
                break
            self._chosen[worst] = True
            for k in worst.tolist():
                here = np.flatnonzero(self.held[k])
                live.add_row(np.append(here, d), np.append(np.ones(len(here)), -1.0), -inf, 0.0)
        scale = float(np.abs(normal[:d]).max(initial=0.0))
        if scale <= 0.0:
            return None
        facet = np.asarray(normal[:d] / scale)
        facet[np.abs(facet) < _TINY] = 0.0
        return facet

    def _begin(self, point: Array) -> LiveLinear:
        """Columns: the coefficients, and that of use; rows: the largest sets, and the middle."""
        d = self.held.shape[1]
        merit = self.held @ np.maximum(point, 1e-3)
        start = np.argsort(-merit, kind="stable")[: _BEGIN * d]
        self._chosen[start] = True
        row, column = np.nonzero(self.held[start])
        n = len(start)
        rows = Rows(
            np.concatenate([row, np.arange(n), np.full(d + 1, n)]),
            np.concatenate([column, np.full(n, d), np.arange(d + 1)]),
            np.concatenate([np.ones(len(row)), -np.ones(n), -self.held.mean(axis=0), [1.0]]),
            np.full(n + 1, -inf),
            np.append(np.zeros(n), 1.0),
        )
        return LiveLinear(np.zeros(d + 1), np.full(d + 1, _BOX), rows, 0)
