"""Arcs between anchors: how long, how bent, what slack a joint asks of them.

Two kinds of default arc. A "ring" arc follows the girth both its anchors lie on; its length is
the ellipse's arc, not the chord. An "along" arc runs along the body; where its ends face
different ways it winds around the limb, and its sideways part is lengthened as the arc of a
circle is to its chord.

Bend (total change of direction, rad; Euler-Eytelwein friction grows with it) is an estimate from
the standing geometry, mostly on the side of too much:

- ring: turn of the ellipse's tangent between the two anchors, and on the hips and limbs, where
  lines run along the body, two right angles for leaving that direction and coming back to it;
- along: wrap sin(alpha) + 2 alpha. wrap is the angle between the ways the two ends face and
  alpha the slope of the unrolled arc to the body's long axis: a helix on a cylinder turns by
  wrap sin(alpha), and leaving the long axis and coming back to it turns by alpha twice. Between
  consecutive "along" arcs the turn is at most the sum of their alphas, so this bounds it. An
  arc to the foot counts alpha once, at the ankle; an arc on the foot only its wrap;
- every joint crossed adds its greatest departure from the standing pose;
- NOT counted, so too little: the turn (up to a right angle) from the waist or chest ring into an
  arc along the body, and any turn at a part, whose fitting is taken to face along the line.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import atan2, cos, hypot, pi, sin

import numpy as np
from numpy.typing import NDArray

from optimizer.body.tables import read_table
from optimizer.lines.anchors import Anchor, RoutedWearer, Section
from optimizer.lines.joints import Crossing, Ranges, crossings
from optimizer.study.model import OFF_BODY, SIDES, SegmentKey

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(16)


@dataclass(frozen=True, slots=True)
class Arc:
    """One arc of the graph between two nodes, by name; lengths in m, `length_m` with slack."""

    tail: str
    head: str
    length_m: float
    slack_m: float
    stored_m: float
    bend_rad: float
    flex_rad: float
    """Part of `bend_rad` that comes from joints at their greatest departure from standing."""
    crossed: tuple[Crossing, ...]
    carried_by: SegmentKey | None
    caution: str | None


def ellipse_arc(section: Section, start_rad: float, stop_rad: float) -> float:
    """Length, m, of `section`'s ellipse between two parameter angles.

    Gauss-Legendre quadrature with 16 points; its error on a quarter of an ellipse twice as
    wide as deep is below 1e-10 of the length.
    """
    half = (stop_rad - start_rad) / 2.0
    t = (start_rad + stop_rad) / 2.0 + half * _NODES
    speed = np.hypot(section.front_m * np.sin(t), section.outside_m * np.cos(t))
    return float(abs(half) * (_WEIGHTS @ speed))


def ellipse_turn(section: Section, start_rad: float, stop_rad: float) -> float:
    """Turn, rad, of the tangent of `section`'s ellipse between two parameters in [0, pi]."""

    def normal(t: float) -> float:
        return atan2(sin(t) * section.front_m, cos(t) * section.outside_m)

    return abs(normal(stop_rad) - normal(start_rad))


def winding_arc(a: Anchor, b: Anchor) -> tuple[float, float]:
    """Length, m, and standing bend, rad, of an "along" arc between two default anchors."""
    step = b.position - a.position
    on_foot = a.key[0] == b.key[0] == "foot"
    # The long axis is upright down to the ankle and points forward on the foot.
    axial = abs(float(step[0 if on_foot else 1]))
    chord = hypot(float(step[1 if on_foot else 0]), float(step[2]))
    wrap = abs((a.azimuth_rad or 0.0) - (b.azimuth_rad or 0.0))
    around = chord * (wrap / 2.0) / sin(wrap / 2.0) if wrap > 1e-9 else chord
    slope = atan2(around, axial)
    if on_foot:
        return hypot(axial, around), wrap
    turns = 1.0 if "foot" in (a.key[0], b.key[0]) else 2.0
    return hypot(axial, around), wrap * sin(slope) + turns * slope


def straight_length(a: NDArray[np.float64], b: NDArray[np.float64]) -> float:
    """Straight distance, m, between two points (3,)."""
    return hypot(*(float(v) for v in b - a))


def finish_arc(
    wearer: RoutedWearer,
    tail: Anchor,
    head: Anchor,
    *,
    run_m: float,
    bend_rad: float,
    ranges: Ranges,
    caution: str | None = None,
) -> Arc:
    """An arc of standing length `run_m` and standing bend with what its joints add to both."""
    crossed = crossings(wearer, (tail.key, tail.position), (head.key, head.position), ranges)
    slack = sum(c.slack_m for c in crossed)
    flex = sum(c.bend_rad for c in crossed)
    return Arc(
        tail.name,
        head.name,
        run_m + slack,
        slack,
        sum(c.stored_m for c in crossed),
        bend_rad + flex,
        flex,
        tuple(crossed),
        None,
        caution,
    )


def default_arcs(wearer: RoutedWearer, anchors: Mapping[str, Anchor], ranges: Ranges) -> list[Arc]:
    """The default arcs among `anchors`, in the order of `data/routing_arcs.csv`, left first.

    Arcs of which an end is not among `anchors` (because a study forbids it) are left out.
    """
    made: list[Arc] = []
    for row in read_table("routing_arcs.csv"):
        templates = (row["tail"], row["head"])
        for side in SIDES if any("{side}" in name for name in templates) else ("centre",):
            ends = [anchors.get(name.replace("{side}", side)) for name in templates]
            tail, head = ends
            if tail is None or head is None:
                continue
            if row["kind"] == "ring":
                assert tail.section and tail.section == head.section
                start, stop = tail.angle_rad or 0.0, head.angle_rad or 0.0
                run = ellipse_arc(tail.section, start, stop)
                bend = ellipse_turn(tail.section, start, stop)
                bend += float(row["right_angles"]) * pi / 2.0
            else:
                run, bend = winding_arc(tail, head)
            arc = finish_arc(
                wearer,
                tail,
                head,
                run_m=run,
                bend_rad=bend,
                ranges=ranges,
                caution=row["caution"] or None,
            )
            made.append(arc)
    return made


def leaf_arc(wearer: RoutedWearer, anchor: Anchor, site: Anchor, ranges: Ranges) -> Arc:
    """The arc from an anchor to a site: straight, unbent but for joints between the two.

    Off the body it has no length: all of it is in the added arc that made the anchor.
    """
    off_body = site.key == OFF_BODY
    run = 0.0 if off_body else straight_length(anchor.position, site.position)
    return finish_arc(wearer, anchor, site, run_m=run, bend_rad=0.0, ranges=ranges)
