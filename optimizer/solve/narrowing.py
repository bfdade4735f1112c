"""Demands on where parts sit as choices closed to the search.

A demand counts copies of one part at some sites. Copies that may be swapped are as good as one
another, so "two of three elsewhere" is the first two elsewhere: what is demanded of a number of
copies is demanded of the first ones, and nothing is lost.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, Problem
from optimizer.problem.presolve import Reduced
from optimizer.solve.demands import SiteDemand

Mask = NDArray[np.bool_]


def can_narrow(problem: Problem, demands: Sequence[SiteDemand]) -> bool:
    """Whether closing choices says what the demands say.

    They must be on the same slots, any two of which may be swapped, and where some copies must
    be at sites, no demand may keep them from those.
    """
    slots = set(demands[0].slots)
    swapped = any(
        slots <= {slot for bundle in group for slot in bundle}
        and all(len(slots.intersection(bundle)) <= 1 for bundle in group)
        for group in problem.exchange
    )
    wanted = [demand for demand in demands if demand.least > 0.0]
    kept_out = [demand for demand in demands if demand.most < len(slots)]
    return (
        all(set(demand.slots) == slots for demand in demands)
        and (len(slots) == 1 or swapped)
        and len(wanted) <= 1
        and len(kept_out) <= 1
        and not any(one.sites & other.sites for one in wanted for other in kept_out)
    )


def narrowed(reduced: Reduced, demands: Sequence[SiteDemand]) -> Reduced:
    """The problem with what the demands forbid closed; they must be such as `can_narrow`.

    Copies are no longer in garment order: the search must not hold them to it.
    """
    problem = reduced.problem
    open_ = reduced.open.copy()
    for demand in demands:
        here = np.isin(problem.choice_site, list(demand.sites))
        slots = sorted(demand.slots)
        # those that must be there come first, so that of those kept out they are the first too
        for slot in slots[: max(0, int(np.ceil(demand.least)))]:
            open_ &= here | (problem.choice_slot != slot)
        if demand.most < len(slots):
            for slot in slots[: len(slots) - int(np.floor(demand.most))]:
                open_ &= ~here | (problem.choice_slot != slot)
    return reduced.narrowed(open_)


def favouring(problem: Problem, spots: Sequence[tuple[str, str]], points: float) -> Array:
    """(n_c,) some points for every choice but those of a layout, told by (model, site) per slot."""
    found = np.full(len(problem.choice_slot), points)
    for slot, (model, site) in enumerate(spots):
        own = problem.choices_of(slot)
        for choice in own.tolist():
            named = problem.slots[slot].models[int(problem.choice_model[choice])]
            if (named, problem.site_names[int(problem.choice_site[choice])]) == (model, site):
                found[choice] = 0.0
    return found


def spots_of(problem: Problem, chosen: Sequence[int]) -> list[tuple[str, str]]:
    """(model, site) of every slot of a solution, by name."""
    return [
        (
            problem.slots[slot].models[int(problem.choice_model[choice])],
            problem.site_names[int(problem.choice_site[choice])],
        )
        for slot, choice in enumerate(chosen)
    ]
