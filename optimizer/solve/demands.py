"""Demands on where parts sit, put to a live program for a while."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np

from optimizer.problem.arrays import Array
from optimizer.solve.link_program import LinkProgram


@dataclass(frozen=True)
class SiteDemand:
    """Between `least` and `most` of some slots sit at some sites."""

    slots: frozenset[int]
    sites: frozenset[int]
    least: float
    most: float

    def columns(self, program: LinkProgram) -> list[int]:
        """The placement columns it counts."""
        problem = program.problem
        return [
            column
            for c, column in program.columns.x.items()
            if int(problem.choice_slot[c]) in self.slots
            and int(problem.choice_site[c]) in self.sites
        ]


@dataclass(frozen=True)
class RowDemand:
    """least <= coefficients . columns <= most, of one program."""

    index: Array
    coefficients: Array
    least: float
    most: float


Demand = SiteDemand | RowDemand


def as_row(program: LinkProgram, demand: Demand) -> RowDemand:
    """A demand as a row of a program."""
    if isinstance(demand, RowDemand):
        return demand
    index = np.array(demand.columns(program), dtype=float)
    return RowDemand(index, np.ones(len(index)), demand.least, demand.most)


def meets(row: RowDemand, x: Array) -> bool:
    """Whether a solution meets a demand, by the solver's own tolerance."""
    value = float(x[row.index.astype(int)] @ row.coefficients)
    return row.least - 1e-6 <= value <= row.most + 1e-6


@contextmanager
def demanding(program: LinkProgram, demands: Sequence[Demand]) -> Iterator[None]:
    """Add the demands' rows for as long as the context lasts."""
    added = []
    for row in [as_row(program, demand) for demand in demands]:
        added.append(program.live.add_row(row.least, row.most, row.index, row.coefficients))
    try:
        yield
    finally:
        for number in reversed(added):
            program.live.delete_row(number)
