"""Swing-leg moments of inertia: of points and boxes fixed to a leg, and of the bare leg.

All are about the mediolateral (z) axis through a joint centre, so only sagittal distances count.
A rigid body adds m d^2 + I_own (parallel axis theorem); d changes with the pose, I_own does not.

Poses: "straight" is the standing pose (foot at right angles to the shank). "swing" is the time
average over the swing phase of the published curves (`optimizer.body.gait`), about the joint
itself: about the hip it depends on knee and ankle only, about the knee on the ankle only. A pair
(knee flexion, ankle dorsiflexion) [rad] is one fixed pose.
"""

from __future__ import annotations

import cmath

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.body.gait import swing_rotations
from optimizer.body.wearer import JOINTS, Wearer
from optimizer.study.model import LEG_SEGMENTS, SegmentKey

#: "straight", "swing", or knee flexion and ankle dorsiflexion [rad].
Pose = str | tuple[float, float]
POSES: tuple[str, ...] = ("straight", "swing")
_MOVES_WITH = {"hip": 0, "knee": 1, "ankle": 2}


def squared_distance(
    wearer: Wearer,
    key: SegmentKey,
    positions: ArrayLike,
    joint: str = "hip",
    pose: Pose = "straight",
) -> NDArray[np.float64]:
    """Squared sagittal distance [m^2] from a joint's mediolateral axis of points on a segment.

    Parameters
    ----------
    key : the segment the points are fixed to
    positions : (n, 3) or (3,), where they are in the standing pose, body frame [m]
    joint : "hip", "knee" or "ankle", of the segment's own side
    pose : "straight", "swing" (mean over the swing phase) or (knee flexion, ankle dorsiflexion)

    Returns
    -------
    (n,), zero for the trunk, off the body, and for segments above the joint.
    """
    if joint not in JOINTS:
        raise ValueError(f"unknown joint {joint!r}; valid names: {', '.join(JOINTS)}")
    points = np.asarray(positions, dtype=float).reshape(-1, 3)
    segment, side = key
    if segment not in LEG_SEGMENTS or LEG_SEGMENTS.index(segment) < _MOVES_WITH[joint]:
        return np.zeros(len(points))
    own = LEG_SEGMENTS.index(segment)
    start = _plane(wearer.joint(JOINTS[own], side))
    local = points[:, 0] + 1j * points[:, 1] - start
    # The chain of rigid links from the joint's own segment down to the points.
    links = [
        _plane(wearer.joint(JOINTS[i + 1], side)) - _plane(wearer.joint(JOINTS[i], side))
        for i in range(_MOVES_WITH[joint], own)
    ]
    turn = _mean_turns(pose)
    total = np.abs(local) ** 2 + sum(abs(link) ** 2 for link in links)
    first = _MOVES_WITH[joint]
    for i, link in enumerate(links, start=first):
        total += 2.0 * (np.conj(link) * turn[i, own] * local).real
        for j in range(i + 1, own):
            total += 2.0 * (np.conj(link) * turn[i, j] * links[j - first]).real
    return total


def _plane(point: NDArray[np.float64]) -> complex:
    return complex(point[0], point[1])


def _mean_turns(pose: Pose) -> dict[tuple[int, int], complex]:
    """Mean turn of a lower segment (thigh 0, shank 1, foot 2) as seen from an upper one."""
    if pose == "swing":
        knee, ankle, both = swing_rotations()
    elif pose == "straight":
        knee = ankle = both = 1.0 + 0.0j
    elif isinstance(pose, tuple):
        knee, ankle = cmath.exp(-1j * pose[0]), cmath.exp(1j * pose[1])
        both = knee * ankle
    else:
        raise ValueError(f"unknown pose {pose!r}; valid names: {', '.join(POSES)}")
    return {(0, 1): knee, (1, 2): ankle, (0, 2): both}


def bare_leg_inertia(
    wearer: Wearer, side: str, joint: str = "hip", pose: Pose = "straight"
) -> float:
    """Moment of inertia [kg m^2] of everything below a joint about its mediolateral axis."""
    total = 0.0
    for name in LEG_SEGMENTS[_MOVES_WITH[joint] :]:
        segment = wearer.segments[name, side]
        (squared,) = squared_distance(wearer, segment.key, segment.com, joint, pose)
        total += segment.mass_kg * float(squared) + segment.inertia_ml_kg_m2
    return total


def box_inertia_ml(
    mass_kg: float, size_m: tuple[float, float, float], faces_sideways: bool
) -> float:
    """Own moment of inertia [kg m^2] of a uniform box about its mediolateral axis.

    `size_m` is (length, width, thickness): the length lies along the segment, the thickness
    stands off the skin. A box on the front or back shows its thickness in the sagittal plane,
    m (length^2 + thickness^2) / 12; one on the side of the limb its width.
    """
    length, width, thickness = size_m
    across = width if faces_sideways else thickness
    return mass_kg * (length**2 + across**2) / 12.0
