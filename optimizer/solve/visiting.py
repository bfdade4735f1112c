"""One hand at the search tree: bounds a node, then enumerates it or splits it in two.

A visitor has a relaxation of its own and remembers what its questions were worth, so several can
work side by side. It is told the threshold and hands back what it found; what becomes of that is
for the search to say.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field, replace
from math import inf

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import IntArray
from optimizer.problem.presolve import Switches
from optimizer.solve.bounds import Bound, combinations
from optimizer.solve.branching import Asked, Branching, Question
from optimizer.solve.compiled_enumeration import enumerator
from optimizer.solve.compiled_hulls import hulls_of_sites
from optimizer.solve.covers import Covers
from optimizer.solve.highs_lp import Basis
from optimizer.solve.marginals import priced
from optimizer.solve.relaxation import Relaxation
from optimizer.solve.site_hulls import SiteHulls
from optimizer.solve.usage import Usage

Mask = NDArray[np.bool_]
#: By how much a point below the root must overstep a cut.
COVER_BELOW, HULL_BELOW = 0.03, 0.05
#: Partial assignments that enumerating a node may look at before it is split instead.
BUDGET = 2000
#: Nodes of so few combinations (decimal logarithm) are always enumerated; of so many at first.
SMALLEST, SMALL = 4.0, 13.0
#: The same for the compiled search.
BUDGET_COMPILED, SMALL_COMPILED = 40_000, 40.0
#: Simplex iterations after which a visitor looks up from its dive.
LOOK_UP = 400


@dataclass(frozen=True)
class Start:
    """A basis of one relaxation."""

    relaxation: Relaxation
    basis: Basis


@dataclass(frozen=True)
class Node:
    """Choices still open, and what use is made of sites.

    `start` is where the relaxation of the node it was split from ended.
    """

    open: Mask
    usage: Usage
    start: Start | None = None

    def within(self, open_: Mask) -> Node:
        """The node with no choices but these."""
        return replace(self, open=self.open & open_)

    def starts_with(self, relaxation: Relaxation) -> bool:
        """Whether a relaxation knows where to start."""
        return self.start is not None and self.start.relaxation is relaxation


@dataclass
class Haul:
    """What a visitor brings back: nodes left to do with their bounds, and assignments found."""

    left: list[tuple[float, Node]] = field(default_factory=list)
    found: list[IntArray] = field(default_factory=list)
    let_go: float = inf
    """No layout in what was dropped for the sake of a gap scores less than this."""
    nodes: int = 0
    at_hand: float = inf
    """The bound of the node that the visitor goes on with."""


class Visitor:
    """Works on nodes of one tree with a relaxation of its own."""

    def __init__(
        self,
        relaxation: Relaxation,
        covers: Covers,
        hulls: SiteHulls,
        switches: Switches,
        deadline: float,
        gap: float,
        top: int,
    ):
        self._m = relaxation.model
        self.relaxation, self._covers, self._hulls = relaxation, covers, hulls
        self.branching = Branching(self._m, relaxation, switches.counts)
        self.enumerator = enumerator(self._m, switches)
        self._switches, self._deadline, self._gap, self._top = switches, deadline, gap, top
        compiled = self.enumerator.compiled
        self._budget = (BUDGET_COMPILED if compiled else BUDGET) if switches.enumeration else None
        self._small = SMALL_COMPILED if compiled else SMALL
        self.node: Node | None = None
        self.at_hand = inf
        """No layout below the node at hand scores less; as of the last time it was handed in."""
        self.halt = False
        self._lost = False

    def another(self, seed: int) -> Visitor:
        """A second visitor that knows the cuts so far."""
        relaxation = self.relaxation.twin(seed)
        return Visitor(
            relaxation,
            Covers(self._m, relaxation.u),
            hulls_of_sites(self._m, relaxation, compiled=self._switches.compiled),
            self._switches,
            self._deadline,
            self._gap,
            self._top,
        )

    def use(self, relaxation: Relaxation) -> None:
        """Go on with another relaxation of the same model."""
        self.relaxation = self.branching.relaxation = relaxation
        self._covers.use(relaxation.u)
        self._hulls.use(relaxation)

    def dive(self, threshold: float, cutting: bool, most_nodes: int) -> Haul:
        """Visit the node at hand, then its likelier child, and so on, for a while."""
        haul = Haul()
        self._value = self.at_hand
        node = self.node
        if node is not None and node.start is not None:
            if node.starts_with(self.relaxation):
                # from far below in another branch it would be a long way
                self.relaxation.lp.set_basis(node.start.basis)
            self.node = replace(node, start=None)
        until = self.relaxation.lp.iterations + LOOK_UP
        while self.node is not None:
            if self.halt or time.perf_counter() > self._deadline or haul.nodes >= most_nodes:
                break
            haul.nodes += 1
            self.node = self._visit(self.node, threshold, cutting, haul)
            if self.relaxation.lp.iterations > until:
                break
        haul.at_hand = inf if self.node is None else self._value
        return haul

    def _visit(self, node: Node, threshold: float, cutting: bool, haul: Haul) -> Node | None:
        """Bound a node; enumerate it or split it. Returns the child to go on with, if any."""
        while True:
            bounded = self._bounded(node, threshold, cutting, haul)
            if bounded is None:
                return None
            node, bound, value = bounded
            if self._worth_enumerating(node.open):
                found = self.enumerator.run(
                    bound,
                    node.open,
                    threshold,
                    budget=self._budget,
                    deadline=self._deadline,
                    top=self._top,
                )
                self._learn(node.open, not found.over_budget)
                haul.found.append(found.rows)
                if not found.over_budget:
                    if not found.complete:
                        haul.left.append((value, node))
                    return None
            room = min(threshold - value, 1e6)
            if self._lost:
                asked = Asked(self.branching.split(node.open), [])
            else:
                asked = self.branching.ask(node.open, node.usage, room)
            if asked.question is not None:
                likely, other = self._children(node, asked.question)
                if not self._lost:
                    start = Start(self.relaxation, self.relaxation.lp.basis())
                    other = replace(other, start=start)
                haul.left.append((value, other))
                self._value = value
                return likely
            for question, answer in asked.ruled_out:
                yes, no = self._answers(node, question)
                node = no if answer else yes

    def _bounded(
        self, node: Node, threshold: float, cutting: bool, haul: Haul
    ) -> tuple[Node, Bound, float] | None:
        """A node's bound, with what costs too much closed; None if nothing of it is left."""
        m, relaxation = self._m, self.relaxation
        open_ = node.open & node.usage.may[m.site]
        for again in (False, True):
            relaxation.set_open(open_, node.usage)
            status = relaxation.solve(self._deadline - time.perf_counter(), threshold)
            if status in ("infeasible", "beyond"):
                return None
            if status not in ("optimal", "error"):
                haul.left.append((self.at_hand, node))
                return None
            self._lost = status == "error"  # then the last multipliers bound this node too
            bound = relaxation.bound(node.usage)
            found = priced(m, bound, open_, self._switches)
            value, beyond = found.value, found.beyond
            if value > threshold:
                return None
            if value > threshold - self._gap * abs(threshold):
                haul.let_go = min(haul.let_go, value)
                return None
            if self._switches.reduced_costs:
                open_ = open_ & (beyond <= threshold - value)
            cuts = []
            if cutting and self._switches.cover_cuts:
                cuts = self._covers.violated(relaxation.value, COVER_BELOW)
            if cutting and self._switches.hull_cuts and not again:
                cuts += self._hulls.violated(relaxation.value, HULL_BELOW, sparing=True)
            if not cuts or self._lost:
                break
            relaxation.add_cuts(cuts)
        return Node(open_, node.usage), bound, value

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
