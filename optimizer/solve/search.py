"""Branch and bound for the best layouts of a pairwise problem, one tree for all ranks.

At every node the linear relaxation is solved from the last basis; its dual values give a bound
under which choices that would cost too much are closed (reduced-cost fixing) and, where few are
left, all layouts below the threshold are enumerated at once. Else the node is split. The
threshold is the score of the last rank wanted among the layouts found so far, so the tree ends
when no better layout is left for any rank.
"""

from __future__ import annotations

import heapq
import time
from collections.abc import Callable
from dataclasses import dataclass
from itertools import count
from math import inf

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Objective
from optimizer.problem.pairwise import pairwise
from optimizer.problem.presolve import Reduced, Switches
from optimizer.solve.branching import Branching, Question
from optimizer.solve.covers import Covers
from optimizer.solve.enumeration import Enumerator
from optimizer.solve.highs import Tick
from optimizer.solve.relaxation import Bound, Relaxation, reduced_costs
from optimizer.solve.shortlist import Entry, Shortlist
from optimizer.solve.start import first_layouts
from optimizer.solve.tighten import Tightener

Mask = NDArray[np.bool_]
#: Rounds of cover cuts at the root, and by how much a point must overstep one there and below.
CUT_ROUNDS, CUT_ROOT, CUT_BELOW = 20, 1e-3, 0.03
HULL_BELOW = 0.05
#: Partial assignments that enumerating a node may look at before it is split instead.
BUDGET = 2000
#: Nodes of so few combinations (decimal logarithm) are always enumerated; of so many at first.
SMALLEST, SMALL = 4.0, 13.0
#: A trunk load this far from where the curve's tangent touches is worth a new tangent [kg].
_OFF_TANGENT_KG = 0.05
#: Seconds between signs of life.
_TICK_S = 0.3


@dataclass(frozen=True)
class Found:
    """What a search ended with.

    `status`: "optimal" when no better layout is left for any rank, "time_limit", "interrupted" or
    "node_limit". No layout that is missing from `entries` scores below `bound`.
    """

    status: str
    entries: list[Entry]
    bound: float
    nodes: int
    seconds: float
    shape: tuple[int, int]


@dataclass(frozen=True)
class _Node:
    open: Mask
    must: Mask
    may: Mask


class Search:
    """One search for the `top` best layouts of a reduced problem."""

    def __init__(
        self,
        reduced: Reduced,
        objective: Objective | None = None,
        *,
        top: int = 1,
        gap: float = 0.0,
        time_limit_s: float = inf,
        node_limit: int | None = None,
        seed: int = 0,
        on_tick: Callable[[Tick], None] | None = None,
        switches: Switches = Switches(),  # noqa: B008 - frozen
    ):
        self._began = time.perf_counter()
        self._deadline = self._began + time_limit_s
        self._gap, self._node_limit, self._seed = gap, node_limit, seed
        self._on_tick, self._told = on_tick, self._began
        self._switches = switches
        self._reduced, self._objective = reduced, objective
        self._nodes = 0
        self._heap: list[tuple[float, int, _Node]] = []
        self._serial = count()
        self._at_hand = -inf
        self._let_go = inf
        self._budget = BUDGET if switches.enumeration else None
        self._small = SMALL
        self.model = pairwise(reduced, objective, order_copies=switches.order_copies)
        self.shortlist = Shortlist(self.model, top)

    def run(self) -> Found:
        """Search until done, out of time or interrupted by Ctrl-C."""
        try:
            status = self._run()
        except KeyboardInterrupt:
            status = "interrupted"
        entries = self.shortlist.ranked()
        bound = self._bound()
        if status == "optimal" and bound > self.shortlist.threshold:
            bound = self.shortlist.threshold
        shape = (0, 0)
        if hasattr(self, "relaxation"):
            shape = self.relaxation.shape
        return Found(status, entries, bound, self._nodes, time.perf_counter() - self._began, shape)

    # -- the tree --------------------------------------------------------------------------

    def _run(self) -> str:
        status = self._root()
        if status is not None:
            return status
        node: _Node | None = self._root_node()
        while node is not None or self._heap:
            if node is None:
                bound, _, node = heapq.heappop(self._heap)
                if self._is_done(bound):
                    node = None
                    continue
                self._at_hand = bound
            if time.perf_counter() > self._deadline:
                self._push(self._at_hand, node)
                return "time_limit"
            if self._node_limit is not None and self._nodes >= self._node_limit:
                self._push(self._at_hand, node)
                return "node_limit"
            node = self._visit(node)
            self._tell()
        self._at_hand = inf
        return "optimal"

    def _push(self, bound: float, node: _Node) -> None:
        heapq.heappush(self._heap, (bound, next(self._serial), node))

    def _is_done(self, bound: float) -> bool:
        """Whether a node with this bound cannot hold anything worth having."""
        threshold = self.shortlist.threshold
        if bound > threshold:
            return True
        if bound > threshold - self._gap * abs(threshold):
            self._let_go = min(self._let_go, bound)
            return True
        return False

    def _bound(self) -> float:
        """No layout not yet found scores less than this."""
        waiting = self._heap[0][0] if self._heap else inf
        return min(waiting, self._at_hand, self._let_go, self.shortlist.threshold)

    def _root_node(self) -> _Node:
        m = self.model
        return _Node(
            self._open,
            np.zeros(m.n_sites, dtype=bool),
            np.ones(m.n_sites, dtype=bool),
        )

    def _root(self) -> str | None:
        """First relaxation, cover cuts, first layouts. A status if that is the end of it."""
        for _ in range(3):
            self.relaxation = Relaxation(self.model, self._seed)
            status = self.relaxation.solve(self._deadline - time.perf_counter())
            if status == "infeasible":
                self._at_hand = inf
                return "optimal"
            if status != "optimal":
                return "time_limit"
            if not self.model.curved:
                break
            load = self.relaxation.load_kg()
            if abs(load - self.model.load_kg) <= _OFF_TANGENT_KG:
                break
            self.model = pairwise(
                self._reduced,
                self._objective,
                load,
                order_copies=self._switches.order_copies,
            )
            self.shortlist.use(self.model)
        tightener = Tightener(
            self.model, self.relaxation, self._switches, self._deadline, self._seed
        )
        self.covers, self.hulls = tightener.covers, tightener.hulls
        root = tightener.cover()
        if not root.done and not root.out_of_time:
            assert tightener.bound is not None
            self._at_hand = tightener.value
            self.enumerator = Enumerator(self.model)
            if self._switches.first_layouts:
                first_layouts(
                    self.model,
                    tightener.bound,
                    self.enumerator,
                    self.shortlist,
                    self._deadline,
                )
            root = tightener.hull(lambda: self.shortlist.threshold)
            self._at_hand = tightener.value
        self.relaxation = tightener.relaxation
        if root.done:
            self._at_hand = inf
            return "optimal"
        if root.out_of_time:
            return "time_limit"
        self._open = tightener.open
        self.branching = Branching(self.model, self.relaxation)
        return None

    def _visit(self, node: _Node) -> _Node | None:
        """Bound a node; enumerate it or split it. Returns the child to go on with, if any."""
        self._nodes += 1
        while True:
            bounded = self._bounded(node)
            if bounded is None:
                return None
            node, bound, value = bounded
            threshold = self.shortlist.threshold
            if self._worth_enumerating(node.open):
                found = self.enumerator.run(
                    bound, node.open, threshold, budget=self._budget, deadline=self._deadline
                )
                self._learn(node.open, found is not None)
                if found is not None:
                    self.shortlist.offer(found[0])
                    if not found[1]:
                        self._push(value, node)
                    return None
            asked = self.branching.ask(node.open, node.must, node.may, min(threshold - value, 1e6))
            if asked.question is not None:
                likely, other = self._children(node, asked.question)
                self._push(value, other)
                self._at_hand = value
                return likely
            for question, answer in asked.ruled_out:
                yes, no = self._answers(node, question)
                node = no if answer else yes

    def _bounded(self, node: _Node) -> tuple[_Node, Bound, float] | None:
        """A node's bound, with what costs too much closed; None if nothing of it is left."""
        m, relaxation = self.model, self.relaxation
        open_ = node.open & node.may[m.site]
        for _ in range(2):
            relaxation.set_open(open_, node.must, node.may)
            status = relaxation.solve(self._deadline - time.perf_counter())
            if status == "infeasible":
                return None
            if status != "optimal":
                self._push(self._at_hand, node)
                return None
            bound = relaxation.bound(node.must, node.may)
            value, beyond = reduced_costs(m, bound, open_)
            if self._is_done(value):
                return None
            if self._switches.reduced_costs:
                open_ = open_ & (beyond <= self.shortlist.threshold - value)
            cuts = []
            if self._nodes > 1 and self._switches.cover_cuts:
                cuts = self.covers.violated(relaxation.value, CUT_BELOW)
            if self._nodes > 1 and self._switches.hull_cuts:
                cuts += self.hulls.violated(relaxation.value, HULL_BELOW)
            if not cuts:
                break
            relaxation.add_cuts(cuts)
        return _Node(open_, node.must, node.may), bound, value

    def _worth_enumerating(self, open_: Mask) -> bool:
        size = self._size(open_)
        return size == 0.0 or (self._switches.enumeration and size <= self._small)

    def _size(self, open_: Mask) -> float:
        """Decimal logarithm of how many combinations of open choices there are."""
        counts = np.add.reduceat(open_.astype(np.int64), self.model.first[:-1])
        return float(np.log10(np.maximum(counts, 1)).sum())

    def _learn(self, open_: Mask, enumerated: bool) -> None:
        """Enumerate larger nodes after a success, smaller ones after a failure."""
        size = self._size(open_)
        if enumerated:
            self._small = max(self._small, size + 1.0)
        else:
            self._small = max(min(self._small, size - 0.25), SMALLEST)

    def _children(self, node: _Node, question: Question) -> tuple[_Node, _Node]:
        """The likelier answer first."""
        yes, no = self._answers(node, question)
        return (yes, no) if question.value >= 0.5 else (no, yes)

    def _answers(self, node: _Node, question: Question) -> tuple[_Node, _Node]:
        m = self.model
        if question.site is not None:
            must, may = node.must.copy(), node.may.copy()
            must[question.site], may[question.site] = True, False
            return _Node(node.open, must, node.may), _Node(node.open, node.must, may)
        slot = int(m.slot[question.choices[0]])
        without, only = node.open.copy(), node.open.copy()
        without[question.choices] = False
        only[m.first[slot] : m.first[slot + 1]] = False
        only[question.choices] = node.open[question.choices]
        return _Node(only, node.must, node.may), _Node(without, node.must, node.may)

    def _tell(self) -> None:
        now = time.perf_counter()
        if self._on_tick is None or now - self._told < _TICK_S:
            return
        self._told = now
        best = self.shortlist.best
        bound = min(self._bound(), best)
        self._on_tick(
            Tick(
                now - self._began,
                best if best < inf else None,
                bound if abs(bound) < inf else None,
                self._nodes,
            )
        )
