"""One program whose costs and rows move with a number: when a sweep can be exact, and why not.

A family is steady over a range when, between the programs built near its two ends and at probes
within,

- columns, rows and the routes lines take are the same (a place may be missing where a capacity
  rules it out anyway), so that a solver's vector means the same layout throughout;
- costs move along a straight line in cost space, evenly (a mass, a weight) or by a growing factor
  (walking speed through the wearer's own power), so that of any two layouts the better changes at
  most once;
- rows that move (a mass in a limit, a limit itself) move evenly;
- where the trunk's cost is curved, at most the trunk load of one part moves, and no place on the
  legs costs per kilogram what the trunk does, so that again any two layouts cross at most once.

Routes compared at both ends hold in between: the cost of a route is linear in a weight, and what
is cheapest at both ends of a straight line is cheapest along it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.quantities import INDEX, MASS
from optimizer.solve.formulation import RowKey
from optimizer.solve.sweep_arrays import SweptArrays
from optimizer.solve.sweep_dial import Dial
from optimizer.solve.sweep_ends import problem_ends, straight_ends
from optimizer.solve.sweep_sample import (
    NotSteadyError,
    Sample,
    alike,
    same_barred,
    same_curve,
    same_routes,
    sample,
    two_samples,
)
from optimizer.study.model import TRUNK

#: Relative error up to which a number counts as moving evenly.
EVEN = 1e-9
#: Where between the two samples the program is built to see whether it moves evenly.
PROBE = 0.381966
#: And where it does not, to see whether it keeps growing or falling.
FURTHER = (0.125, 0.625, 0.8125)
TRUNK_LOAD = INDEX[MASS[TRUNK]]
#: Groups of rows that may not move -> what moves with them, as somebody who turns a number says it.
_MOVED = {
    "line_length": "how long a line may be",
    "line_bend": "how far a line may bend",
    "reach": "how long a line may be",
    "cheapest_route": "which way of a line is cheapest",
    "soft": "the load that a soft limit takes comfort points for",
    "ballast": "what the counterweight may weigh",
    "ballast_room": "what the counterweight may weigh",
    "ballast_held": "what the counterweight may weigh",
}


@dataclass(frozen=True)
class MovingRow:
    """A row that moves: coefficients and upper bound at s = 0 and at s = 1."""

    key: RowKey
    index: IntArray
    value: tuple[Array, Array]
    upper: tuple[float, float]

    def at(self, s: float) -> tuple[Array, float]:
        """Coefficients and upper bound at s."""
        return (
            (1.0 - s) * self.value[0] + s * self.value[1],
            (1.0 - s) * self.upper[0] + s * self.upper[1],
        )

    def weakest(self, low: float, high: float) -> tuple[Array, float]:
        """The tightest row that forbids nothing allowed anywhere between low and high."""
        (value_a, upper_a), (value_b, upper_b) = self.at(low), self.at(high)
        return np.minimum(value_a, value_b), max(upper_a, upper_b)


@dataclass
class Family:
    """The program over a range, by a parameter s from 0 (low) to 1 (high)."""

    dial: Dial
    low: float
    high: float
    base: Sample
    cost: tuple[Array, Array]
    rows: list[MovingRow]
    load: MovingRow | None
    """The row that adds up the trunk load of a curved trunk model, if it moves."""
    arrays: SweptArrays
    even: bool
    """Whether s moves evenly with the number; if not, `value_of` searches."""
    _known: dict[float, float] = field(default_factory=dict)

    @property
    def straight(self) -> bool:
        """Whether the score of every layout is a straight line in s."""
        return self.load is None

    def cost_at(self, s: float) -> Array:
        """Costs of all columns at s, tie-break included."""
        return (1.0 - s) * self.cost[0] + s * self.cost[1]

    def trunk_kg(self, x: Array, s: float) -> float:
        """The trunk load of a vector of the program at s."""
        formulation = self.base.formulation
        if self.load is None:
            return float(x @ formulation.quantities[:, TRUNK_LOAD])
        value, _ = self.load.at(s)
        carried = np.where(self.load.index == formulation.columns.load, 0.0, value)
        return float(carried @ x[self.load.index])

    def value_of(self, s: float) -> float:
        """The number at s."""
        if self.even or s in (0.0, 1.0):
            return self.low + s * (self.high - self.low)
        from scipy.optimize import brentq

        share = brentq(lambda t: self._s_at(t) - s, 0.0, 1.0, xtol=1e-12, rtol=1e-12)
        return self.low + float(share) * (self.high - self.low)

    def _s_at(self, share: float) -> float:
        """s at a share of the way from low to high, from the costs built there."""
        if share in (0.0, 1.0):
            return share
        if share not in self._known:
            there = sample(self.dial, self.low + share * (self.high - self.low))
            assert there is not None
            self._known[share] = _along(self.cost, there.matrix.cost)[0]
        return self._known[share]


def make_family(dial: Dial, low: float, high: float) -> Family:
    """The family of a dial over a range.

    Raises
    ------
    NotSteadyError
        If it is not steady there, with the reason in words.
    """
    base, other = two_samples(dial, low, high)
    shares = [(s.value - low) / (high - low) for s in (base, other)]
    samples = [base, other]
    _probe(dial, samples, shares, low, high, PROBE)
    same_curve(base, other)
    same_routes(base, other)
    cost = straight_ends(shares, [base.matrix.cost, other.matrix.cost])
    even = _is_even(cost, shares, [s.matrix.cost for s in samples])
    if not even:
        for probe in FURTHER:
            _probe(dial, samples, shares, low, high, probe)
        _is_even(cost, shares, [s.matrix.cost for s in samples])
        for there in samples[2:]:
            same_routes(base, there)
    rows, load = _moving_rows(samples, shares)
    spread = {shares[0], shares[1]} == {0.0, 1.0}
    if not even and (rows or load is not None or not spread):
        raise NotSteadyError("it moves costs unevenly, and limits too")
    arrays = SweptArrays(base.reduced, problem_ends(base, other, shares))
    family = Family(dial, low, high, base, cost, rows, load, arrays, even)
    if load is not None:
        _require_one_crossing(family)
    return family


def _probe(
    dial: Dial, samples: list[Sample], shares: list[float], low: float, high: float, probe: float
) -> None:
    """Add a sample between the first two, which must be like them."""
    base, other = samples[:2]
    value = base.value + probe * (other.value - base.value)
    there = sample(dial, value)
    if there is None or not alike(base, there):
        raise NotSteadyError("it changes what may go where on the way")
    same_barred(base, there)
    same_curve(base, there)
    samples.append(there)
    shares.append((value - low) / (high - low))


def _along(cost: tuple[Array, Array], there: Array) -> tuple[float, float]:
    """How far along the straight line between two costs a third lies, and how far off it."""
    way, gone = cost[1] - cost[0], there - cost[0]
    size = max(float(np.abs(c).max(initial=1e-300)) for c in cost)
    length = float(way @ way)
    if length <= (1e-13 * size) ** 2:
        return 0.0, float(np.abs(gone).max(initial=0.0)) / size
    s = float(way @ gone) / length
    return s, float(np.abs(gone - s * way).max()) / size


def _is_even(cost: tuple[Array, Array], shares: Sequence[float], values: Sequence[Array]) -> bool:
    """Whether costs move evenly; raises if they leave the straight line or turn round on it."""
    if np.abs(cost[1] - cost[0]).max(initial=0.0) <= 1e-13 * np.abs(cost[0]).max(initial=1e-300):
        return True
    order = sorted(range(len(shares)), key=lambda i: shares[i])
    found = []
    for i in order:
        s, off = _along(cost, values[i])
        if off > EVEN:
            raise NotSteadyError("it moves the costs of different places in different ways")
        found.append(s)
    if any(b <= a for a, b in pairwise(found)):
        raise NotSteadyError("the costs it moves do not keep growing or falling")
    return all(abs(s - shares[i]) <= EVEN for s, i in zip(found, order, strict=True))


def _moving_rows(
    samples: Sequence[Sample], shares: Sequence[float]
) -> tuple[list[MovingRow], MovingRow | None]:
    """The rows that are not the same in all samples, as they move."""
    base = samples[0]
    kinds = {cap.kind for cap in base.problem.caps}
    moved = [r for r in range(len(base.rows)) if _moves(samples, r)]
    rows: list[MovingRow] = []
    load = None
    for r in moved:
        group = base.rows[r][0]
        if group == "trunk_load":
            load = _even_row(samples, shares, r)
        elif group in ("limit", *kinds) and _only_forbids(base, r):
            rows.append(_even_row(samples, shares, r))
        else:
            raise NotSteadyError(f"it moves {_MOVED.get(group, 'more than costs and limits')}")
    return rows, load


def _only_forbids(base: Sample, r: int) -> bool:
    """Whether a row is an upper bound on columns that are 0 or 1."""
    index, _ = base.row(r)
    return base.matrix.row_lower[r] == -np.inf and bool(base.matrix.integer[index].all())


def _moves(samples: Sequence[Sample], r: int) -> bool:
    _, value = samples[0].row(r)
    lower, upper = samples[0].matrix.row_lower[r], samples[0].matrix.row_upper[r]
    size = 1e-12 * np.abs(value).max(initial=1e-300)
    return any(
        bool(np.abs(s.row(r)[1] - value).max(initial=0.0) > size)
        or s.matrix.row_lower[r] != lower
        or s.matrix.row_upper[r] != upper
        for s in samples[1:]
    )


def _even_row(samples: Sequence[Sample], shares: Sequence[float], r: int) -> MovingRow:
    """A moving row as written, or scaled to its first coefficient, whichever moves evenly."""
    index, first = samples[0].row(r)
    for scaled in (False, True):
        values, uppers = [], []
        for s in samples:
            _, value = s.row(r)
            factor = first[0] / value[0] if scaled else 1.0
            values.append(value * factor)
            uppers.append(np.array([s.matrix.row_upper[r] * factor]))
        value_ends, upper_ends = straight_ends(shares, values), straight_ends(shares, uppers)
        bounds = (float(upper_ends[0][0]), float(upper_ends[1][0]))
        row = MovingRow(samples[0].rows[r], index, value_ends, bounds)
        if all(
            _near(row, share, value, float(upper[0]))
            for share, value, upper in zip(shares, values, uppers, strict=True)
        ):
            return row
    raise NotSteadyError("it moves limits unevenly")


def _near(row: MovingRow, share: float, value: Array, upper: float) -> bool:
    expected, bound = row.at(share)
    size = float(np.abs(expected).max(initial=0.0)) + abs(bound)
    off = float(np.abs(value - expected).max(initial=0.0)) + abs(upper - bound)
    return off <= EVEN * size


def _require_one_crossing(family: Family) -> None:
    """Whether the scores of any two layouts cross at most once, the trunk's cost being curved.

    On the trunk the moving part adds the same load wherever it sits there, so that of two layouts
    the one with the heavier trunk gets dearer faster all the way. Elsewhere its cost per kilogram
    must lie outside the slopes the trunk's curve takes.
    """
    formulation, p = family.base.formulation, family.base.problem
    assert family.load is not None and formulation.columns.w is not None
    change = family.cost[1] - family.cost[0]
    heavier = np.zeros(len(change))
    heavier[family.load.index] = family.load.value[1] - family.load.value[0]
    moving = np.flatnonzero((np.abs(change) > 1e-15) | (np.abs(heavier) > 1e-15)).tolist()
    choice_of = {column: c for c, column in formulation.columns.x.items()}
    if not set(moving) <= set(choice_of):
        raise NotSteadyError("it moves lines or holders, and the trunk's cost is curved")
    slots = {int(p.choice_slot[choice_of[j]]) for j in moving}
    on_trunk = [j for j in moving if heavier[j] != 0.0]
    if len(slots) > 1 or np.ptp(heavier[on_trunk]) > 1e-12 or np.ptp(change[on_trunk]) > 1e-12:
        raise NotSteadyError("it moves several parts, and the trunk's cost is curved")
    slope = p.objective.curve_slope
    assert slope is not None
    weight = float(family.cost[0][formulation.columns.w])
    most = float(np.abs(family.base.formulation.quantities[:, TRUNK_LOAD]).sum())
    per = float(heavier[on_trunk[0]])
    bounds = sorted((weight * per * slope(0.0), weight * per * slope(most)))
    for j in moving:
        if heavier[j] == 0.0 and bounds[0] <= change[j] <= bounds[1]:
            raise NotSteadyError("a place costs as much per kilogram as the curved trunk")
