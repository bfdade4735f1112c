"""What a joint asks of a line that crosses it: extra length, and a loop it must store.

A line at the perpendicular distance r from a joint's mediolateral axis changes its length by
r dtheta (virtual work; the same relation as for a muscle's moment arm). Where the line gets
longer it needs slack; where it gets shorter that slack, and more, hangs as a loop.

Joint angles: hip flexion, knee flexion and ankle dorsiflexion positive; 0 is the standing pose, at
the hip too: the thigh's angle to an upright trunk, not to the pelvis (`body.gait.joint_angle`).
Axes are mediolateral (z) in the standing body; movement in other planes is not counted.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import hypot

import numpy as np
from numpy.typing import NDArray

from optimizer.lines.anchors import RoutedWearer
from optimizer.study.model import OFF_BODY, TRUNK, SegmentKey

#: Segments of one leg from the trunk outwards; joint i joins segment i - 1 to segment i.
_CHAIN = ("trunk", "thigh", "shank", "foot")
_JOINTS = ("hip", "knee", "ankle")
#: Turn of the distal segment about +z (x towards y) for a growing joint angle: hip flexion
#: brings the thigh and dorsiflexion the toes up in front, knee flexion the shank behind.
_SENSE: Mapping[str, float] = {"hip": 1.0, "knee": -1.0, "ankle": 1.0}

#: Joint ranges as (least, greatest) angle, rad, by joint.
Ranges = Mapping[str, tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Crossing:
    """What one joint asks of one arc.

    `rate_m` is the change of length per radian of joint angle: its size is the distance of the
    arc from the joint's axis, it is positive where the arc lengthens as the angle grows.
    `slack_m` is what the arc must be longer than in the standing pose, `stored_m` the whole
    change of length over the range (the loop to be stored at the other end of it), `bend_rad`
    the joint's greatest departure from the standing pose.
    """

    joint: str
    rate_m: float
    slack_m: float
    stored_m: float
    bend_rad: float


def joint_slack(offset_m: float, range_rad: float) -> float:
    """Change of length, m, of a line `offset_m` from a joint's axis that turns by `range_rad`.

    dL = r dtheta, exact for a line held at constant distance from the axis.

    >>> round(1000 * joint_slack(0.060, 63.2 * 3.141592653589793 / 180), 2)
    66.18
    """
    return abs(offset_m) * abs(range_rad)


def joints_between(key_a: SegmentKey, key_b: SegmentKey) -> list[tuple[str, str, bool]]:
    """Joints on the way from segment `key_a` to `key_b`.

    Each is (joint, side, whether `key_b` is the distal one there). Nothing lies between a
    segment and itself, nor between the body and something off it.
    """
    if OFF_BODY in (key_a, key_b):
        return []
    depth_a, depth_b = _CHAIN.index(key_a[0]), _CHAIN.index(key_b[0])
    # The same leg, or trunk and leg, share their way to the trunk; two legs meet only there.
    shared = min(depth_a, depth_b) if key_a[1] == key_b[1] or TRUNK in (key_a, key_b) else 0
    inwards = [(_JOINTS[i - 1], key_a[1], False) for i in range(depth_a, shared, -1)]
    outwards = [(_JOINTS[i - 1], key_b[1], True) for i in range(shared + 1, depth_b + 1)]
    return inwards + outwards


def length_rate(
    proximal: NDArray[np.float64], distal: NDArray[np.float64], axis: NDArray[np.float64]
) -> float:
    """Signed distance, m, of a straight arc from a mediolateral axis, in the sagittal plane.

    `distal` turns with the segment beyond the axis. Positive if the arc lengthens when that
    segment turns from forward (x) towards up (y). 0 for an arc that runs straight sideways.
    """
    dx, dy = float(distal[0] - proximal[0]), float(distal[1] - proximal[1])
    span = hypot(dx, dy)
    if span < 1e-9:
        return 0.0
    arm_x, arm_y = float(distal[0] - axis[0]), float(distal[1] - axis[1])
    return (dy * arm_x - dx * arm_y) / span


def crossings(
    wearer: RoutedWearer,
    end_a: tuple[SegmentKey, NDArray[np.float64]],
    end_b: tuple[SegmentKey, NDArray[np.float64]],
    ranges: Ranges,
) -> list[Crossing]:
    """Every joint crossed by the straight arc between two ends, with its demands.

    An end is the segment it moves with and its standing position (3,). `ranges` is in rad with 0
    the standing pose. The lengthening is taken as linear in the joint angle (r dtheta) up to the
    end of the range at which the arc is longest: on the side of too much for arcs that reach well
    past the joint on both sides, less than 1 mm too little for the short default arc over the
    instep.
    """
    (key_a, point_a), (key_b, point_b) = end_a, end_b
    found: list[Crossing] = []
    for joint, side, b_is_distal in joints_between(key_a, key_b):
        proximal, distal = (point_a, point_b) if b_is_distal else (point_b, point_a)
        rate = _SENSE[joint] * length_rate(proximal, distal, wearer.joint(joint, side))
        least, greatest = ranges[joint]
        found.append(
            Crossing(
                f"{joint}.{side}",
                rate,
                max(0.0, rate * greatest, rate * least),
                joint_slack(rate, greatest - least),
                max(abs(least), abs(greatest)),
            )
        )
    return found
