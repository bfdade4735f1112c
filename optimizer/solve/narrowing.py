"""Demands on where parts sit as choices closed to the search.

A demand counts copies of one part at some sites. Copies that may be swapped are as good as one
another, so "two of three elsewhere" is the first two elsewhere: what is demanded of a number of
copies is demanded of the first ones, and nothing is lost.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from math import ceil, floor

import numpy as np

from optimizer.problem.arrays import Array, Problem
from optimizer.problem.presolve import Reduced
from optimizer.solve.demands import Demand, SiteDemand


def narrowed(reduced: Reduced, demands: Sequence[Demand]) -> Reduced:
    """The problem with what demands on one part's sites forbid closed.

    Copies are no longer in garment order: the search must not hold them to it.

    Raises
    ------
    ValueError
        If closing choices does not say it: demands on something else than sites, or on slots that
        may not be swapped, or more than one that keeps copies out of sites or wants them there.
    """
    problem = reduced.problem
    of_sites = [demand for demand in demands if isinstance(demand, SiteDemand)]
    if len(of_sites) < len(demands) or not _can_narrow(problem, of_sites):
        raise ValueError("demands that closing choices does not say")
    open_ = reduced.open.copy()
    for demand in of_sites:
        here = np.isin(problem.choice_site, list(demand.sites))
        slots = sorted(demand.slots)
        # those that must be there come first, so that of those kept out they are the first too
        for slot in slots[: max(0, ceil(demand.least))]:
            open_ &= here | (problem.choice_slot != slot)
        if demand.most < len(slots):
            for slot in slots[: len(slots) - floor(demand.most)]:
                open_ &= ~here | (problem.choice_slot != slot)
    return reduced.narrowed(open_)


def _can_narrow(problem: Problem, demands: Sequence[SiteDemand]) -> bool:
    slots = set(demands[0].slots) if demands else set()
    swapped = any(
        slots <= {slot for bundle in group for slot in bundle}
        and all(len(slots.intersection(bundle)) <= 1 for bundle in group)
        for group in problem.exchange
    )
    wanted = [demand for demand in demands if demand.least > 0.0]
    kept_out = [demand for demand in demands if demand.most < len(slots)]
    return (
        all(set(demand.slots) == slots for demand in demands)
        and (len(slots) <= 1 or swapped)
        and len(wanted) <= 1
        and len(kept_out) <= 1
        and not any(one.sites & other.sites for one in wanted for other in kept_out)
    )


def favouring(problem: Problem, kept: Collection[tuple[str, str, str]], points: float) -> Array:
    """(n_c,) some points for every choice but those that are kept, by (unit, model, site)."""
    names = map(problem.named, range(len(problem.choice_slot)))
    return np.array([0.0 if name in kept else points for name in names])
