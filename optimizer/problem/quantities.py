"""The quantities a layout adds up, and what one kilogram at one place adds to each.

Every limit and every objective of the program is a linear form of these (plus, for a curved
trunk model, one convex function of `mass.trunk`), so adding a limit means naming a quantity,
not touching the formulation.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from optimizer.body.balance import body_com
from optimizer.body.inertia import squared_distance
from optimizer.body.wearer import Wearer
from optimizer.energy.model import EnergyModel
from optimizer.study.model import LEG_SEGMENTS, OFF_BODY, SIDES, TRUNK, SegmentKey

JOINTS: tuple[str, ...] = ("hip", "knee", "ankle")
#: Segments that swing about each joint.
DISTAL: dict[str, tuple[str, ...]] = {
    "hip": ("thigh", "shank", "foot"),
    "knee": ("shank", "foot"),
    "ankle": ("foot",),
}
LEG_KEYS: tuple[SegmentKey, ...] = tuple((seg, side) for side in SIDES for seg in LEG_SEGMENTS)
BODY_KEYS: tuple[SegmentKey, ...] = (TRUNK, *LEG_KEYS)


def key_name(key: SegmentKey) -> str:
    """("thigh", "left") -> "thigh.left"; the trunk and off-body have no side."""
    return key[0] if key in (TRUNK, OFF_BODY) else f"{key[0]}.{key[1]}"


MASS: dict[SegmentKey, str] = {key: f"mass.{key_name(key)}" for key in (*BODY_KEYS, OFF_BODY)}
INERTIA: dict[tuple[str, str], str] = {
    (joint, side): f"inertia.{joint}.{side}" for joint in JOINTS for side in SIDES
}
LEG_W = "leg_w"
TRUNK_FRONT = "trunk_front_kg_m"
TRUNK_SIDE = "trunk_side_kg_m"
BELT = "belt_kg"
#: Moments of all worn mass about the bare body's centre of mass, by direction.
BODY_MOMENT: dict[str, str] = {
    "fore_aft": "body_front_kg_m",
    "vertical": "body_up_kg_m",
    "lateral": "body_side_kg_m",
}
SITES_IN_USE = "sites_in_use"
DONNING = "donning_steps"
DISCOMFORT = "discomfort"
#: Rated power of all parts, what their batteries hold, and what they cost, by the models chosen.
POWER = "power_w"
BATTERY = "battery_j"
PRICE = "price"

NAMES: tuple[str, ...] = (
    *MASS.values(),
    *INERTIA.values(),
    LEG_W,
    TRUNK_FRONT,
    TRUNK_SIDE,
    BELT,
    *BODY_MOMENT.values(),
    SITES_IN_USE,
    DONNING,
    DISCOMFORT,
    POWER,
    BATTERY,
    PRICE,
)
INDEX: dict[str, int] = {name: i for i, name in enumerate(NAMES)}


def point_quantities(
    wearer: Wearer,
    energy: EnergyModel,
    pose: str,
    keys: Sequence[SegmentKey],
    positions: NDArray[np.float64],
) -> NDArray[np.float64]:
    """What one kilogram at each place adds to each quantity, shape (n, len(NAMES)).

    Parameters
    ----------
    keys : the segment each of the n points moves with
    positions : (n, 3) standing positions in the body frame [m]
    pose : "straight" or "swing", for the moments of inertia

    `leg_w` is W per kg; moments of inertia are m^2 (kg m^2 per kg); moments of the trunk load
    are m (kg m per kg) from the mid-hip, forward and to the right; moments of all worn mass are
    from the bare body's centre of mass. What hangs on the belt is for the caller to say.
    """
    positions = np.asarray(positions, dtype=float).reshape(-1, 3)
    out = np.zeros((len(keys), len(NAMES)))
    middle = body_com(wearer)
    for key in (*BODY_KEYS, OFF_BODY):
        rows = np.array([i for i, k in enumerate(keys) if k == key], dtype=int)
        if rows.size == 0:
            continue
        out[rows, INDEX[MASS[key]]] = 1.0
        segment, side = key
        if key != OFF_BODY:
            for axis, name in enumerate(BODY_MOMENT.values()):
                out[rows, INDEX[name]] = positions[rows, axis] - middle[axis]
        if key == TRUNK:
            out[rows, INDEX[TRUNK_FRONT]] = positions[rows, 0]
            out[rows, INDEX[TRUNK_SIDE]] = positions[rows, 2]
        if segment in LEG_SEGMENTS:
            hip = wearer.joint("hip", side)
            distance = np.hypot(positions[rows, 0] - hip[0], positions[rows, 1] - hip[1])
            out[rows, INDEX[LEG_W]] = energy.leg_cost(segment, distance)
            for joint in JOINTS:
                if segment in DISTAL[joint]:
                    out[rows, INDEX[INERTIA[joint, side]]] = squared_distance(
                        wearer, key, positions[rows], joint, pose
                    )
    return out


def own_inertia_quantities(key: SegmentKey, inertia_kg_m2: float) -> NDArray[np.float64]:
    """What a part's own moment of inertia adds, shape (len(NAMES),): all joints above it."""
    out = np.zeros(len(NAMES))
    if key[0] in LEG_SEGMENTS:
        for joint in JOINTS:
            if key[0] in DISTAL[joint]:
                out[INDEX[INERTIA[joint, key[1]]]] = inertia_kg_m2
    return out
