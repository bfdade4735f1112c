"""Joint slack against r*dtheta values, and against the exact geometry of a turning limb."""

from __future__ import annotations

import csv
from math import cos, degrees, hypot, pi, radians, sin
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.body.gait import joint_ranges
from optimizer.lines.graph import build_graph
from optimizer.lines.joints import crossings, joint_slack, joints_between, length_rate
from optimizer.study.model import OFF_BODY, TRUNK, RoutesSpec

CHECKS = Path(__file__).parent.parent / "data" / "check_joint_slack.csv"
ROWS = list(csv.DictReader(CHECKS.open(newline="")))
TURN = {"hip": 1.0, "knee": -1.0, "ankle": 1.0}
PROXIMAL = {"hip": "trunk", "knee": "thigh", "ankle": "shank"}
DISTAL = {"hip": "thigh", "knee": "shank", "ankle": "foot"}


@pytest.mark.parametrize("row", ROWS, ids=[row["id"] for row in ROWS])
def test_slack_is_offset_times_range(row):
    # Values of the source column, which prints four digits.
    change_mm = 1000 * joint_slack(float(row["offset_mm"]) / 1000, radians(float(row["range_deg"])))
    assert change_mm == pytest.approx(float(row["change_mm"]), rel=1e-5, abs=0.006)


def _knee(wearer, front_m, name="gait"):
    knee = wearer.joint("knee", "left")
    above, below = (knee + np.array([front_m, y, 0.0]) for y in (0.1, -0.2))
    ends = (("thigh", "left"), above), (("shank", "left"), below)
    (found,) = crossings(wearer, *ends, joint_ranges(name))
    return found


def test_line_60_mm_in_front_of_the_knee_stores_the_published_change(wearer):
    found = _knee(wearer, 0.06)
    assert found.joint == "knee.left"
    # check value knee_slack_60: 66.18 mm over the whole 63.2 deg of gait
    assert found.stored_m == pytest.approx(0.066182885, rel=1e-6)
    # from the standing pose only the flexion lengthens it: 62.4 deg of these curves
    assert found.slack_m == pytest.approx(0.06 * radians(62.4), rel=1e-9)
    assert degrees(found.bend_rad) == pytest.approx(62.4)


def test_line_behind_the_knee_needs_slack_only_for_hyperextension(wearer):
    front, back = _knee(wearer, 0.06), _knee(wearer, -0.06)
    assert back.slack_m == pytest.approx(0.06 * radians(0.8), rel=1e-9)
    assert back.stored_m == pytest.approx(front.stored_m)


def test_line_through_the_axis_needs_no_slack(wearer):
    assert _knee(wearer, 0.0).slack_m == 0.0


def test_sitting_asks_for_more_than_walking(wearer):
    # knee 0-135 deg assumed: 141 mm at 60 mm
    assert _knee(wearer, 0.06, "sit").slack_m == pytest.approx(0.060 * radians(135), rel=1e-9)


@pytest.mark.parametrize(
    ("arc", "side_of_range"),
    [
        ("hip_back_left - thigh_back_left", ("hip", 1)),
        ("hip_front_left - thigh_front_left", ("hip", 0)),
        ("knee_front_left - shank_front_left", ("knee", 1)),
        ("knee_back_left - shank_back_left", ("knee", 0)),
        ("ankle_back_left - foot_heel_left", ("ankle", 1)),
        ("ankle_front_left - foot_top_left", ("ankle", 0)),
    ],
)
def test_slack_is_taken_from_the_side_of_the_range_that_lengthens_the_line(
    wearer, arc, side_of_range
):
    # back of hip: flexion; front of hip: extension; front of knee: flexion; heel: dorsiflexion;
    # top of foot: plantarflexion
    graph = build_graph(wearer, [], RoutesSpec())
    names = [graph.arc_name(i) for i in range(len(graph.tail))]
    (crossed,) = graph.crossings[names.index(arc)]
    joint, end = side_of_range
    expected = abs(crossed.rate_m) * abs(joint_ranges("gait")[joint][end])
    assert crossed.slack_m == pytest.approx(expected, rel=1e-12)
    assert 0.03 < abs(crossed.rate_m) < 0.14  # a hand's breadth at most from the axis


def _taut(proximal, distal, axis, turn_rad):
    """Sagittal length of the straight line when the distal end has turned about the axis."""
    x, y = distal[0] - axis[0], distal[1] - axis[1]
    x, y = x * cos(turn_rad) - y * sin(turn_rad), x * sin(turn_rad) + y * cos(turn_rad)
    return hypot(axis[0] + x - proximal[0], axis[1] + y - proximal[1])


coordinate = st.floats(-0.3, 0.3)


@given(coordinate, coordinate, coordinate, coordinate)
def test_rate_is_the_derivative_of_the_taut_length(ax, ay, bx, by):
    proximal, distal, axis = np.array([ax, ay, 0.1]), np.array([bx, by, -0.1]), np.zeros(3)
    if hypot(ax - bx, ay - by) < 0.02:
        return
    h = 1e-6
    slope = (_taut(proximal, distal, axis, h) - _taut(proximal, distal, axis, -h)) / (2 * h)
    assert length_rate(proximal, distal, axis) == pytest.approx(slope, abs=1e-7)


@pytest.mark.parametrize("name", ["gait", "sit"])
def test_every_default_crossing_stays_long_enough_over_its_range(wearer, name):
    # Exact rigid-body geometry: the straight line between the turned ends never gets longer
    # than the standing one with the slack.
    graph = build_graph(wearer, [], RoutesSpec(joint_range=name))
    checked = 0
    for arc, crossed in enumerate(graph.crossings):
        for c in crossed:
            joint, side = c.joint.split(".")
            tail, head = graph.tail[arc], graph.head[arc]
            if graph.segment_of[head][0] != DISTAL[joint]:
                tail, head = head, tail
            assert graph.segment_of[tail][0] == PROXIMAL[joint]
            ends = graph.positions[tail], graph.positions[head]
            axis = wearer.joint(joint, side)
            standing = _taut(*ends, axis, 0.0)
            for angle in np.linspace(*joint_ranges(name)[joint], 41):
                taut = _taut(*ends, axis, TURN[joint] * angle)
                # r dtheta is first order: the short arc over the instep misses tenths of a mm
                assert taut <= standing + c.slack_m + 5e-4, graph.arc_name(arc)
            checked += 1
    assert checked == 2 * (7 + 5 + 5)  # hip, knee, ankle of either side


def test_joints_on_the_way_between_segments():
    left, right = ("foot", "left"), ("thigh", "right")
    assert joints_between(TRUNK, ("shank", "left")) == [
        ("hip", "left", True),
        ("knee", "left", True),
    ]
    assert joints_between(("foot", "left"), ("thigh", "left")) == [
        ("ankle", "left", False),
        ("knee", "left", False),
    ]
    assert [(j, s) for j, s, _ in joints_between(left, right)] == [
        ("ankle", "left"),
        ("knee", "left"),
        ("hip", "left"),
        ("hip", "right"),
    ]
    assert joints_between(("shank", "left"), ("shank", "left")) == []
    assert joints_between(OFF_BODY, left) == []


def test_bend_of_a_crossing_is_the_deepest_flexion(wearer):
    graph = build_graph(wearer, [], RoutesSpec(joint_range="sit"))
    at_knee = [i for i, joint in enumerate(graph.joint) if joint == "knee.left"]
    assert at_knee
    assert np.all(graph.flex_rad[at_knee] == pytest.approx(0.75 * pi))
    assert np.all(graph.bend_rad >= graph.flex_rad)
