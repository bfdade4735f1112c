"""What layouts cost at least under multipliers, and what that tells of single choices."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from optimizer.native.structures import Costs
from optimizer.problem.arrays import Array
from optimizer.problem.compiled_form import flat
from optimizer.problem.pairwise import Pairwise

Mask = NDArray[np.bool_]
#: Two slots, the lower number first.
Key = tuple[int, int]


@dataclass(frozen=True)
class Bound:
    """Costs under multipliers: every solution within the open choices costs at least

    constant + sum of `choice` at its choices + `use` of every site in use + `table` at its pairs,
    and a choice at a site nobody uses yet brings `share` of it on top (the shares at a site add up
    to no more than its `use`; all choices of a slot there have the same).
    """

    constant: float
    choice: Array
    share: Array
    use: Array
    table: dict[Key, Array]

    def compiled(self, model: Pairwise) -> Costs:
        """The costs as the compiled parts take them, for the model they are of."""
        known = self.__dict__.get("_compiled")
        if known is None:
            known = self.__dict__["_compiled"] = Costs(
                choice=self.choice,
                share=self.share,
                use=self.use,
                table=flat(self.table[key] for key in model.pairs),
                constant=self.constant,
            )
        return known


def reduced_costs(model: Pairwise, bound: Bound, open_: Mask) -> tuple[float, Array]:
    """The bound over the open choices, and what each choice costs beyond its slot's cheapest."""
    full = np.where(open_, bound.choice + bound.share, inf)
    least = np.minimum.reduceat(full, model.first[:-1])
    with np.errstate(invalid="ignore"):
        beyond = full - least[model.slot]
    return bound.constant + float(least.sum()), np.where(open_, beyond, inf)


def combinations(model: Pairwise, open_: Mask) -> float:
    """Decimal logarithm of how many combinations of open choices there are."""
    counts = np.add.reduceat(open_.astype(np.int64), model.first[:-1])
    return float(np.log10(np.maximum(counts, 1)).sum())
