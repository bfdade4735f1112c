"""The anchors a line may pass: places on girths of the wearer's body, from template tables.

`data/routing_levels.csv` says where a girth lies on its segment (on the trunk at a fraction of
its length or at a measured height above the hips) and which body measures give its section;
`data/routing_anchors.csv` puts named anchors on those girths. A section is an ellipse around the
segment's axis (a circle on thigh and shank), widened by a stated clearance for clothes and half
a line. That it is centred on the axis is an assumption: the knee's axis, for one, lies behind
the middle of the limb.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import atan2, cos, pi, radians, sin
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from optimizer.body.tables import read_table
from optimizer.study.model import LEG_SEGMENTS, SIDES, SegmentKey


class RoutedWearer(Protocol):
    """What routing needs of a wearer; `optimizer.body.wearer.Wearer` has it."""

    def __hash__(self) -> int:
        """Wearers are told apart as objects: what follows from one is kept."""

    @property
    def trunk_length_m(self) -> float:
        """From the hips to the suprasternale, m."""

    def joint(self, joint: str, side: str) -> NDArray[np.float64]:
        """Standing position (3,) of "hip", "knee" or "ankle", m."""

    def position(self, site: Any) -> NDArray[np.float64]:
        """Standing position (3,) of anything with a site's coordinates, m."""

    def breadth(self, name: str) -> float:
        """A body breadth, depth, height or circumference by name, m."""


@dataclass(frozen=True, slots=True)
class Spot:
    """A place on a segment, in the coordinates of a site."""

    segment: str
    side: str
    along: float
    front_m: float
    outside_m: float


@dataclass(frozen=True, slots=True)
class Section:
    """A girth: half axes in front of and outside the segment's axis, clearance included, m."""

    level: str
    segment: str
    along: float
    front_m: float
    outside_m: float


@dataclass(frozen=True, slots=True)
class Anchor:
    """A named place a line may pass.

    `angle_rad` is the ellipse's parameter (0 in front, pi/2 outside, pi behind); `azimuth_rad`
    the direction the skin faces there. Both None for an anchor without a girth (off the body).
    """

    name: str
    key: SegmentKey
    position: NDArray[np.float64]
    section: Section | None = None
    angle_rad: float | None = None
    azimuth_rad: float | None = None


def sections(wearer: RoutedWearer) -> dict[str, Section]:
    """The girths of `wearer` on which the default anchors lie, by level."""

    measure = wearer.breadth
    found: dict[str, Section] = {}
    for row in read_table("routing_levels.csv"):
        clearance_m = float(row["clearance_mm"]) / 1000.0
        size = float(row["front_factor"]) * measure(row["front_measure"])
        if row["shape"] == "circle":
            if row["blend_measure"]:
                size += float(row["blend"]) * (measure(row["blend_measure"]) - size)
            front = outside = size / (2.0 * pi)
        else:
            front = size / 2.0
            outside = float(row["outside_factor"]) * measure(row["outside_measure"]) / 2.0
        if row["height_measure"]:
            along = measure(row["height_measure"]) / wearer.trunk_length_m
        else:
            along = float(row["along"])
        found[row["level"]] = Section(
            row["level"], row["segment"], along, front + clearance_m, outside + clearance_m
        )
    return found


def default_anchors(wearer: RoutedWearer) -> list[Anchor]:
    """The default anchors of `wearer`, in the order of the template table, left before right.

    Templates named "..._{side}" make one anchor per side, mirror images of each other.
    """
    girths = sections(wearer)
    made: list[Anchor] = []
    for row in read_table("routing_anchors.csv"):
        section = girths[row["level"]]
        reach = float(row["reach"])
        degrees = float(row["angle_deg"])
        angle = radians(degrees)
        for side in SIDES if "{side}" in row["anchor"] else ("centre",):
            spot = Spot(
                section.segment,
                side,
                section.along,
                reach * section.front_m * cos(angle),
                # sin(pi) is not quite 0: a midline anchor must lie on the midline
                0.0 if degrees % 180.0 == 0.0 else reach * section.outside_m * sin(angle),
            )
            made.append(
                Anchor(
                    row["anchor"].replace("{side}", side),
                    (section.segment, side if section.segment in LEG_SEGMENTS else "centre"),
                    np.asarray(wearer.position(spot), dtype=float),
                    section,
                    angle,
                    atan2(sin(angle) * section.front_m, cos(angle) * section.outside_m),
                )
            )
    return made
