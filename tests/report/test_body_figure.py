"""What the body figure draws is where it was computed to be."""

from __future__ import annotations

from dataclasses import replace
from math import pi

import numpy as np
import pytest
from svg_reading import Drawing, area, scale_and_origin

from optimizer.assess.result import Layout
from optimizer.report.body_figure import DISC_M, body_picture
from optimizer.report.make import Results
from optimizer.report.outline import height_range, outline, project
from optimizer.report.places import in_view, loads, route_points, views_of
from optimizer.report.style import mark
from optimizer.study.model import OFF_BODY

VIEWS = ("front", "right")


@pytest.fixture(scope="module")
def drawing(results: Results) -> Drawing:
    return Drawing(body_picture(results.setting, results.plan).svg)


def fitted(drawing: Drawing, results: Results, view) -> tuple[float, np.ndarray]:
    sites = [s for s in results.setting.study.sites if s.key != OFF_BODY and in_view(s, view)]
    drawn = np.array([drawing.marker(mark(view, "site", s.name)) for s in sites])
    true = project(np.array([results.setting.wearer.position(s) for s in sites]), view)
    scale, origin = scale_and_origin(drawn, true)
    assert scale > 0
    assert np.abs(drawn - (scale * true + origin)).max() < 1e-3 * scale  # within a millimetre
    return scale, origin


@pytest.mark.parametrize("view", VIEWS)
def test_every_site_stands_at_its_place_in_true_proportion(drawing, results, view):
    fitted(drawing, results, view)


def test_both_views_share_one_scale(drawing, results):
    scales = [fitted(drawing, results, view)[0] for view in VIEWS]
    assert scales[0] == pytest.approx(scales[1], rel=1e-5)


@pytest.mark.parametrize("view", VIEWS)
def test_every_part_is_a_wedge_at_its_site_whose_area_goes_with_its_mass(drawing, results, view):
    scale, origin = fitted(drawing, results, view)
    seen = [load for load in loads(results.setting, results.plan) if in_view(load.site, view)]
    drawn_parts = set(drawing.ids(f"{view}:part:"))
    assert drawn_parts == {mark(view, "part", n) for load in seen for n, _ in load.items}
    for load in seen:
        centre = scale * project(load.position, view)[0] + origin
        whole = np.vstack([drawing.path(mark(view, "part", n)) for n, _ in load.items])
        reach = np.hypot(*(whole - centre).T)
        radius = DISC_M * np.sqrt(load.mass_kg) * scale
        assert reach.max() == pytest.approx(radius, rel=2e-3)
        for name, mass in load.items:
            wedge = drawing.path(mark(view, "part", name))
            assert area(wedge) == pytest.approx(pi * DISC_M**2 * mass * scale**2, rel=1e-2)


@pytest.mark.parametrize("view", VIEWS)
def test_every_line_runs_through_the_nodes_of_its_route(drawing, results, view):
    scale, origin = fitted(drawing, results, view)
    drawn = 0
    for line in results.plan.lines:
        points = route_points(results.setting, line)
        name = mark(view, "line", line.line)
        if not len(points):
            assert name not in drawing.by_id
            continue
        expected = scale * project(points, view) + origin
        assert drawing.path(name) == pytest.approx(expected, abs=2e-3 * scale)
        drawn += 1
    assert drawn >= 3


def test_routes_start_and_end_at_the_sites_of_their_parts(results):
    sites = {s.name: s for s in results.setting.study.sites}
    for line in results.plan.lines:
        points = route_points(results.setting, line)
        if len(points):
            for at, name in ((points[0], line.site_a), (points[-1], line.site_b)):
                assert at == pytest.approx(results.setting.wearer.position(sites[name]))


@pytest.mark.parametrize("view", ["front", "right", "left"])
def test_the_outline_has_the_wearers_height_and_breadths(results, view):
    wearer = results.setting.wearer
    shapes = {shape.name: shape.points for shape in outline(wearer, view)}
    low, high = height_range(wearer)
    every = np.vstack(list(shapes.values()))
    assert every[:, 1].min() == pytest.approx(low, abs=1e-9)
    assert every[:, 1].max() == pytest.approx(high, abs=1e-9)
    assert high - low == pytest.approx(wearer.stature_m)
    trunk = shapes["trunk"]
    at_waist = trunk[np.abs(trunk[:, 1] - wearer.breadth("waist_height")) < 0.004]
    measure = "waist_breadth" if view == "front" else "waist_depth"
    assert np.ptp(at_waist[:, 0]) == pytest.approx(wearer.breadth(measure), rel=0.02)
    knee = wearer.joint("knee", "right" if view != "left" else "left")
    side = "right" if view != "left" else "left"
    assert shapes[f"thigh.{side}"][:, 1].min() == pytest.approx(knee[1], abs=0.01)


def test_from_the_front_the_wearers_right_is_on_the_readers_left(results):
    hip = results.setting.wearer.joint("hip", "right")
    assert project(hip, "front")[0, 0] < 0
    ahead = np.array([0.3, 0.0, 0.0])
    assert project(ahead, "right")[0, 0] > 0 > project(ahead, "left")[0, 0]


def test_a_loaded_left_leg_gets_a_side_view_of_its_own(results):
    held = loads(results.setting, results.plan)
    assert views_of(held) == ("front", "right")
    moved = tuple(
        replace(load, site=replace(load.site, side="left"))
        if load.site.segment == "shank" and load.items[0][0] == "valve"
        else load
        for load in held
    )
    assert views_of(moved) == ("front", "right", "left")


def test_ballast_is_drawn_too(results):
    from optimizer.assess.result import Ballast

    layout = results.plan.layout
    plan = replace(
        results.plan,
        layout=Layout(layout.placements, layout.routings, (Ballast("thigh_right_outer", 0.2),)),
    )
    drawing = Drawing(body_picture(results.setting, plan).svg)
    scale, _ = fitted(drawing, results, "front")
    wedge = drawing.path("front:part:counterweight")
    assert area(wedge) == pytest.approx(pi * DISC_M**2 * 0.2 * scale**2, rel=1e-2)
