"""Published walking data: joint angles over the gait cycle, cadence, swing share, joint ranges.

Phase runs from 0 at a foot's initial contact to 1 at the next contact of the same foot. Hip and
knee flexion, ankle dorsiflexion and anterior pelvis tilt are positive. Segment angles are from
the standing pose, positive when the segment's lower end (the foot: its toe) swings forward and up:

    thigh = hip flexion - pelvis tilt,  shank = thigh - knee flexion,  foot = shank + dorsiflexion

Sources: Fukuchi, Fukuchi and Duarte (2018) PeerJ 6:e4640, 24 young adults, overground at
comfortable speed (default); Schwartz, Rozumalski and Trost (2008) J Biomech 41:1639, children in
five speed bands, for trends only; Winter's Table A.1, one subject at 1.43 m/s, whose segment
angles and hip path were measured. Time-distance fits: 43 adults of the public dataset behind
BMClab's age comparison (`bmclab_h2a`); validity about 0.4-1.6 m/s.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from math import pi, radians, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.body.tables import read_table

Array = NDArray[np.float64]

#: Name of a set of curves -> its file and the condition in it.
CURVES: dict[str, tuple[str, str]] = {
    "fukuchi2018_young24": ("gait.csv", "comfortable_overground_young_adult"),
    "schwartz2008_very_slow": ("gait_schwartz2008.csv", "VerySlow_children"),
    "schwartz2008_slow": ("gait_schwartz2008.csv", "Slow_children"),
    "schwartz2008_free": ("gait_schwartz2008.csv", "Free_children"),
    "schwartz2008_fast": ("gait_schwartz2008.csv", "Fast_children"),
    "schwartz2008_very_fast": ("gait_schwartz2008.csv", "VeryFast_children"),
    "winter_tableA1": ("gait_winter.csv", "one_subject_overground_1.43m/s"),
}
DEFAULT_CURVES = "fukuchi2018_young24"
HARMONICS = 6  # exact for the default curves, which are published as six harmonics
#: Standard gravity, ISO 80000-3.
GRAVITY_M_S2 = 9.80665
#: Speeds of the time-distance data, slowest condition less 1 SD to fastest plus 1 SD [m/s].
SPEED_RANGE_M_S = (0.44, 1.60)


@dataclass(frozen=True, slots=True)
class PeriodicCurve:
    """a_0 + sum over k of a_k cos(2 pi k phase) + b_k sin(2 pi k phase), k = 1..n."""

    mean: float
    cosine: Array
    sine: Array

    @classmethod
    def fit(cls, values: ArrayLike, harmonics: int = HARMONICS) -> PeriodicCurve:
        """Least-squares fit to values at equal steps over one cycle, the repeat left out."""
        samples = np.asarray(values, dtype=float)
        spectrum = np.fft.rfft(samples) / samples.size
        kept = spectrum[1 : harmonics + 1]
        return cls(float(spectrum[0].real), 2.0 * kept.real, -2.0 * kept.imag)

    def __call__(self, phase: ArrayLike, derivative: int = 0) -> Array:
        """The curve, or its derivative by phase of the given order (0, 1, 2), at `phase`."""
        k = np.arange(1, self.cosine.size + 1)
        angle = 2.0 * pi * np.multiply.outer(np.asarray(phase, dtype=float), k)
        # Differentiating turns cos by a quarter period and multiplies by 2 pi k.
        turned = angle + derivative * pi / 2.0
        factor = (2.0 * pi * k) ** derivative
        value = np.cos(turned) @ (factor * self.cosine) + np.sin(turned) @ (factor * self.sine)
        return value + self.mean if derivative == 0 else value


def gait_samples(curves: str, quantity: str) -> Array:
    """Raw values at 0, 2, ..., 100 % of the cycle, in the file's unit."""
    if curves not in CURVES:
        raise ValueError(f"unknown gait curves {curves!r}; valid names: {', '.join(CURVES)}")
    file, condition = CURVES[curves]
    rows = read_table(file)
    found = [r for r in rows if r["condition"] == condition and r["quantity"] == quantity]
    if not found:
        known = sorted({r["quantity"] for r in rows if r["condition"] == condition})
        raise ValueError(f"{curves} has no {quantity!r}; it has {', '.join(known)}")
    return np.array([float(r["value"]) for r in found])


@cache
def gait_curve(quantity: str, curves: str = DEFAULT_CURVES) -> PeriodicCurve:
    """A published angle over the gait cycle as a periodic curve [rad].

    Quantities: "hip_flexion", "knee_flexion", "ankle_dorsiflexion", "pelvis_anterior_tilt"
    (and "foot_pitch" of the default curves).

    Raises
    ------
    ValueError
        If the curves or the quantity are unknown; the message lists the valid ones.
    """
    return PeriodicCurve.fit(np.radians(gait_samples(curves, quantity)[:-1]))


def segment_angles(
    phase: ArrayLike, curves: str = DEFAULT_CURVES, derivative: int = 0
) -> tuple[Array, Array, Array]:
    """Thigh, shank and foot angle [rad] at `phase`, or their derivatives by phase.

    `derivative` 1 or 2 gives rad per cycle and rad per cycle squared: divide by the stride time,
    or by its square.
    """
    if curves == "winter_tableA1":
        measured = (
            "thigh_angle_from_vertical",
            "shank_angle_from_vertical",
            "foot_angle_heel_to_mt5_from_horizontal",
        )
        thigh, shank, foot = (gait_curve(name, curves)(phase, derivative) for name in measured)
        return thigh, shank, foot
    joints = ("hip_flexion", "pelvis_anterior_tilt", "knee_flexion", "ankle_dorsiflexion")
    hip, pelvis, knee, ankle = (gait_curve(name, curves)(phase, derivative) for name in joints)
    return hip - pelvis, hip - pelvis - knee, hip - pelvis - knee + ankle


def joint_angle(joint: str, phase: ArrayLike, curves: str = DEFAULT_CURVES) -> Array:
    """Angle of hip, knee or ankle [rad] from the standing pose at `phase`, flexion positive.

    At the hip this is the thigh's angle to an upright trunk. Published hip flexion is taken from
    a pelvis that is tilted forward in standing too, where it does not read 0; lines are drawn on
    the standing body, so theirs must.
    """
    thigh, shank, foot = segment_angles(phase, curves)
    return {"hip": thigh, "knee": thigh - shank, "ankle": foot - shank}[joint]


@cache
def _time_distance(source: str, population: str, condition: str) -> Mapping[str, float]:
    return {
        row["quantity"]: float(row["value"])
        for row in read_table("gait_time_distance.csv")
        if (row["source_key"], row["population"], row["condition"])
        == (source, population, condition)
    }


def cadence_per_min(
    speed_m_s: float, leg_length_m: float | None = None, population: str = "all"
) -> float:
    """Cadence [steps per minute] at a walking speed.

    With a leg length l the dimensionless fit is used, which serves short and tall wearers,

        step length / l = k (v / sqrt(g l))^n,  cadence = 60 v / step length;

    without one the straight line cadence = a v + b. Population: "all", "young" or "older".
    `leg_length_m` is floor to greater trochanter, as in the data (0.517 of stature there).
    """
    fit = _time_distance("bmclab_h2a", population, "fit")
    if not fit:
        raise ValueError(f"unknown population {population!r}; valid names: all, young, older")
    if speed_m_s <= 0.0:
        raise ValueError(f"walking speed must be positive, not {speed_m_s} m/s")
    if leg_length_m is None:
        return fit["cadence_slope_vs_speed"] * speed_m_s + fit["cadence_intercept"]
    v = speed_m_s / sqrt(GRAVITY_M_S2 * leg_length_m)
    k, n = fit["dimensionless_step_length_coefficient"], fit["dimensionless_step_length_exponent"]
    return 60.0 * speed_m_s / (leg_length_m * k * v**n)


def stride_time_s(
    speed_m_s: float, leg_length_m: float | None = None, population: str = "all"
) -> float:
    """Time of one stride (two steps) [s] at a walking speed; see `cadence_per_min`."""
    return 120.0 / cadence_per_min(speed_m_s, leg_length_m, population)


def leg_length_of_stature(stature_m: float) -> float:
    """Leg length to the greater trochanter [m] that goes with the time-distance fits."""
    mean = _time_distance("bmclab_h2a", "all", "subjects")
    return stature_m * mean["leg_length"] / mean["stature"]


def swing_share(speed_m_s: float | None = None) -> float:
    """Share of the gait cycle that a foot is off the ground.

    0.397 at 1.24 m/s and a straight line in speed whose slope (about 0.048 per m/s) is taken
    between slow and fast walking of the 24 young adults of the default curves (0.94-1.50 m/s).
    None gives the share at their comfortable speed, the one the curves belong to.
    """
    slow, middle, fast = (
        _time_distance("fukuchi2018_openacl", "young", c) for c in ("slow", "comfortable", "fast")
    )
    if speed_m_s is None:
        return middle["swing"] / 100.0
    slope = (fast["swing"] - slow["swing"]) / (fast["speed"] - slow["speed"])
    return (middle["swing"] + slope * (speed_m_s - middle["speed"])) / 100.0


def minimum_toe_clearance_m() -> float:
    """Mean of the smallest toe-to-ground gap in mid-swing [m]: 0.019, SD 0.005.

    Moosabhoy and Gard (2006) Gait Posture 24:493-501, ten able-bodied adults (abstract read).
    """
    return _time_distance("moosabhoy2006", "adult", "normal")["minimum_toe_clearance"]


def speed_warnings(speed_m_s: float) -> tuple[str, ...]:
    """Say when the walking speed is outside the time-distance data."""
    low, high = SPEED_RANGE_M_S
    if low <= speed_m_s <= high:
        return ()
    return (
        f"walking speed {speed_m_s:g} m/s is outside {low:g}-{high:g} m/s, the range of the "
        "stride-time and swing-share data: extrapolated",
    )


@cache
def swing_rotations(
    curves: str = DEFAULT_CURVES, share: float | None = None
) -> tuple[complex, complex, complex]:
    """Mean over swing of exp(i angle) for shank from thigh, foot from shank, foot from thigh.

    In the sagittal plane as complex numbers, x + i y: a vector fixed to the shank, seen from the
    thigh, is turned by the first, and so on. In time, by Gauss-Legendre quadrature.
    """
    node, weight = np.polynomial.legendre.leggauss(48)
    width = swing_share() if share is None else share
    phase = 1.0 - width * (0.5 - 0.5 * node)
    thigh, shank, foot = segment_angles(phase, curves)
    turns = (shank - thigh, foot - shank, foot - thigh)
    first, second, third = (complex(0.5 * weight @ np.exp(1j * turn)) for turn in turns)
    return first, second, third


@cache
def joint_ranges(range_name: str) -> dict[str, tuple[float, float]]:
    """Range of each joint (hip, knee, ankle) as (least, most) [rad] from the standing pose.

    Flexion is positive. "gait": the extremes of `joint_angle` over the default curves. "sit": the
    design range for sitting and squatting (an assumption), widened to hold the gait range, for
    who sits also walks.

    Raises
    ------
    ValueError
        If the name is unknown; the message lists the valid ones.
    """
    rows = read_table("joint_range.csv")
    valid = tuple(dict.fromkeys(row["range"] for row in rows))
    if range_name not in valid:
        raise ValueError(f"unknown joint range {range_name!r}; valid names: {', '.join(valid)}")
    ranges: dict[str, tuple[float, float]] = {}
    for row in rows:
        if row["range"] in ("gait", range_name):
            low, high = radians(float(row["min_deg"])), radians(float(row["max_deg"]))
            known = ranges.get(row["joint"], (low, high))
            ranges[row["joint"]] = (min(low, known[0]), max(high, known[1]))
    return ranges
