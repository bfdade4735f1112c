"""How the leg moves through swing: published segment angles on a published, moving hip.

The angles are those of `optimizer.body.gait` (default: 24 young adults), played at the wearer's
own stride time. The hip follows the path of Winter's Table A.1 (one subject, 1.43 m/s): the
forward path less its mean speed and the height, each less the straight line that would keep the
stride from closing (the height ends 5 mm lower than it began), scaled by hip height: the
wearer's leg length over the subject's greatest hip height, reached in mid-stance over a nearly
straight leg. To that the wearer's walking speed is added.

Limits: sagittal plane; hip path and joint angles come from different people, which the bare
hip moment just after toe-off feels most (changes from added mass less); the amplitude of the
hip's path is not scaled with speed; the load is taken not to change how the leg moves. The curves
"winter_tableA1" are the one set whose angles and hip path are of the same stride.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.body.gait import (
    DEFAULT_CURVES,
    PeriodicCurve,
    gait_curve,
    gait_samples,
    leg_length_of_stature,
    segment_angles,
    stride_time_s,
    swing_share,
)
from optimizer.body.wearer import Wearer

Array = NDArray[np.float64]
Plane = NDArray[np.complex128]


@dataclass(frozen=True, slots=True)
class LegMotion:
    """Sagittal motion of one leg at n instants.

    `angle`, `rate`, `acceleration`: (3, n) of thigh, shank and foot from the standing pose, the
    lower end (toe) forward and up positive [rad, rad/s, rad/s^2]. `hip`, `hip_velocity`,
    `hip_acceleration`: (n,) complex, forward + i up [m, m/s, m/s^2]. `pelvis_rate`: (n,) of the
    pelvis in the same sense (posterior tilt positive) [rad/s].
    """

    time_s: Array
    angle: Array
    rate: Array
    acceleration: Array
    hip: Plane
    hip_velocity: Plane
    hip_acceleration: Plane
    pelvis_rate: Array


@cache
def _hip_path() -> tuple[PeriodicCurve, PeriodicCurve, float]:
    """Forward and upward path about the mean drift [m], and the greatest hip height [m]."""
    curves = []
    for quantity in ("hip_x", "hip_y"):
        path = gait_samples("winter_tableA1", quantity)
        drift = np.linspace(0.0, path[-1] - path[0], path.size)
        curves.append(PeriodicCurve.fit((path - drift)[:-1]))
    return curves[0], curves[1], float(gait_samples("winter_tableA1", "hip_y").max())


def hip_path(wearer: Wearer, phase: ArrayLike, derivative: int = 0) -> Plane:
    """The hip's path about its mean drift [m], or its derivative by phase, forward + i up."""
    forward, up, height = _hip_path()
    scale = wearer.leg_length_m / height
    path = scale * (forward(phase, derivative) + 1j * up(phase, derivative))
    return np.asarray(path, dtype=np.complex128)


def wearer_stride_time_s(wearer: Wearer, speed_m_s: float) -> float:
    """Stride time [s] of this wearer at a speed, from the dimensionless fit (43 adults)."""
    return stride_time_s(speed_m_s, leg_length_of_stature(wearer.stature_m))


def swing_phases(speed_m_s: float, count: int = 401) -> Array:
    """Instants of swing as fractions of the gait cycle, toe-off to initial contact, (count,)."""
    return np.linspace(1.0 - swing_share(speed_m_s), 1.0, count)


def swing_motion(
    wearer: Wearer, speed_m_s: float, phase: ArrayLike, curves: str = DEFAULT_CURVES
) -> LegMotion:
    """The leg's motion at the given phases of the gait cycle, (n,)."""
    at = np.asarray(phase, dtype=float)
    stride = wearer_stride_time_s(wearer, speed_m_s)
    angle, rate, acceleration = (
        np.array(segment_angles(at, curves, order)) / stride**order for order in (0, 1, 2)
    )
    drift = speed_m_s * stride
    return LegMotion(
        time_s=at * stride,
        angle=angle,
        rate=rate,
        acceleration=acceleration,
        hip=hip_path(wearer, at) + drift * at,
        hip_velocity=hip_path(wearer, at, 1) / stride + speed_m_s,
        hip_acceleration=hip_path(wearer, at, 2) / stride**2,
        pelvis_rate=-_pelvis_tilt_rate(at, curves) / stride,
    )


def _pelvis_tilt_rate(phase: Array, curves: str) -> Array:
    """Anterior tilt's derivative by phase; zero where the pelvis was not measured."""
    if curves == "winter_tableA1":
        return np.zeros_like(phase)
    return gait_curve("pelvis_anterior_tilt", curves)(phase, 1)


def joint_rates(motion: LegMotion) -> Mapping[str, Array]:
    """Rate of hip flexion, knee flexion and ankle dorsiflexion [rad/s], (n,) each."""
    thigh, shank, foot = motion.rate
    return {"hip": thigh - motion.pelvis_rate, "knee": thigh - shank, "ankle": foot - shank}
