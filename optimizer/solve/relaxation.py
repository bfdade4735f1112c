"""The linear relaxation of a pairwise problem, and the bound its dual values give.

Columns: the choices x, the sites in use u, the pieces put on v, the excess over soft limits, and
y[i, j, o] for every pair of choices a line can join as option o (one column per pair where no
line has several options there). A line whose one end has a single choice needs no y: it is part
of the cost of the other end's choices.

Weak duality holds for any multipliers of the right sign, so the bound is worked out anew from the
multipliers in plain arithmetic and owes nothing to the solver's tolerances.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.pairwise import Pairwise
from optimizer.solve.bounds import Bound, Key
from optimizer.solve.highs_lp import LiveLinear, Rows

Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Cut:
    """sum of values . (x, u) <= 0 or another right side, known to hold for every layout."""

    columns: IntArray
    values: Array
    upper: float


class _RowWriter:
    def __init__(self) -> None:
        self.count = 0
        self._row: list[IntArray] = []
        self._column: list[IntArray] = []
        self._value: list[Array] = []
        self._lower: list[Array] = []
        self._upper: list[Array] = []

    def add(self, row: Any, column: Any, value: Any, lower: Any, upper: Any) -> int:
        """Add rows numbered from 0 within the block; returns the number of the first."""
        row = np.asarray(row, dtype=np.int64)
        self._row.append(row + self.count)
        self._column.append(np.asarray(column, dtype=np.int64))
        self._value.append(np.broadcast_to(np.asarray(value, dtype=float), row.shape))
        lower, upper = np.atleast_1d(lower).astype(float), np.atleast_1d(upper).astype(float)
        self._lower.append(lower)
        self._upper.append(upper)
        self.count += len(lower)
        return self.count - len(lower)

    def rows(self) -> Rows:
        return Rows(
            np.concatenate(self._row),
            np.concatenate(self._column),
            np.concatenate(self._value),
            np.concatenate(self._lower),
            np.concatenate(self._upper),
        )


@dataclass
class _Block:
    """The y columns of one pair (of one of its lines where lines have several options)."""

    key: Key
    columns: IntArray
    row: IntArray
    column: IntArray


@dataclass(frozen=True)
class Within:
    """Pairs of choices (n,) at one site that lines join, and the columns that say so.

    Those of the k-th pair are `columns[starts[k]:starts[k + 1]]`.
    """

    first: IntArray
    second: IntArray
    columns: IntArray
    starts: IntArray

    def amounts(self, value: Array) -> Array:
        """(n,) how much of every pair there is at a point."""
        if not len(self.starts):
            return np.zeros(0)
        return np.asarray(np.add.reduceat(value[self.columns], self.starts))

    def columns_of(self, k: int) -> IntArray:
        """The columns of one pair."""
        end = self.starts[k + 1] if k + 1 < len(self.starts) else len(self.columns)
        return self.columns[self.starts[k] : end]


class Relaxation:
    """The relaxation alive: choices are closed, sites switched, cuts added, solved again.

    `open_` (n_c) and `allowed` (per pair of slots, over their choices) leave out for good what is
    known to be in no layout worth having.
    """

    def __init__(
        self,
        model: Pairwise,
        seed: int = 0,
        open_: Mask | None = None,
        allowed: Mapping[Key, Mask] | None = None,
    ):
        self.model = model
        self.open = np.ones(len(model.choice), dtype=bool) if open_ is None else open_
        self._allowed = allowed or {}
        self.used: IntArray = np.unique(model.site[self.open])
        self.u = np.full(model.n_sites, -1, dtype=np.int64)
        self.u[self.used] = len(model.choice) + np.arange(len(self.used))
        self._folded_cost = np.zeros(len(model.choice))
        self._folded_form = np.zeros((len(model.choice), model.form.shape[1]))
        self._blocks: list[_Block] = []
        self._plain_keys: list[Key] = []
        writer = _RowWriter()
        cost, form, col_upper = self._columns()
        self._write_places(writer)
        y_cost, y_form = self._write_pairs(writer, len(cost))
        cost = np.concatenate([cost, y_cost])
        form = np.concatenate([form, y_form])
        cost[: len(model.choice)] += self._folded_cost
        form[: len(model.choice)] += self._folded_form
        col_upper = np.concatenate([col_upper, np.full(len(y_cost), inf)])
        self._write_sites(writer)
        self._write_pieces(writer)
        self._write_forms(writer, form)
        self.cost = cost
        self._limit_form = np.ascontiguousarray(form[:, : model.n_limits].T)
        self._load = form[:, -1] if model.curved else np.zeros(len(cost))
        rows = writer.rows()
        self._rows = rows
        self._cuts: list[Cut] = []
        self.lp = LiveLinear(cost, col_upper, rows, seed)
        self._x = np.arange(len(model.choice))
        if not self.open.all():
            closed = self._x[~self.open]
            self.lp.set_bounds(closed, np.zeros(len(closed)), np.zeros(len(closed)))
        self.value, self.dual = np.zeros(len(cost)), np.zeros(len(rows.lower))

    # -- writing ---------------------------------------------------------------------------

    def _columns(self) -> tuple[Array, Array, Array]:
        """Costs, forms and upper bounds of x, u, v and excess."""
        m = self.model
        n_soft, n_f = len(m.soft), m.form.shape[1]
        n_u = len(self.used)
        self._v = len(m.choice) + n_u
        self._over = self._v + len(m.pieces)
        over_form = np.zeros((n_soft, n_f))
        over_form[np.arange(n_soft), m.n_limits + np.arange(n_soft)] = -1.0
        piece_form = np.tile(m.piece_form, (len(m.pieces), 1))
        cost = np.concatenate(
            [
                m.cost,
                m.use_cost[self.used],
                np.full(len(m.pieces), m.piece_cost),
                np.array([per for _, per in m.soft]),
            ]
        )
        form = np.concatenate([m.form, m.use_form[self.used], piece_form, over_form])
        upper = np.concatenate([np.full(len(m.choice), inf), np.ones(n_u + len(m.pieces)),
                                np.full(n_soft, inf)])  # fmt: skip
        upper[: len(m.choice)] = 1.0
        return cost, form, upper

    def _write_places(self, writer: _RowWriter) -> None:
        m = self.model
        ones = np.ones(m.n_slots)
        writer.add(m.slot, np.arange(len(m.choice)), 1.0, ones, ones)

    def _write_pairs(self, writer: _RowWriter, n: int) -> tuple[Array, Array]:
        m = self.model
        costs: list[Array] = [np.zeros(0)]
        forms: list[Array] = [np.zeros((0, m.form.shape[1]))]
        by_number = {table.number: table for table in m.tables}
        serial = 0
        self._y_key: list[IntArray] = []
        for key, pair in m.pairs.items():
            a, b = m.first[pair.slot_a], m.first[pair.slot_b]
            n_a, n_b = pair.ok.shape
            if not pair.lines:
                self._write_rule(writer, a, b, pair.ok)
                self._plain_keys.append(key)
                continue
            lines = [by_number[number] for number in pair.lines]
            single = all(int(line.kept.sum(axis=2).max(initial=0)) <= 1 for line in lines)
            if single and 1 in (n_a, n_b):
                at = slice(b, b + n_b) if n_a == 1 else slice(a, a + n_a)
                axis = 0 if n_a == 1 else 1
                cost = np.where(pair.ok, pair.cost, 0.0)
                form = np.where(pair.ok[..., None], pair.form, 0.0)
                self._folded_cost[at] += cost.sum(axis=axis)
                self._folded_form[at] += form.sum(axis=axis)
                self._write_rule(writer, a, b, pair.ok)
                self._plain_keys.append(key)
                continue
            tables = (
                [(pair.ok[..., None], pair.cost[..., None], pair.form[:, :, None])]
                if single
                else [
                    (line.kept, line.cost, line.form)
                    if line.slot_a < line.slot_b
                    else (
                        line.kept.swapaxes(0, 1),
                        line.cost.swapaxes(0, 1),
                        line.form.swapaxes(0, 1),
                    )
                    for line in lines
                ]
            )
            open_a = np.flatnonzero(self.open[a : a + n_a])
            open_b = np.flatnonzero(self.open[b : b + n_b])
            row_a, row_b = np.full(n_a, -1), np.full(n_b, -1)
            row_a[open_a] = np.arange(len(open_a))
            row_b[open_b] = len(open_a) + np.arange(len(open_b))
            rows = len(open_a) + len(open_b)
            ok = pair.ok & (row_a >= 0)[:, None] & (row_b >= 0)[None, :]
            ok &= self._allowed.get(key, True)
            for kept, cost, form in tables:
                i, j, o = np.nonzero(kept & ok[..., None])
                columns = n + np.arange(len(i))
                n += len(i)
                costs.append(cost[i, j, o])
                forms.append(form[i, j, o])
                self._blocks.append(_Block(key, columns, i, j))
                n_c = len(m.choice)
                self._y_key.append(((serial * n_c + a + i) * n_c + b + j) * 64 + o)
                serial += 1
                writer.add(
                    np.concatenate([row_a[i], row_b[j], np.arange(rows)]),
                    np.concatenate([columns, columns, a + open_a, b + open_b]),
                    np.concatenate([np.ones(2 * len(i)), -np.ones(rows)]),
                    np.zeros(rows),
                    np.zeros(rows),
                )
        return np.concatenate(costs), np.concatenate(forms)

    def _write_rule(self, writer: _RowWriter, a: int, b: int, ok: Mask) -> None:
        """Choices that may not be made together, in cliques."""
        seen = set()
        for i in range(ok.shape[0]):
            barred = ~ok[i]
            if not barred.any():
                continue
            alike = ~(ok & barred).any(axis=1)
            signature = (alike.tobytes(), barred.tobytes())
            if signature in seen:
                continue
            seen.add(signature)
            columns = np.concatenate([a + np.flatnonzero(alike), b + np.flatnonzero(barred)])
            writer.add(np.zeros(len(columns)), columns, 1.0, -inf, 1.0)

    def _write_sites(self, writer: _RowWriter) -> None:
        m = self.model
        x = np.flatnonzero(self.open)
        key, back = np.unique(m.slot[x] * m.n_sites + m.site[x], return_inverse=True)
        self._use_site, self._use_of = key % m.n_sites, (x, back)
        n_use = len(key)
        self._first_use = writer.add(
            np.concatenate([back, np.arange(n_use)]),
            np.concatenate([x, self.u[self._use_site]]),
            np.concatenate([np.ones(len(x)), -np.ones(n_use)]),
            np.full(n_use, -inf),
            np.zeros(n_use),
        )
        n_u = len(self.used)
        # a site without parts is not in use: its holder stays off
        writer.add(
            np.concatenate([np.searchsorted(self.used, m.site[x]), np.arange(n_u)]),
            np.concatenate([x, self.u[self.used]]),
            np.concatenate([-np.ones(len(x)), np.ones(n_u)]),
            np.full(n_u, -inf),
            np.zeros(n_u),
        )
        for k in range(m.capacity_use.shape[1]):
            for site in self.used:
                here = x[(m.site[x] == site) & (m.capacity_use[x, k] > 0.0)]
                if len(here) and m.capacity_use[here, k].sum() > 1.0:
                    writer.add(
                        np.zeros(len(here) + 1),
                        np.append(here, self.u[site]),
                        np.append(m.capacity_use[here, k], -1.0),
                        -inf,
                        0.0,
                    )

    def _write_pieces(self, writer: _RowWriter) -> None:
        m = self.model
        for n in range(len(m.pieces)):
            for site in np.flatnonzero(m.pieces[n]):
                if self.u[site] >= 0:
                    writer.add([0, 0], [self.u[site], self._v + n], [1.0, -1.0], -inf, 0.0)

    def _write_forms(self, writer: _RowWriter, form: Array) -> None:
        m = self.model
        self._first_soft = 0
        for f in range(m.n_limits + len(m.soft)):
            at = np.flatnonzero(form[:, f])
            upper = m.upper[f] if f < m.n_limits else m.soft[f - m.n_limits][0]
            row = writer.add(np.zeros(len(at)), at, form[at, f], -inf, upper)
            if f == m.n_limits:
                self._first_soft = row

    # -- changing and solving --------------------------------------------------------------

    def set_open(self, open_: Mask, must: Mask, may: Mask) -> None:
        """Close choices; `must`, `may` (n_s) tell which sites have to be and may be used."""
        columns = np.concatenate([self._x, self.u[self.used]])
        lower = np.concatenate([np.zeros(len(self._x)), must[self.used].astype(float)])
        upper = np.concatenate([open_.astype(float), may[self.used].astype(float)])
        self.lp.set_bounds(columns, lower, upper)

    def solve(self, time_limit_s: float = inf) -> str:
        """Solve; `value` and `dual` hold the optimum if there is one."""
        status = self.lp.solve(time_limit_s=time_limit_s)
        if status == "optimal":
            self.value, self.dual = self.lp.solution()
        return status

    def add_cuts(self, cuts: list[Cut]) -> None:
        """Add rows that every layout meets."""
        if not cuts:
            return
        rows, n = self._rows, len(self._rows.lower)
        for cut in cuts:
            self.lp.add_row(cut.columns, cut.values, -inf, cut.upper)
        self._cuts += cuts
        self.dual = np.append(self.dual, np.zeros(len(cuts)))
        self._rows = Rows(
            np.concatenate(
                [rows.row, *(np.full(len(c.columns), n + k) for k, c in enumerate(cuts))]
            ),
            np.concatenate([rows.column, *(c.columns for c in cuts)]),
            np.concatenate([rows.value, *(c.values for c in cuts)]),
            np.concatenate([rows.lower, np.full(len(cuts), -inf)]),
            np.concatenate([rows.upper, [c.upper for c in cuts]]),
        )

    def within_sites(self) -> dict[int, Within]:
        """Per site, the pairs of choices there that lines join, with the columns that say so."""
        m = self.model
        if not self._blocks:
            return {}
        serial = np.repeat(np.arange(len(self._blocks)), [len(b.columns) for b in self._blocks])
        first = np.concatenate([m.first[b.key[0]] + b.row for b in self._blocks])
        second = np.concatenate([m.first[b.key[1]] + b.column for b in self._blocks])
        same = np.flatnonzero(m.site[first] == m.site[second])
        if not len(same):
            return {}
        serial, first, second = serial[same], first[same], second[same]
        columns = np.concatenate([block.columns for block in self._blocks])[same]
        _, at, back = np.unique(
            first * len(m.choice) + second, return_index=True, return_inverse=True
        )
        # of several lines side by side any one tells
        told = np.flatnonzero(serial == serial[at][back])
        back = back[told]
        order = told[np.lexsort((back, m.site[first[told]]))]
        first, second, columns = first[order], second[order], columns[order]
        new = np.ones(len(order), dtype=bool)
        new[1:] = (first[1:] != first[:-1]) | (second[1:] != second[:-1])
        starts = np.flatnonzero(new)
        found: dict[int, Within] = {}
        sites, begins = np.unique(m.site[first[starts]], return_index=True)
        ends = np.append(begins[1:], len(starts))
        for site, begin, end in zip(sites.tolist(), begins.tolist(), ends.tolist(), strict=True):
            mine = starts[begin:end]
            until = starts[end] if end < len(starts) else len(order)
            found[site] = Within(
                first[mine], second[mine], columns[mine[0] : until], mine - mine[0]
            )
        return found

    def carried(self, cuts: list[Cut], of: Relaxation) -> list[Cut]:
        """Cuts of another relaxation of the same model in terms of this one's columns."""
        n = len(self.model.choice)
        to = np.full(len(of.cost), -1, dtype=np.int64)
        to[:n] = np.arange(n)
        to[of.u[of.used]] = self.u[of.used]
        if self._y_key and of._y_key:
            key, other = np.concatenate(self._y_key), np.concatenate(of._y_key)
            mine = np.concatenate([block.columns for block in self._blocks])
            theirs = np.concatenate([block.columns for block in of._blocks])
            order = np.argsort(key, kind="stable")
            at = np.minimum(np.searchsorted(key[order], other), len(key) - 1)
            same = key[order][at] == other
            to[theirs[same]] = mine[order][at[same]]
        out = []
        for cut in cuts:
            columns = to[cut.columns]
            kept = columns >= 0
            out.append(Cut(columns[kept], cut.values[kept], cut.upper))
        return out

    def twin(self, seed: int = 0) -> Relaxation:
        """The same relaxation once more, its cuts and basis included."""
        other = Relaxation(self.model, seed, self.open, self._allowed)
        other.add_cuts(self._cuts)
        other.lp.set_basis(self.lp.basis())
        return other

    def active_cuts(self) -> list[Cut]:
        """The cuts that hold with equality at the last optimum."""
        dual = self.dual[len(self.dual) - len(self._cuts) :]
        return [cut for cut, price in zip(self._cuts, dual, strict=True) if price < -1e-9]

    @property
    def n_pairs(self) -> int:
        """How many pairs of choices have columns."""
        return sum(len(block.columns) for block in self._blocks)

    @property
    def shape(self) -> tuple[int, int]:
        """(rows, columns)."""
        return len(self._rows.lower), len(self.cost)

    def allows(self, key: Key) -> Mask:
        """Which pairs of choices of two slots are still open."""
        pair = self.model.pairs[key]
        a, b = (self.open[self.model.first[p] : self.model.first[p + 1]] for p in key)
        return pair.ok & a[:, None] & b[None, :] & self._allowed.get(key, True)

    def tight_limits(self, least: float) -> IntArray:
        """Numbers of the limits of which less than this is left at the last optimum."""
        left = self.model.upper - self._limit_form @ self.value
        return np.flatnonzero(left < least)

    def load_kg(self) -> float:
        """The trunk's load at the last optimum, of a curved problem."""
        return float(self._load @ self.value)

    # -- bounding --------------------------------------------------------------------------

    def bound(self, must: Mask, may: Mask) -> Bound:
        """The bound of the last optimum's dual values, for sites that must and may be used."""
        m, rows = self.model, self._rows
        dual = self.dual.copy()
        dual = np.where(np.isinf(rows.lower), np.minimum(dual, 0.0), dual)
        dual = np.where(np.isinf(rows.upper), np.maximum(dual, 0.0), dual)
        dual[: m.n_slots] = 0.0  # each slot's choice stays a choice
        for n, (_, per) in enumerate(m.soft):
            dual[self._first_soft + n] = max(dual[self._first_soft + n], -per)
        right = np.where(np.isinf(rows.upper), rows.lower, rows.upper)
        priced = dual != 0.0
        constant = m.constant + float(dual[priced] @ right[priced])
        cost = self.cost - np.bincount(
            rows.column, weights=rows.value * dual[rows.row], minlength=len(self.cost)
        )
        n_use = len(self._use_site)
        shares = -dual[self._first_use : self._first_use + n_use]
        share = np.zeros(len(m.choice))
        share[self._use_of[0]] = shares[self._use_of[1]]
        use = np.zeros(m.n_sites)
        use[self.used] = cost[self.u[self.used]]
        # what a site's use brings or saves for certain
        spared = np.where(must, use, np.where(may, np.minimum(use, 0.0), 0.0))
        constant += float(spared.sum())
        use -= spared
        np.add.at(use, self._use_site, shares)
        constant += float(np.minimum(cost[self._v : self._over], 0.0).sum())
        table: dict[Key, Array] = {}
        for key in self._plain_keys:
            table[key] = np.where(m.pairs[key].ok, 0.0, inf)
        found: dict[Key, Array] = {}
        for block in self._blocks:
            ok = m.pairs[block.key].ok
            # several columns of a cell are options: the least counts
            each = np.full(ok.shape, inf)
            np.minimum.at(each, (block.row, block.column), cost[block.columns])
            found[block.key] = each + found[block.key] if block.key in found else each
        for key, each in found.items():
            least = float(each.min(initial=inf))
            if not np.isfinite(least):
                least = 0.0
            constant += least
            table[key] = each - least
        return Bound(constant, cost[: len(m.choice)] - share, share, use, table)
