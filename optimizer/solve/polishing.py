"""Better layouts near the best one: a few parts are taken up and put down again in the best way.

All slots but some keep what they have in the best layout so far; the compiled search lists what
better there is for these. Taken up together are parts that lines join, parts that share a site,
and all parts as far as the relaxation hesitates where to put them (large neighbourhood search).

References
----------
[1] P. Shaw, "Using constraint programming and local search methods to solve vehicle routing
    problems", Principles and Practice of Constraint Programming, LNCS 1520 (1998) 417-431.
[2] E. Danna, E. Rothberg, C. Le Pape, "Exploring relaxation induced neighborhoods to improve MIP
    solutions", Math. Programming 102 (2005) 71-90.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from math import inf

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.pairwise import Pairwise
from optimizer.solve.bounds import Bound
from optimizer.solve.enumeration import Enumerator
from optimizer.solve.facets import NONE
from optimizer.solve.hands import HANDS, side_by_side
from optimizer.solve.shortlist import TIE, Shortlist

Mask = NDArray[np.bool_]
#: The share of all slots taken up together, and partial assignments looked at for one
#: neighbourhood: in passing, and where more is worth more.
QUICK, THOROUGH = ((0.44, 4_000),), ((0.25, 4_000), (0.4, 20_000))
#: Neighbourhoods of one size searched at most, per slot.
ROUNDS = 3
#: Partial assignments looked at where the relaxation hesitates.
HESITANT = 20_000
#: The same of parts drawn by lot, and how many of these are searched in vain, per slot.
DRAWN, IN_VAIN = (0.4, 10_000), 4
#: How likely a part is drawn that the relaxation puts just where it is, against one it does not.
SURE = 0.02


def polish(
    model: Pairwise,
    bound: Bound,
    open_: Mask,
    value: Array,
    enumerator: Enumerator,
    shortlist: Shortlist,
    deadline: float = inf,
    sizes: Sequence[tuple[float, int]] = QUICK,
) -> None:
    """Offer better layouts near the best one to the shortlist.

    Parameters
    ----------
    open_ : (n_c,) the choices to consider
    value : the relaxation's values, choices first
    enumerator : the compiled one, else this takes too long
    sizes : of neighbourhoods, one after another: share of all slots, partial assignments looked at
    """
    neighbourhoods = Neighbourhoods(model, bound, open_, enumerator, shortlist)
    neighbourhoods.search(value[: len(model.choice)] > NONE, HESITANT)
    for share, budget in sizes:
        together, fruitless = int(share * model.n_slots), 0
        for n in range(ROUNDS * model.n_slots):
            if fruitless == model.n_slots:
                break
            if time.perf_counter() > deadline:
                return
            near = neighbourhoods.around(n % model.n_slots, together)
            fruitless = 0 if neighbourhoods.search(near, budget) else fruitless + 1


def wander(
    model: Pairwise,
    bound: Bound,
    open_: Mask,
    value: Array,
    enumerator: Enumerator,
    shortlist: Shortlist,
    *,
    trips: int = 1,
    seed: int = 0,
    deadline: float = inf,
) -> None:
    """The same with parts drawn by lot.

    Drawn are any of them, or any that lines and sites lead to, or rather those that the relaxation
    puts elsewhere. What `polish` leaves is the best near each part; it takes parts from all over
    to leave that. Every trip sets out from the layouts known before the first one, as many side by
    side as there are hands; where the first of them find nothing, there are no more.
    """
    known, before = _rows(model, shortlist), shortlist.threshold
    share, budget = DRAWN
    together = int(share * model.n_slots)
    doubt = 1.0 + SURE - value[: len(model.choice)]

    def trip(number: int) -> IntArray:
        rng = np.random.default_rng([seed, number])
        own = Shortlist(model, shortlist.top)
        own.offer(known)
        neighbourhoods = Neighbourhoods(model, bound, open_, enumerator, own)
        n = fruitless = 0
        while fruitless < IN_VAIN * model.n_slots and time.perf_counter() < deadline:
            if n % 3 == 0:
                near = neighbourhoods.led_to(rng, together)
            else:
                near = neighbourhoods.drawn(rng, together, doubt if n % 3 == 1 else None)
            fruitless = 0 if neighbourhoods.search(near, budget) else fruitless + 1
            n += 1
        return _rows(model, own)

    for first in range(0, trips, HANDS):
        for rows in side_by_side(trip, range(first, min(first + HANDS, trips))):
            shortlist.offer(rows)
        if shortlist.threshold == before:
            break


def _rows(model: Pairwise, shortlist: Shortlist) -> IntArray:
    """(entries, n_slots) the layouts of a shortlist, in numbers of open choices."""
    chosen = np.array([entry.chosen for entry in shortlist.ranked()], dtype=np.int64)
    return np.searchsorted(model.choice, chosen.reshape(-1, model.n_slots))


class Neighbourhoods:
    """Searches among the best layout and some further choices."""

    def __init__(
        self,
        model: Pairwise,
        bound: Bound,
        open_: Mask,
        enumerator: Enumerator,
        shortlist: Shortlist,
    ):
        self._m, self._bound, self._open = model, bound, open_
        self._enumerator, self._shortlist = enumerator, shortlist
        self._joined = np.zeros((model.n_slots, model.n_slots), dtype=bool)
        for slot, others in enumerate(model.beside):
            self._joined[slot, list(others)] = True

    def best(self) -> IntArray:
        """(n_slots,) the best layout so far, in numbers of open choices."""
        return np.searchsorted(self._m.choice, np.array(self._shortlist.leader().chosen))

    def around(self, slot: int, together: int) -> Mask:
        """All choices of a slot and of those nearest to it by lines and by site."""
        m, best = self._m, self.best()
        site = m.site[best]
        taken = [slot]
        for each in taken:
            beside = [*m.beside[each], *np.flatnonzero(site == site[each]).tolist()]
            taken += [other for other in dict.fromkeys(beside) if other not in taken]
            if len(taken) >= together:
                break
        return self._choices_of(taken[:together])

    def drawn(self, rng: np.random.Generator, together: int, weight: Array | None = None) -> Mask:
        """All choices of some slots drawn by lot, by the weight (n_c,) of what they have."""
        n, share = self._m.n_slots, None
        if weight is not None:
            own = np.maximum(weight[self.best()], 0.0)
            share = own / own.sum()
        return self._choices_of(rng.choice(n, together, replace=False, p=share))

    def led_to(self, rng: np.random.Generator, together: int) -> Mask:
        """All choices of a slot and of further ones, each drawn from those beside the others."""
        m, site = self._m, self._m.site[self.best()]
        beside = self._joined | (site[:, None] == site[None, :])
        taken = np.zeros(m.n_slots, dtype=bool)
        near = np.zeros(m.n_slots, dtype=bool)
        for _ in range(together):
            free = np.flatnonzero(near & ~taken)
            slot = rng.choice(free if len(free) else np.flatnonzero(~taken))
            taken[slot] = True
            near |= beside[slot]
        return self._choices_of(np.flatnonzero(taken))

    def _choices_of(self, slots: IntArray | list[int]) -> Mask:
        up = np.zeros(self._m.n_slots, dtype=bool)
        up[slots] = True
        return np.asarray(up[self._m.slot])

    def search(self, among: Mask, budget: int) -> bool:
        """Offer what is better than the best layout among its choices and some more.

        Returns whether there was something.
        """
        shortlist = self._shortlist
        before = shortlist.best
        # of a single layout wanted only a better one is worth telling
        most = shortlist.threshold if shortlist.top > 1 else before - TIE * max(1.0, abs(before))
        open_ = self._open & among
        open_[self.best()] = True
        found = self._enumerator.run(self._bound, open_, most, budget=budget, top=shortlist.top)
        shortlist.offer(found.rows)
        return shortlist.best < before
