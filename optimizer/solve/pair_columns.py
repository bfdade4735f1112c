"""The columns of lines over all choices of a model, and the tables of pairs they are entries of.

The tables of all pairs of slots lie one after another in one flat array, in the model's order and
each row by row; so what is the same for every pair is done for all of them in one go.

A line is a column per pair of classes of choices that it treats alike (`line_classes`), bought as
the option that is cheapest most often; at one site, and as other options, it is a column per pair
of choices. Where one of its ends has a single choice it needs none: it is part of what the other
end's choices cost.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.pairwise import LineTable, Pair, Pairwise
from optimizer.solve.bounds import Key
from optimizer.solve.line_classes import Cells, Classes, classes

Mask = NDArray[np.bool_]
_Table = tuple[Mask, Array, Array]


class PairColumns:
    """All columns of lines, and what can be bought of lines: which column each is.

    A block is a pair of slots, or one of its lines where one of these has several options
    somewhere. What can be bought is in order of blocks and within a block of cells and options.
    Shapes: n_e that can be bought, n_y columns, n_b blocks, n_p pairs.

    Attributes
    ----------
    block : (n_e,) the block
    a, b : (n_e,) the two choices
    cell : (n_e,) the entry of the flat array of tables
    column : (n_e,) the column, shared by what two classes of choices have in common
    cost, form : (n_y,), (n_y, n_f) of the columns
    slots : (n_b, 2) the two slots of each block
    end_choice, end_class : (n_ends,) the choices of both slots of every block, and the classes of
        those that it treats alike
    column_ends : (2, n_y) the ends of one of those that each column is of
    own : (n_y,) which columns are not of classes but of two choices
    keys : the pairs of slots in order; `start` (n_p + 1,) where their tables start
    plain : (n_p,) pairs without columns
    folded_cost, folded_form : (n_c,), (n_c, n_f) what choices cost besides: what a class's members
        differ by, and lines whose other end has a single choice
    """

    def __init__(self, model: Pairwise):
        self._m = m = model
        self.keys = tuple(m.pairs)
        pairs = list(m.pairs.values())
        sizes = np.array([0, *(pair.ok.size for pair in pairs)], dtype=np.int64)
        self.start = np.cumsum(sizes)
        self.plain = np.ones(len(pairs), dtype=bool)
        self.folded_cost = np.zeros(len(m.choice))
        self.folded_form = np.zeros((len(m.choice), m.form.shape[1]))
        tables: list[_Table] = []
        of_pair: list[int] = []
        by_number = {table.number: table for table in m.tables}
        for n, pair in enumerate(pairs):
            lines = [by_number[number] for number in pair.lines]
            single = all(_has_one_option(line) for line in lines)
            if not lines:
                continue
            if single and 1 in pair.ok.shape:
                self._fold(pair)
                continue
            self.plain[n] = False
            tables += [_whole(pair)] if single else [_option_table(pair, line) for line in lines]
            of_pair += [n] * (1 if single else len(lines))
        self._list(tables, np.array(of_pair, dtype=np.int64))
        ok = np.concatenate([np.zeros(0, dtype=bool), *(pair.ok.ravel() for pair in pairs)])
        #: What cells without a column cost: nothing where no line is, else they are barred.
        barred = ~ok | np.repeat(~self.plain, np.diff(self.start))
        self._bare = np.full(self._n_cells, np.inf)
        self._bare[: len(barred)][~barred] = 0.0

    def _fold(self, pair: Pair) -> None:
        m = self._m
        axis = 0 if pair.ok.shape[0] == 1 else 1
        slot = pair.slot_b if axis == 0 else pair.slot_a
        at = slice(m.first[slot], m.first[slot + 1])
        self.folded_cost[at] += np.where(pair.ok, pair.cost, 0.0).sum(axis=axis)
        self.folded_form[at] += np.where(pair.ok[..., None], pair.form, 0.0).sum(axis=axis)

    def _list(self, tables: list[_Table], of_pair: IntArray) -> None:
        """Write down what can be bought and its columns: all blocks at once."""
        n_f = self._m.form.shape[1]
        shape = np.array([kept.shape for kept, _, _ in tables], dtype=np.int64).reshape(-1, 3)
        cells = shape[:, 0] * shape[:, 1]
        sizes = cells * shape[:, 2]
        kept = np.concatenate([np.zeros(0, dtype=bool), *(each[0].ravel() for each in tables)])
        cost = np.concatenate([np.zeros(0), *(each[1].ravel() for each in tables)])
        form = np.concatenate(
            [np.zeros((0, n_f)), *(each[2].reshape(each[0].size, n_f) for each in tables)]
        )
        self.slots = np.array(self.keys, dtype=np.int64).reshape(-1, 2)[of_pair]
        block = np.repeat(np.arange(len(tables)), sizes)
        at_block = np.concatenate([[0], np.cumsum(sizes)])[:-1]
        local, option = np.divmod(np.arange(len(kept)) - at_block[block], shape[block, 2])
        row, column = np.divmod(local, shape[block, 1])
        side, ends = self._ends(block, row, column)
        apart = np.not_equal(*self._m.site[self.end_choice[ends]])
        value = np.column_stack([cost, form])
        usual = option == _usual(tables)[block]
        routes, site = self._m.problem.routes, self._m.site[self.end_choice]
        found = classes(
            Cells(
                *ends[:, usual],
                *(each[usual] for each in (shape[block, 1], kept, apart, value)),
            ),
            side * (routes.between.n_anchors + 1) + routes.site_anchor[site],
        )
        self.end_class = found.of
        np.add.at(self.folded_cost, self.end_choice, found.brings[:, 0])
        np.add.at(self.folded_form, self.end_choice, found.brings[:, 1:])
        at = np.flatnonzero(kept)
        self.block = block[at]
        self.a, self.b = self.end_choice[ends[:, at]]
        self._place(of_pair, cells, (row * shape[block, 1] + column)[at])
        self._columns(ends[:, at], value[at], (~apart | ~usual)[at], found)

    def _ends(self, block: IntArray, row: IntArray, column: IntArray) -> tuple[IntArray, IntArray]:
        """Number the ends: in each block first those of its first slot, then of its second.

        Returns (n_ends,) which of all blocks' sides each is of, and (2, n) those of all entries.
        """
        first = self._m.first
        counts = np.diff(first)[self.slots].ravel()
        begins = np.concatenate([[0], np.cumsum(counts)])[:-1]
        self.end_choice = np.arange(int(counts.sum())) + np.repeat(
            first[self.slots].ravel() - begins, counts
        )
        ends = np.stack([begins[2 * block] + row, begins[2 * block + 1] + column])
        return np.repeat(np.arange(len(counts)), counts), ends

    def _place(self, of_pair: IntArray, cells: IntArray, cell: IntArray) -> None:
        """Find each one's entry in the flat array of tables.

        A further block of a pair has a table of its own behind those of all pairs.
        """
        further = np.zeros(len(of_pair), dtype=bool)
        further[1:] = of_pair[1:] == of_pair[:-1]
        area = np.where(further, cells, 0)
        start = np.where(further, self.start[-1] + np.cumsum(area) - area, self.start[of_pair])
        self.cell = start[self.block] + cell
        self._pair_cell = self.start[of_pair[self.block]] + cell
        self._n_cells = int(self.start[-1] + area.sum())
        self._further = [(int(of_pair[n]), int(start[n])) for n in np.flatnonzero(further).tolist()]

    def _columns(self, ends: IntArray, value: Array, own: Mask, found: Classes) -> None:
        """One column per pair of classes, and one for each of what is its `own`."""
        n = len(found.of)
        pair = found.of[ends[0]] * n + found.of[ends[1]]
        name = np.where(own, n**2 + np.arange(len(own)), pair)
        _, example, self.column = np.unique(name, return_index=True, return_inverse=True)
        self.own, self.column_ends = own[example], ends[:, example]
        left = value[example] - found.brings[self.column_ends].sum(axis=0)
        self.cost, self.form = left[:, 0], left[:, 1:]

    def allowed(self, open_: Mask, allowed: Mapping[Key, Mask]) -> Mask:
        """(n_e,) what is left with some choices (n_c) open and some pairs of them allowed."""
        left: Mask = open_[self.a] & open_[self.b]
        if allowed:
            flat = np.concatenate(
                [
                    allowed[key].ravel() if key in allowed else np.ones(int(size), dtype=bool)
                    for key, size in zip(self.keys, np.diff(self.start), strict=True)
                ]
            )
            left &= flat[self._pair_cell]
        return left

    def tables(self, bought: IntArray, cost: Array) -> tuple[float, dict[Key, Array]]:
        """What pairs of choices cost, given what some that can be bought do; the others are barred.

        Returns what the cheapest entries of all pairs cost together, and per pair what its
        entries cost beyond its cheapest.
        """
        flat = self._bare.copy()
        cell = self.cell[bought]
        # several of a cell are options, one after another: the least counts
        first = np.ones(len(cell), dtype=bool)
        first[1:] = cell[1:] != cell[:-1]
        if first.all():
            flat[cell] = cost
        else:
            flat[cell[first]] = np.minimum.reduceat(cost, np.flatnonzero(first))
        start = self.start
        for pair, at in self._further:
            flat[start[pair] : start[pair + 1]] += flat[at : at + start[pair + 1] - start[pair]]
        flat = flat[: start[-1]]
        if not len(flat):
            return 0.0, {}
        least = np.minimum.reduceat(flat, start[:-1])
        least[~np.isfinite(least)] = 0.0
        flat -= np.repeat(least, np.diff(start))
        shapes = (self._m.pairs[key].ok.shape for key in self.keys)
        parts = np.split(flat, start[1:-1])
        found = {
            key: part.reshape(shape)
            for key, part, shape in zip(self.keys, parts, shapes, strict=True)
        }
        return float(least.sum()), found


def _usual(tables: list[_Table]) -> IntArray:
    """(n_b,) of each block the option that is cheapest most often."""
    return np.array(
        [
            0
            if cost.shape[2] == 1
            else np.bincount(np.where(kept, cost, np.inf).argmin(axis=2)[kept.any(axis=2)]).argmax()
            for kept, cost, _ in tables
        ],
        dtype=np.int64,
    )


def _has_one_option(line: LineTable) -> bool:
    return line.kept.shape[2] == 1 or int(line.kept.sum(axis=2).max(initial=0)) <= 1


def _whole(pair: Pair) -> _Table:
    """What may be chosen, costs and forms (n_a, n_b, 1, ...) of all lines of a pair together."""
    return pair.ok[..., None], pair.cost[..., None], pair.form[:, :, None]


def _option_table(pair: Pair, line: LineTable) -> _Table:
    """What may be chosen of a line's options, their costs and forms, the lower slot first."""
    kept, cost, form = line.kept, line.cost, line.form
    if line.slot_a > line.slot_b:
        kept, cost, form = kept.swapaxes(0, 1), cost.swapaxes(0, 1), form.swapaxes(0, 1)
    return kept & pair.ok[..., None], cost, form
