"""Choices that a line treats alike: from all of them it leads on the same way.

A line costs what lies between its first place and that place's anchor, between the two anchors,
and between the second anchor and its place. So in its table the rows of choices at one anchor
differ by the same amount in every column, as long as the same columns are open to them. Such
choices are one class: what they differ by goes to their own cost, and the line is a column per
pair of classes instead of one per pair of choices. Cells of one site are no part of that: there the
line has no way to go.

Nothing is taken on trust. Every cell is compared with what its classes say of it, and a choice of
which they say something else becomes a class of its own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, IntArray

Mask = NDArray[np.bool_]
#: Values this close are the same: sums of a few floats of about 1.
_SAME = 1e-11
#: Whole numbers below this, one for each cell of a row, have exact sums that tell patterns apart.
_LARGE = 2**40


@dataclass(frozen=True)
class Cells:
    """The cells of several tables, one table after another and each row by row.

    Attributes
    ----------
    row, column : (n,) the cell's two ends, in one numbering of all rows and columns of all tables
        in which those of one table follow each other
    step : (n,) how many columns the cell's table has
    open : (n,) where something may be
    apart : (n,) where the two choices are at different sites
    value : (n, n_v) costs first, finite where open
    """

    row: IntArray
    column: IntArray
    step: IntArray
    open: Mask
    apart: Mask
    value: Array


@dataclass(frozen=True)
class Classes:
    """The class (n_ends,) of each row and column and what each brings by itself (n_ends, n_v).

    An open cell between sites is the sum of what its row and its column bring and of something that
    all cells of its pair of classes have in common. Classes are numbered from 0.
    """

    of: IntArray
    brings: Array


def classes(cells: Cells, kind: IntArray) -> Classes:
    """Sort the rows and the columns of tables into classes.

    Parameters
    ----------
    kind : (n_ends,) different for two rows (columns) that cannot be alike, as those of different
        tables and a row and a column are
    """
    rows = _Side(cells, cells.row, cells.column, cells.step, kind)
    columns = _Side(cells, cells.column, cells.row, np.ones_like(cells.step), kind)
    while True:
        odd = np.flatnonzero(_odd(cells, rows, columns))
        if not len(odd):
            break
        # whichever of its ends has more of them is to blame, unless it is by itself already
        row, column = cells.row[odd], cells.column[odd]
        of_row = np.bincount(row)[row] >= np.bincount(column)[column]
        of_row = np.where(of_row, rows.shared[row], ~columns.shared[column])
        rows.part(row[of_row])
        columns.part(column[~of_row])
    side = np.zeros(len(kind), dtype=np.int64)
    side[cells.column] = 1
    _, of = np.unique(2 * np.where(side, columns.of, rows.of) + side, return_inverse=True)
    return Classes(of.ravel(), rows.brings + columns.brings)


class _Side:
    """The rows of all tables, or their columns: the class each is in and what it brings.

    Of the other ends nothing is known: they are classes of their own that bring nothing.
    """

    def __init__(
        self, cells: Cells, own: IntArray, across: IntArray, step: IntArray, kind: IntArray
    ):
        self._value, self._own, self._step = cells.value, own, step
        self._between = cells.open & cells.apart
        n = len(kind)
        self.of, self.brings = np.arange(n), np.zeros((n, cells.value.shape[1]))
        self._names = n
        weight = np.random.default_rng(0).integers(_LARGE, size=n)
        pattern = np.bincount(own, np.where(cells.open | ~cells.apart, weight[across], 0), n)
        self._join(np.arange(n), _same(kind, pattern))

    @property
    def shared(self) -> Mask:
        """Which ends are in a class with others."""
        return np.bincount(self.of)[self.of] > 1

    def part(self, ends: IntArray) -> None:
        """Take ends out of their classes: what is taken out of one makes another."""
        ends = np.unique(ends)
        of = self.of[ends]
        taken, there = (np.bincount(each, minlength=self._names) for each in (of, self.of))
        all_of_it = (taken == there)[of]
        self._join(ends, _same(of, np.where(all_of_it, ends, -1)))

    def _join(self, ends: IntArray, leader: IntArray) -> None:
        """Put ends into classes: `leader` tells each one's first, by its place among the ends."""
        self.of[ends] = self._names + leader
        self._names += len(ends)
        first = np.full(len(self.of), -1)
        first[ends] = ends[leader]
        cell = np.flatnonzero(self._between & (first[self._own] >= 0))
        own = self._own[cell]
        # where both an end and its class's first are open, and neither is at the site across
        model = cell + (first[own] - own) * self._step[cell]
        both = np.flatnonzero(self._between[model])
        more = self._value[cell[both]] - self._value[model[both]]
        example = _middle(own[both], more[:, 0], len(first))[ends]
        known = example >= 0
        self.brings[ends[known]] = more[example[known]]
        alone = ends[~known]
        self.of[alone] = self._names + np.arange(len(alone))
        self._names += len(alone)
        self.brings[alone] = 0.0


def _same(*labels: Array | IntArray) -> IntArray:
    """(n,) for each of n the first that has the same labels."""
    order = np.lexsort(labels)
    new = np.ones(len(order), dtype=bool)
    new[1:] = np.logical_or.reduce([np.diff(label[order]) != 0 for label in labels])
    first = np.zeros(len(order), dtype=np.int64)
    first[order] = order[new][np.cumsum(new) - 1]
    return first


def _odd(cells: Cells, rows: _Side, columns: _Side) -> Mask:
    """(n,) cells that are not what their classes say, where a class has other members."""
    pair = _same(rows.of[cells.row], columns.of[cells.column])
    value = np.where(cells.open[:, None], cells.value, 0.0)
    common = value - rows.brings[cells.row] - columns.brings[cells.column]
    between = np.flatnonzero(cells.open & cells.apart)
    example = _middle(pair[between], common[between, 0], len(pair))
    example[example >= 0] = between[example[example >= 0]]
    example = example[pair]
    more = common - common[example]
    different = np.abs(more).max(axis=1, initial=0.0) > _SAME
    # at one site the way round must be no bargain
    odd = np.where(cells.apart, different, more[:, 0] > _SAME) | ~cells.open
    several = rows.shared[cells.row] | columns.shared[cells.column]
    return odd & (example >= 0) & several


def _middle(group: IntArray, value: Array, n: int) -> IntArray:
    """(n,) of each group a member in the middle of its values, -1 where it has none."""
    order = np.lexsort((value, group))
    counts = np.bincount(group, minlength=n)
    at = np.cumsum(counts) - counts + counts // 2
    found = np.full(n, -1)
    some = counts > 0
    found[some] = order[at[some]]
    return found
