"""Time to fill and to vent a chamber through one restriction, by quadrature over pressure.

The balance of the chamber (see `air_chamber`) is separable, so each time is an integral over
pressure; no differential equation is stepped. The range is cut where the integrand has a kink
(start and end of the stroke, edge of choking, edge of the laminar line) and integrated by
Gauss-Legendre in u = sqrt(|p - p_end|), p_end being the pressure at which flow would cease:
there 1/phi ~ 1/u, and the substitution removes the singularity. Relative error below 1e-9
(tests, against closed forms and scipy). Everything broadcasts.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from optimizer.lines.air import (
    ATMOSPHERE_PA,
    HEAT_CAPACITY_RATIO,
    LAMINAR_ABOVE,
    REFERENCE_PRESSURE_PA,
    REFERENCE_TEMPERATURE_K,
    FloatArray,
    phi,
)
from optimizer.lines.air_chamber import Chamber
from optimizer.lines.air_path import Restriction, checked
from optimizer.lines.impossible import require, require_not_negative, require_positive

#: Seconds per pascal, up to a factor, at pressures away from the kinks.
_Slowness = Callable[[FloatArray], FloatArray]

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(12)
_NODES = (_NODES + 1.0) / 2.0
_WEIGHTS = _WEIGHTS / 2.0


def fill_time_s(
    chamber: Chamber,
    restriction: Restriction,
    supply_pa: ArrayLike,
    target_pa: ArrayLike,
    *,
    start_pa: ArrayLike = ATMOSPHERE_PA,
    exponent: ArrayLike = 1.0,
    temperature_k: ArrayLike = REFERENCE_TEMPERATURE_K,
    reservoir_m3: ArrayLike = np.inf,
    extra_volume_m3: ArrayLike = 0.0,
) -> FloatArray:
    r"""Time [s] for a chamber to reach a pressure from a supply.

    .. math:: t = \frac{\sqrt{T_0/T_s}}{C p_0}\int_{p_1}^{p_2}
       \frac{V/n + p V'}{p_s\,\phi(p/p_s)}\,dp, \qquad
       p_s = p_{s0} - \frac{1}{V_r}\int_{p_1}^{p}(V/n + p V')\,dp

    Pressures are absolute [Pa]. `exponent` n is 1 (isothermal, the slow and safe side) to 1.4
    (no heat loss). `reservoir_m3` is the volume that feeds the chamber, inf for a constant
    supply. Its air stays at `temperature_k`: a vessel emptied faster than its walls can warm it
    loses up to 1.4 times as much pressure, so pass 1/1.4 of its volume to be safe. No pump
    refills it meanwhile (safe side). `extra_volume_m3` is a volume that does not grow (a tube).

    Returns 0 where the start is at or above the target and inf where the falling reservoir
    meets the chamber below the target. Raises `ImpossiblePhysics` for a target at or above the
    supply.
    """
    C, b = checked(restriction)
    ps0 = np.asarray(supply_pa, dtype=float)
    p2 = np.asarray(target_pa, dtype=float)
    p1 = np.asarray(start_pa, dtype=float)
    n = _checked_exponent(exponent)
    Ts = np.asarray(temperature_k, dtype=float)
    Vr = np.asarray(reservoir_m3, dtype=float)
    chamber.check()
    require_not_negative("extra volume (m3)", extra_volume_m3)
    require_positive("supply pressure (Pa absolute)", ps0)
    require_positive("start pressure (Pa absolute)", p1)
    require_positive("temperature (K)", Ts)
    require(Vr > 0, "reservoir volume (m3)", Vr, "above 0")
    require(p2 < ps0, "target pressure (Pa absolute)", p2, "below the supply pressure")
    extra = np.asarray(extra_volume_m3, dtype=float)
    store = _Store(chamber, extra, n, first=p1, supply=ps0, reservoir=Vr)
    end = store.pressure_at_ratio(np.asarray(1.0))
    choked = store.pressure_at_ratio(b)
    laminar = store.pressure_at_ratio(np.maximum(LAMINAR_ABOVE, b))

    def slowness(p: FloatArray) -> FloatArray:
        ps = store.supply(p)
        return store.rate(p) / (ps * phi(p / ps, b))

    kinks = (store.start, store.stop, choked)
    time = _integrate_root(slowness, end, p1, np.minimum(p2, laminar), kinks)
    if np.any((p2 > laminar) & (p2 < end)):
        time = time + _integrate_log(slowness, end, np.maximum(p1, laminar), p2, kinks[:2])
    time = time * np.sqrt(REFERENCE_TEMPERATURE_K / Ts) / (C * REFERENCE_PRESSURE_PA)
    return np.asarray(np.where(p1 >= p2, 0.0, np.where(p2 < end, time, np.inf)))


def vent_time_s(
    chamber: Chamber,
    restriction: Restriction,
    start_pa: ArrayLike,
    target_pa: ArrayLike,
    *,
    atmosphere_pa: ArrayLike = ATMOSPHERE_PA,
    exponent: ArrayLike = 1.0,
    temperature_k: ArrayLike = REFERENCE_TEMPERATURE_K,
    extra_volume_m3: ArrayLike = 0.0,
) -> FloatArray:
    r"""Time [s] for a chamber to empty into the atmosphere down to a pressure.

    .. math:: t = \frac{1}{C p_0}\int_{p_2}^{p_1}\sqrt{\frac{T_0}{T}}\,
       \frac{V/(n p) + V'}{\phi(p_a/p)}\,dp, \qquad T = T_1 (p/p_1)^{(n-1)/n}

    n = 1: the walls keep the air at `temperature_k` (the slow, safe side); n = 1.4: it expands
    without heat and cools. Returns 0 where the start is at or below the target. Raises
    `ImpossiblePhysics` for a target at or below the atmosphere.
    """
    C, b = checked(restriction)
    p1 = np.asarray(start_pa, dtype=float)
    p2 = np.asarray(target_pa, dtype=float)
    pa = np.asarray(atmosphere_pa, dtype=float)
    n = _checked_exponent(exponent)
    T1 = np.asarray(temperature_k, dtype=float)
    chamber.check()
    require_not_negative("extra volume (m3)", extra_volume_m3)
    require_positive("atmospheric pressure (Pa absolute)", pa)
    require_positive("start pressure (Pa absolute)", p1)
    require_positive("temperature (K)", T1)
    require(p2 > pa, "target pressure of venting (Pa absolute)", p2, "above the atmosphere")
    start, stop, slope = chamber.ramp()
    rest = np.asarray(chamber.rest_volume_m3, dtype=float) + np.asarray(extra_volume_m3)
    cooling = (n - 1.0) / (2.0 * n)
    isothermal = bool(np.all(cooling == 0.0))

    def slowness(p: FloatArray) -> FloatArray:
        volume = rest + slope * (np.clip(p, start, stop) - start)
        moving = np.where((p > start) & (p < stop), slope, 0.0)
        plain = (volume / (n * p) + moving) / phi(pa / p, b)
        return plain if isothermal else plain * (p / p1) ** -cooling

    with np.errstate(divide="ignore"):
        choked = np.where(b > 0.0, pa / b, np.inf)
    laminar = pa / np.maximum(LAMINAR_ABOVE, b)
    time = _integrate_root(slowness, pa, np.maximum(p2, laminar), p1, (start, stop, choked))
    if np.any(p2 < laminar):
        time = time + _integrate_log(slowness, pa, p2, np.minimum(p1, laminar), (start, stop))
    time = time * np.sqrt(REFERENCE_TEMPERATURE_K / T1) / (C * REFERENCE_PRESSURE_PA)
    return np.asarray(np.where(p1 <= p2, 0.0, time))


def reservoir_pressure_after_pa(
    chamber: Chamber,
    supply_pa: ArrayLike,
    target_pa: ArrayLike,
    reservoir_m3: ArrayLike,
    *,
    start_pa: ArrayLike = ATMOSPHERE_PA,
    exponent: ArrayLike = 1.0,
    extra_volume_m3: ArrayLike = 0.0,
) -> FloatArray:
    """Pressure [Pa absolute] left in the reservoir when the chamber has reached the target.

    The second equation of `fill_time_s`; never below the target where that can be reached.
    """
    n = _checked_exponent(exponent)
    chamber.check()
    require(
        np.asarray(reservoir_m3, dtype=float) > 0,
        "reservoir volume (m3)",
        np.asarray(reservoir_m3, dtype=float),
        "above 0",
    )
    store = _Store(
        chamber,
        np.asarray(extra_volume_m3, dtype=float),
        n,
        first=np.asarray(start_pa, dtype=float),
        supply=np.asarray(supply_pa, dtype=float),
        reservoir=np.asarray(reservoir_m3, dtype=float),
    )
    return store.supply(np.maximum(np.asarray(target_pa, dtype=float), store.first))


class _Store:
    """R Ts times the mass taken in, as a function of chamber pressure, and what it costs.

    W(p) = V/n + p V' is the rate d(R Ts m)/dp; its integral G is linear, quadratic, linear in p
    before, during and after the stroke.
    """

    def __init__(
        self,
        chamber: Chamber,
        extra: FloatArray,
        n: FloatArray,
        *,
        first: FloatArray,
        supply: FloatArray,
        reservoir: FloatArray,
    ) -> None:
        self.start, self.stop, self.slope = chamber.ramp()
        self.rest = np.asarray(chamber.rest_volume_m3, dtype=float) + extra
        self.full = self.rest + self.slope * (self.stop - self.start)
        self.n, self.first, self.ps0 = n, first, supply
        self.per_volume = 1.0 / reservoir
        self.linear = self.rest / n + self.slope * self.start
        self.square = self.slope * (1.0 + 1.0 / n) / 2.0
        width = self.stop - self.start
        self.at_start = self.rest * self.start / n
        self.at_stop = self.at_start + width * (self.linear + width * self.square)
        self.taken_first = self.taken(first)

    def rate(self, p: FloatArray) -> FloatArray:
        """W at pressures strictly between kinks."""
        volume = self.rest + self.slope * (np.clip(p, self.start, self.stop) - self.start)
        moving = np.where((p > self.start) & (p < self.stop), self.slope, 0.0)
        return np.asarray(volume / self.n + p * moving)

    def taken(self, p: FloatArray) -> FloatArray:
        """G(p), up to a constant."""
        before = self.rest * np.minimum(p, self.start) / self.n
        q = np.clip(p, self.start, self.stop) - self.start
        after = self.full * np.maximum(p - self.stop, 0.0) / self.n
        return np.asarray(before + q * (self.linear + q * self.square) + after)

    def supply(self, p: FloatArray) -> FloatArray:
        """Supply pressure when the chamber is at p."""
        if not np.any(self.per_volume):
            return self.ps0
        return np.asarray(self.ps0 - (self.taken(p) - self.taken_first) * self.per_volume)

    def pressure_at_ratio(self, x: FloatArray) -> FloatArray:
        """Chamber pressure at which p = x supply(p): the root of p + x G(p)/Vr = const."""
        k = x * self.per_volume
        goal = x * self.ps0 + k * self.taken_first
        early = goal / (1.0 + k * self.rest / self.n)
        spare = np.maximum(goal - self.start - k * self.at_start, 0.0)
        pace = 1.0 + k * self.linear
        middle = self.start + 2.0 * spare / (
            pace + np.sqrt(pace * pace + 4.0 * k * self.square * spare)
        )
        late = self.stop + (goal - self.stop - k * self.at_stop) / (1.0 + k * self.full / self.n)
        return np.asarray(
            np.where(
                goal <= self.start + k * self.at_start,
                early,
                np.where(goal <= self.stop + k * self.at_stop, middle, late),
            )
        )


def _checked_exponent(exponent: ArrayLike) -> FloatArray:
    n = np.asarray(exponent, dtype=float)
    require(
        (n >= 1) & (n <= HEAT_CAPACITY_RATIO),
        "polytropic exponent",
        n,
        "1 (isothermal) to 1.4 (no heat loss)",
    )
    return n


def _cuts(
    low: FloatArray, high: FloatArray, kinks: tuple[FloatArray, ...]
) -> tuple[FloatArray, FloatArray]:
    """Lower and upper ends of the pieces of [low, high], along a new first axis."""
    bounds = np.broadcast_arrays(low, *kinks, high)
    low, high = bounds[0], np.maximum(bounds[0], bounds[-1])
    edges = np.sort(np.clip(np.stack(bounds), low, high), axis=0)
    return edges[:-1], edges[1:]


def _integrate_root(
    slowness: _Slowness,
    end: FloatArray,
    low: FloatArray,
    high: FloatArray,
    kinks: tuple[FloatArray, ...],
) -> FloatArray:
    """Integral of `slowness` over pressure with u = sqrt(|p - end|), first axis summed."""
    near, far = _cuts(low, high, kinks)
    sign = np.where(np.asarray(low) < end, -1.0, 1.0)
    u1 = np.sqrt(np.maximum(sign * (near - end), 0.0))
    u2 = np.sqrt(np.maximum(sign * (far - end), 0.0))
    shape = (-1,) + (1,) * u1.ndim
    span = u2 - u1
    u = u1 + span * _NODES.reshape(shape)
    with np.errstate(divide="ignore", invalid="ignore"):
        values = slowness(end + sign * u * u) * u
    # Empty pieces may sit on a kink where the integrand is 0/0; they weigh nothing.
    values = np.where(span == 0.0, 0.0, values)
    total = 2.0 * np.abs(span) * np.tensordot(_WEIGHTS, values, axes=(0, 0))
    return np.asarray(total.sum(axis=0))


def _integrate_log(
    slowness: _Slowness,
    end: FloatArray,
    low: FloatArray,
    high: FloatArray,
    kinks: tuple[FloatArray, ...],
) -> FloatArray:
    """The same in w = log|p - end|, for the laminar line where 1/phi ~ 1/(p - end)."""
    near, far = _cuts(low, high, kinks)
    sign = np.where(np.asarray(low) < end, -1.0, 1.0)
    d1, d2 = sign * (near - end), sign * (far - end)
    inside = (d1 > 0.0) & (d2 > 0.0)
    d1, d2 = np.where(inside, d1, 1.0), np.where(inside, d2, 1.0)
    shape = (-1,) + (1,) * d1.ndim
    span = np.log(d2 / d1)
    distance = d1 * np.exp(span * _NODES.reshape(shape))
    with np.errstate(divide="ignore", invalid="ignore"):
        values = slowness(end + sign * distance) * distance
    values = np.where(span == 0.0, 0.0, values)
    total = np.abs(span) * np.tensordot(_WEIGHTS, values, axes=(0, 0))
    return np.asarray(total.sum(axis=0))
