"""First layouts before any branching: a beam over the root's bound."""

from __future__ import annotations

import time
from collections.abc import Sequence
from math import inf

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.pairwise import Pairwise
from optimizer.solve.bounds import Bound
from optimizer.solve.enumeration import Enumerator
from optimizer.solve.shortlist import Shortlist

Mask = NDArray[np.bool_]
#: Widths of the beam, tried in turn until enough layouts are found.
WIDTHS = (48, 400)


def first_layouts(
    model: Pairwise,
    bound: Bound,
    open_: Mask,
    enumerator: Enumerator,
    shortlist: Shortlist,
    deadline: float = inf,
    widths: Sequence[int] = WIDTHS,
) -> None:
    """Offer good layouts to the shortlist so that its threshold is near from the start."""
    for width in widths:
        wide = max(width, 2 * shortlist.top)
        found = enumerator.run(bound, open_, shortlist.threshold, width=wide, deadline=deadline)
        shortlist.offer(found.rows)
        if len(shortlist) >= shortlist.top or time.perf_counter() > deadline:
            return
