"""What layouts cost at least under multipliers, and what that tells of single choices."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from optimizer.native.structures import Costs
from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.compiled_form import flat
from optimizer.problem.pairwise import Pairwise

Mask = NDArray[np.bool_]
#: Two slots, the lower number first.
Key = tuple[int, int]


@dataclass(frozen=True)
class Filling:
    """What multipliers pay for what sites hold, told of each site.

    A site in use costs `empty` (n_s) on top, less `choice` (n_c) of what is there and `together`
    (n) of two of them, `first` and `second`; never less than nothing. One that is not in use costs
    `idle` (n_s).
    """

    empty: Array
    idle: Array
    choice: Array
    first: IntArray
    second: IntArray
    together: Array

    def mates(self) -> tuple[IntArray, IntArray, Array]:
        """Two that count together, each pair both ways round, in order of the first."""
        first = np.concatenate([self.first, self.second])
        second = np.concatenate([self.second, self.first])
        order = np.argsort(first, kind="stable")
        return first[order], second[order], np.tile(self.together, 2)[order]


@dataclass(frozen=True)
class Bound:
    """Costs under multipliers: every solution within the open choices costs at least

    constant + sum of `choice` at its choices + `use` of every site in use + `table` at its pairs,
    and a choice at a site nobody uses yet brings `share` of it on top (the shares at a site add up
    to no more than its `use`; all choices of a slot there have the same); and what `filling` says
    of every site besides.
    """

    constant: float
    choice: Array
    share: Array
    use: Array
    table: dict[Key, Array]
    filling: Filling

    def compiled(self, model: Pairwise, *, filling: bool = True) -> Costs:
        """The costs as the compiled parts take them, for the model they are of.

        Without `filling` sites cost nothing besides.
        """
        known: dict[bool, Costs] = self.__dict__.setdefault("_compiled", {})
        if filling not in known:
            none = np.zeros(model.n_sites)
            first, mate, together = self.filling.mates()
            known[filling] = Costs(
                choice=self.choice,
                share=self.share,
                use=self.use,
                table=flat(self.table[key] for key in model.pairs),
                empty=self.filling.empty if filling else none,
                idle=self.filling.idle if filling else none,
                filling=self.filling.choice,
                mates=np.searchsorted(first, np.arange(len(model.choice) + 1)),
                mate=mate,
                mate_slot=model.slot[mate],
                together=together,
                constant=self.constant,
            )
        return known[filling]


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
