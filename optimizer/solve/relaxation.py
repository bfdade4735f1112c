"""The linear relaxation of a pairwise problem alive, and the bound its dual values give.

What its columns and rows are: `optimizer.solve.linear_form`.

Weak duality holds for any multipliers of the right sign, so the bound is worked out anew from the
multipliers in plain arithmetic and owes nothing to the solver's tolerances.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.pairwise import Pairwise
from optimizer.solve.bounds import Bound, Key
from optimizer.solve.fewer import left_over
from optimizer.solve.highs_lp import LiveLinear, Rows
from optimizer.solve.linear_form import LinearForm

Mask = NDArray[np.bool_]
#: Values this close to a bound, and prices this close to none, are at it.
_AT_BOUND = 1e-9


@dataclass(frozen=True)
class Cut:
    """sum of values . (x, u, y) <= 0 or another right side, known to hold for every layout."""

    columns: IntArray
    values: Array
    upper: float


def _rows_of(cuts: list[Cut]) -> Rows:
    sizes = [len(cut.columns) for cut in cuts]
    return Rows(
        np.repeat(np.arange(len(cuts)), sizes),
        np.concatenate([np.zeros(0, dtype=np.int64), *(cut.columns for cut in cuts)]),
        np.concatenate([np.zeros(0), *(cut.values for cut in cuts)]),
        np.full(len(cuts), -inf),
        np.array([cut.upper for cut in cuts]),
    )


@dataclass(frozen=True)
class Part:
    """What of a model's whole relaxation one is of.

    `open` (n_c) choices and `allowed` pairs of them (per pair of slots) are what may be chosen;
    `wanted` are the columns that say so, `kept` the columns and rows that are there: what is not
    wanted is held at 0.
    """

    form: LinearForm
    open: Mask
    allowed: Mapping[Key, Mask]
    wanted: Mask
    kept: tuple[Mask, Mask]

    @staticmethod
    def whole(model: Pairwise) -> Part:
        """All of it."""
        form = LinearForm(model)
        column, row = (np.ones(n, dtype=bool) for n in (len(form.cost), len(form.rows.lower)))
        return Part(form, np.ones(len(model.choice), dtype=bool), {}, column, (column, row))


@dataclass(frozen=True)
class Optimum:
    """Where a relaxation was solved to: values, prices, which columns and rows were basic."""

    value: Array
    dual: Array
    basic: tuple[Mask, Mask]


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

    `open` (n_c) are the choices that were not left out for good, `used` their sites, `u` (n_s)
    the columns of these, -1 elsewhere. Columns are numbered x, u, v, excess, y. `line_at`,
    `line_block`, `line_a` and `line_b` tell of what can be bought of lines the column, what it
    belongs to (a pair of slots or one of its lines) and the two choices.
    """

    def __init__(self, model: Pairwise, seed: int = 0, part: Part | None = None):
        part = part or Part.whole(model)
        form, open_, wanted = part.form, part.open, part.wanted
        self.model, self.open, self._seed, self._part, self._form = model, open_, seed, part, form
        self._allowed = part.allowed
        m = model
        self._selected = selected = form.select(*part.kept)
        columns, rows = selected.columns, selected.rows
        self.used: IntArray = form.sites[wanted[form.u[form.sites]]]
        self.u = np.full(m.n_sites, -1, dtype=np.int64)
        self.u[self.used] = selected.at[form.u[self.used]]
        self._v, self._over = np.searchsorted(columns, [form.v, form.over]).tolist()
        self._lines: IntArray = np.flatnonzero(form.lines.allowed(open_, part.allowed))
        self.line_at = selected.at[form.y + form.lines.column[self._lines]]
        self.line_block, self.line_a, self.line_b = (
            each[self._lines] for each in (form.lines.block, form.lines.a, form.lines.b)
        )
        self.cost = form.cost[columns]
        brought = form.form[columns]
        self._limit_form = np.ascontiguousarray(brought[:, : m.n_limits].T)
        self._load = brought[:, -1] if m.curved else np.zeros(len(columns))
        self.upper = np.where(wanted, form.upper, 0.0)[columns]
        self.n_equal = int(np.searchsorted(rows, form.n_equal))
        # the rows per slot and site: where they are, and which of them each open choice is in
        self._use = slice(*np.searchsorted(rows, [form.use, form.site]).tolist())
        use = rows[self._use] - form.use
        self._use_site = form.use_site[use]
        x = np.flatnonzero(open_)
        self._use_of = x, np.searchsorted(use, form.use_of[x])
        self._cuts: list[Cut] = []
        self._cut_rows = _rows_of([])
        self.lp = LiveLinear(self.cost, self.upper, selected.entries, seed)
        self._x = np.arange(len(m.choice))
        self.value, self.dual = np.zeros(len(columns)), np.zeros(len(rows))

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
        self.lp.add_rows(_rows_of(cuts))
        self._cuts = self._cuts + cuts
        self._cut_rows = _rows_of(self._cuts)
        self.dual = np.append(self.dual, np.zeros(len(cuts)))

    def within_sites(self) -> dict[int, Within]:
        """Per site, the pairs of choices there that lines join, with the columns that say so."""
        m, a, b = self.model, self.line_a, self.line_b
        same = np.flatnonzero(m.site[a] == m.site[b])
        pair = a[same] * len(m.choice) + b[same]
        order = np.lexsort((pair, m.site[a[same]]))
        same, pair = same[order], pair[order]
        first = np.flatnonzero(np.diff(pair, prepend=-1))
        # of several lines side by side any one tells
        one = self.line_block[same] == np.repeat(
            self.line_block[same[first]], np.diff(np.append(first, len(pair)))
        )
        same, pair = same[one], pair[one]
        starts = np.flatnonzero(np.diff(pair, prepend=-1))
        columns, at = self.line_at[same], same[starts]
        found: dict[int, Within] = {}
        sites, begins = np.unique(m.site[a[at]], return_index=True)
        ends = np.append(begins, len(starts))[1:]
        for site, begin, end in zip(sites.tolist(), begins.tolist(), ends.tolist(), strict=True):
            mine = starts[begin:end]
            until = starts[end] if end < len(starts) else len(columns)
            found[site] = Within(
                a[at[begin:end]], b[at[begin:end]], columns[mine[0] : until], mine - mine[0]
            )
        return found

    def optimum(self) -> Optimum:
        """The last optimum, to make a smaller relaxation from."""
        columns, rows = self.lp.basic()
        basic = np.zeros(len(self.value), dtype=bool), np.zeros(len(self.dual), dtype=bool)
        basic[0][columns] = True
        basic[1][rows] = True
        return Optimum(self.value, self.dual, basic)

    def smaller(
        self, open_: Mask, allowed: Mapping[Key, Mask], at: Optimum | None
    ) -> tuple[Relaxation, Optimum | None]:
        """One with fewer choices open and fewer pairs of them allowed.

        Given an optimum here, it has the cuts that were tight there and those found since that
        are worth something, and starts from its basis. Where nothing closed was used the optimum
        still is one: the second returned tells it in the other's columns and rows.
        """
        form, mine, n = self._form, self._selected, len(self._selected.rows)
        column, row = form.left(open_, allowed)
        part = Part(form, open_, allowed, column, (column.copy(), row))
        if at is None:
            other = Relaxation(self.model, self._seed, part)
            other.add_cuts(other.carried(self._cuts, self))
            return other, None
        unwanted = ~column[mine.columns], ~row[mine.rows]
        stay = left_over(
            mine.entries.row, mine.entries.column, unwanted, (at.basic[0], at.basic[1][:n])
        )
        part.kept[0][mine.columns[stay[0]]] = True
        part.kept[1][mine.rows[stay[1]]] = True
        other = Relaxation(self.model, self._seed, part)
        known = len(at.dual) - n
        tight = np.flatnonzero(~at.basic[1][n:])
        since = known + np.flatnonzero(self.dual[n + known :] < -_AT_BOUND)
        cuts = [self._cuts[k] for k in (*tight, *since)]
        other.add_cuts(other.carried(cuts, self))
        theirs = other._selected
        columns = mine.at[theirs.columns]
        rows = np.append(np.searchsorted(mine.rows, theirs.rows), n + tight)
        later = len(since)
        dual = np.append(at.dual[rows], np.zeros(later))
        basic = (
            at.basic[0][columns] & part.kept[0][theirs.columns],
            np.append(at.basic[1][rows], np.ones(later, dtype=bool)),
        )
        value = at.value[columns]
        above = np.arange(len(dual)) >= other.n_equal
        other.lp.start_from(basic, (value >= other.upper - _AT_BOUND, above))
        if later or (at.value[unwanted[0]] > _AT_BOUND).any():
            return other, None
        other.lp.objective = float(other.cost @ value)
        other.value, other.dual = value, dual
        return other, Optimum(value, dual, basic)

    def carried(self, cuts: list[Cut], of: Relaxation) -> list[Cut]:
        """Cuts of another relaxation of the same model in terms of this one's columns."""
        out = []
        for cut in cuts:
            columns = self._selected.at[of._selected.columns[cut.columns]]
            kept = columns >= 0
            out.append(Cut(columns[kept], cut.values[kept], cut.upper))
        return out

    def twin(self, seed: int = 0) -> Relaxation:
        """The same relaxation once more, its cuts and basis included."""
        other = Relaxation(self.model, seed, self._part)
        other.add_cuts(self._cuts)
        other.lp.set_basis(self.lp.basis())
        return other

    @property
    def n_pairs(self) -> int:
        """How many pairs of choices have columns."""
        return len(self._lines)

    @property
    def shape(self) -> tuple[int, int]:
        """(rows, columns)."""
        return len(self.dual), len(self.cost)

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
        m, rows, cuts = self.model, self._selected.entries, self._cut_rows
        n, n_c = len(rows.lower), len(m.choice)
        dual = self.dual.copy()
        # all other rows only hold from above
        np.minimum(dual[self.n_equal :], 0.0, out=dual[self.n_equal :])
        dual[: m.n_slots] = 0.0  # each slot's choice stays a choice
        soft = dual[n - len(m.soft) : n]
        np.maximum(soft, [-per for _, per in m.soft], out=soft)
        constant = m.constant + float(dual[:n] @ rows.upper) + float(dual[n:] @ cuts.upper)
        cost: Array = self.cost - np.bincount(
            rows.column, weights=rows.value * dual[rows.row], minlength=len(self.cost)
        )
        if self._cuts:
            cost -= np.bincount(
                cuts.column, weights=cuts.value * dual[n:][cuts.row], minlength=len(cost)
            )
        shares = -dual[self._use]
        share = np.zeros(n_c)
        share[self._use_of[0]] = shares[self._use_of[1]]
        use = np.zeros(m.n_sites)
        use[self.used] = cost[self.u[self.used]]
        # what a site's use brings or saves for certain
        spared = np.where(must, use, np.where(may, np.minimum(use, 0.0), 0.0))
        constant += float(spared.sum())
        use -= spared
        use += np.bincount(self._use_site, weights=shares, minlength=m.n_sites)
        constant += float(np.minimum(cost[self._v : self._over], 0.0).sum())
        least, table = self._form.lines.tables(self._lines, cost[self.line_at])
        return Bound(constant + least, cost[:n_c] - share, share, use, table)
