"""The cheapest way from every anchor to every other, and what else may be worth taking.

Weights are counted in steps (whole numbers), so that equals are equals. A way's cost comes first,
then its length, then its bend, then its nodes. Off-body anchors are no thoroughfare: between two
anchors on the body a way stays on it, between two off the body off it, and from the one to the
other it crosses once.
"""

from __future__ import annotations

import heapq
from functools import cached_property
from itertools import pairwise as neighbours

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, IntArray

Mask = NDArray[np.bool_]
#: Costs (score points per kg/m), lengths [m] and bends [rad] are counted in steps of this to put
#: routes in order, so that equals are told apart by length, bend and nodes, not by rounding noise.
STEP = 1e-12
#: Below this many steps in all, sums of two ways fit 64-bit numbers; beyond, Python's own are used.
_WIDEST = 2.0**60


class AnchorGraph:
    """Anchors, numbered from 0, and the arcs between them, each in both directions.

    Directed arcs are in order of their tails, then of their heads.

    Parameters
    ----------
    tail, head : (n_e,) anchors that each directed arc leads from and to
    weights : (3, n_e) cost, length [m] and bend [rad] of each
    off_body : (n,) which anchors are off the body
    by_length, by_bend : whether a dearer way may be worth taking for its length, its bend
    """

    def __init__(
        self,
        tail: IntArray,
        head: IntArray,
        weights: Array,
        off_body: Mask,
        *,
        by_length: bool,
        by_bend: bool,
    ):
        self.tail, self.head = tail, head
        self._off = off_body
        self._by_length, self._by_bend = by_length, by_bend
        steps = np.rint(weights / STEP)
        # no arc is of no length, so that no way is as good as itself and a loop
        steps[1] = np.maximum(steps[1], 1.0)
        small = steps.sum(axis=1).max(initial=0.0) < _WIDEST
        self._steps = steps.astype(np.int64) if small else _whole(steps)
        self._far = [sum(row) + 1 for row in self._steps.tolist()]

    @property
    def n(self) -> int:
        """How many anchors there are."""
        return len(self._off)

    @cached_property
    def _cheapest(self) -> IntArray:
        """(3, n, n) cost, length and bend of the cheapest way; cost `_far[0]` if there is none."""
        return self._least((0, 1, 2))

    @cached_property
    def _shortest(self) -> IntArray:
        """(n, n) the least length of a way between two anchors."""
        return self._least((1,))[0]

    @cached_property
    def _straightest(self) -> IntArray:
        """(n, n) the least bend of a way between two anchors."""
        return self._least((2,))[0]

    def _least(self, order: tuple[int, ...]) -> IntArray:
        """(len(order), n, n): least weights from anchor to anchor, the first ones first."""
        steps = self._steps[list(order)]
        least = np.empty((len(order), self.n, self.n), dtype=steps.dtype)
        least[:] = np.array([self._far[k] for k in order], dtype=steps.dtype)[:, None, None]
        least[:, np.arange(self.n), np.arange(self.n)] = 0
        crossing = self._off[self.tail] != self._off[self.head]
        stays = ~crossing
        least[:, self.tail[stays], self.head[stays]] = steps[:, stays]
        through = np.empty_like(least)
        for k in np.unique(self.tail).tolist():
            np.add(least[:, :, k, None], least[:, None, k, :], out=through)
            _lower(least, through)
        if crossing.any():
            inside = least.copy()
            for e in np.flatnonzero(crossing):
                onward = steps[:, e, None] + inside[:, self.head[e]]
                _lower(least, inside[:, :, self.tail[e], None] + onward[:, None, :])
        return least

    @cached_property
    def _onward(self) -> IntArray:
        """(n, n) the directed arc a cheapest way takes first, n_e where there is none.

        Of equal ways the one whose nodes come first.
        """
        n_e = len(self.tail)
        onward = np.full((self.n, self.n), n_e, dtype=np.int64)
        if not n_e:
            return onward
        left, off = self._cheapest, self._off
        stays = off[self.tail] == off[self.head]
        leads = stays[:, None] | (off[self.head][:, None] == off[None, :])
        leads &= left[0][self.tail] < self._far[0]
        for k in range(3):
            leads &= self._steps[k][:, None] + left[k][self.head] == left[k][self.tail]
        begins = np.flatnonzero(np.diff(self.tail, prepend=-1))
        first = np.where(leads, np.arange(n_e)[:, None], n_e)
        onward[self.tail[begins]] = np.minimum.reduceat(first, begins, axis=0)
        return onward

    def reached(self, start: IntArray, goal: IntArray) -> Mask:
        """Whether there is a way between each pair of anchors (n_p,)."""
        return np.asarray(self._cheapest[0][start, goal] < self._far[0])

    def cheapest_ways(self, start: IntArray, goal: IntArray) -> IntArray:
        """(n_hops, n_p) directed arcs of the cheapest way of each pair of anchors, then n_e."""
        n_e = len(self.tail)
        head = np.append(self.head, 0)
        here = start
        hops: list[IntArray] = []
        while True:
            arcs = self._onward[here, goal]
            going = arcs < n_e
            if not going.any():
                return np.array(hops, dtype=np.int64).reshape(len(hops), len(start))
            hops.append(arcs)
            here = np.where(going, head[arcs], here)

    def has_more_ways(self, start: IntArray, goal: IntArray) -> Mask:
        """Whether some dearer way is shorter or less bent than the cheapest, where that counts."""
        more = np.zeros(len(start), dtype=bool)
        if self._by_length:
            more |= self._cheapest[1][start, goal] > self._shortest[start, goal]
        if self._by_bend:
            more |= self._cheapest[2][start, goal] > self._straightest[start, goal]
        return more & self.reached(start, goal)

    @cached_property
    def _arcs_from(self) -> list[list[tuple[int, int, int, int]]]:
        """Per anchor, the arcs from it: head, cost, length, bend."""
        arcs: list[list[tuple[int, int, int, int]]] = [[] for _ in range(self.n)]
        rows = zip(self.tail.tolist(), self.head.tolist(), *self._steps.tolist(), strict=True)
        for tail, head, cost, length, bend in rows:
            arcs[tail].append((head, cost, length, bend))
        return arcs

    @cached_property
    def _arc_between(self) -> dict[tuple[int, int], int]:
        """The directed arc from one anchor to another."""
        ends = zip(self.tail.tolist(), self.head.tolist(), strict=True)
        return {pair: e for e, pair in enumerate(ends)}

    @cached_property
    def _off_body(self) -> list[bool]:
        """Per anchor, whether it is off the body."""
        return list(self._off.tolist())

    def dearer_ways(self, start: int, goal: int) -> list[tuple[int, ...]]:
        """Directed arcs of the ways worth taking beside the cheapest, in order of cost.

        Each is shorter or less bent, where that counts, than all before it. Best-first search:
        a way begun is given up where even the least that is left to go makes it no better than
        one found, or where another one got to the same anchor with no more of anything.
        """
        if self._by_length and self._by_bend:
            return self._dearer_by_both(start, goal)
        return self._dearer_by_one(start, goal, 1 if self._by_length else 2)

    def _dearer_by_one(self, start: int, goal: int, counts: int) -> list[tuple[int, ...]]:
        """`dearer_ways` where only weight number `counts` does, 1 the length or 2 the bend."""
        to_pay = self._cheapest[0][:, goal].tolist()
        to_go = (self._shortest if counts == 1 else self._straightest)[:, goal].tolist()
        off, arcs_from = self._off_body, self._arcs_from
        best = int(self._cheapest[counts, start, goal])
        # the least with which each anchor was come to; being less than that, no way comes twice
        least = [best] * self.n
        ways: list[tuple[int, ...]] = []
        heap: list[tuple[int, int, int, tuple[int, ...]]] = [(to_pay[start], 0, 0, (start,))]
        while heap and best > to_go[start]:
            total, length, bend, nodes = heapq.heappop(heap)
            here = nodes[-1]
            gone = length if counts == 1 else bend
            if gone >= least[here] or gone + to_go[here] >= best:
                continue
            least[here] = gone
            if here == goal:
                best = gone
                ways.append(tuple(self._arc_between[step] for step in neighbours(nodes)))
                continue
            paid = total - to_pay[here]
            for there, cost, m, turn in arcs_from[here]:
                on = gone + (m if counts == 1 else turn)
                if on >= least[there] or on + to_go[there] >= best:
                    continue
                if off[there] != off[here] and off[there] != off[goal]:
                    continue
                way = (paid + cost + to_pay[there], length + m, bend + turn, (*nodes, there))
                heapq.heappush(heap, way)
        return ways

    def _dearer_by_both(self, start: int, goal: int) -> list[tuple[int, ...]]:
        """`dearer_ways` where both length and bend count."""
        to_pay = self._cheapest[0][:, goal].tolist()
        to_go = self._shortest[:, goal].tolist()
        to_turn = self._straightest[:, goal].tolist()
        off = self._off_body

        def beaten(by: list[tuple[int, int]], length: int, bend: int) -> bool:
            """Whether one of some ways, none of which costs more, is no longer or more bent."""
            return any(long <= length and bent <= bend for long, bent in by)

        _, length, bend = self._cheapest[:, start, goal].tolist()
        found, ways = [(length, bend)], []
        kept: list[list[tuple[int, int]]] = [[] for _ in range(self.n)]
        heap: list[tuple[int, int, int, tuple[int, ...]]]
        heap = [(to_pay[start], 0, 0, (start,))]
        while heap:
            total, length, bend, nodes = heapq.heappop(heap)
            here = nodes[-1]
            if beaten(kept[here], length, bend):
                continue
            if beaten(found, length + to_go[here], bend + to_turn[here]):
                continue
            kept[here].append((length, bend))
            if here == goal:
                found.append((length, bend))
                ways.append(tuple(self._arc_between[step] for step in neighbours(nodes)))
                continue
            paid = total - to_pay[here]
            for there, cost, m, turn in self._arcs_from[here]:
                if there in nodes or (off[there] != off[here] and off[there] != off[goal]):
                    continue
                long, bent = length + m, bend + turn
                if beaten(found, long + to_go[there], bent + to_turn[there]):
                    continue
                if beaten(kept[there], long, bent):
                    continue
                way = (paid + cost + to_pay[there], long, bent, (*nodes, there))
                heapq.heappush(heap, way)
        return ways


def _whole(steps: Array) -> IntArray:
    """Python's own whole numbers, of any size, where 64 bits might not do."""
    return np.array([[int(v) for v in row] for row in steps], dtype=object).reshape(steps.shape)


def _lower(least: IntArray, other: IntArray) -> None:
    """Write into `least` what is less in `other`: (n_w, ...), weights in order of rank."""
    if len(least) == 1:
        np.minimum(least, other, out=least)
        return
    less = other[-1] < least[-1]
    for k in range(len(least) - 2, -1, -1):
        less &= other[k] == least[k]
        less |= other[k] < least[k]
    np.copyto(least, other, where=less)
