"""The linear relaxation of a pairwise problem alive, and the bound its dual values give.

What its columns and rows are: `optimizer.solve.linear_form`.

Weak duality holds for any multipliers of the right sign, so the bound is worked out anew from the
multipliers in plain arithmetic and owes nothing to the solver's tolerances.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import inf

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.pairwise import Pairwise
from optimizer.solve.bounds import Bound, Filling, Key
from optimizer.solve.fewer import left_over
from optimizer.solve.highs_lp import LiveLinear, Rows
from optimizer.solve.linear_form import LinearForm
from optimizer.solve.usage import Usage

Mask = NDArray[np.bool_]
#: Relative to 1 and more, how far the solver's objective must be over a threshold to tell.
BEYOND = 1e-6
#: Values this close to a bound, and prices this close to none, are at it.
_AT_BOUND = 1e-9


@dataclass(frozen=True)
class Cut:
    """sum of values . (x, u, y) <= 0 or another right side, known to hold for every layout."""

    columns: IntArray
    values: Array
    upper: float
    of_limits: bool = False
    """Whether it holds because of the study's limits."""
    of_site: bool = False
    """Whether it is about what one site in use holds."""


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
class Shares:
    """A bound in shares: no layout costs less than

    `constant` + its columns at the `price` (n,) of every group + at `left` (n,) its lines that are
    in no group.
    """

    constant: float
    price: list[Array]
    left: Array


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
    the columns of these, -1 elsewhere. Columns are numbered x, u, v, excess, counts, y. `line_at`,
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
        self._v, self._over, count, y = np.searchsorted(
            columns, [form.v, form.over, form.count, form.y]
        ).tolist()
        #: The columns of how many sites of each group are in use.
        self.counts: IntArray = np.arange(count, y)
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
        self._usage = Usage.free(m)
        self.n_equal = int(np.searchsorted(rows, form.n_equal))
        # the rows per slot and site: where they are, and which of them each open choice is in
        self._use = slice(*np.searchsorted(rows, [form.use, form.site]).tolist())
        self._full = slice(*np.searchsorted(rows, [form.full, form.piece]).tolist())
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

    def set_open(self, open_: Mask, usage: Usage) -> None:
        """Close choices, and say of sites what use is made of them."""
        self.lp.set_bounds(self._x, np.zeros(len(self._x)), open_.astype(float))
        self.set_usage(usage)

    def set_usage(self, usage: Usage) -> None:
        """Say of sites what use is made of them."""
        self._usage = usage
        columns, lower, upper = self._used_between(usage)
        self.lp.set_bounds(columns, lower, upper)

    def _used_between(self, usage: Usage) -> tuple[IntArray, Array, Array]:
        """The columns of sites in use and of their counts, their least and most."""
        columns = np.concatenate([self.u[self.used], self.counts])
        lower = np.concatenate([usage.must[self.used], usage.least])
        upper = np.concatenate([usage.may[self.used], usage.most])
        return columns, lower, upper

    def solve(self, time_limit_s: float = inf, most: float = inf) -> str:
        """Solve; `value` and `dual` hold the optimum if there is one.

        "beyond" where it is seen on the way that the optimum is more than `most`, and by more than
        the solver's tolerances.
        """
        cutoff = most - self.model.constant + BEYOND * max(1.0, abs(most))
        status = self.lp.solve(time_limit_s=time_limit_s, cutoff=cutoff)
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

    @cached_property
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
        """One with fewer choices open and fewer pairs of them allowed, and as much said of sites.

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
            other.set_usage(self._usage)
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
        upper = other.upper.copy()
        counted, _, most = other._used_between(self._usage)
        upper[counted] = np.minimum(upper[counted], most)
        other.set_usage(self._usage)
        other.lp.start_from(basic, (value >= upper - _AT_BOUND, above))
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
            out.append(replace(cut, columns=columns[kept], values=cut.values[kept]))
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

    def _priced(self, dual: Array) -> tuple[float, Array]:
        """What rows and cuts come to at multipliers, and what they pay for each column (n,)."""
        rows, cuts, n = self._selected.entries, self._cut_rows, len(self.cost)
        own, of_cuts = np.split(dual, [len(rows.lower)])
        paid = rows.paid(own, n)
        if self._cuts:
            paid += cuts.paid(of_cuts, n)
        return float(own @ rows.upper) + float(of_cuts @ cuts.upper), paid

    def _within(self, group: Mask) -> Mask:
        """(n_rows,) the rows and cuts all of whose columns are in a group (n,)."""
        blocks = self._selected.entries, self._cut_rows
        return np.concatenate([each.within(group) for each in blocks])

    def _multipliers(self) -> Array:
        """The last optimum's dual values as the bound takes them, of rows and cuts."""
        m, n = self.model, len(self._selected.entries.lower)
        dual = self.dual.copy()
        # all other rows only hold from above
        np.minimum(dual[self.n_equal :], 0.0, out=dual[self.n_equal :])
        dual[: m.n_slots] = 0.0  # each slot's choice stays a choice
        soft = dual[n - len(m.soft) : n]
        np.maximum(soft, [-per for _, per in m.soft], out=soft)
        return dual

    def _rest(self, cost: Array, usage: Usage) -> float:
        """The least that pieces and counts bring at some costs of the columns."""
        each = cost[self.counts]
        counts = float(np.where(each > 0.0, usage.least, usage.most) @ each)
        return counts + float(np.minimum(cost[self._v : self._over], 0.0).sum())

    def shared_out(self, within: Sequence[Mask], usage: Usage) -> Shares:
        """The bound of the last optimum's dual values, shared out among groups of columns.

        A row whose columns are all in one group is left to that group, but for limits and their
        cuts. `within` are the groups (n,) of choices, sites and lines; a column that is in several
        is paid for in each.
        """
        m, n, dual = self.model, len(self._selected.entries.lower), self._multipliers()
        left = np.ones(len(dual), dtype=bool)
        left[n - m.n_limits - len(m.soft) : n] = False
        left[n + np.flatnonzero([cut.of_limits for cut in self._cuts])] = False
        owned = []
        for group in within:
            owned.append(left & self._within(group))
            left &= ~owned[-1]
        cost = self.cost - self._priced(dual)[1]
        others, _ = self._priced(np.where(np.any(owned, axis=0), 0.0, dual))
        share = cost / np.maximum(np.sum(within, axis=0), 1)
        price = [
            np.where(group, share + self._priced(np.where(own, dual, 0.0))[1], 0.0)
            for group, own in zip(within, owned, strict=True)
        ]
        return Shares(m.constant + others + self._rest(cost, usage), price, cost)

    def tables(self, lines: Mask | slice, price: Array) -> tuple[float, dict[Key, Array]]:
        """What some of the lines' columns cost, as tables of pairs of choices (`PairColumns`)."""
        return self._form.lines.tables(self._lines[lines], price[self.line_at[lines]])

    def bound(self, usage: Usage) -> Bound:
        """The bound of the last optimum's dual values, for what is said of sites."""
        m, n_c = self.model, len(self.model.choice)
        dual = self._multipliers()
        rows, paid = self._priced(dual)
        constant, cost = m.constant + rows, self.cost - paid
        shares = -dual[self._use]
        share = np.zeros(n_c)
        share[self._use_of[0]] = shares[self._use_of[1]]
        use = np.zeros(m.n_sites)
        use[self.used] = cost[self.u[self.used]]
        # what a site's use brings or saves for certain
        spared = np.where(usage.must, use, np.where(usage.may, np.minimum(use, 0.0), 0.0))
        constant += float(spared.sum())
        use -= spared
        idle = np.where(usage.must, inf, -np.minimum(spared, 0.0))
        use += np.bincount(self._use_site, weights=shares, minlength=m.n_sites)
        constant += self._rest(cost, usage)
        least, table = self.tables(slice(None), cost)
        filling = self._filling(dual, idle)
        return Bound(constant + least, cost[:n_c] - share, share, use, table, filling)

    def _filling(self, dual: Array, idle: Array) -> Filling:
        """What capacities and cuts of single sites are paid for, in terms of what is there."""
        m, n = self.model, len(self._selected.entries.lower)
        of_site = np.zeros(len(dual), dtype=bool)
        of_site[self._full] = True
        of_site[n:] = [cut.of_site for cut in self._cuts]
        brings = -self._priced(np.where(of_site, dual, 0.0))[1]
        empty = np.zeros(m.n_sites)
        empty[self.used] = -brings[self.u[self.used]]
        within = np.flatnonzero(brings[self.line_at])
        pair = self.line_a[within] * len(m.choice) + self.line_b[within]
        pair, at = np.unique(pair, return_inverse=True)
        together = np.full(len(pair), -inf)
        # of several ways to buy a line one is there
        np.maximum.at(together, at, brings[self.line_at[within]])
        first, second = np.divmod(pair, len(m.choice))
        return Filling(empty, idle, brings[: len(m.choice)], first, second, together)
