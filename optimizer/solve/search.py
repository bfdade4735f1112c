"""Branch and bound for the best layouts of a pairwise problem, one tree for all ranks.

At every node the linear relaxation is solved from the last basis; its dual values give a bound
under which choices that would cost too much are closed (reduced-cost fixing) and, where few are
left, all layouts below the threshold are enumerated at once. Else the node is split. The
threshold is the score of the last rank wanted among the layouts found so far, so the tree ends
when no better layout is left for any rank.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from math import inf
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optimizer.interrupts import stoppable
from optimizer.problem.arrays import Array, IntArray, Objective
from optimizer.problem.pairwise import Pairwise, pairwise
from optimizer.problem.presolve import Reduced, Switches
from optimizer.solve.by_regions import ByRegions
from optimizer.solve.compiled_enumeration import enumerator
from optimizer.solve.highs import Tick
from optimizer.solve.local_search import SMALL, improve
from optimizer.solve.polishing import QUICK, THOROUGH, polish, wander
from optimizer.solve.regions import apart
from optimizer.solve.relaxation import Relaxation
from optimizer.solve.shortlist import Entry, Shortlist
from optimizer.solve.start import WIDTHS, first_layouts
from optimizer.solve.tighten import Tightener
from optimizer.solve.visiting import Errand, Haul, Node, Visitor

Mask = NDArray[np.bool_]
#: Hands at the tree, and nodes for which one does.
VISITORS, ALONE = 2, 1
#: Combinations (decimal logarithm, per slot) among which the first layouts are looked for at first.
LIKELY = 0.5
#: Partial assignments that listing all that is left may take, with the compiled search: after the
#: first relaxation, after cuts, and before the tree.
SOON, LATER, AT_LAST = 20_000, 40_000, 150_000
#: Where there was too much, it is tried again once bound and threshold are so much closer.
CLOSER = 0.7
#: How many more combinations (decimal logarithm) than `SMALL` are worth another trip for layouts.
SIZE_PER_TRIP = 20.0
#: Nodes after which layouts are looked for by lot once more, and how many times as many until it
#: is done again.
WANDER_AFTER, AGAIN = 50, 3
#: Nodes after which the tree is taken to be long: then the regions of the body are looked at.
APART_AFTER = 400
#: Nodes after which it is long enough for nodes to be cut like the root and for more trials.
LONG_AFTER = 6
#: Simplex iterations, or what takes as long, after which visitors look up; and in such a tree.
LOOK_UP, LONG = 3000, 8000
#: No limit on nodes.
LARGE = 2**31
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


class Search:
    """One search for the `top` best layouts of a reduced problem.

    Or of a `model` of some of its slots, whose costs nothing convex is part of. None that scores
    more than `most` is wanted.
    """

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
        model: Pairwise | None = None,
        most: float = inf,
    ):
        self._began = time.perf_counter()
        self._deadline = self._began + time_limit_s
        self._gap, self._node_limit, self._seed = gap, node_limit, seed
        self._on_tick, self._told = on_tick, self._began
        self._switches = switches
        self._reduced, self._objective = reduced, objective
        self._nodes = 0
        self._at_hand = -inf
        self._let_go = inf
        self._visitors: list[Visitor] = []
        self._closed_at = inf
        #: How far bound and threshold were apart when there was last too much to list.
        self._too_many_at = inf
        self._tightener: Tightener
        #: After how many nodes layouts are next looked for by lot.
        self._wander_at = WANDER_AFTER
        #: After how many nodes the regions of the body are looked at by themselves.
        self._apart_at = APART_AFTER if switches.regions else LARGE
        self.model = model or pairwise(reduced, objective, order_copies=switches.order_copies)
        self.shortlist = Shortlist(self.model, top, most)
        self._enumerator = enumerator(self.model, switches)

    def run(self) -> Found:
        """Search until done, out of time or interrupted by Ctrl-C."""
        try:
            with stoppable():
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
        with ThreadPoolExecutor(VISITORS - 1) as pool:
            try:
                return self._tree(pool)
            finally:
                for visitor in self._visitors:
                    visitor.halt = True

    def _tree(self, pool: ThreadPoolExecutor) -> str:
        """Rounds of visits side by side; what they found is taken in once all are back."""
        self._visitors[0].add(self._bound_of_root, self._root_node())
        while True:
            self._spread()
            busy = [visitor for visitor in self._visitors if not visitor.idle]
            if not busy:
                return "optimal"
            if time.perf_counter() > self._deadline:
                return "time_limit"
            most = LARGE
            if self._node_limit is not None:
                most = self._nodes_left() // len(busy)
                if most <= 0:
                    return "node_limit"
            long = self._nodes >= LONG_AFTER
            errand = Errand(
                self.shortlist.threshold,
                cutting=self._nodes > 0,
                long=long,
                most_nodes=most,
                work=LONG if long else LOOK_UP,
            )
            waiting = [pool.submit(visitor.dive, errand) for visitor in busy[1:]]
            hauls = [busy[0].dive(errand)]
            hauls += [each.result() for each in waiting]
            for visitor, haul in zip(busy, hauls, strict=True):
                self._take_in(haul)
                visitor.looked_up()
            self._look_nearby()
            if not self._restart() or self._by_regions():
                return "optimal"
            self._share(busy)
            if len(self._visitors) < VISITORS and self._nodes >= ALONE:
                self._visitors.append(self._visitors[0].another(self._seed))
            self._tell()

    def _spread(self) -> None:
        """Let visitors with nothing to do have half of what waits with the one with most."""
        for visitor in self._visitors:
            if visitor.idle:
                most = max(self._visitors, key=lambda each: each.spare)
                most.share(visitor)
                visitor.looked_up()

    def _take_in(self, haul: Haul) -> None:
        self._nodes += haul.nodes
        self._let_go = min(self._let_go, haul.let_go)
        for found in haul.found:
            self.shortlist.offer(found)

    def _restart(self) -> bool:
        """Tighten the root again once better layouts close much of it; False if nothing is left."""
        tightener, threshold = self._tightener, self.shortlist.threshold
        if threshold >= self._closed_at:
            return True
        self._closed_at = threshold
        if not tightener.shrinks(threshold):
            return True
        if tightener.hull(lambda: threshold).done:
            self._done()
            return False
        self.relaxation = tightener.relaxation
        for n, visitor in enumerate(self._visitors):
            relaxation = self.relaxation.twin(self._seed) if n else self.relaxation
            visitor.use(relaxation, tightener.open)
        return True

    def _nodes_left(self) -> int:
        """How many nodes are allowed yet, where there is a limit on them."""
        assert self._node_limit is not None
        return self._node_limit - self._nodes

    def _look_nearby(self) -> None:
        """Better layouts where the relaxations of the visitors' last nodes hesitate.

        And now and then by lot, as before the tree.
        """
        if not (self._enumerator.compiled and self._switches.local_search):
            return
        if self.shortlist.threshold == inf:
            return
        tightener, values = self._tightener, [each.relaxation.value for each in self._visitors]
        assert tightener.bound is not None
        near = self.model, tightener.bound, tightener.open
        for value in values:
            polish(*near, value, self._enumerator, self.shortlist, self._deadline, ())
        if self._nodes >= self._wander_at:
            self._wander_at = AGAIN * self._nodes
            seed = self._seed + self._nodes
            wander(
                *near,
                values[0],
                self._enumerator,
                self.shortlist,
                seed=seed,
                deadline=self._deadline,
            )

    def _done(self) -> None:
        """Nothing is left to do."""
        for visitor in self._visitors:
            visitor.drop()

    def _by_regions(self) -> bool:
        """Where the tree takes long: whether all layouts left could be put together by regions."""
        if self._nodes < self._apart_at or self.shortlist.threshold == inf:
            return False
        self._apart_at = LARGE
        tightener = self._tightener
        relaxation, usage = tightener.relaxation, tightener.usage
        relaxation.set_open(tightener.open, usage)
        if relaxation.solve(self._deadline - time.perf_counter()) != "optimal":
            return False
        regions = apart(relaxation, tightener.open, usage)
        if regions is None or not ByRegions(self.model, regions, self._of_region).run(
            self.shortlist
        ):
            return False
        self._done()
        return True

    def _of_region(
        self, model: Pairwise, known: IntArray, top: int, most: float, nodes: int
    ) -> list[Entry] | None:
        """The `top` best layouts of one region's model that score at most `most`.

        None where some nodes are not enough to tell.
        """
        found = self._inner(
            self._reduced,
            known,
            top=top,
            node_limit=nodes if self._node_limit is None else min(nodes, self._nodes_left()),
            on_tick=lambda _: self._tell(),
            switches=replace(
                self._switches, local_search=False, regions=False, first_layouts=top == 1
            ),
            model=model,
            most=most,
        )
        self._nodes += found.nodes
        return found.entries if found.status == "optimal" else None

    def _inner(self, reduced: Reduced, known: IntArray, **how: Any) -> Found:
        """A smaller search that knows some layouts, in the time left."""
        left = self._deadline - time.perf_counter()
        search = Search(reduced, time_limit_s=left, seed=self._seed, **how)
        search.shortlist.offer(known)
        found = search.run()
        if found.status == "interrupted":
            raise KeyboardInterrupt
        return found

    def _share(self, visitors: list[Visitor]) -> None:
        """Let every visitor know what the others' trials brought."""
        learned = [(visitor, visitor.branching.learned) for visitor in visitors]
        for visitor in self._visitors:
            for other, trials in learned:
                if other is not visitor:
                    visitor.branching.take_in(trials)
        for visitor in visitors:
            visitor.branching.learned = []

    def _bound(self) -> float:
        """No layout not yet found scores less than this."""
        theirs = min((visitor.bound for visitor in self._visitors), default=self._at_hand)
        return min(theirs, self._let_go, self.shortlist.threshold)

    def _root_node(self) -> Node:
        return Node(self._tightener.open, self._tightener.usage)

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
            self._enumerator = enumerator(self.model, self._switches)
        tightener = Tightener(self.relaxation, self._switches, self._deadline)
        if self._early(tightener):
            self._at_hand = inf
            return "optimal"
        root = tightener.cover()
        for n, better in enumerate((self._polish, self._polish, self._improve)):
            if root.done or root.out_of_time or tightener.few:
                break
            self._at_hand = tightener.value
            if better(tightener) or n == 0:
                root = tightener.hull(
                    lambda: self.shortlist.threshold, lambda: self._listed(tightener, LATER)
                )
        if not (root.done or root.out_of_time):
            root.done = self._listed(tightener, AT_LAST)
        self._at_hand = tightener.value
        self.relaxation = tightener.relaxation
        if root.done:
            self._at_hand = inf
            return "optimal"
        if root.out_of_time:
            return "time_limit"
        self._tightener, self._closed_at = tightener, self.shortlist.threshold
        self._bound_of_root = tightener.value
        self._visitors = [
            Visitor(
                self.relaxation,
                tightener.covers,
                tightener.hulls,
                self._switches,
                self._deadline,
                self._gap,
                self.shortlist.top,
                self._seed,
            )
        ]
        return None

    def _early(self, tightener: Tightener) -> bool:
        """First layouts before any cuts, and whether the compiled search could list all others."""
        if not self._enumerator.compiled:
            return False
        tightener.bounded()
        self._at_hand = tightener.value
        self._beam(tightener, WIDTHS[:1])
        if self.shortlist.threshold == inf and self._switches.first_layouts:
            # any layout is better than none: polishing makes much of it
            assert tightener.bound is not None
            found = self._enumerator.run(
                tightener.bound, tightener.open, inf, budget=SOON, top=1, all_of_it=False
            )
            self.shortlist.offer(found.rows)
        if self._listed(tightener, SOON):
            return True
        return self._polish(tightener) and self._listed(tightener, SOON)

    def _beam(self, tightener: Tightener, widths: Sequence[int] = WIDTHS) -> bool:
        """First layouts from the bound so far; whether to cut on."""
        assert tightener.bound is not None
        before = self.shortlist.threshold
        if self._switches.first_layouts:
            # at first among the cheapest layouts only: there the beam looks closer, and sooner
            first = tightener.likely(LIKELY * self.model.n_slots)
            likely = [first] if before == inf else []
            for among in (*likely, tightener.open):
                first_layouts(
                    self.model,
                    tightener.bound,
                    among,
                    self._enumerator,
                    self.shortlist,
                    self._deadline,
                    widths,
                )
                if self.shortlist.threshold < before:
                    break
        return self.shortlist.threshold < before or before == inf

    def _polish(self, tightener: Tightener, sizes: Sequence[tuple[float, int]] = QUICK) -> bool:
        """Better layouts near the best one; from a beam, where there is no compiled search."""
        before = self.shortlist.threshold
        if before == inf or not self._enumerator.compiled:
            return self._beam(tightener)
        if self._switches.first_layouts:
            assert tightener.bound is not None
            polish(
                self.model,
                tightener.bound,
                tightener.open,
                tightener.relaxation.value,
                self._enumerator,
                self.shortlist,
                self._deadline,
                sizes,
            )
        return self.shortlist.threshold < before

    def _listed(self, tightener: Tightener, budget: int) -> bool:
        """Whether all layouts left could be listed, by the compiled search."""
        threshold = self.shortlist.threshold
        if threshold == inf or not (self._enumerator.compiled and self._switches.enumeration):
            return False
        gap = threshold - tightener.value
        if budget < AT_LAST and gap > CLOSER * self._too_many_at:
            return False
        assert tightener.bound is not None
        found = self._enumerator.run(
            tightener.bound,
            tightener.below(threshold),
            threshold,
            budget=budget,
            deadline=self._deadline,
            top=self.shortlist.top,
        )
        self.shortlist.offer(found.rows)
        if not found.complete:
            self._too_many_at = gap
        return found.complete

    def _improve(self, tightener: Tightener) -> bool:
        """Better first layouts by local search, where the problem is large."""
        before = self.shortlist.threshold
        if self._enumerator.compiled and self._switches.local_search and before < inf:
            size, _ = tightener.left(before)
            if size < SMALL:
                return False
            self._polish(tightener, THOROUGH)
            assert tightener.bound is not None
            wander(
                self.model,
                tightener.bound,
                tightener.open,
                tightener.relaxation.value,
                self._enumerator,
                self.shortlist,
                trips=1 + int((size - SMALL) / SIZE_PER_TRIP),
                seed=self._seed,
                deadline=self._deadline,
            )
            return self.shortlist.threshold < before
        if self._switches.local_search:
            improve(
                self.model,
                tightener.relaxation.value,
                self.shortlist,
                self._merged,
                lambda: tightener.left(self.shortlist.threshold),
                seed=self._seed,
                deadline=self._deadline,
            )
        return self.shortlist.threshold < before

    def _merged(self, open_: Mask, known: IntArray, top: int, nodes: int) -> tuple[IntArray, Array]:
        """The `top` best layouts of a few choices, as far as some nodes tell, and their scores."""
        m = self.model
        within = np.zeros_like(self._reduced.open)
        within[m.choice[open_]] = True
        number = np.cumsum(open_) - 1
        entries = self._inner(
            replace(self._reduced, open=within),
            number[known],
            objective=self._objective,
            top=top,
            node_limit=nodes,
            switches=replace(self._switches, local_search=False),
        ).entries
        rows = np.searchsorted(m.choice, np.array([entry.chosen for entry in entries]))
        return rows.reshape(-1, m.n_slots), np.array([entry.score for entry in entries])

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
