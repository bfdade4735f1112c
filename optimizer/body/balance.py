"""Centre of mass of the whole standing wearer, and how far a worn load shifts it.

Trunk and legs come from the wearer's own segments. Whatever mass is left is head and arms, put
where de Leva (1996) has them: head from the vertex down, arms hanging beside the trunk from the
height of the shoulder joints, all in the plane of the hips (assumptions of the standing pose).
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.body.anthropometry import deleva_values
from optimizer.body.wearer import Wearer

Array = NDArray[np.float64]


@cache
def _head_and_arms(sex: str) -> tuple[float, float, float]:
    """Head: share of the rest's mass and depth below the vertex; arms: height over the hips.

    Depth and height are fractions of stature.
    """
    table = deleva_values(sex)
    stature = table["whole_body", "reference_stature"]
    head = "head:VERT-MIDG"
    depth = table[head, "com_from_proximal"] * table[head, "length"]
    reached, moment, arms = table["trunk:MIDS-MIDH", "length"], 0.0, 0.0
    for segment in ("upper_arm:SJC-EJC", "forearm:EJC-WJC", "hand:WJC-MET3"):
        length, mass = table[segment, "length"], 2.0 * table[segment, "mass_fraction"]
        moment += mass * (reached - table[segment, "com_from_proximal"] * length)
        arms += mass
        reached -= length
    mass = table[head, "mass_fraction"]
    return mass / (mass + arms), depth / stature, moment / arms / stature


def body_com(wearer: Wearer) -> Array:
    """Centre of mass of the bare standing wearer, (3,) in the body frame [m]."""
    moment = sum((s.mass_kg * s.com for s in wearer.segments.values()), np.zeros(3))
    rest = wearer.mass_kg - sum(s.mass_kg for s in wearer.segments.values())
    share, depth, arms = _head_and_arms(wearer.spec.sex)
    head_m = wearer.stature_m * (1.0 - depth) - wearer.leg_length_m
    height = share * head_m + (1.0 - share) * arms * wearer.stature_m
    return (moment + rest * np.array([0.0, height, 0.0])) / wearer.mass_kg


def com_shift(
    wearer: Wearer, masses_kg: ArrayLike, positions: ArrayLike, bare: Array | None = None
) -> Array:
    """How far worn masses move the standing body's centre of mass, (3,) [m].

    `masses_kg` (n,), `positions` (n, 3) in the body frame [m]; `bare` is `body_com` of the wearer
    where it is known.
    """
    masses = np.asarray(masses_kg, dtype=float).reshape(-1)
    places = np.asarray(positions, dtype=float).reshape(-1, 3)
    from_bare = places - (body_com(wearer) if bare is None else bare)
    shift = masses @ from_bare / (wearer.mass_kg + masses.sum())
    return np.asarray(shift, dtype=float)
