"""Many assignments annealed side by side, slot by slot, towards low scores.

All members of a population draw the same slot anew at the same time, each from the Boltzmann
distribution over the slot's choices given its other slots (a heat bath), so that one pass of array
operations moves them all. Capacities, rules and limits may be overstepped at a price. Now and then
members are drawn again in proportion to what the falling temperature makes of them (population
annealing). The same seed gives the same layouts: nothing depends on the clock.

References
----------
[1] S. Geman, D. Geman, "Stochastic relaxation, Gibbs distributions, and the Bayesian restoration
    of images", IEEE Transactions on Pattern Analysis and Machine Intelligence 6 (1984) 721-741.
[2] W. Wang, J. Machta, H. G. Katzgraber, "Population annealing: theory and application in spin
    glasses", Physical Review E 92 (2015) 063307.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from itertools import pairwise as neighbours
from math import inf

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.pairwise import Pair, Pairwise
from optimizer.solve.scoring import ROOM, with_sites

Mask = NDArray[np.bool_]
Single = NDArray[np.float32]
#: Prices per unit overstepped, in temperatures at the start: of a pair that may not be, of a
#: site filled twice over, of a limit overstepped by its own size (at first, added by the end).
PAIR, SITE, LIMIT = 250.0, (60.0, 240.0), (330.0, 3300.0)
#: The price of a site or limit that more than half of the members overstep rises by this factor at
#: a look, else it falls, but not below its first value.
DEARER, CHEAPER = 2.0, 1.25
#: Numbers drawn beforehand, and points of the trunk's curve.
_NOISE, _GRID = 1 << 18, 1024


@dataclass(frozen=True)
class _Slot:
    """What drawing one slot takes. `own`: cost and forms of its choices; `pairs`: the other slot,
    its first choice, and cost and forms as (choice of the other, own choice, cost and forms)."""

    low: int
    site: IntArray
    room: Array
    own: Single
    pairs: tuple[tuple[int, int, Single], ...]


@dataclass(frozen=True)
class Totals:
    """What every member comes to: score, and how much it oversteps rules, sites and limits.

    Shapes: (size,), (size,), (size, n_s), (size, n_limits).
    """

    score: Array
    pairs: IntArray
    sites: Array
    limits: Array

    @property
    def fits(self) -> Mask:
        """Whether nothing is overstepped."""
        over = (self.sites > ROOM).any(axis=1) | (self.limits > ROOM).any(axis=1)
        return np.asarray(~over & (self.pairs == 0))


class Tables:
    """A problem laid out for annealing; prices are multiples of `degree` [score].

    `site_pressure` (n_s), `limit_pressure` (n_limits): how much dearer overstepping has become.
    """

    def __init__(self, model: Pairwise, degree: float):
        self.model, self.degree = model, degree
        self.n_forms = model.form.shape[1]
        self.site_pressure, self.limit_pressure = np.ones(model.n_sites), np.ones(model.n_limits)
        own = np.concatenate([model.cost[:, None], model.form], axis=1).astype(np.float32)
        use = np.concatenate([model.use_cost[:, None], model.use_form], axis=1)
        self.use: Single = use.astype(np.float32)
        beside: list[list[tuple[int, int, Single]]] = [[] for _ in range(model.n_slots)]
        self.pairs: list[tuple[Pair, Mask, Array]] = []
        for pair in model.pairs.values():
            ok = _allowed(model, pair)
            if not pair.lines and ok.all():
                continue
            cost = self._priced(ok, pair.cost)
            self.pairs.append((pair, ok, np.where(ok, pair.cost, 0.0)))
            table = np.concatenate([cost[..., None], pair.form], axis=2).astype(np.float32)
            a, b = pair.slot_a, pair.slot_b
            turned = np.ascontiguousarray(table.swapaxes(0, 1))
            beside[a].append((b, int(model.first[b]), turned))
            beside[b].append((a, int(model.first[a]), table))
        self.slots = []
        for p in range(model.n_slots):
            here = slice(int(model.first[p]), int(model.first[p + 1]))
            self.slots.append(
                _Slot(
                    here.start,
                    model.site[here],
                    model.capacity_use[here],
                    own[here],
                    tuple(beside[p]),
                )
            )
        piece = np.concatenate([[model.piece_cost], model.piece_form])
        self.piece: Single = piece.astype(np.float32)
        tops = [*model.upper, *(upper for upper, _ in model.soft), *([1e30] * model.curved)]
        self.upper: Single = np.array(tops, dtype=np.float32)
        self.grid, self.curve = self._curve()

    def _priced(self, ok: Mask, cost: Array) -> Array:
        """Costs of pairs, those that may not be with a price on top of the dearest beside them."""
        allowed = np.where(ok, cost, -np.inf)
        dearest = allowed.max(axis=1, initial=-np.inf, keepdims=True)
        dearest = np.where(np.isfinite(dearest), dearest, 0.0)
        return np.where(ok, cost, dearest + PAIR * self.degree)

    def _curve(self) -> tuple[Array, Array]:
        """What the trunk's load costs beyond the tangent, at evenly spaced loads."""
        m, objective = self.model, self.model.objective
        if objective.curve is None or objective.curve_slope is None:
            return np.zeros(0), np.zeros(0)
        slope = objective.curve_slope(m.load_kg)
        height = objective.curve(m.load_kg) - slope * m.load_kg
        grid = np.linspace(0.0, 3.0 * m.load_kg + 1.0, _GRID)
        beyond = [objective.curve(float(load)) - height - slope * load for load in grid]
        return grid, objective.curve_weight * np.array(beyond)


class Population:
    """`size` assignments as rows of numbers of open choices, at first drawn from `share` (n_c)."""

    def __init__(self, tables: Tables, size: int, share: Array, rng: np.random.Generator):
        self._t, self._m, self.size, self._rng = tables, tables.model, size, rng
        m = self._m
        self._rows = np.arange(size)
        self.chosen = np.zeros((size, m.n_slots), dtype=np.int64)
        for p in range(m.n_slots):
            here = np.arange(m.first[p], m.first[p + 1])
            self.chosen[:, p] = rng.choice(here, size=size, p=share[here] / share[here].sum())
        even = rng.random(_NOISE).clip(1e-12, 1.0 - 1e-12)
        self._noise: Single = np.log(-np.log(even)).astype(np.float32)  # Gumbel, turned round
        self._price = np.zeros(tables.n_forms, dtype=np.float32)
        self._site_price = np.zeros(tables.model.n_sites, dtype=np.float32)
        self.count()

    def count(self) -> None:
        """Parts and load at every site, and forms, of all members from scratch."""
        m = self._m
        self._parts = np.zeros((self.size, m.n_sites), dtype=np.int64)
        self._load = np.zeros((self.size, m.n_sites, m.capacity_use.shape[1]))
        for p in range(m.n_slots):
            site = m.site[self.chosen[:, p]]
            self._parts[self._rows, site] += 1
            self._load[self._rows, site] += m.capacity_use[self.chosen[:, p]]
        self.totals()

    def anneal(
        self, sweeps: int, hot: float, cold: float, every: int, deadline: float = inf
    ) -> list[tuple[IntArray, Array]]:
        """Cool from one temperature to another; the members that fit, with scores, on the way.

        Members are looked at and drawn again every so many sweeps, and after each of the last few.
        """
        found = []
        for k in range(sweeps):
            if time.perf_counter() > deadline:
                break
            passed = k / max(sweeps - 1, 1)
            temperature = hot * (cold / hot) ** passed
            self._set_prices(passed)
            for p in self._rng.permutation(self._m.n_slots).tolist():
                self._draw(p, temperature)
            due = k % every == every - 1
            if due or k >= sweeps - 3:
                totals = self.totals()
                fits = totals.fits
                found.append((self.chosen[fits], totals.score[fits]))
                if due:
                    self._press(totals)
                if due and k < sweeps - 1:
                    later = hot * (cold / hot) ** (min(k + every, sweeps - 1) / (sweeps - 1))
                    self._select(totals, temperature, later)
        return found

    def totals(self) -> Totals:
        """Scores with the cheapest options, and what is overstepped."""
        t, m, x = self._t, self._m, self.chosen
        score = m.constant + m.cost[x].sum(axis=1)
        form = m.form[x].sum(axis=1)
        barred = np.zeros(self.size, dtype=np.int64)
        for pair, ok, cost in t.pairs:
            i, j = (
                x[:, pair.slot_a] - m.first[pair.slot_a],
                x[:, pair.slot_b] - m.first[pair.slot_b],
            )
            score = score + cost[i, j]
            form = form + pair.form[i, j]
            barred += ~ok[i, j]
        score, form = with_sites(m, self._parts > 0, score, form)
        self._form: Single = form.astype(np.float32)
        for n, (upper, per) in enumerate(m.soft):
            score = score + per * np.maximum(form[:, m.n_limits + n] - upper, 0.0)
        if len(t.grid):
            score = score + np.interp(form[:, -1], t.grid, t.curve)
        over = np.maximum(form[:, : m.n_limits] - m.upper, 0.0)
        full = np.maximum(self._load - 1.0, 0.0).sum(axis=2)
        return Totals(score, barred, full, over)

    # -- moving ----------------------------------------------------------------------------

    def _set_prices(self, passed: float) -> None:
        m, t = self._m, self._t
        site = t.degree * (SITE[0] + SITE[1] * passed)
        limit = t.degree * (LIMIT[0] + LIMIT[1] * passed)
        self._site_price = (site * t.site_pressure).astype(np.float32)
        self._price[: m.n_limits] = limit * t.limit_pressure
        for n, (_, per) in enumerate(m.soft):
            self._price[m.n_limits + n] = per

    def _press(self, totals: Totals) -> None:
        """Make dearer what most members overstep, and the rest cheaper again."""
        t = self._t
        for over, pressure in ((totals.sites, t.site_pressure), (totals.limits, t.limit_pressure)):
            most = (over > ROOM).mean(axis=0) > 0.5
            pressure[most] *= DEARER
            pressure[~most] = np.maximum(pressure[~most] / CHEAPER, 1.0)

    def _draw(self, p: int, temperature: float) -> None:
        """Draw one slot anew in every member."""
        t, slot, rows = self._t, self._t.slots[p], self._rows
        n = len(slot.site)
        if n == 1:
            return
        now = self.chosen[:, p] - slot.low
        left = slot.site[now]
        self._parts[rows, left] -= 1
        self._load[rows, left] -= slot.room[now]
        if slot.pairs:
            other, first, table = slot.pairs[0]
            value = table.take(self.chosen[:, other] - first, axis=0)
            for other, first, table in slot.pairs[1:]:
                value += table.take(self.chosen[:, other] - first, axis=0)
            value += slot.own
        else:
            value = np.repeat(slot.own[None], self.size, axis=0)
        opened = self._parts[:, slot.site] == 0
        value += np.where(opened[..., None], t.use[slot.site], np.float32(0.0))
        if len(self._m.pieces):
            value += self._pieces(slot.site, opened)
        cost = value[..., 0].copy()
        over = self._load[:, slot.site]
        over += slot.room
        over -= 1.0
        np.maximum(over, 0.0, out=over)
        price = self._site_price[slot.site]
        for k in range(over.shape[2]):
            cost += price * over[..., k]
        form = value[..., 1:]
        if t.n_forms:
            rest = self._form - form[rows, now]
            total = form + rest[:, None]
            if len(t.grid):
                cost += np.interp(total[..., -1], t.grid, t.curve)
            total -= t.upper
            np.maximum(total, 0.0, out=total)
            cost += np.einsum("rcf,f->rc", total, self._price)
        start = int(self._rng.integers(_NOISE - cost.size)) if cost.size < _NOISE else 0
        noise = np.resize(self._noise[start : start + cost.size], cost.shape)
        drawn = (cost + np.float32(temperature) * noise).argmin(axis=1)
        self.chosen[:, p] = slot.low + drawn
        entered = slot.site[drawn]
        self._parts[rows, entered] += 1
        self._load[rows, entered] += slot.room[drawn]
        if t.n_forms:
            self._form = rest + form[rows, drawn]

    def _pieces(self, site: IntArray, opened: Mask) -> Single:
        """What pieces of the garment cost that a choice would be the first to use."""
        pieces = self._m.pieces
        worn = ((self._parts > 0)[:, None, :] & pieces[None]).any(axis=2)
        more = (~worn).astype(np.float32) @ pieces[:, site].astype(np.float32)
        found: Single = (more * opened)[..., None] * self._t.piece
        return found

    def _select(self, totals: Totals, now: float, later: float) -> None:
        """Draw the members again for a lower temperature: the better, the more often."""
        energy = totals.score + PAIR * self._t.degree * totals.pairs
        energy = energy + totals.sites @ self._site_price
        energy = energy + totals.limits @ self._price[: self._m.n_limits]
        weight = np.exp(-(1.0 / later - 1.0 / now) * (energy - energy.min()))
        points = (np.arange(self.size) + self._rng.random()) / self.size
        taken = np.searchsorted(np.cumsum(weight) / weight.sum(), points).clip(0, self.size - 1)
        self.chosen, self._form = self.chosen[taken], self._form[taken]
        self._parts, self._load = self._parts[taken], self._load[taken]


def _allowed(model: Pairwise, pair: Pair) -> Mask:
    """What may be chosen together, the garment order of copies left out where it stands alone."""
    p = model.problem
    key = {pair.slot_a, pair.slot_b}
    ordered = any(
        {before[0], after[0]} == key for group in p.exchange for before, after in neighbours(group)
    )
    if pair.lines or not ordered:
        return pair.ok
    ok = np.ones_like(pair.ok)
    for rule in p.pairs:
        if {rule.slot_a, rule.slot_b} == key:
            sites = [
                model.site[model.first[s] : model.first[s + 1]] for s in (rule.slot_a, rule.slot_b)
            ]
            free = np.array(
                [[not rule.forbidden(int(s), int(t)) for t in sites[1]] for s in sites[0]],
                dtype=bool,
            )
            ok &= free if rule.slot_a == pair.slot_a else free.T
    return ok
