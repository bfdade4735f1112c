"""Foot clearance in swing: does a part on the leg come nearer the ground than the sole does?

The foot's sole is a straight line from heel to toe tip, the part a box around its place, both
carried by the published swing angles. How far the toe stays off the ground is a matter of
millimetres that joint angles of other people cannot give, so it is taken from measurement: the
smallest gap of mid-swing is set to the published mean, 19 mm (SD 5 mm) at 51 % of swing in ten
able-bodied adults, Moosabhoy and Gard (2006) Gait Posture 24:493-501 (abstract read). What the
model adds is the difference between part and sole. Mid-swing is from a quarter of swing, when the
toe has left the ground well behind, until the foot is level again and the heel goes down to meet
the ground by intent; the model's own smallest gap falls at about 60 % of swing.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.body.gait import DEFAULT_CURVES, minimum_toe_clearance_m, segment_angles, swing_share
from optimizer.body.motion import hip_path
from optimizer.body.wearer import JOINTS, Wearer
from optimizer.study.model import LEG_SEGMENTS, SegmentKey

Array = NDArray[np.float64]
_FROM = 0.25  # of swing; judgement, see the module's docstring


@dataclass(frozen=True, slots=True)
class Clearance:
    """What a placed part leaves of the gap between swinging foot and ground.

    `bare_gap_m` is the published mean of the smallest gap in mid-swing, `gap_m` the same with
    the part, negative if it would touch; `swing_fraction` (0 toe-off, 1 contact) is when.
    `below_sole_m`: how far the part reaches below the sole in standing, to be stepped on.
    """

    bare_gap_m: float
    gap_m: float
    swing_fraction: float
    below_sole_m: float

    @property
    def loss_m(self) -> float:
        """How much of the gap the part takes."""
        return self.bare_gap_m - self.gap_m

    @property
    def unaffected(self) -> bool:
        """Whether the sole, not the part, stays the lowest, standing and in mid-swing."""
        return self.loss_m < 1e-6 and self.below_sole_m < 1e-6


def clearance(
    wearer: Wearer,
    key: SegmentKey,
    position: ArrayLike,
    size_m: tuple[float, float, float],
    faces_sideways: bool,
    *,
    curves: str = DEFAULT_CURVES,
) -> Clearance:
    """Foot clearance with a part whose box centre is at `position`.

    Parameters
    ----------
    key : the leg segment that carries it
    position : (3,) in the standing pose, body frame [m]
    size_m : (length, width, thickness); length along the segment's long axis
    faces_sideways : whether the thickness points sideways (else to the front or back, or above)

    Raises
    ------
    ValueError
        If the segment is not part of a leg.
    """
    segment, side = key
    if segment not in LEG_SEGMENTS:
        raise ValueError(f"a part on {segment!r} does not swing; legs have {LEG_SEGMENTS}")
    fraction = np.linspace(_FROM, 1.0, 301)
    phase = 1.0 - swing_share() * (1.0 - fraction)
    turned = np.array(segment_angles(phase, curves))
    toe_down = slice(0, int(np.argmax(np.append(turned[2], np.inf) >= 0.0)))
    fraction, phase = fraction[toe_down], phase[toe_down]
    angles = dict(zip(LEG_SEGMENTS, turned[:, toe_down], strict=True))
    hip = hip_path(wearer, phase).imag
    foot = wearer.segments["foot", side]
    sole_y = -wearer.leg_length_m
    sole = np.array([[foot.proximal[0], sole_y], [foot.distal[0], sole_y]])
    box = _corners(segment, np.asarray(position, dtype=float), size_m, faces_sideways)
    sole_height = hip + _heights(wearer, ("foot", side), sole, angles).min(axis=0)
    box_height = hip + _heights(wearer, key, box, angles).min(axis=0)
    bare = minimum_toe_clearance_m()
    ground = float(sole_height.min()) - bare
    lowest = np.minimum(sole_height, box_height)
    return Clearance(
        bare_gap_m=bare,
        gap_m=float(lowest.min()) - ground,
        swing_fraction=float(fraction[lowest.argmin()]),
        below_sole_m=max(0.0, sole_y - float(box[:, 1].min())),
    )


def _corners(
    segment: str, centre: Array, size_m: tuple[float, float, float], faces_sideways: bool
) -> Array:
    """The box's corners in the sagittal plane, (4, 2), standing."""
    length, width, thickness = size_m
    across = width if faces_sideways else thickness
    half = (length, across) if segment == "foot" else (across, length)
    return np.array(
        [
            (centre[0] + i * half[0] / 2.0, centre[1] + j * half[1] / 2.0)
            for i, j in product((-1.0, 1.0), repeat=2)
        ]
    )


def _heights(wearer: Wearer, key: SegmentKey, points: Array, angles: dict[str, Array]) -> Array:
    """Height over the hip of points fixed to a segment, (points, instants)."""
    segment, side = key
    own = LEG_SEGMENTS.index(segment)
    ends = [wearer.joint(JOINTS[i], side)[:2] for i in range(own + 1)]
    height = np.zeros(angles["thigh"].size)
    for i in range(own):
        offset = ends[i + 1] - ends[i]
        angle = angles[LEG_SEGMENTS[i]]
        height = height + np.sin(angle) * offset[0] + np.cos(angle) * offset[1]
    local = points - ends[own]
    sin, cos = np.sin(angles[segment]), np.cos(angles[segment])
    return height + np.outer(local[:, 0], sin) + np.outer(local[:, 1], cos)
