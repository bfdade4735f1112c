"""The textbook pairwise form of a problem.

One x per choice (slot, model, site), one u per site in use, one y per line option and pair of
places of the line's two ends. The products are linearised by sums: over all places of the far end
the y of a place add up to the x there, which is the strong textbook form (Adams and Johnson
1994), not y >= x + x' - 1. Nothing is ruled out beforehand but pairs of places that a line option
cannot join at all: no arc consistency, no cover cuts, no order among copies.

Written from the problem's own arrays and `route_of`, not from the tables the search uses, so that
a fault of those shows as a disagreement. Two models of a part at one site count as one place
unless a line's limits depend on the model: a smaller form, and no weaker.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np

from optimizer.problem.arrays import Array, IntArray, LineRow, Problem
from optimizer.problem.presolve import route_of
from optimizer.solve.highs import Matrix
from optimizer.solve.program import case_of
from speed.forms import TRUNK_LOAD, Choices, Form


@dataclass(frozen=True)
class _End:
    """The places of one end of a line: `place[k]` numbers the place of choice `choices[k]`."""

    choices: IntArray
    place: IntArray
    count: int


@dataclass(frozen=True)
class _Block:
    """The y of one line: `columns`, each a pair of places and an option; what each brings."""

    a: _End
    b: _End
    columns: IntArray
    place_a: IntArray
    place_b: IntArray
    option: IntArray
    brought: Array


class _Rows:
    def __init__(self) -> None:
        self._index: list[IntArray] = []
        self._value: list[Array] = []
        self._lower: list[float] = []
        self._upper: list[float] = []

    def add(self, columns: IntArray, values: Array, lower: float, upper: float) -> None:
        kept = values != 0.0
        self._index.append(columns[kept])
        self._value.append(values[kept])
        self._lower.append(lower)
        self._upper.append(upper)

    def sums(self, of: IntArray, to: IntArray, lower: float, upper: float) -> None:
        """lower <= sum of columns `of` - sum of columns `to` <= upper."""
        signs = np.concatenate([np.ones(len(of)), -np.ones(len(to))])
        self.add(np.concatenate([of, to]), signs, lower, upper)

    def matrix(self, cost: Array, integer: Array) -> Matrix:
        lengths = [len(index) for index in self._index]
        return Matrix(
            cost=cost,
            col_lower=np.zeros(len(cost)),
            col_upper=np.ones(len(cost)),
            integer=integer.astype(bool),
            start=np.concatenate([[0], np.cumsum(lengths)]).astype(np.int32),
            index=np.concatenate(self._index).astype(np.int32),
            value=np.concatenate(self._value),
            row_lower=np.array(self._lower),
            row_upper=np.array(self._upper),
        )


def pair_form(problem: Problem) -> Form:
    """The pairwise form of a problem.

    The y of a line with one option follow from its ends and are continuous; with several options
    they are binary.

    Raises
    ------
    ValueError
        If the problem has ballast, soft limits or pieces, which no family of the benchmark has.
    """
    p = problem
    if p.ballast is not None or p.soft or p.pieces:
        raise ValueError("the pairwise form knows no ballast, soft limits or pieces")
    # what columns bring: the cost, each limit scaled to 1, the load of the trunk
    sizes = [abs(limit.upper) or 1.0 for limit in p.limits]
    scaled = [limit.coefficients / size for limit, size in zip(p.limits, sizes, strict=True)]
    forms = np.vstack([p.objective.linear, *scaled, np.eye(p.choice_q.shape[1])[TRUNK_LOAD]])
    sites = np.unique(p.choice_site)
    n_x = len(p.choice_slot)
    u = {int(site): n_x + k for k, site in enumerate(sites)}
    blocks = _blocks(p, n_x + len(sites), forms)
    brought = np.concatenate(
        [p.choice_q @ forms.T, p.use_q[sites] @ forms.T, *(block.brought for block in blocks)]
    )
    rows = _Rows()
    _place_rows(rows, p, u)
    integer = np.ones(len(brought), dtype=bool)
    for line, block in zip(p.lines, blocks, strict=True):
        integer[block.columns] = len(line.options) > 1
        for end, place in ((block.a, block.place_a), (block.b, block.place_b)):
            for k in range(end.count):
                rows.sums(block.columns[place == k], end.choices[end.place == k], 0.0, 0.0)
    every = np.arange(len(brought))
    for k, (limit, size) in enumerate(zip(p.limits, sizes, strict=True)):
        rows.add(every, brought[:, 1 + k], -inf, limit.upper / size)

    def read(x: Array) -> Choices:
        each = [p.choices_of(slot) for slot in range(len(p.slots))]
        chosen = tuple(int(own[np.argmax(x[own])]) for own in each)
        options = tuple(int(block.option[np.argmax(x[block.columns])]) for block in blocks)
        return chosen, options

    return Form(p, rows.matrix(brought[:, 0], integer), brought[:, -1], read)


def _place_rows(rows: _Rows, p: Problem, u: dict[int, int]) -> None:
    """One choice per slot; sites in use exactly if something is there; capacities; rules."""
    for slot in range(len(p.slots)):
        own = p.choices_of(slot)
        rows.sums(own, np.zeros(0, dtype=np.int64), 1.0, 1.0)
        for site in np.unique(p.choice_site[own]).tolist():
            rows.sums(own[p.choice_site[own] == site], np.array([u[site]]), -inf, 0.0)
    for site, used in u.items():
        rows.sums(np.array([used]), np.flatnonzero(p.choice_site == site), -inf, 0.0)
    for cap in p.caps:
        here = np.flatnonzero((cap.use > 0.0) & (p.choice_site == cap.site))
        if len(here):
            share = np.append(cap.use[here] / cap.cap, -1.0)
            rows.add(np.append(here, u[cap.site]), share, -inf, 0.0)
    for rule in p.pairs:
        a, b = p.choices_of(rule.slot_a), p.choices_of(rule.slot_b)
        for site in np.unique(p.choice_site[a]).tolist():
            barred = np.array([rule.forbidden(site, int(p.choice_site[c])) for c in b], dtype=bool)
            if barred.any():
                together = np.concatenate([a[p.choice_site[a] == site], b[barred]])
                rows.sums(together, np.zeros(0, dtype=np.int64), -inf, 1.0)


def _blocks(p: Problem, start: int, forms: Array) -> list[_Block]:
    at_site = p.site_q @ forms.T
    per_arc = p.arc_length_m[:, None] * (p.arc_q @ forms.T)
    laid: dict[tuple[tuple[int, int], ...], Array] = {(): np.zeros(len(forms))}
    blocks = []
    for line in p.lines:
        ends = [_end(p, line, slot) for slot in (line.slot_a, line.slot_b)]
        firsts = [[int(e.choices[np.argmax(e.place == k)]) for k in range(e.count)] for e in ends]
        found: list[tuple[int, int, int]] = []
        brought: list[Array] = []
        for option in range(len(line.options)):
            rate = float(line.mass_kg_per_m[option])
            end_kg = 0.5 * line.slack_m * rate + float(line.end_mass_kg[option])
            for i, a in enumerate(firsts[0]):
                for j, b in enumerate(firsts[1]):
                    s, t = int(p.choice_site[a]), int(p.choice_site[b])
                    models = int(p.choice_model[a]), int(p.choice_model[b])
                    case = case_of(line, option, *models)
                    route = None if case is None else route_of(p, line, case, s, t)
                    if route is None:
                        continue
                    if route.arcs not in laid:
                        laid[route.arcs] = per_arc[[arc for arc, _ in route.arcs]].sum(axis=0)
                    found.append((i, j, option))
                    brought.append(end_kg * (at_site[s] + at_site[t]) + rate * laid[route.arcs])
        triples = np.array(found, dtype=np.int64).reshape(-1, 3)
        each = np.array(brought).reshape(-1, len(forms))
        columns = start + np.arange(len(found))
        at_a, at_b, option_of = triples.T
        blocks.append(_Block(ends[0], ends[1], columns, at_a, at_b, option_of, each))
        start += len(found)
    return blocks


def _end(p: Problem, line: LineRow, slot: int) -> _End:
    choices = p.choices_of(slot)
    key = p.choice_site[choices]
    named = [case.model_a if slot == line.slot_a else case.model_b for case in line.cases]
    if any(model is not None for model in named):
        key = key * (1 + int(p.choice_model.max())) + p.choice_model[choices]
    _, place = np.unique(key, return_inverse=True)
    return _End(choices, place, int(place.max(initial=-1)) + 1)
