"""The wearer's outline, segment by segment, from the front and from either side.

Heights, breadths, depths and girths are the wearer's own (`Wearer.girths`, measured or from
ANSUR II); the limbs' sections are taken as circles. Only head, neck and the shape of the foot are
drawn freely, to the heights of Drillis and Contini (1966); arms are left out, for they would hide
the belt. The outline is a backdrop: no number of a layout depends on it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from optimizer.body.tables import read_table
from optimizer.body.wearer import OUTWARD, Wearer
from optimizer.energy.pchip import Pchip
from optimizer.study.model import SIDES, Site

View = Literal["front", "right", "left"]
Array = NDArray[np.float64]
#: Gap kept between the legs, and at the joints so that segments stay apart for the eye [m].
GAP_M = 0.004
_STEPS = 24
_HEAD_BREADTH = 0.68  # of its height; drawn freely
_NECK_BREADTH = 0.5  # of the head's breadth; drawn freely
_TOE_HEIGHT_M = 0.028  # drawn freely


@dataclass(frozen=True, slots=True)
class Shape:
    """A closed outline of one segment, (n, 2) [m]: across the page, up."""

    name: str
    points: Array


def project(points: Array, view: View) -> Array:
    """Body-frame points (n, 3) as seen: across the page to the reader's right, and up [m].

    From the front the wearer's right is on the reader's left; from the right the wearer walks to
    the reader's right, from the left to the left.
    """
    x, y, z = np.asarray(points, dtype=float).reshape(-1, 3).T
    across = {"front": -z, "right": x, "left": -x}[view]
    return np.column_stack([across, y])


def is_far(site: Site, view: View) -> bool:
    """Whether a site lies on the side of its segment turned away from the reader."""
    if view == "front":
        return site.segment != "foot" and site.front_m < 0.0
    outward = OUTWARD[site.side] * site.outside_m
    return outward < 0.0 if view == "right" else outward > 0.0


def outline(wearer: Wearer, view: View) -> tuple[Shape, ...]:
    """The segments' outlines as seen, those behind first; a side view shows the near leg only."""
    shapes: list[Shape] = []
    sides = SIDES if view == "front" else (view,)
    for side in sides:
        shapes += _leg(wearer, side, view)
    shapes += _trunk(wearer, view)
    return tuple(shapes)


def height_range(wearer: Wearer) -> tuple[float, float]:
    """Sole and crown above the hips [m]."""
    return -wearer.leg_length_m, wearer.stature_m - wearer.leg_length_m


def _fraction(name: str) -> float:
    rows = read_table("anthropometry_lengths.csv")
    return next(
        float(r["value"])
        for r in rows
        if r["source_key"] == "drillis_contini1966" and r["quantity"] == name
    )


def _smooth(levels: Sequence[tuple[float, ...]]) -> Array:
    """Rows (height, edges...) made dense between the given heights, without overshoot.

    Of rows at (nearly) one height, as unusual measurements can make them, the first counts.
    """
    rows: list[tuple[float, ...]] = []
    for row in sorted(levels):
        if not rows or row[0] > rows[-1][0] + 1e-3:
            rows.append(row)
    if len(rows) < 2:
        rows.append((rows[0][0] + 1e-3, *rows[0][1:]))
    table = np.array(rows)
    heights = np.linspace(table[0, 0], table[-1, 0], _STEPS * (len(rows) - 1) + 1)
    edges = [Pchip(table[:, 0].tolist(), column.tolist())(heights) for column in table[:, 1:].T]
    return np.column_stack([heights, *edges])


def _closed(rows: Array) -> Array:
    """Rows of (height, one edge, other edge) as a closed outline."""
    one = np.column_stack([rows[:, 1], rows[:, 0]])
    other = np.column_stack([rows[::-1, 2], rows[::-1, 0]])
    return np.vstack([one, other])


def _trunk(wearer: Wearer, view: View) -> list[Shape]:
    b, h = wearer.breadth, wearer.stature_m
    leg = wearer.leg_length_m
    shoulder, chin = _fraction("shoulder_height") * h - leg, _fraction("chin_height") * h - leg
    top = h - leg
    trunk = wearer.trunk_length_m
    head = 0.5 * _HEAD_BREADTH * (top - chin)
    neck = _NECK_BREADTH * head
    if view == "front":
        half = [
            (GAP_M, 0.96 * b("hip_width") / 2),
            (0.05 * trunk, b("hip_width") / 2),
            (b("waist_height"), b("waist_breadth") / 2),
            (0.70 * trunk, b("chest_breadth") / 2),
            (shoulder - 0.09, 1.06 * b("chest_breadth") / 2),
            (shoulder - 0.03, b("shoulder_breadth") / 2),
        ]
    else:
        half = [
            (GAP_M, 0.9 * b("buttock_depth") / 2),
            (0.05 * trunk, b("buttock_depth") / 2),
            (b("waist_height"), b("waist_depth") / 2),
            (0.70 * trunk, b("chest_depth") / 2),
            (shoulder - 0.03, 0.75 * b("chest_depth") / 2),
        ]
    half += [
        (shoulder + 0.012, 0.8 * half[-1][1]),
        (0.4 * shoulder + 0.6 * chin, 1.15 * neck),
        (chin + 0.2 * (top - chin), neck),
    ]
    rows = _smooth([(y, -w, w) for y, w in half])
    angle = np.linspace(0.0, 2 * pi, 73)[:-1]
    oval = np.column_stack(
        [head * np.cos(angle), (top + chin) / 2 + (top - chin) / 2 * np.sin(angle)]
    )
    return [Shape("trunk", _closed(rows)), Shape("head", oval)]


def _leg(wearer: Wearer, side: str, view: View) -> list[Shape]:
    b = wearer.breadth
    hip, knee, ankle = (wearer.joint(j, side) for j in ("hip", "knee", "ankle"))
    thigh_r = b("thigh_circumference") / (2 * pi)
    knee_r = b("lower_thigh_circumference") / (2 * pi)
    calf_r = b("calf_circumference") / (2 * pi)
    ankle_r = b("ankle_circumference") / (2 * pi)
    thigh_m, shank_m = hip[1] - knee[1], knee[1] - ankle[1]
    centre = float(project(hip, view)[0, 0])
    outward = float(np.sign(-OUTWARD[side])) if view == "front" else 1.0

    def edges(radius: float, outer: float | None = None) -> tuple[float, float]:
        """Inner and outer edge at a radius; the inner one stays on its side of the midline."""
        if view != "front":
            return centre - radius, centre + radius
        inner = max(abs(centre) - radius, GAP_M)
        return outward * inner, outward * (abs(centre) + radius if outer is None else outer)

    top_r = b("buttock_depth") / 2 if view != "front" else thigh_r
    outer_top = 0.96 * b("hip_width") / 2
    thigh = [
        (hip[1] - GAP_M, *edges(0.9 * top_r, outer_top)),
        (hip[1] - 0.2 * thigh_m, *edges(thigh_r)),
        (hip[1] - 0.93 * thigh_m, *edges(knee_r)),
        (knee[1] + GAP_M, *edges(0.97 * knee_r)),
    ]
    shank = [
        (knee[1] - GAP_M, *edges(0.95 * knee_r)),
        (knee[1] - 0.3 * shank_m, *edges(calf_r)),
        (knee[1] - 0.93 * shank_m, *edges(ankle_r)),
        (ankle[1], *edges(ankle_r)),
    ]
    return [
        Shape(f"thigh.{side}", _closed(_smooth(thigh))),
        Shape(f"shank.{side}", _closed(_smooth(shank))),
        Shape(f"foot.{side}", _foot(wearer, side, view, ankle_r)),
    ]


def _foot(wearer: Wearer, side: str, view: View, ankle_r: float) -> Array:
    ankle, segment = wearer.joint("ankle", side), wearer.segments["foot", side]
    sole = -wearer.leg_length_m
    upper = ankle[1] - GAP_M
    if view == "front":
        centre = float(project(ankle, view)[0, 0])
        half = wearer.breadth("foot_breadth") / 2
        rows = [
            (sole, centre - half, centre + half),
            (sole + 0.4 * (upper - sole), centre - half, centre + half),
            (upper, centre - ankle_r, centre + ankle_r),
        ]
        return _closed(_smooth(rows))
    heel, toe = segment.proximal[0], segment.distal[0]
    forward = [
        (heel, sole + 0.012),
        (heel + 0.012, sole),
        (toe - 0.02, sole),
        (toe, sole + 0.45 * _TOE_HEIGHT_M),
        (toe - 0.012, sole + _TOE_HEIGHT_M),
        (toe - 0.3 * (toe - heel), sole + 1.5 * _TOE_HEIGHT_M),
        (ankle[0] + ankle_r, upper),
        (ankle[0] - ankle_r, upper),
        (heel - 0.002, sole + 0.45 * (upper - sole)),
    ]
    points = np.array(forward)
    return points * np.array([1.0 if view == "right" else -1.0, 1.0])
