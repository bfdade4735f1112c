r"""Swing-phase inverse dynamics of one leg, bare and loaded.

Three rigid links in the sagittal plane (thigh, shank, foot) hang from a hip that moves on a
published path; joint angles are published too (`optimizer.body.motion`), so the equations of
motion are solved for the net joint moments, from the foot up (Newton-Euler, Winter,
Biomechanics and Motor Control of Human Movement, ch. 5):

.. math::
    F_i = m_i (a_i - g) + F_{i+1}, \qquad
    M_i = I_i \alpha_i + r_i \times m_i (a_i - g) + l_i \times F_{i+1} + M_{i+1}

with :math:`r_i` from joint i to the centre of mass of link i and its load, :math:`l_i` to the
next joint, and nothing below the foot, for it is off the ground. Moments are positive in the
sense of hip flexion, knee flexion and ankle dorsiflexion; power is moment times joint rate.

Limits: the load is taken not to change the motion, stride time or toe-off; the toes do not
bend; passive tissue is part of the net moment; positive work of net moments is not metabolic
cost. Validity: level walking at about 0.44-1.6 m/s (`optimizer.body.gait.speed_warnings`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import pi, sqrt

import numpy as np
from numpy.typing import NDArray

from optimizer.body.gait import DEFAULT_CURVES, GRAVITY_M_S2, speed_warnings
from optimizer.body.motion import (
    LegMotion,
    joint_rates,
    swing_motion,
    swing_phases,
    wearer_stride_time_s,
)
from optimizer.body.wearer import JOINTS, Wearer
from optimizer.study.model import LEG_SEGMENTS, SegmentKey

Array = NDArray[np.float64]
Plane = NDArray[np.complex128]


@dataclass(frozen=True, slots=True)
class AddedMass:
    """A mass fixed to a segment: `position` (3,) in the standing pose, body frame [m].

    `own_inertia_kg_m2` is about its own centre of mass, mediolateral axis
    (`optimizer.body.inertia.box_inertia_ml`); 0 for a point mass.
    """

    segment_key: SegmentKey
    position: NDArray[np.float64]
    mass_kg: float
    own_inertia_kg_m2: float = 0.0


@dataclass(frozen=True, slots=True)
class Link:
    """One segment with what it carries, in the sagittal plane (forward + i up), standing.

    `com` and `end` are from the link's upper joint; `inertia_kg_m2` is about `com`.
    """

    mass_kg: float
    com: complex
    inertia_kg_m2: float
    end: complex


@dataclass(frozen=True, slots=True)
class LegLoads:
    """Net joint moments [N m] and powers [W] by joint, (n,) each, over n instants.

    `hip_force`: (n,) complex, the force of the pelvis on the thigh, forward + i up [N].
    `trunk_power_w`: what the moving pelvis feeds into the leg besides the hip joint's own power.
    """

    moment_nm: Mapping[str, Array]
    power_w: Mapping[str, Array]
    hip_force: Plane
    trunk_power_w: Array


@dataclass(frozen=True, slots=True)
class SwingDynamics:
    """A swing, bare and loaded: time series and what follows from them.

    `phase`, `time_s` (n,): fraction of the gait cycle, and time from toe-off.
    """

    side: str
    speed_m_s: float
    stride_time_s: float
    phase: Array
    time_s: Array
    motion: LegMotion
    bare: LegLoads
    loaded: LegLoads
    natural_frequency_bare_hz: float
    natural_frequency_loaded_hz: float
    warnings: tuple[str, ...]

    @property
    def swing_time_s(self) -> float:
        """Duration of swing."""
        return float(self.time_s[-1] - self.time_s[0])

    def positive_work_j(self, loads: LegLoads, joint: str | None = None) -> float:
        """Positive work [J] in one swing of a joint's net moment; None for all three summed."""
        names = JOINTS if joint is None else (joint,)
        return float(
            sum(np.trapezoid(np.maximum(loads.power_w[name], 0.0), self.time_s) for name in names)
        )

    def extra_positive_work_j(self, joint: str | None = None) -> float:
        """Loaded less bare positive work [J] in one swing."""
        return self.positive_work_j(self.loaded, joint) - self.positive_work_j(self.bare, joint)

    @property
    def extra_positive_power_w(self) -> float:
        """Extra positive work of this leg, averaged over the stride [W]."""
        return self.extra_positive_work_j() / self.stride_time_s

    def extra_moment_nm(self, joint: str) -> Array:
        """Loaded less bare net moment [N m], (n,)."""
        return self.loaded.moment_nm[joint] - self.bare.moment_nm[joint]

    def peak_extra_moment_nm(self, joint: str) -> float:
        """Largest absolute change of a joint's net moment in swing [N m]."""
        return float(np.abs(self.extra_moment_nm(joint)).max())


def leg_links(wearer: Wearer, side: str, added: Iterable[AddedMass] = ()) -> tuple[Link, ...]:
    """Thigh, shank and foot of one side as links, with the masses that ride on them.

    Masses on other segments or the other side are left out, so a whole layout may be passed.
    """
    ends = {joint: _plane(wearer.joint(joint, side)) for joint in JOINTS}
    loads = list(added)
    links = []
    for i, name in enumerate(LEG_SEGMENTS):
        segment = wearer.segments[name, side]
        start = ends[JOINTS[i]]
        end = ends[JOINTS[i + 1]] - start if i + 1 < len(JOINTS) else 0j
        bodies = [
            (segment.mass_kg, _plane(segment.com) - start, segment.inertia_ml_kg_m2),
            *(
                (load.mass_kg, _plane(load.position) - start, load.own_inertia_kg_m2)
                for load in loads
                if load.segment_key == segment.key
            ),
        ]
        mass = sum(m for m, _, _ in bodies)
        com = sum(m * at for m, at, _ in bodies) / mass
        inertia = sum(own + m * abs(at - com) ** 2 for m, at, own in bodies)
        links.append(Link(mass, com, inertia, end))
    return tuple(links)


def inverse_dynamics(
    links: tuple[Link, ...], motion: LegMotion, gravity_m_s2: float = GRAVITY_M_S2
) -> LegLoads:
    """Net joint moments and powers that make `links` follow `motion`; nothing below the foot."""
    turn = np.exp(1j * motion.angle)
    # A point fixed to a link moves on a circle about the link's upper joint.
    spin = 1j * motion.acceleration - motion.rate**2
    joint_acceleration = [motion.hip_acceleration]
    for i, link in enumerate(links[:-1]):
        joint_acceleration.append(joint_acceleration[i] + spin[i] * turn[i] * link.end)
    force: Plane = np.zeros_like(motion.hip)
    moment: Array = np.zeros_like(motion.time_s)
    moments: list[Array] = []
    for i in reversed(range(len(links))):
        link = links[i]
        arm = turn[i] * link.com
        inertial = link.mass_kg * (joint_acceleration[i] + spin[i] * arm + 1j * gravity_m_s2)
        moment = (
            link.inertia_kg_m2 * motion.acceleration[i]
            + _cross(arm, inertial)
            + _cross(turn[i] * link.end, force)
            + moment
        )
        force = force + inertial
        moments.insert(0, moment)
    # Turning the shank forward extends the knee, so its flexing moment has the other sign.
    by_joint = {"hip": moments[0], "knee": -moments[1], "ankle": moments[2]}
    rates = joint_rates(motion)
    trunk = (np.conj(force) * motion.hip_velocity).real + moments[0] * motion.pelvis_rate
    return LegLoads(
        moment_nm=by_joint,
        power_w={joint: by_joint[joint] * rates[joint] for joint in JOINTS},
        hip_force=force,
        trunk_power_w=trunk,
    )


def natural_frequency_hz(wearer: Wearer, side: str, added: Iterable[AddedMass] = ()) -> float:
    """Small-swing frequency [Hz] of the straight leg as a pendulum on a fixed hip.

    f = sqrt(m g d / I) / (2 pi), with d from the hip joint centre to the centre of mass and I
    about the hip. Doke, Donelan and Kuo (2005) J Exp Biol 208:439 give 0.64 Hz.
    """
    at, moment, inertia = 0j, 0j, 0.0
    for link in leg_links(wearer, side, added):
        place = at + link.com
        moment += link.mass_kg * place
        inertia += link.inertia_kg_m2 + link.mass_kg * abs(place) ** 2
        at += link.end
    return sqrt(abs(moment) * GRAVITY_M_S2 / inertia) / (2.0 * pi)


def swing_dynamics(
    wearer: Wearer,
    side: str,
    added: Iterable[AddedMass],
    speed_m_s: float,
    curves: str = DEFAULT_CURVES,
) -> SwingDynamics:
    """Inverse dynamics of one leg through swing, bare and with `added`.

    Parameters
    ----------
    side : "left" or "right"
    added : masses of the layout; those not on this leg are left out
    speed_m_s : walking speed, sets the stride time and the share of swing
    curves : name of the joint-angle curves, see `optimizer.body.gait.CURVES`

    Raises
    ------
    ValueError
        If the speed is not positive, the curves are unknown or a mass is negative.
    """
    loads = [load for load in added if load.segment_key[1] == side]
    for load in loads:
        if not (load.mass_kg >= 0.0 and load.own_inertia_kg_m2 >= 0.0):
            raise ValueError(f"added mass and own inertia must not be negative: {load}")
    phase = swing_phases(speed_m_s)
    motion = swing_motion(wearer, speed_m_s, phase, curves)
    return SwingDynamics(
        side=side,
        speed_m_s=speed_m_s,
        stride_time_s=wearer_stride_time_s(wearer, speed_m_s),
        phase=phase,
        time_s=motion.time_s - motion.time_s[0],
        motion=motion,
        bare=inverse_dynamics(leg_links(wearer, side), motion),
        loaded=inverse_dynamics(leg_links(wearer, side, loads), motion),
        natural_frequency_bare_hz=natural_frequency_hz(wearer, side),
        natural_frequency_loaded_hz=natural_frequency_hz(wearer, side, loads),
        warnings=speed_warnings(speed_m_s),
    )


def _plane(point: NDArray[np.float64]) -> complex:
    return complex(point[0], point[1])


def _cross(a: Plane, b: Plane) -> Array:
    """Mediolateral component of the cross product of sagittal vectors."""
    return (np.conj(a) * b).imag
