"""What `optimizer.solve.enumeration` does, by the compiled search where there is one.

It goes depth first and so takes partial assignments one by one, hundreds of thousands a second. It
sees more than the search on arrays: each partial assignment is bounded without the multipliers too,
whatever would break a limit is closed ahead, and whole assignments are only told if some options of
their lines keep the limits at a cost below the threshold.
"""

from __future__ import annotations

import ctypes
from math import inf

import numpy as np
from numpy.typing import NDArray

from optimizer.native import library
from optimizer.native.library import ALL, NO_MEMORY
from optimizer.native.structures import Answer, Asked, Costs, Problem
from optimizer.problem.arrays import Array
from optimizer.problem.pairwise import Pairwise
from optimizer.solve.bounds import Bound
from optimizer.solve.enumeration import Enumerator, Listing
from optimizer.solve.shortlist import TIE

Mask = NDArray[np.bool_]
#: Assignments told at most; with more, a node is split like one that takes too long.
MOST_FOUND = 4096
#: After this part of a budget it is looked whether the budget will do.
PROBED = 20
_NO_BUDGET = 2**62


def enumerator(model: Pairwise, *, compiled: bool) -> Enumerator:
    """The compiled one if it is wanted and there is one, else the one on arrays."""
    if compiled and library() is not None:
        return CompiledEnumerator(model)
    return Enumerator(model)


class CompiledEnumerator(Enumerator):
    """Enumerates assignments of one problem under changing bounds, compiled."""

    compiled = True

    def __init__(self, model: Pairwise):
        super().__init__(model)
        self._problem = structure(model)
        self._last: tuple[Bound, Costs] | None = None
        # a whole assignment's cost is its score to the last where nothing convex comes on top
        plain = not (model.curved or model.soft or len(model.pieces))
        self._exact_top = 0 if not plain else 1 if model.problem.exchange else MOST_FOUND

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
    ) -> Listing:
        """As `Enumerator.run`; it looks up at the deadline only when it ends.

        `top`: so many of the best are wanted, and a layout that so many found score below need
        not be told (0: all below `most` are wanted).
        """
        native = library()
        assert native is not None
        m = self._m
        asked = Asked(
            open=open_,
            least_form=self._pieces_least,
            most=most,
            tie=TIE,
            budget=_NO_BUDGET if budget is None else budget,
            probe=_NO_BUDGET if budget is None else max(budget // PROBED, 1),
            most_found=MOST_FOUND,
            top=top if top <= self._exact_top else 0,
            width=width or 0,
        )
        costs = self._priced(bound)
        answer = Answer(found=np.empty((MOST_FOUND, m.n_slots), np.int32), n_found=0, looked=0)
        function = native.limbtrim_enumerate if width is None else native.limbtrim_beam
        end = function(*(ctypes.byref(each) for each in (self._problem, costs, asked, answer)))
        if end == NO_MEMORY:
            return super().run(bound, open_, most, width=width, budget=budget, deadline=deadline)
        self.extended += int(answer.looked)
        rows = answer.arrays["found"][: answer.n_found].astype(np.int64)
        return Listing(rows, width is None and end == ALL, width is None and end != ALL)


    def _priced(self, bound: Bound) -> Costs:
        """A bound as native.h has it; that of the last one is kept."""
        if self._last is None or self._last[0] is not bound:
            costs = Costs(
                choice=bound.choice,
                share=bound.share,
                use=bound.use,
                table=_flat([bound.table[key] for key in self._m.pairs]),
                constant=bound.constant,
            )
            self._last = bound, costs
        return self._last[1]


def structure(model: Pairwise) -> Problem:
    """A pairwise problem as native.h has it."""
    m, n_l = model, model.n_limits
    pairs = list(m.pairs.values())
    pair_cost = [np.where(pair.ok, pair.cost, inf) for pair in pairs]
    bottom = np.array([cost.min(initial=inf) for cost in pair_cost])
    beside: list[list[tuple[int, int]]] = [[] for _ in range(m.n_slots)]
    for number, pair in enumerate(pairs):
        beside[pair.slot_a].append((number, pair.slot_b))
        beside[pair.slot_b].append((number, pair.slot_a))
    lines = [table for table in m.tables if int(table.kept.sum(axis=2).max(initial=0)) > 1]
    sizes = [pair.ok.size for pair in pairs]
    use = m.use_form[:, :n_l]
    pair_limit = [pair.least_form[..., :n_l] for pair in pairs]
    return Problem(
        n_slots=m.n_slots,
        n_choices=len(m.choice),
        n_sites=m.n_sites,
        n_kinds=m.capacity_use.shape[1],
        n_limits=n_l,
        n_pairs=len(pairs),
        n_lines=len(lines),
        first=m.first,
        site=m.site,
        capacity_use=m.capacity_use,
        cost=m.cost,
        use_cost=m.use_cost,
        pair_cost=_flat(pair_cost),
        pair_bottom=np.where(np.isfinite(bottom), bottom, 0.0),
        limit=m.form[:, :n_l],
        use_limit=use,
        pair_limit=_flat(pair_limit),
        pair_limit_bottom=np.array([pair.bottom_form[:n_l] for pair in pairs]),
        pair_limit_top=[each.max(axis=(0, 1), initial=0.0) for each in pair_limit],
        upper=m.upper,
        pair_a=[pair.slot_a for pair in pairs],
        pair_b=[pair.slot_b for pair in pairs],
        pair_start=_starts(sizes),
        beside=np.cumsum([0, *(len(each) for each in beside)]),
        beside_pair=[number for each in beside for number, _ in each],
        beside_slot=[other for each in beside for _, other in each],
        line_a=[line.slot_a for line in lines],
        line_b=[line.slot_b for line in lines],
        line_options=[line.kept.shape[2] for line in lines],
        line_start=_starts([line.kept.size for line in lines]),
        option_cost=_flat([np.where(line.kept, line.cost, inf) for line in lines]),
        option_limit=_flat([line.form[..., :n_l] for line in lines]),
        constant=m.constant,
        use_saves=bool((use < 0.0).any()),
    )


def _flat(tables: list[Array]) -> Array:
    """All tables' entries one after another."""
    return np.concatenate([table.ravel() for table in tables]) if tables else np.zeros(0)


def _starts(sizes: list[int]) -> NDArray[np.int64]:
    return np.cumsum([0, *sizes], dtype=np.int64)[:-1]
