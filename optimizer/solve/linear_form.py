"""The linear relaxation over all choices of a model, written once; parts of it are selected.

Columns: the choices x, the sites in use u, the pieces put on v, the excess over soft limits, how
many sites of each group are in use (`optimizer.solve.usage`), and the columns of lines y
(`optimizer.solve.pair_columns`). Rows, in this order: each slot's choice, the counts of sites, each
line's ties to the classes of its two ends, single choices' shares of it, rules on pairs, sites in
use (per slot and site, per site, per capacity), pieces, limits, soft limits.

With choices closed, only their own columns and rows fall away; no entry changes. So a smaller
relaxation is a selection, and what was basic in the larger one tells where to start.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.pairwise import Pairwise
from optimizer.solve.bounds import Key
from optimizer.solve.highs_lp import Rows
from optimizer.solve.pair_columns import PairColumns
from optimizer.solve.usage import groups

Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Selected:
    """What is left of the whole: numbers of its columns and rows, and the rows in their terms."""

    columns: IntArray
    rows: IntArray
    at: IntArray
    """Per column of the whole, which one it is here; -1 if none."""
    entries: Rows


class _Writer:
    def __init__(self) -> None:
        self.count = 0
        self._row: list[IntArray] = []
        self._column: list[IntArray] = []
        self._value: list[Array] = []
        self._upper: list[Array] = []

    def add(self, row: ArrayLike, column: ArrayLike, value: ArrayLike, upper: ArrayLike) -> int:
        """Add entries of rows numbered from 0 within the block; returns the first one's number."""
        first = self.count
        rows, uppers = np.asarray(row, dtype=np.int64), np.atleast_1d(upper).astype(float)
        self._row.append(rows + first)
        self._column.append(np.asarray(column, dtype=np.int64))
        self._value.append(np.broadcast_to(np.asarray(value, dtype=float), rows.shape))
        self._upper.append(uppers)
        self.count += len(uppers)
        return first

    def rows(self, equal: int) -> Rows:
        """All rows, sorted; the first so many are equations."""
        row, upper = np.concatenate(self._row), np.concatenate(self._upper)
        order = np.argsort(row, kind="stable")
        lower = np.full(self.count, -inf)
        lower[:equal] = upper[:equal]
        column, value = np.concatenate(self._column), np.concatenate(self._value)
        return Rows(row[order], column[order], value[order], lower, upper)


class LinearForm:
    """Costs, upper bounds and rows over all choices.

    Attributes
    ----------
    sites : the sites that some choice is at; `u` (n_s,) the columns of their use, -1 elsewhere
    v, over, count, y : the first columns of pieces, of excess, of counts and of lines
    cost, upper : (n,) of the columns; `form` (n, n_f) what they bring to limits and the like
    rows : all rows; the first `n_equal` are equations
    use, site : the first row per slot and site, the first per site
    use_site, use_of : sites of the rows per slot and site; (n_c,) which of them each choice is in
    """

    def __init__(self, model: Pairwise):
        self.model = m = model
        self.lines = PairColumns(m)
        self.sites: IntArray = np.unique(m.site)
        self.u = np.full(m.n_sites, -1, dtype=np.int64)
        self.u[self.sites] = len(m.choice) + np.arange(len(self.sites))
        self._columns()
        writer = _Writer()
        n_c = len(m.choice)
        writer.add(m.slot, np.arange(n_c), 1.0, np.ones(m.n_slots))
        self._counts(writer)
        self._ties(writer)
        self.n_equal = writer.count
        self._shares(writer)
        self._rules(writer)
        self._sites_in_use(writer)
        self._pieces(writer)
        self._forms(writer)
        self.rows = writer.rows(self.n_equal)

    # -- writing ---------------------------------------------------------------------------

    def _columns(self) -> None:
        """Costs, forms and upper bounds."""
        m, lines = self.model, self.lines
        n_c, n_u, n_v, n_soft = len(m.choice), len(self.sites), len(m.pieces), len(m.soft)
        self.v = n_c + n_u
        self.over = self.v + n_v
        self.count = self.over + n_soft
        group = groups(m)
        self._group, self._member = np.nonzero(group)
        n_g = len(group)
        self.y = self.count + n_g
        over_form = np.zeros((n_soft, m.form.shape[1]))
        over_form[np.arange(n_soft), m.n_limits + np.arange(n_soft)] = -1.0
        self.cost = np.concatenate(
            [
                m.cost + lines.folded_cost,
                m.use_cost[self.sites],
                np.full(n_v, m.piece_cost),
                np.array([per for _, per in m.soft]),
                np.zeros(n_g),
                lines.cost,
            ]
        )
        self.form = np.concatenate(
            [
                m.form + lines.folded_form,
                m.use_form[self.sites],
                np.tile(m.piece_form, (n_v, 1)),
                over_form,
                np.zeros((n_g, m.form.shape[1])),
                lines.form,
            ]
        )
        self.upper = np.ones(len(self.cost))
        self.upper[self.over :] = inf

    def _counts(self, writer: _Writer) -> None:
        """How many sites of each group are in use."""
        n_g = self.y - self.count
        writer.add(
            np.concatenate([self._group, np.arange(n_g)]),
            np.concatenate([self.u[self._member], self.count + np.arange(n_g)]),
            np.repeat([1.0, -1.0], [len(self._group), n_g]),
            np.zeros(n_g),
        )

    def _ties(self, writer: _Writer) -> None:
        """Choices of a class have together as much of each line as of themselves."""
        lines = self.lines
        n, n_y = int(lines.end_class.max(initial=-1)) + 1, len(lines.cost)
        y = np.tile(self.y + np.arange(n_y), 2)
        self._tie = writer.add(
            np.concatenate([lines.end_class[lines.column_ends].ravel(), lines.end_class]),
            np.concatenate([y, lines.end_choice]),
            np.repeat([1.0, -1.0], [len(y), len(lines.end_class)]),
            np.zeros(n),
        )

    def _shares(self, writer: _Writer) -> None:
        """No choice of a larger class has more of what is its own of a line than of itself."""
        lines = self.lines
        column = np.flatnonzero(lines.own)
        ends = lines.column_ends[:, column].ravel()
        several = np.bincount(lines.end_class)[lines.end_class[ends]] > 1
        y = np.tile(self.y + column, 2)[several]
        self._shared, row = np.unique(ends[several], return_inverse=True)
        n = len(self._shared)
        self._share = writer.add(
            np.concatenate([row, np.arange(n)]),
            np.concatenate([y, lines.end_choice[self._shared]]),
            np.repeat([1.0, -1.0], [len(y), n]),
            np.zeros(n),
        )

    def _rules(self, writer: _Writer) -> None:
        """Choices that may not be made together, in cliques, where no line says so."""
        m, lines = self.model, self.lines
        self._rule = writer.count
        for key, plain in zip(lines.keys, lines.plain.tolist(), strict=True):
            ok = m.pairs[key].ok
            if not plain or ok.all():
                continue
            a, b = m.first[key[0]], m.first[key[1]]
            barred = ~ok
            for pattern in np.unique(barred, axis=0):
                if not pattern.any():
                    continue
                # all choices that bar at least these
                alike = (barred | ~pattern).all(axis=1)
                columns = np.concatenate([a + np.flatnonzero(alike), b + np.flatnonzero(pattern)])
                writer.add(np.zeros(len(columns)), columns, 1.0, 1.0)

    def _sites_in_use(self, writer: _Writer) -> None:
        m, n_c = self.model, len(self.model.choice)
        x = np.arange(n_c)
        key, self.use_of = np.unique(m.slot * m.n_sites + m.site, return_inverse=True)
        self.use_site, n_use = key % m.n_sites, len(key)
        self.use = writer.add(
            np.concatenate([self.use_of, np.arange(n_use)]),
            np.concatenate([x, self.u[self.use_site]]),
            np.concatenate([np.ones(n_c), -np.ones(n_use)]),
            np.zeros(n_use),
        )
        n_u = len(self.sites)
        # a site without parts is not in use: its holder stays off
        self.site = writer.add(
            np.concatenate([np.searchsorted(self.sites, m.site), np.arange(n_u)]),
            np.concatenate([x, self.u[self.sites]]),
            np.concatenate([-np.ones(n_c), np.ones(n_u)]),
            np.zeros(n_u),
        )
        n_k = m.capacity_use.shape[1]
        choice, kind = np.nonzero(m.capacity_use > 0.0)
        weight = m.capacity_use[choice, kind]
        knapsack = m.site[choice] * n_k + kind
        total = np.bincount(knapsack, weights=weight, minlength=m.n_sites * n_k)
        binding = np.flatnonzero(total > 1.0)
        row = np.full(len(total), -1)
        row[binding] = np.arange(len(binding))
        within = row[knapsack] >= 0
        self.full = writer.add(
            np.concatenate([row[knapsack[within]], np.arange(len(binding))]),
            np.concatenate([choice[within], self.u[binding // max(n_k, 1)]]),
            np.concatenate([weight[within], -np.ones(len(binding))]),
            np.zeros(len(binding)),
        )

    def _pieces(self, writer: _Writer) -> None:
        """A piece is put on where a site of it is in use."""
        piece, site = np.nonzero(self.model.pieces)
        used = self.u[site] >= 0
        piece, self._piece_site = piece[used], site[used]
        n = np.arange(len(piece))
        self.piece = writer.add(
            np.concatenate([n, n]),
            np.concatenate([self.u[self._piece_site], self.v + piece]),
            np.repeat([1.0, -1.0], len(n)),
            np.zeros(len(n)),
        )

    def _forms(self, writer: _Writer) -> None:
        m = self.model
        n = m.n_limits + len(m.soft)
        form = self.form[:, :n].T
        row, column = np.nonzero(form)
        upper = np.concatenate([m.upper[: m.n_limits], [most for most, _ in m.soft]])
        self._form = writer.add(row, column, form[row, column], upper)

    # -- selecting -------------------------------------------------------------------------

    def left(self, open_: Mask, allowed: Mapping[Key, Mask]) -> tuple[Mask, Mask]:
        """Which columns and rows matter with some choices (n_c) and pairs of them left."""
        m, n_c, rows = self.model, len(self.model.choice), self.rows
        used = np.zeros(m.n_sites, dtype=bool)
        used[m.site[open_]] = True
        column = np.ones(len(self.cost), dtype=bool)
        column[:n_c] = open_
        column[self.u[self.sites]] = used[self.sites]
        lines = self.lines
        bought = lines.allowed(open_, allowed)
        column[self.y :] = False
        column[self.y + lines.column[bought]] = True
        row = np.ones(len(rows.lower), dtype=bool)
        members = np.bincount(
            lines.end_class[open_[lines.end_choice]], minlength=self._share - self._tie
        )
        row[self._tie : self.n_equal] = members > 0
        # the only one left of a class has as much of the line as the class
        row[self._share : self._rule] = open_[lines.end_choice[self._shared]] & (
            members[lines.end_class[self._shared]] > 1
        )
        row[self.site : self.full] = used[self.sites]
        row[self.piece : self._form] = used[self._piece_site]
        # a rule of one slot's choices and a slot nowhere at a site say nothing, nor does a
        # capacity that all open choices fit in together
        between = slice(*np.searchsorted(rows.row, [self._rule, self.piece]).tolist())
        there = column[rows.column[between]]
        number, value = rows.row[between][there], rows.value[between][there]
        several = np.bincount(number, minlength=len(row)) > 1
        row[self._rule : self.site] = several[self._rule : self.site]
        total = np.bincount(number, weights=np.maximum(value, 0.0), minlength=len(row))
        row[self.full : self.piece] = total[self.full : self.piece] > 1.0
        return column, row

    def select(self, column: Mask, row: Mask) -> Selected:
        """Some columns and rows. The other choices stay as columns without entries."""
        rows, n_c = self.rows, len(self.model.choice)
        entry = column[rows.column] & row[rows.row]
        column = column.copy()
        column[:n_c] = True
        at = np.where(column, np.cumsum(column) - 1, -1)
        number = np.cumsum(row) - 1
        entries = Rows(
            number[rows.row[entry]],
            at[rows.column[entry]],
            rows.value[entry],
            rows.lower[row],
            rows.upper[row],
        )
        return Selected(np.flatnonzero(column), np.flatnonzero(row), at, entries)
