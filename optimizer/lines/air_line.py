"""One air line, valve to actuator: time to pressure, time to vent, and the longest tube.

A later layer turns budgets into length limits with these; every field and argument may be an
array (one entry per line, valve model, bore and actuator) and all broadcast.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from optimizer.lines.air import (
    ATMOSPHERE_PA,
    REFERENCE_TEMPERATURE_K,
    FloatArray,
    acoustic_delay_s,
)
from optimizer.lines.air_chamber import Chamber
from optimizer.lines.air_limit import max_length_for_time
from optimizer.lines.air_path import Restriction, series
from optimizer.lines.air_time import fill_time_s, reservoir_pressure_after_pa, vent_time_s
from optimizer.lines.impossible import require, require_not_negative
from optimizer.lines.tube import inside_volume_m3_per_m, tube_restriction


@dataclass(frozen=True, slots=True)
class AirLine:
    """A tube of some bore between a supply and a chamber, with what sits in its path.

    `upstream` lies between supply and tube (the valve, its fitting), `downstream` between tube
    and chamber (a fitting, a throttle), both listed from the supply on. Venting runs through
    `downstream` backwards, the tube, and `exhaust` (the valve's exhaust path, a silencer; listed
    from the tube on). `exhaust` may stay empty if venting is not asked for.

    `tube_share` of the tube's volume is counted with the chamber. 1 (the default) lets all of
    it fill through the whole tube and is the safe side: a tube cut into 20 cells takes at most
    0.5 % longer than that, down to a third less where the tube itself is the bottleneck (tests).
    0.5, the estimate for a pressure that falls linearly along the tube, was too short in every
    case tried. 0 is for a supply line that stays pressurised because the valve sits at its far
    end, in `downstream`.

    `switch_s` is the valve's own delay. `exponent` 1 (isothermal) gives the longest times, 1.4
    the shortest; `reservoir_m3` inf is a constant supply. Pressures are absolute.
    """

    bore_m: ArrayLike
    chamber: Chamber
    supply_pa: ArrayLike
    upstream: tuple[Restriction, ...] = ()
    downstream: tuple[Restriction, ...] = ()
    exhaust: tuple[Restriction, ...] = ()
    reservoir_m3: ArrayLike = np.inf
    tube_share: ArrayLike = 1.0
    exponent: ArrayLike = 1.0
    switch_s: ArrayLike = 0.0
    temperature_k: ArrayLike = REFERENCE_TEMPERATURE_K
    atmosphere_pa: ArrayLike = ATMOSPHERE_PA
    tube_model: str = "eckersten"

    def tube_volume_m3(self, length_m: ArrayLike) -> FloatArray:
        """Inside volume of the whole tube [m^3]."""
        return np.asarray(inside_volume_m3_per_m(self.bore_m) * np.asarray(length_m))

    def counted_volume_m3(self, length_m: ArrayLike) -> FloatArray:
        """The part of the tube's volume that is filled with the chamber [m^3]."""
        share = np.asarray(self.tube_share, dtype=float)
        require((share >= 0) & (share <= 1), "share of the tube's volume", share, "0 to 1")
        return np.asarray(share * self.tube_volume_m3(length_m))

    def fill_path(self, length_m: ArrayLike) -> Restriction:
        """Everything between supply and chamber as one restriction."""
        tube = tube_restriction(self.bore_m, length_m, self.tube_model)
        return series(*self.upstream, tube, *self.downstream)

    def vent_path(self, length_m: ArrayLike) -> Restriction:
        """Everything between chamber and atmosphere as one restriction."""
        tube = tube_restriction(self.bore_m, length_m, self.tube_model)
        return series(*reversed(self.downstream), tube, *self.exhaust)

    def delay_s(self, length_m: ArrayLike) -> FloatArray:
        """Switching time of the valve plus the sound's way along the tube [s]."""
        require_not_negative("switching time of the valve (s)", self.switch_s)
        delay = np.asarray(self.switch_s) + acoustic_delay_s(length_m, self.temperature_k)
        return np.asarray(delay)


def time_to_pressure(
    line: AirLine, length_m: ArrayLike, target_pa: ArrayLike, start_pa: ArrayLike | None = None
) -> FloatArray:
    """Time [s] from the signal until the chamber has the target pressure; grows with length.

    Switching time, sound delay and filling from `start_pa` (atmosphere). inf where a finite
    reservoir cannot bring the chamber there. Raises `ImpossiblePhysics` for a target at or above
    the supply.
    """
    start = line.atmosphere_pa if start_pa is None else start_pa
    fill = fill_time_s(
        line.chamber,
        line.fill_path(length_m),
        line.supply_pa,
        target_pa,
        start_pa=start,
        exponent=line.exponent,
        temperature_k=line.temperature_k,
        reservoir_m3=line.reservoir_m3,
        extra_volume_m3=line.counted_volume_m3(length_m),
    )
    return np.asarray(line.delay_s(length_m) + fill)


def time_to_vent(
    line: AirLine, length_m: ArrayLike, target_pa: ArrayLike, start_pa: ArrayLike | None = None
) -> FloatArray:
    """Time [s] from the signal until the chamber has vented to a pressure; grows with length.

    From `start_pa` (the supply pressure). Raises `ImpossiblePhysics` for a target at or below
    the atmosphere.
    """
    start = line.supply_pa if start_pa is None else start_pa
    vent = vent_time_s(
        line.chamber,
        line.vent_path(length_m),
        start,
        target_pa,
        atmosphere_pa=line.atmosphere_pa,
        exponent=line.exponent,
        temperature_k=line.temperature_k,
        extra_volume_m3=line.counted_volume_m3(length_m),
    )
    return np.asarray(line.delay_s(length_m) + vent)


def reservoir_after_fill_pa(
    line: AirLine, length_m: ArrayLike, target_pa: ArrayLike, start_pa: ArrayLike | None = None
) -> FloatArray:
    """Pressure [Pa absolute] left in the reservoir once the chamber has the target pressure."""
    return reservoir_pressure_after_pa(
        line.chamber,
        line.supply_pa,
        target_pa,
        line.reservoir_m3,
        start_pa=line.atmosphere_pa if start_pa is None else start_pa,
        exponent=line.exponent,
        extra_volume_m3=line.counted_volume_m3(length_m),
    )


def max_length_to_pressure(
    line: AirLine, target_pa: ArrayLike, budget_s: ArrayLike, start_pa: ArrayLike | None = None
) -> FloatArray:
    """Longest tube [m] that brings the chamber to the target within the budget.

    nan where even no tube would do, inf for an infinite budget. Exact to 1e-9 m, from below.
    """
    return max_length_for_time(
        lambda length: time_to_pressure(line, length, target_pa, start_pa), budget_s
    )


def max_length_to_vent(
    line: AirLine, target_pa: ArrayLike, budget_s: ArrayLike, start_pa: ArrayLike | None = None
) -> FloatArray:
    """Longest tube [m] that vents the chamber to the target within the budget; as above."""
    return max_length_for_time(
        lambda length: time_to_vent(line, length, target_pa, start_pa), budget_s
    )
