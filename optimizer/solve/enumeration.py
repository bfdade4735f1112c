"""All assignments below a threshold, slot by slot, many partial assignments side by side.

Every partial assignment carries what each choice of the slots still open would cost under the
multipliers of a `Bound`; the sum over slots of the least of these bounds what it can become. One
pass of array operations extends thousands of partial assignments by one slot, the one that at the
moment has the fewest extensions that stay below the threshold. Capacities, rules and limits rule
out extensions exactly. With a `width` only the most promising partial assignments go on (a beam):
then what comes back is feasible, but not all of it.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.pairwise import Pairwise
from optimizer.solve.bounds import Bound
from optimizer.solve.scoring import ROOM

Mask = NDArray[np.bool_]
#: Partial assignments extended together.
CHUNK = 4096


@dataclass(frozen=True)
class Listing:
    """Assignments found: rows of numbers of open choices; `complete` if there are no others.

    Where it was `over_budget`, what had been found by then.
    """

    rows: IntArray
    complete: bool
    over_budget: bool = False


@dataclass
class _Batch:
    """Partial assignments with the same slots open; arrays have one row each."""

    slots: tuple[int, ...]
    columns: IntArray
    """Open choices of the slots still open, in their order."""
    starts: IntArray
    """Where each open slot's choices begin in `columns`."""
    chosen: IntArray
    cost: Array
    ahead: Array
    """What each of `columns` would cost, without the share of its site's use."""
    used: Mask
    room: Array
    form: Array
    rest: Array
    """The least that open slots and pairs add to each limit."""


class Enumerator:
    """Enumerates assignments of one problem under changing bounds."""

    #: Whether it is the compiled one, which may be asked for far more.
    compiled = False

    def __init__(self, model: Pairwise):
        self._m = m = model
        self._n_l = m.n_limits
        self._limit = m.form[:, : self._n_l]
        self._use_limit = m.use_form[:, : self._n_l]
        self._use_spared = np.minimum(self._use_limit, 0.0)
        self._use_more = self._use_limit - self._use_spared
        # a piece counts when put on; before that, for the least it can bring
        self._pieces_least = len(m.pieces) * np.minimum(m.piece_form[: self._n_l], 0.0)
        self.extended = 0

    def run(
        self,
        bound: Bound,
        open_: Mask,
        most: float,
        *,
        width: int | None = None,
        budget: int | None = None,
        deadline: float = inf,
        top: int = 0,
        all_of_it: bool = True,
    ) -> Listing:
        """Assignments over open choices whose bound is at most `most`; their score may exceed it.

        Parameters
        ----------
        width : how many partial assignments go on at every step; by default all
        budget : how many partial assignments may be looked at
        top, all_of_it : of use to the compiled search only
        """
        del top, all_of_it
        start = self._start(bound, open_, most)
        if start is None:
            return Listing(np.zeros((0, self._m.n_slots), dtype=np.int64), True)
        found: list[IntArray] = [np.zeros((0, self._m.n_slots), dtype=np.int64)]
        looked_at, complete = 0, True
        stack = [start]
        while stack:
            batch = stack.pop()
            if not batch.slots:
                found.append(batch.chosen)
                continue
            after = self._extend(bound, batch, most)
            if after is None:
                continue
            looked_at += len(after.cost)
            self.extended += len(after.cost)
            if budget is not None and looked_at > budget:
                return Listing(np.concatenate(found), False, over_budget=True)
            if time.perf_counter() > deadline:
                complete = False
                break
            if width is not None and len(after.cost) > width:
                after = self._most_promising(bound, after, width)
                complete = False
            stack += self._chunks(after)
        return Listing(np.concatenate(found), complete)

    # -- one step --------------------------------------------------------------------------

    def _start(self, bound: Bound, open_: Mask, most: float) -> _Batch | None:
        """Slots with a single open choice filled; None if that already fails."""
        m = self._m
        counts = np.add.reduceat(open_.astype(np.int64), m.first[:-1])
        if not counts.all():
            return None
        chosen = np.full(m.n_slots, -1, dtype=np.int64)
        cost = bound.constant
        used = np.zeros(m.n_sites, dtype=bool)
        room = np.ones((m.n_sites, m.capacity_use.shape[1]))
        ahead = np.where(open_, bound.choice, inf)
        form = self._use_spared[np.unique(m.site)].sum(axis=0) + self._pieces_least
        pending = np.zeros(self._n_l)
        for pair in m.pairs.values():
            pending = pending + pair.bottom_form[: self._n_l]
        for p in np.flatnonzero(counts == 1).tolist():
            c = int(m.first[p] + np.flatnonzero(open_[m.first[p] : m.first[p + 1]])[0])
            chosen[p] = c
            cost += float(ahead[c])
            site = int(m.site[c])
            if not used[site]:
                used[site] = True
                cost += float(bound.use[site])
                form = form + self._use_more[site]
            form = form + self._limit[c]
            room[site] -= m.capacity_use[c]
            for other in m.beside[p]:
                pair, turned = m.pair(p, other)
                if chosen[other] >= 0:
                    i, j = chosen[pair.slot_a], chosen[pair.slot_b]
                    least = pair.least_form[i - m.first[pair.slot_a], j - m.first[pair.slot_b]]
                    form = form + least[: self._n_l]
                    pending = pending - pair.bottom_form[: self._n_l]
                    continue
                table = bound.table[pair.slot_a, pair.slot_b]
                row = table[:, c - m.first[p]] if turned else table[c - m.first[p]]
                ahead[m.first[other] : m.first[other + 1]] += row
        if not np.isfinite(cost) or (room < -ROOM).any():
            return None
        slots = tuple(np.flatnonzero(counts > 1).tolist())
        if not slots and cost > most:
            return None
        own = [m.first[p] + np.flatnonzero(open_[m.first[p] : m.first[p + 1]]) for p in slots]
        columns = np.concatenate(own) if own else np.zeros(0, dtype=np.int64)
        starts = np.cumsum([0, *(len(each) for each in own)])[:-1]
        rest = pending
        for each in own:
            rest = rest + self._limit[each].min(axis=0)
        if self._n_l and (form + rest > m.upper + ROOM).any():
            return None
        return _Batch(
            slots,
            columns,
            np.asarray(starts, dtype=np.int64),
            chosen[None],
            np.array([cost]),
            ahead[None, columns],
            used[None],
            room[None],
            form[None],
            rest,
        )

    def _costs_ahead(self, bound: Bound, batch: _Batch) -> tuple[Array, Array, Array]:
        """Each open choice's cost, each slot's least, and the bound of every row."""
        m = self._m
        sites = m.site[batch.columns]
        full = batch.ahead + np.where(batch.used[:, sites], 0.0, bound.share[batch.columns])
        for k in range(m.capacity_use.shape[1]):
            full[m.capacity_use[batch.columns, k] > batch.room[:, sites, k] + ROOM] = inf
        least = np.minimum.reduceat(full, batch.starts, axis=1)
        return full, least, batch.cost + least.sum(axis=1)

    def _extend(self, bound: Bound, batch: _Batch, most: float) -> _Batch | None:
        m = self._m
        full, least, total = self._costs_ahead(bound, batch)
        lengths = np.diff(np.append(batch.starts, len(batch.columns)))
        place = np.repeat(np.arange(len(batch.slots)), lengths)
        with np.errstate(invalid="ignore"):
            stays = (total[:, None] + (full - least[:, place]) <= most) & np.isfinite(full)
        children = np.add.reduceat(stays.sum(axis=0), batch.starts)
        k = int(np.argmin(children))
        if not children[k]:
            return None
        slot = batch.slots[k]
        low, high = int(batch.starts[k]), int(batch.starts[k] + lengths[k])
        row, column = np.nonzero(stays[:, low:high])
        picked = batch.columns[low + column]
        sites = m.site[picked]
        opened = ~batch.used[row, sites]
        cost = batch.cost[row] + batch.ahead[row, low + column]
        cost = cost + np.where(opened, bound.use[sites], 0.0)
        form = batch.form[row] + self._limit[picked]
        form = form + np.where(opened[:, None], self._use_more[sites], 0.0)
        rest = batch.rest - self._limit[batch.columns[low:high]].min(axis=0)
        # what has been paid is no bound while slots are open: where a site is used by now, they
        # may cost less than nothing
        keep = np.ones(len(row), dtype=bool) if len(batch.slots) > 1 else cost <= most
        # pairs that are settled now
        open_slots = set(batch.slots)
        if self._n_l:
            for other in m.beside[slot]:
                if other in open_slots:
                    continue
                pair, turned = m.pair(slot, other)
                mine = picked - m.first[slot]
                theirs = batch.chosen[row, other] - m.first[other]
                i, j = (theirs, mine) if turned else (mine, theirs)
                form = form + pair.least_form[i, j, : self._n_l]
                rest = rest - pair.bottom_form[: self._n_l]
            keep &= (form + rest <= m.upper + ROOM).all(axis=1)
        if not keep.all():
            row, column, picked, sites = row[keep], column[keep], picked[keep], sites[keep]
            cost, form = cost[keep], form[keep]
            if not len(row):
                return None
        chosen = batch.chosen[row]
        chosen[:, slot] = picked
        lines = np.arange(len(row))
        used = batch.used[row]
        used[lines, sites] = True
        room = batch.room[row]
        room[lines, sites] -= m.capacity_use[picked]
        others = np.concatenate([np.arange(low), np.arange(high, len(batch.columns))])
        columns = batch.columns[others]
        ahead = batch.ahead[row][:, others]
        slots = batch.slots[:k] + batch.slots[k + 1 :]
        starts = np.concatenate([batch.starts[:k], batch.starts[k + 1 :] - (high - low)])
        ends = np.append(starts, len(columns))
        for n, other in enumerate(slots):
            if other not in m.beside[slot]:
                continue
            _, turned = m.pair(slot, other)
            table = bound.table[min(slot, other), max(slot, other)]
            table = table.T if turned else table
            span = slice(int(ends[n]), int(ends[n + 1]))
            theirs = columns[span] - m.first[other]
            ahead[:, span] += table[:, theirs][picked - m.first[slot]]
        return _Batch(slots, columns, starts, chosen, cost, ahead, used, room, form, rest)

    def _most_promising(self, bound: Bound, batch: _Batch, width: int) -> _Batch:
        total = self._costs_ahead(bound, batch)[2] if batch.slots else batch.cost
        order = np.argsort(total, kind="stable")[:width]
        return self._rows(batch, order[np.isfinite(total[order])])

    def _chunks(self, batch: _Batch) -> list[_Batch]:
        n = len(batch.cost)
        if n <= CHUNK:
            return [batch] if n else []
        pieces = [np.arange(k, min(k + CHUNK, n)) for k in range(0, n, CHUNK)]
        return [self._rows(batch, piece) for piece in reversed(pieces)]

    @staticmethod
    def _rows(batch: _Batch, rows: IntArray) -> _Batch:
        return _Batch(
            batch.slots,
            batch.columns,
            batch.starts,
            batch.chosen[rows],
            batch.cost[rows],
            batch.ahead[rows],
            batch.used[rows],
            batch.room[rows],
            batch.form[rows],
            batch.rest,
        )
