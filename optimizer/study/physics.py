"""What the physics of lines needs to know of a part and of a line's option, in SI.

None means that nothing was written; a budget that needs it is then a flaw
(`optimizer.study.physics_flaws`). Columns and units as written: `optimizer.study.physics_columns`.
Pressures are absolute.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PartPhysics:
    """Figures of one model of a part: an air chamber, a valve, a pump, a reservoir, a battery."""

    chamber_m3: float | None = None
    """Air space filled at the end of the stroke, ports included."""
    stroke_m: float | None = None
    piston_m: float | None = None
    """Piston diameter; with it the chamber grows by the stroke as the pressure rises."""
    load_n: float = 0.0
    """Force on the piston at the start of its stroke, preload of a spring included."""
    spring_n_m: float = 0.0
    valve_c: float | None = None
    """Sonic conductance [m^3/(s Pa)] of a valve, regulator or silencer."""
    valve_b: float | None = None
    valve_delay_s: float = 0.0
    pump_flow_m3_s: float | None = None
    """Free air (ANR) the pump delivers at working pressure."""
    reservoir_m3: float | None = None
    battery_j: float | None = None


@dataclass(frozen=True, slots=True)
class LinePhysics:
    """Figures of one option of a line: what it carries, what is asked of it."""

    supply_pa: float | None = None
    target_pa: float | None = None
    vent_pa: float | None = None
    response_s: float | None = None
    vent_s: float | None = None
    fitting_c: float | None = None
    """Sonic conductance [m^3/(s Pa)] of both ends' fittings together."""
    fitting_b: float = 0.3
    extra_m3: float = 0.0
    """Further air space that is filled with the chamber: other tubes and ports on it."""
    exponent: float = 1.0
    flow_anr_m3_s: float | None = None
    max_drop_pa: float | None = None
    flow_m3_s: float | None = None
    liquid: str = ""
    current_a: float | None = None
    peak_current_a: float | None = None
    voltage_v: float | None = None
    max_drop_share: float | None = None
    friction_mu: float | None = None
    min_efficiency: float | None = None
    force_n: float | None = None
    rope: str = ""
    """Construction and material; empty: not named, and no stretch is told."""
    housing_stiffness_n: float | None = None
    min_bend_radius_m: float | None = None

    @property
    def highest_current_a(self) -> float | None:
        """The current at which the drop counts: the peak, else the RMS current."""
        return self.current_a if self.peak_current_a is None else self.peak_current_a
