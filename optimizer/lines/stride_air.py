"""What walking costs in air: per stride, at the pump, in the reservoir and in the battery.

References
----------
.. [1] ISO 8778 reference atmosphere (see `air`): free air of a volume V taken from p1 to p2 at
   T0 is V (p2 - p1)/p0.
.. [2] Work of compression, textbook: isothermal R T ln r, adiabatic gamma/(gamma-1) R T
   (r^((gamma-1)/gamma) - 1) per kg, r = discharge/inlet pressure.
.. [3] Teaching hypertext "Hyper-Pneumatics", content/sizing.js, section tubing-length-effect.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from optimizer.lines.air import (
    ATMOSPHERE_PA,
    HEAT_CAPACITY_RATIO,
    REFERENCE_PRESSURE_PA,
    REFERENCE_TEMPERATURE_K,
    FloatArray,
)
from optimizer.lines.air_chamber import Chamber
from optimizer.lines.impossible import (
    ImpossiblePhysics,
    require,
    require_not_negative,
    require_positive,
)

Compression = Literal["isothermal", "adiabatic"]


def air_per_stride_m3(
    chamber: Chamber,
    high_pa: ArrayLike,
    low_pa: ArrayLike = ATMOSPHERE_PA,
    *,
    dead_volume_m3: ArrayLike = 0.0,
    fills_per_stride: ArrayLike = 1.0,
    temperature_k: ArrayLike = REFERENCE_TEMPERATURE_K,
    reference_pa: ArrayLike = REFERENCE_PRESSURE_PA,
) -> FloatArray:
    r"""Free air [m^3 ANR] one stride takes: n [p2 V(p2) - p1 V(p1) + Vd (p2 - p1)] T0/(T p0).

    `dead_volume_m3` is whatever is filled and thrown away besides the chamber: the whole tube,
    whatever share of it counts for the time. The air is taken to have settled at
    `temperature_k`; air that is thrown out while still warm from filling takes less, so this is
    the safe side. Pass `reference_pa` 101325 for free air at atmospheric pressure: two 3 m tubes
    of 4 mm bore to 6 bar gauge then take 0.45 L (published [3]).
    """
    p2, p1 = np.asarray(high_pa, dtype=float), np.asarray(low_pa, dtype=float)
    dead = np.asarray(dead_volume_m3, dtype=float)
    chamber.check()
    require_positive("low pressure (Pa absolute)", p1)
    require(p2 >= p1, "high pressure (Pa absolute)", p2, "at least the low pressure")
    require_not_negative("dead volume (m3)", dead)
    require_not_negative("fills per stride", fills_per_stride)
    require_positive("temperature (K)", temperature_k)
    taken = p2 * chamber.volume_m3(p2) - p1 * chamber.volume_m3(p1) + dead * (p2 - p1)
    cold = REFERENCE_TEMPERATURE_K / np.asarray(temperature_k, dtype=float)
    return np.asarray(np.asarray(fills_per_stride) * taken * cold / np.asarray(reference_pa))


def strides_per_second(cadence_steps_per_min: ArrayLike) -> FloatArray:
    """Strides per second of a cadence in steps per minute (a stride is two steps)."""
    require_positive("cadence (steps/min)", cadence_steps_per_min)
    return np.asarray(np.asarray(cadence_steps_per_min, dtype=float) / 120.0)


def pump_flow_m3_s(
    air_per_stride: ArrayLike, cadence_steps_per_min: ArrayLike, leak_m3_s: ArrayLike = 0.0
) -> FloatArray:
    """Mean flow [m^3/s ANR] the pump must deliver; times 6e4 for L/min ANR."""
    require_not_negative("air per stride (m3)", air_per_stride)
    require_not_negative("leak (m3/s)", leak_m3_s)
    flow = np.asarray(air_per_stride) * strides_per_second(cadence_steps_per_min)
    return np.asarray(flow + np.asarray(leak_m3_s))


def reservoir_dip_pa(
    air_taken_m3: ArrayLike,
    reservoir_m3: ArrayLike,
    pump_flow: ArrayLike = 0.0,
    duration_s: ArrayLike = 0.0,
) -> FloatArray:
    """Fall of the reservoir's pressure [Pa] while it gives `air_taken_m3` ANR in `duration_s`.

    p0 (taken - pump_flow duration)/Vr, at least 0, isothermal at T0: between strides the walls
    warm the air again. Just after a fast take the dip is up to 1.4 times as deep.
    """
    require_positive("reservoir volume (m3)", reservoir_m3)
    require_not_negative("air taken (m3 ANR)", air_taken_m3)
    net = np.asarray(air_taken_m3, dtype=float) - np.asarray(pump_flow) * np.asarray(duration_s)
    return np.asarray(REFERENCE_PRESSURE_PA * np.maximum(net, 0.0) / np.asarray(reservoir_m3))


def compression_work_j_per_m3(
    discharge_pa: ArrayLike,
    inlet_pa: ArrayLike = ATMOSPHERE_PA,
    process: Compression = "adiabatic",
    temperature_k: ArrayLike = REFERENCE_TEMPERATURE_K,
) -> FloatArray:
    """Ideal work [J] to compress 1 m^3 ANR, p0 T/T0 times ln r or 3.5 (r^(2/7) - 1) [2]."""
    r = np.asarray(discharge_pa, dtype=float) / np.asarray(inlet_pa, dtype=float)
    require_positive("inlet pressure (Pa absolute)", inlet_pa)
    require(r >= 1, "discharge pressure (Pa absolute)", discharge_pa, "at least the inlet pressure")
    if process == "isothermal":
        per_pa = np.log(r)
    elif process == "adiabatic":
        share = (HEAT_CAPACITY_RATIO - 1.0) / HEAT_CAPACITY_RATIO
        per_pa = np.expm1(share * np.log(r)) / share
    else:
        raise ImpossiblePhysics("process of compression", process, "isothermal or adiabatic")
    warm = np.asarray(temperature_k, dtype=float) / REFERENCE_TEMPERATURE_K
    return np.asarray(REFERENCE_PRESSURE_PA * warm * per_pa)


def pump_power_w(
    flow_m3_s: ArrayLike,
    discharge_pa: ArrayLike,
    efficiency: ArrayLike,
    inlet_pa: ArrayLike = ATMOSPHERE_PA,
    process: Compression = "adiabatic",
) -> FloatArray:
    """Electrical power [W] of the pump: ideal work times flow ANR over `efficiency`.

    `efficiency` is motor, drive and pump together, referred to `process`; it has no default
    because small pumps differ by a factor of several. Give the pump's highest discharge
    pressure to be safe.
    """
    eta = np.asarray(efficiency, dtype=float)
    require_not_negative("flow ANR (m3/s)", flow_m3_s)
    require((eta > 0) & (eta <= 1), "efficiency of the pump", eta, "above 0 and at most 1")
    work = compression_work_j_per_m3(discharge_pa, inlet_pa, process)
    return np.asarray(work * np.asarray(flow_m3_s) / eta)


def battery_hours(energy_wh: ArrayLike, power_w: ArrayLike, usable: ArrayLike = 1.0) -> FloatArray:
    """Hours a battery lasts at a mean power; inf at zero power."""
    P = np.asarray(power_w, dtype=float)
    require_positive("battery energy (Wh)", energy_wh)
    require_not_negative("power (W)", P)
    share = _share("usable share of the battery", usable)
    with np.errstate(divide="ignore"):
        return np.asarray(np.asarray(energy_wh) * share / P)


def battery_mass_kg(
    power_w: ArrayLike,
    hours: ArrayLike,
    specific_energy_wh_kg: ArrayLike,
    usable: ArrayLike = 1.0,
) -> FloatArray:
    """Mass [kg] of the battery that feeds `power_w` for `hours` of walking.

    Specific energy is of the whole pack (cells, holder, protection), an input because packs
    differ; `usable` is the share one is willing to discharge.
    """
    require_not_negative("power (W)", power_w)
    require_not_negative("walking time (h)", hours)
    require_positive("specific energy of the battery (Wh/kg)", specific_energy_wh_kg)
    share = _share("usable share of the battery", usable)
    energy = np.asarray(power_w, dtype=float) * np.asarray(hours)
    return np.asarray(energy / (np.asarray(specific_energy_wh_kg) * share))


def _share(quantity: str, value: ArrayLike) -> FloatArray:
    share = np.asarray(value, dtype=float)
    require((share > 0) & (share <= 1), quantity, share, "above 0 and at most 1")
    return share


@dataclass(frozen=True, slots=True)
class AirBill:
    """What a device's air costs at a cadence; SI, `*_m3` are ANR."""

    air_per_stride_m3: FloatArray
    pump_flow_m3_s: FloatArray
    dip_pa: FloatArray
    """Fall of the reservoir's pressure when one stride's air is taken at once."""
    pump_w: FloatArray
    total_w: FloatArray
    """Pump and everything else that draws from the battery."""

    @property
    def pump_flow_l_min(self) -> FloatArray:
        """Pump flow in the unit of data sheets, L/min ANR."""
        return np.asarray(self.pump_flow_m3_s * 6.0e4)


def air_bill(
    air_per_stride: ArrayLike,
    cadence_steps_per_min: ArrayLike,
    *,
    reservoir_m3: ArrayLike,
    discharge_pa: ArrayLike,
    efficiency: ArrayLike,
    other_power_w: ArrayLike = 0.0,
    leak_m3_s: ArrayLike = 0.0,
    process: Compression = "adiabatic",
) -> AirBill:
    """The whole chain from air per stride to power, for all chambers of the device together."""
    require_not_negative("other power (W)", other_power_w)
    air = np.asarray(air_per_stride, dtype=float)
    flow = pump_flow_m3_s(air, cadence_steps_per_min, leak_m3_s)
    pump = pump_power_w(flow, discharge_pa, efficiency, process=process)
    dip = reservoir_dip_pa(air, reservoir_m3)
    return AirBill(air, flow, dip, pump, np.asarray(pump + np.asarray(other_power_w)))
