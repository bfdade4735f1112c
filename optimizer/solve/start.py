"""First layouts before any branching: a beam over the root's bound."""

from __future__ import annotations

import time
from math import inf

import numpy as np

from optimizer.problem.pairwise import Pairwise
from optimizer.solve.enumeration import Enumerator
from optimizer.solve.relaxation import Bound
from optimizer.solve.shortlist import Shortlist

#: Widths of the beam, tried in turn until enough layouts are found.
WIDTHS = (48, 400)


def first_layouts(
    model: Pairwise,
    bound: Bound,
    enumerator: Enumerator,
    shortlist: Shortlist,
    deadline: float = inf,
) -> None:
    """Offer good layouts to the shortlist so that its threshold is near from the start."""
    everything = np.ones(len(model.choice), dtype=bool)
    for width in WIDTHS:
        wide = max(width, 2 * shortlist.top)
        found = enumerator.run(
            bound, everything, shortlist.threshold, width=wide, deadline=deadline
        )
        if found is not None:
            shortlist.offer(found[0])
        if len(shortlist) >= shortlist.top or time.perf_counter() > deadline:
            return
