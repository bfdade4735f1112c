"""What `optimizer.solve.enumeration` does, by the compiled search where there is one.

It goes depth first and so takes partial assignments one by one, hundreds of thousands a second. It
sees more than the search on arrays: each partial assignment is bounded without the multipliers too,
what sites lack of being as full as the multipliers pay for is added (native/filling.c), whatever
would break a limit is closed ahead, and whole assignments are only told if some options of
their lines keep the limits at a cost below the threshold.
"""

from __future__ import annotations

import ctypes
from math import inf

import numpy as np
from numpy.typing import NDArray

from optimizer.native import library
from optimizer.native.library import ALL, NO_MEMORY
from optimizer.native.structures import Answer, Asked
from optimizer.problem.pairwise import Pairwise
from optimizer.problem.presolve import Switches
from optimizer.solve.bounds import Bound
from optimizer.solve.enumeration import Enumerator, Listing
from optimizer.solve.shortlist import TIE

Mask = NDArray[np.bool_]
#: Assignments told at most; with more, a node is split like one that takes too long.
MOST_FOUND = 4096
#: After this part of a budget it is looked whether the budget will do.
PROBED = 50
_NO_BUDGET = 2**62


def enumerator(model: Pairwise, switches: Switches) -> Enumerator:
    """The compiled one if it is wanted and there is one, else the one on arrays."""
    if switches.compiled and library() is not None:
        return CompiledEnumerator(model, filling=switches.filling)
    return Enumerator(model)


class CompiledEnumerator(Enumerator):
    """Enumerates assignments of one problem under changing bounds, compiled."""

    compiled = True

    def __init__(self, model: Pairwise, *, filling: bool = True):
        super().__init__(model)
        self._filling = filling
        # a whole assignment's cost is its score to the last where nothing convex comes on top and
        # no site saves anything
        saves = bool((model.use_cost < 0.0).any())
        plain = not (model.curved or model.soft or len(model.pieces) or saves)
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
        all_of_it: bool = True,
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
            probe=max(budget // PROBED, 1) if budget and all_of_it else _NO_BUDGET,
            most_found=MOST_FOUND,
            top=top if top <= self._exact_top else 0,
            width=width or 0,
        )
        costs = bound.compiled(m, filling=self._filling)
        answer = Answer(found=np.empty((MOST_FOUND, m.n_slots), np.int32), n_found=0, looked=0)
        function = native.limbtrim_enumerate if width is None else native.limbtrim_beam
        end = function(*(ctypes.byref(each) for each in (m.compiled, costs, asked, answer)))
        if end == NO_MEMORY:
            return super().run(bound, open_, most, width=width, budget=budget, deadline=deadline)
        self.extended += int(answer.looked)
        rows = answer.arrays["found"][: answer.n_found].astype(np.int64)
        return Listing(rows, width is None and end == ALL, width is None and end != ALL)
