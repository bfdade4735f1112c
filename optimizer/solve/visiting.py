"""One hand at the search tree: bounds a node, then enumerates it or splits it in two.

A visitor has a relaxation of its own and remembers what its questions were worth, so several can
work side by side. It is told the threshold and hands back what it found; what becomes of that is
for the search to say.
"""

from __future__ import annotations

import heapq
import time
from dataclasses import dataclass, field, replace
from itertools import count
from math import inf

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import IntArray
from optimizer.problem.presolve import Switches
from optimizer.solve.bounds import Bound, combinations
from optimizer.solve.branching import Asked, Branching
from optimizer.solve.compiled_enumeration import enumerator
from optimizer.solve.compiled_hulls import hulls_of_sites
from optimizer.solve.covers import Covers
from optimizer.solve.enumeration import Listing
from optimizer.solve.facets import NONE
from optimizer.solve.highs_lp import Basis
from optimizer.solve.marginals import priced
from optimizer.solve.polishing import HESITANT
from optimizer.solve.relaxation import Relaxation
from optimizer.solve.site_hulls import SiteHulls
from optimizer.solve.tighten import SHRUNK, Tightener
from optimizer.solve.trials import Question
from optimizer.solve.usage import Usage

Mask = NDArray[np.bool_]
#: By how much a point below the root must overstep a cut.
COVER_BELOW, HULL_BELOW = 0.03, 0.01
#: Partial assignments that enumerating a node may look at before it is split instead.
BUDGET = 2000
#: Nodes of so few combinations (decimal logarithm) are always enumerated; of so many at first.
SMALLEST, SMALL = 4.0, 13.0
#: The same for the compiled search.
BUDGET_COMPILED, SMALL_COMPILED = 40_000, 40.0
#: Partial assignments that listing a node may look at that was cut like the root.
BUDGET_ANEW = 150_000
#: Partial assignments listed that take as long as a simplex iteration, and how many iterations a
#: round of cuts takes as long as.
LISTED_PER_STEP, ROUND = 100, 400


@dataclass(frozen=True)
class Start:
    """A basis of one relaxation."""

    relaxation: Relaxation
    basis: Basis


@dataclass(frozen=True)
class Node:
    """Choices still open, and what use is made of sites.

    `start` is where the relaxation of the node it was split from ended; without one the root's
    relaxation is gone on with.
    """

    open: Mask
    usage: Usage
    start: Start | None = None

    def within(self, open_: Mask) -> Node:
        """The node with no choices but these."""
        return replace(self, open=self.open & open_)


@dataclass(frozen=True)
class Errand:
    """What a visitor is to do until it looks up.

    Nothing that scores more than `threshold` is wanted. `cutting`: nodes are cut; `long`: the tree
    is, so nodes where much has been closed are cut like a root, and more is tried before one is
    split. It ends after `most_nodes`, or `work` (simplex iterations, or what takes as long).
    """

    threshold: float
    cutting: bool
    long: bool
    most_nodes: int
    work: int


@dataclass
class Haul:
    """What a visitor brings back: assignments found."""

    found: list[IntArray] = field(default_factory=list)
    let_go: float = inf
    """No layout in what was dropped for the sake of a gap scores less than this."""
    nodes: int = 0
    full: bool = False
    """Whether there was more than one listing tells."""


class Visitor:
    """Works on nodes of one tree, of those waiting on that of the least bound first.

    It has a relaxation of the root to itself, and one of every node that was cut like the root.
    """

    def __init__(
        self,
        relaxation: Relaxation,
        covers: Covers,
        hulls: SiteHulls,
        switches: Switches,
        deadline: float,
        gap: float,
        top: int,
        seed: int,
    ):
        self._m = relaxation.model
        self.relaxation, self._covers, self._hulls = relaxation, covers, hulls
        self._root, self._seed = relaxation, seed
        #: The choices left at the root.
        self._left = np.ones(len(self._m.choice), dtype=bool)
        self.branching = Branching(self._m, relaxation, switches.counts, switches.long_trials)
        self.enumerator = enumerator(self._m, switches)
        self._switches, self._deadline, self._gap, self._top = switches, deadline, gap, top
        compiled = self.enumerator.compiled
        self._budget = (BUDGET_COMPILED if compiled else BUDGET) if switches.enumeration else None
        self._small = SMALL_COMPILED if compiled else SMALL
        self._waiting: list[tuple[float, int, Node]] = []
        self._serial = count()
        self.node: Node | None = None
        self._value = inf
        """No layout below the node at hand scores less."""
        self.bound = inf
        """No layout below any of its nodes scores less; as of the last time it looked up."""
        self.halt = False
        self._lost = False
        self._worked = 0

    def another(self, seed: int) -> Visitor:
        """A second visitor that knows the cuts so far."""
        relaxation = self._root.twin(seed)
        other = Visitor(
            relaxation,
            Covers(self._m, relaxation.u),
            hulls_of_sites(self._m, relaxation, compiled=self._switches.compiled),
            self._switches,
            self._deadline,
            self._gap,
            self._top,
            seed,
        )
        other._left = self._left
        other.branching.know_as(self.branching)
        return other

    # -- nodes -----------------------------------------------------------------------------

    def add(self, bound: float, node: Node) -> None:
        """Take on a node."""
        heapq.heappush(self._waiting, (bound, next(self._serial), node))

    @property
    def idle(self) -> bool:
        """Whether it has nothing to do."""
        return self.node is None and not self._waiting

    @property
    def spare(self) -> int:
        """How many nodes wait."""
        return len(self._waiting)

    def looked_up(self) -> None:
        """Say what the bound is now."""
        least = self._waiting[0][0] if self._waiting else inf
        self.bound = least if self.node is None else min(least, self._value)

    def share(self, other: Visitor) -> None:
        """Give every other node that waits to another, the first among them."""
        self._waiting.sort(key=lambda each: each[:2])
        given, self._waiting = self._waiting[::2], self._waiting[1::2]
        twins: dict[int, Relaxation] = {}
        for bound, _, node in given:
            start = node.start
            if start is not None and start.relaxation is self._root:
                start = None
            elif start is not None:
                theirs = twins.get(id(start.relaxation))
                if theirs is None:
                    theirs = start.relaxation.twin(other._seed)
                    twins[id(start.relaxation)] = theirs
                start = Start(theirs, start.basis)
            other.add(bound, replace(node, start=start))

    def use(self, relaxation: Relaxation, left: Mask) -> None:
        """Go on with another relaxation of the root, of so many choices left."""
        waiting, self._waiting = self._waiting, []
        for bound, _, node in waiting:
            old = node.start is not None and node.start.relaxation is self._root
            # keep no relaxation alive that nobody goes on with
            self.add(bound, replace(node, start=None) if old else node)
        at_root = self.relaxation is self._root
        self._root, self._left = relaxation, left
        # what looks for cuts may have been at the root meanwhile
        self._use(relaxation if at_root else self.relaxation)
        if self.node is not None:
            self.node = self.node.within(left)

    def drop(self) -> None:
        """Let go of all nodes: nothing is left to do."""
        self.node, self._waiting, self.bound = None, [], inf

    def _use(self, relaxation: Relaxation) -> None:
        self.relaxation = self.branching.relaxation = relaxation
        self._covers.use(relaxation.u)
        self._hulls.use(relaxation)

    def _next(self, threshold: float, haul: Haul) -> bool:
        """Turn to the next node waiting; False if there is none."""
        while self._waiting:
            bound, _, node = heapq.heappop(self._waiting)
            if self._done_with(bound, threshold, haul):
                continue
            start = node.start
            relaxation = self._root if start is None else start.relaxation
            if relaxation is not self.relaxation:
                self._use(relaxation)
            if start is not None:
                # from far below in another branch it would be a long way
                relaxation.lp.set_basis(start.basis)
            self.node = replace(node.within(self._left), start=None)
            self._value = bound
            return True
        return False

    def _done_with(self, value: float, threshold: float, haul: Haul) -> bool:
        """Whether a node with this bound cannot hold anything worth having."""
        if value > threshold:
            return True
        if value > threshold - self._gap * abs(threshold):
            haul.let_go = min(haul.let_go, value)
            return True
        return False

    # -- visits ----------------------------------------------------------------------------

    def dive(self, errand: Errand) -> Haul:
        """Visit the node at hand, then its likelier child, and so on, then what waits."""
        haul = Haul()
        self._worked = 0
        while haul.nodes < errand.most_nodes and self._worked < errand.work and not haul.full:
            if self.halt or time.perf_counter() > self._deadline:
                break
            if self.node is None and not self._next(errand.threshold, haul):
                break
            assert self.node is not None
            haul.nodes += 1
            relaxation, before = self.relaxation, self.relaxation.lp.iterations
            self.node = self._visit(self.node, errand, haul)
            self._worked += relaxation.lp.iterations - before
        return haul

    def _visit(self, node: Node, errand: Errand, haul: Haul) -> Node | None:
        """Bound a node; enumerate it or split it. Returns the child to go on with, if any."""
        anew = errand.long and self._switches.node_cuts
        while True:
            bounded = self._bounded(node, errand, haul)
            if bounded is None:
                return None
            node, bound, self._value = bounded
            if self._worth_enumerating(node.open) and self._listed(node, bound, errand, haul):
                return None
            if not self._lost:
                self._look_near(node, bound, errand, haul)
            if anew and not self._lost and self._much_closed(node.open):
                anew = False
                closer = self._cut_anew(node, errand.threshold)
                if closer is None:
                    return None
                node = closer
                continue
            room = min(errand.threshold - self._value, 1e6)
            if self._lost:
                asked = Asked(self.branching.split(node.open), [])
            else:
                asked = self.branching.ask(node.open, node.usage, room, patient=errand.long)
            if asked.question is not None:
                likely, other = self._children(node, asked.question)
                if not self._lost:
                    start = Start(self.relaxation, self.relaxation.lp.basis())
                    other = replace(other, start=start)
                self.add(self._value, other)
                return likely
            for question, answer in asked.ruled_out:
                yes, no = self._answers(node, question)
                node = no if answer else yes

    def _bounded(self, node: Node, errand: Errand, haul: Haul) -> tuple[Node, Bound, float] | None:
        """A node's bound, with what costs too much closed; None if nothing of it is left."""
        m, relaxation, threshold = self._m, self.relaxation, errand.threshold
        open_ = node.open & node.usage.may[m.site]
        for again in (False, True):
            relaxation.set_open(open_, node.usage)
            status = relaxation.solve(self._deadline - time.perf_counter(), threshold)
            if status in ("infeasible", "beyond"):
                return None
            if status not in ("optimal", "error"):
                self.add(self._value, node)
                return None
            self._lost = status == "error"  # then the last multipliers bound this node too
            bound = relaxation.bound(node.usage)
            found = priced(m, bound, open_, self._switches)
            value, beyond = found.value, found.beyond
            if self._done_with(value, threshold, haul):
                return None
            if self._switches.reduced_costs:
                open_ = open_ & (beyond <= threshold - value)
            cuts = []
            if errand.cutting and self._switches.cover_cuts:
                cuts = self._covers.violated(relaxation.value, COVER_BELOW)
            if errand.cutting and self._switches.hull_cuts and not again:
                cuts += self._hulls.violated(relaxation.value, HULL_BELOW)
            if not cuts or self._lost:
                break
            relaxation.add_cuts(cuts)
        return Node(open_, node.usage), bound, value

    def _listed(self, node: Node, bound: Bound, errand: Errand, haul: Haul) -> bool:
        """Whether all layouts of a node that may be wanted were listed."""
        budget = self._budget
        if combinations(self._m, node.open) == 0.0:
            budget = None  # there is nothing to split
        elif self.relaxation is not self._root and self.enumerator.compiled:
            budget = BUDGET_ANEW
        found = self._enumerated(bound, node.open, errand, haul, budget)
        self._learn(node.open, not found.over_budget)
        if found.over_budget:
            return False
        if not found.complete:
            # once what was found is taken in, fewer may be wanted
            self.add(self._value, node)
            haul.full = True
        return True

    def _look_near(self, node: Node, bound: Bound, errand: Errand, haul: Haul) -> None:
        """Look for layouts made of nothing but what the relaxation has something of."""
        if not (self.enumerator.compiled and self._switches.local_search):
            return
        some = self.relaxation.value[: len(self._m.choice)] > NONE
        self._enumerated(bound, node.open & some, errand, haul, HESITANT)

    def _enumerated(
        self, bound: Bound, open_: Mask, errand: Errand, haul: Haul, budget: int | None
    ) -> Listing:
        """List what may be wanted of some choices."""
        before = self.enumerator.extended
        found = self.enumerator.run(
            bound,
            open_,
            errand.threshold,
            budget=budget,
            deadline=self._deadline,
            top=self._top,
        )
        self._worked += (self.enumerator.extended - before) // LISTED_PER_STEP
        haul.found.append(found.rows)
        return found

    def _much_closed(self, open_: Mask) -> bool:
        """Whether a smaller relaxation would have far fewer choices."""
        left = int(np.count_nonzero(open_))
        return left <= SHRUNK * int(np.count_nonzero(self.relaxation.open))

    def _cut_anew(self, node: Node, threshold: float) -> Node | None:
        """Cut a node like a root, on a smaller relaxation; None if nothing of it is left."""
        tightener = Tightener(
            self.relaxation,
            self._switches,
            self._deadline,
            node=(node.open, node.usage),
            known=(self._covers, self._hulls),
        )
        tightener.bounded()
        root = tightener.hull(lambda: threshold, stopped=lambda: self.halt)
        self._worked += ROUND * tightener.rounds
        # what looks for cuts has gone on to it in any case
        self._use(tightener.relaxation)
        if root.done:
            return None
        self._value = max(self._value, tightener.value)
        return Node(tightener.open, node.usage)

    def _worth_enumerating(self, open_: Mask) -> bool:
        size = combinations(self._m, open_)
        return size == 0.0 or (self._switches.enumeration and size <= self._small)

    def _learn(self, open_: Mask, enumerated: bool) -> None:
        """Enumerate larger nodes after a success, smaller ones after a failure."""
        size = combinations(self._m, open_)
        if enumerated:
            self._small = max(self._small, size + 1.0)
        else:
            self._small = max(min(self._small, size - 0.25), SMALLEST)

    def _children(self, node: Node, question: Question) -> tuple[Node, Node]:
        """The likelier answer first."""
        yes, no = self._answers(node, question)
        return (yes, no) if question.value >= 0.5 else (no, yes)

    def _answers(self, node: Node, question: Question) -> tuple[Node, Node]:
        m = self._m
        usages = question.usages(node.usage)
        if usages is not None:
            return Node(node.open, usages[0]), Node(node.open, usages[1])
        slot = int(m.slot[question.choices[0]])
        without, only = node.open.copy(), node.open.copy()
        without[question.choices] = False
        only[m.first[slot] : m.first[slot + 1]] = False
        only[question.choices] = node.open[question.choices]
        return Node(only, node.usage), Node(without, node.usage)
