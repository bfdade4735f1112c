"""The default routing graph: lengths, symmetry, bends, where its mass rides."""

from __future__ import annotations

from math import degrees, pi

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ellipe, ellipeinc

from optimizer.body.wearer import build_wearer
from optimizer.lines.anchors import Section, sections
from optimizer.lines.arcs import ellipse_arc, ellipse_turn
from optimizer.lines.graph import build_graph
from optimizer.study.model import TRUNK, RoutesSpec, WearerSpec

DEFAULT = RoutesSpec()
wearers = st.builds(
    WearerSpec,
    sex=st.sampled_from(["female", "male"]),
    stature_m=st.floats(1.45, 2.0),
    mass_kg=st.floats(45.0, 125.0),
)


def _other(name: str) -> str:
    swap = {"left": "right", "right": "left"}
    return "_".join(swap.get(word, word) for word in name.split("_"))


def _chords(graph):
    return np.linalg.norm(graph.positions[graph.head] - graph.positions[graph.tail], axis=1)


def _route(graph, a, b):
    nodes, arcs = graph.shortest_path(graph.nodes.index(a), graph.nodes.index(b))
    return [graph.nodes[k] for k in nodes], list(arcs)


def test_graph_has_the_named_places_and_none_inside_the_legs(wearer):
    graph = build_graph(wearer, [], DEFAULT)
    names = set(graph.nodes)
    assert len(names) == len(graph.nodes) == graph.n_anchors
    ring = {"front", "front_left", "left", "back_left", "back", "back_right", "right"}
    assert {f"waist_{place}" for place in ring} <= names
    for level in ("thigh", "knee", "shank", "ankle"):
        assert {f"{level}_{aspect}_right" for aspect in ("front", "back", "outer")} <= names
    assert {"foot_top_left", "foot_heel_left", "foot_outer_left"} <= names
    assert not [name for name in names if "inner" in name]
    for name, position, key in zip(graph.nodes, graph.positions, graph.segment_of, strict=True):
        if key != TRUNK:  # no anchor reaches inside its own leg's axis
            assert abs(position[2]) >= wearer.hip_half_width_m - 1e-12, name


def test_anchors_move_with_the_segment_above_the_joint(wearer):
    graph = build_graph(wearer, [], DEFAULT)
    segment = dict(zip(graph.nodes, graph.segment_of, strict=True))
    assert segment["hip_outer_left"] == TRUNK
    assert segment["knee_back_left"] == ("thigh", "left")
    assert segment["ankle_front_right"] == ("shank", "right")
    assert segment["foot_heel_right"] == ("foot", "right")


@given(wearers)
@settings(max_examples=25, deadline=None)
def test_left_and_right_mirror_each_other_exactly(spec):
    graph = build_graph(build_wearer(spec), [], DEFAULT)
    index = {name: i for i, name in enumerate(graph.nodes)}
    for name, i in index.items():
        mirrored = graph.positions[index[_other(name)]] * [1, 1, -1]
        assert np.array_equal(graph.positions[i], mirrored), name
    arcs = {
        frozenset((graph.nodes[t], graph.nodes[h])): i
        for i, (t, h) in enumerate(zip(graph.tail, graph.head, strict=True))
    }
    assert len(arcs) == len(graph.tail)  # one arc between two nodes
    for pair, i in arcs.items():
        j = arcs[frozenset(_other(name) for name in pair)]
        for values in (graph.length_m, graph.slack_m, graph.stored_m, graph.bend_rad):
            assert values[i] == values[j]
        assert graph.cautions[i] == graph.cautions[j]


@given(wearers)
@settings(max_examples=25, deadline=None)
def test_every_arc_is_at_least_as_long_as_the_straight_distance_with_its_slack(spec):
    graph = build_graph(build_wearer(spec), [], DEFAULT)
    run = graph.length_m - graph.slack_m
    assert np.all(run >= _chords(graph) - 1e-12)
    assert np.all(run <= 1.15 * _chords(graph))  # no arc winds more than a quarter turn
    assert np.all(graph.slack_m >= 0.0)
    assert np.all(graph.stored_m >= graph.slack_m - 1e-12)


def test_all_sites_are_joined_and_no_route_beats_the_straight_line(wearer, garment):
    graph = build_graph(wearer, garment, DEFAULT)
    lengths = graph.shortest_lengths()
    xyz = graph.positions[graph.site_node]
    straight = np.linalg.norm(xyz[:, None] - xyz[None], axis=2)
    assert np.all(np.isfinite(lengths))
    assert np.all(lengths >= straight - 1e-12)
    assert np.all(np.diag(lengths) == 0.0)
    np.testing.assert_allclose(lengths, lengths.T)
    triangle = lengths[:, :, None] + lengths[None, :, :]
    assert np.all(lengths[:, None, :] <= triangle + 1e-12)


def test_mirrored_sites_have_mirrored_routes(wearer, garment):
    graph = build_graph(wearer, garment, DEFAULT)
    names = [site.name for site in garment]
    turned = [names.index(_other(name)) for name in names]
    for values in (graph.shortest_lengths(), graph.shortest_bends()):
        np.testing.assert_allclose(values[np.ix_(turned, turned)], values, rtol=1e-12)


@pytest.mark.parametrize(
    ("start", "stop"),
    [
        ("waist_left", "ankle_outer_left"),
        ("waist_back", "foot_heel_right"),
        ("chest_back", "knee_outer_left"),
        ("waist_front", "ankle_front_right"),
    ],
)
def test_route_down_the_body_is_little_longer_than_the_straight_distance(wearer, start, stop):
    graph = build_graph(wearer, [], DEFAULT)
    _, arcs = _route(graph, start, stop)
    a, b = (graph.positions[graph.nodes.index(name)] for name in (start, stop))
    straight = np.linalg.norm(a - b)
    assert straight <= graph.length_m[arcs].sum() <= 1.25 * straight


def test_outer_route_follows_the_outside_of_the_leg(wearer):
    graph = build_graph(wearer, [], DEFAULT)
    nodes, arcs = _route(graph, "waist_left", "ankle_outer_left")
    levels = ("hip", "thigh", "knee", "shank", "ankle")
    assert nodes == ["waist_left", *(f"{level}_outer_left" for level in levels)]
    joints = [joint for arc in arcs for joint in graph.joints[arc]]
    assert joints == ["hip.left", "knee.left"]
    # Bend of this straightest route: the two joints' deepest gait angles (31.5 and 62.4 deg) and
    # a little for the taper. An efficiency of 78.68 % measured on a worn cable device implies
    # 137 deg at a friction coefficient of 0.10 (abstract of Li et al.; the coefficient assumed).
    assert 31.5 + 62.4 < degrees(graph.bend_rad[arcs].sum()) < 150


def test_longer_wearer_has_longer_lines_down_the_leg(garment):
    def reach(stature_m):
        wearer = build_wearer(WearerSpec("female", stature_m, 65.0))
        return build_graph(wearer, garment, DEFAULT).shortest_lengths()[0, -1]

    assert reach(1.5) < reach(1.65) < reach(1.8)


def test_measured_waist_moves_the_waist_ring(wearer):
    wide = build_wearer(
        WearerSpec("male", 1.75, 75.0, measured={"waist_breadth_m": 0.40, "waist_height_m": 0.20})
    )
    graph = build_graph(wide, [], DEFAULT)
    left = graph.positions[graph.nodes.index("waist_left")]
    # half the breadth and 10 mm of clearance out, at the measured height above the hips
    assert left == pytest.approx([0.0, 0.20, -0.21], abs=1e-12)


@given(st.floats(0.05, 0.3), st.floats(0.05, 0.3), st.floats(0, pi), st.floats(0, pi))
def test_ellipse_arc_agrees_with_the_elliptic_integral(front, outside, start, stop):
    section = Section("waist", "trunk", 0.3, front, outside)

    def closed(angle):  # from the end of the axis in front, parameter m of scipy may be negative
        return outside * ellipeinc(angle, 1 - (front / outside) ** 2)

    found = ellipse_arc(section, start, stop)
    # 3.3e-4 is missed half way round an ellipse six times as wide as deep
    assert found == pytest.approx(abs(closed(stop) - closed(start)), rel=4e-4, abs=1e-9)
    if 0.5 < front / outside < 2 and abs(stop - start) <= pi / 2:
        assert found == pytest.approx(abs(closed(stop) - closed(start)), rel=1e-8, abs=1e-9)


def test_waist_ring_adds_up_to_the_ellipse_and_near_the_published_circumference():
    # ANSUR II male means: stature 1.756 m, mass 85.5 kg, waist circumference 941 mm
    wearer = build_wearer(WearerSpec("male", 1.756, 85.5))
    graph = build_graph(wearer, [], DEFAULT)
    ring = [
        i
        for i, (t, h) in enumerate(zip(graph.tail, graph.head, strict=True))
        if graph.nodes[t].startswith("waist") and graph.nodes[h].startswith("waist")
    ]
    section = sections(wearer)["waist"]
    a, b = section.outside_m, section.front_m
    assert len(ring) == 8
    assert graph.length_m[ring].sum() == pytest.approx(4 * a * ellipe(1 - (b / a) ** 2), rel=1e-9)
    assert graph.bend_rad[ring].sum() == pytest.approx(2 * pi)
    skin = graph.length_m[ring].sum() - 2 * pi * 0.010  # 10 mm of clearance all round
    assert skin == pytest.approx(0.941, rel=0.06)


def test_ring_round_the_limb_is_a_quarter_of_the_girth(wearer):
    graph = build_graph(wearer, [], DEFAULT)
    arc = graph.route_arcs  # names of anchors alone are not a route: look the arc up
    names = [graph.arc_name(i) for i in range(len(graph.tail))]
    quarter = names.index("ankle_front_left - ankle_outer_left")
    girth = wearer.breadth("ankle_circumference_m") + 2 * pi * 0.010
    assert graph.length_m[quarter] == pytest.approx(girth / 4, rel=1e-12)
    # a quarter turn round the limb, and two right angles from and to the limb's direction
    assert graph.bend_rad[quarter] == pytest.approx(pi / 2 + pi)
    with pytest.raises(ValueError, match="no site named 'ankle_front_left'"):
        arc(["ankle_front_left", "ankle_outer_left"])


def test_helical_arc_is_the_unrolled_hypotenuse(wearer):
    graph = build_graph(wearer, [], DEFAULT)
    names = [graph.arc_name(i) for i in range(len(graph.tail))]
    i = names.index("shank_outer_left - ankle_front_left")
    a, b = graph.positions[graph.tail[i]], graph.positions[graph.head[i]]
    chord = np.hypot(a[0] - b[0], a[2] - b[2])
    around = chord * (pi / 4) / np.sin(pi / 4)
    down = a[1] - b[1]
    assert graph.length_m[i] == pytest.approx(np.hypot(down, around), rel=1e-12)
    slope = np.arctan2(around, down)
    assert graph.bend_rad[i] == pytest.approx(pi / 2 * np.sin(slope) + 2 * slope, rel=1e-12)


def test_bend_bounds_the_turning_of_a_route_along_the_leg(wearer):
    # Exact turning of the polyline through the outer anchors in the standing pose.
    graph = build_graph(wearer, [], DEFAULT)
    nodes, arcs = _route(graph, "waist_left", "ankle_outer_left")
    xyz = graph.positions[[graph.nodes.index(name) for name in nodes]]
    steps = np.diff(xyz, axis=0)
    steps /= np.linalg.norm(steps, axis=1)[:, None]
    turning = np.arccos(np.clip((steps[1:] * steps[:-1]).sum(axis=1), -1, 1)).sum()
    assert 0.0 < turning <= (graph.bend_rad - graph.flex_rad)[arcs].sum()


def test_turn_of_a_circle_is_the_angle_and_of_half_an_ellipse_pi():
    circle = Section("ankle", "shank", 0.9, 0.05, 0.05)
    flat = Section("waist", "trunk", 0.3, 0.1, 0.2)
    assert ellipse_turn(circle, 0.3, 1.4) == pytest.approx(1.1)
    assert ellipse_turn(flat, 0.0, pi) == pytest.approx(pi)
    assert ellipse_turn(flat, 0.0, pi / 4) < pi / 4  # flat in front


def test_halves_of_an_arc_ride_at_its_quarter_points_with_their_ends(wearer, garment):
    graph = build_graph(wearer, garment, DEFAULT)
    a, b = graph.positions[graph.tail], graph.positions[graph.head]
    np.testing.assert_allclose(graph.half_points[:, 0], a + (b - a) / 4, atol=1e-15)
    np.testing.assert_allclose(graph.half_points[:, 1], a + (b - a) * 0.75, atol=1e-15)
    for keys, t, h in zip(graph.half_keys, graph.tail, graph.head, strict=True):
        assert keys == (graph.segment_of[t], graph.segment_of[h])


def test_each_site_is_a_leaf_on_the_nearest_anchor_of_its_own_segment(wearer, garment):
    graph = build_graph(wearer, garment, DEFAULT)
    assert graph.nodes[graph.n_anchors :] == tuple(site.name for site in garment)
    for place, node in zip(garment, graph.site_node, strict=True):
        (arc,) = np.flatnonzero((graph.tail == node) | (graph.head == node))
        own = [k for k in range(graph.n_anchors) if graph.segment_of[k] == place.key]
        away = np.linalg.norm(graph.positions[own] - wearer.position(place), axis=1)
        assert graph.tail[arc] == own[int(np.argmin(away))]
        assert graph.length_m[arc] == pytest.approx(away.min(), abs=1e-15)
        assert graph.bend_rad[arc] == 0.0


def test_site_hung_across_a_joint_pays_for_crossing_it(wearer, site):
    hung = site("cuff", "shank", "left", 0.1, front_m=0.07, anchor="knee_front_left")
    graph = build_graph(wearer, [hung], DEFAULT)
    assert graph.joint[-1] == "knee.left"
    assert graph.slack_m[-1] > 0.05


def test_site_may_bear_the_name_of_an_anchor(wearer, site):
    same = site("waist_back", "trunk", "centre", 0.3, front_m=-0.15)
    foot = site("heel", "foot", "left", 0.0)
    graph = build_graph(wearer, [same, foot], DEFAULT)
    nodes, arcs = graph.shortest_path(*(int(k) for k in graph.site_node))
    assert graph.route_arcs([graph.nodes[k] for k in nodes]) == arcs


@pytest.mark.parametrize("names", [[], ["belt_left"]])
def test_route_within_one_site_has_no_arcs(wearer, garment, names):
    assert build_graph(wearer, garment, DEFAULT).route_arcs(names) == ()


def test_route_over_a_missing_arc_is_refused(wearer, garment):
    graph = build_graph(wearer, garment, DEFAULT)
    with pytest.raises(ValueError, match="no arc joins 'belt_left' and 'foot_top_left'"):
        graph.route_arcs(["belt_left", "foot_top_left", "heel_left"])


def test_lines_behind_knee_and_ankle_carry_a_caution(wearer):
    graph = build_graph(wearer, [], DEFAULT)
    caution = {graph.arc_name(i): graph.cautions[i] for i in range(len(graph.tail))}
    assert "back of the knee" in caution["knee_back_left - shank_back_left"]
    assert "back of the ankle" in caution["ankle_back_right - foot_heel_right"]
    assert caution["knee_outer_left - shank_outer_left"] is None
