"""A line 1 % under its limit meets what is asked in the full simulation; 1 % over it does not."""

from __future__ import annotations

from dataclasses import replace
from math import exp, log, pi

import pytest

from optimizer.assess.assessment import assess
from optimizer.assess.result import Infeasible, Layout, Placement, Ranking, Routing
from optimizer.setting import Setting, build_setting
from optimizer.solve.place import place
from optimizer.study.model import Line, RoutesSpec, Study
from optimizer.study.physics import LinePhysics
from tests.instances import HERE, PLACES, site
from tests.line_limits.devices import (
    CABLE,
    CYLINDERS,
    FEEDS,
    FILLS,
    HOSE,
    SILENCER,
    VALVES,
    VENTS,
    WIRE,
    device,
    longest_by_root,
    option,
    part,
    with_slack,
)

FULL = replace(FILLS, vent_pa=1.15e5, vent_s=0.4)
DEVICES: dict[str, tuple[Study, str]] = {
    "fill": (device("air_tube", FILLS, a=VALVES[:1], b=CYLINDERS[:1]), "fill_time"),
    "fill a stroke": (device("air_tube", FILLS, a=VALVES[1:], b=CYLINDERS[1:]), "fill_time"),
    "vent": (device("air_tube", VENTS, a=CYLINDERS[:1], b=VALVES[:1]), "vent_time"),
    "fill and vent through one valve": (
        device("air_tube", FULL, a=VALVES[1:], b=CYLINDERS[:1]),
        "fill_time",
    ),
    "feed a valve": (device("air_tube", FEEDS, b=VALVES[1:]), "pressure_drop"),
    "feed at a flow": (
        device("air_tube", replace(FEEDS, flow_anr_m3_s=45 / 6e4)),
        "pressure_drop",
    ),
    "wire": (device("wire", WIRE), "voltage_drop"),
    "hose": (device("hose", HOSE), "pressure_drop"),
}


def _limit(made: Study) -> float:
    (limit,) = build_setting(made).line_limits["joins"]
    return limit.max_length_m


def _route(setting: Setting) -> tuple[float, tuple[str, ...]]:
    nodes, arcs = setting.graph.shortest_path(
        int(setting.graph.site_node[0]), int(setting.graph.site_node[1])
    ) or ((), ())
    return float(setting.graph.length_m[list(arcs)].sum()), tuple(
        setting.graph.nodes[n] for n in nodes
    )


@pytest.mark.parametrize("name", DEVICES)
def test_as_built_one_percent_under_meets_it_and_one_percent_over_does_not(name: str) -> None:
    made, kind = DEVICES[name]
    setting = build_setting(made)
    _, nodes = _route(setting)
    limit = _limit(made)
    for share, met in ((0.99, True), (1.0 - 1e-6, True), (1.0 + 1e-4, False), (1.01, False)):
        layout = Layout(
            (Placement("a", "a", "m0", "here"), Placement("b", "b", "m0", "there")),
            (Routing("joins", "o", "a", "b", nodes, share * limit),),
        )
        found = assess(setting, layout)
        (report,) = [m for m in found.limits if m.kind == kind]
        assert report.met == met, (share, report)
        assert found.feasible == met
        assert (report.slack >= 0.0) == met
        assert found.lines[0].max_length_m == pytest.approx(limit)


@pytest.mark.parametrize("name", DEVICES)
def test_placed_one_percent_under_fits_and_one_percent_over_does_not(name: str) -> None:
    made, kind = DEVICES[name]
    run, _ = _route(build_setting(made))
    limit = _limit(made)
    if limit <= 1.02 * run:
        pytest.fail("the device's limit must lie beyond its route for this test to say anything")
    fits = place(with_slack(made, 0.99 * limit - run))
    assert isinstance(fits, Ranking)
    (report,) = [m for m in fits.layouts[0].assessment.limits if m.kind == kind]
    assert 0.0 <= report.slack <= 0.02 * report.limit
    assert isinstance(place(with_slack(made, 1.01 * limit - run)), Infeasible)


@pytest.mark.parametrize("name", [n for n in DEVICES if n != "feed at a flow"])
def test_limit_is_where_the_simulation_run_forwards_reaches_the_budget(name: str) -> None:
    made, _ = DEVICES[name]
    (line,) = made.lines
    a, b = (p.models[0] for p in made.parts)
    expected = longest_by_root(line, line.options[0], a, b)
    assert _limit(made) == pytest.approx(expected, rel=1e-7)


@pytest.mark.parametrize("floor", [0.6, 0.8])
def test_cable_takes_no_route_that_bends_more_than_its_efficiency_allows(floor: float) -> None:
    made = device("pull_cable", replace(CABLE, min_efficiency=floor))
    setting = build_setting(made)
    least = float(setting.graph.shortest_bends()[0, 1])
    mu = -log(floor) / least
    for factor, fits in ((0.99, True), (1.01, False)):
        tried = device("pull_cable", replace(CABLE, min_efficiency=floor, friction_mu=mu * factor))
        found = place(tried)
        assert isinstance(found, Ranking if fits else Infeasible)
        if isinstance(found, Ranking):
            (line,) = found.layouts[0].assessment.lines
            assert line.bend_rad == pytest.approx(least)
            assert line.physics["efficiency_pct"] == pytest.approx(100 * floor**factor)
            (report,) = [m for m in found.layouts[0].assessment.limits if m.kind == "cable_loss"]
            assert report.slack == pytest.approx(100 * (floor**factor - floor))


def test_cable_goes_a_longer_way_round_where_the_shorter_one_bends_too_much() -> None:
    tried = 0
    for place_a in (0, 1, 2, 3, 4):
        made = device("pull_cable", replace(CABLE, friction_mu=0.0))
        made = replace(
            made,
            routes=RoutesSpec(),
            sites=(site("here", PLACES[place_a]), made.sites[1]),
        )
        graph = build_setting(made).graph
        least = float(graph.shortest_bends()[0, 1])
        free = place(made, top=1)
        assert isinstance(free, Ranking)
        usual = free.layouts[0].assessment.lines[0]
        if usual.bend_rad <= 1.001 * least:
            continue
        tried += 1
        budget = (least + usual.bend_rad) / 2
        physics = replace(CABLE, friction_mu=0.1, min_efficiency=exp(-0.1 * budget))
        (line,) = made.lines
        tight = replace(line, options=(replace(line.options[0], physics=physics),))
        found = place(replace(made, lines=(tight,)), top=1)
        assert isinstance(found, Ranking)
        taken = found.layouts[0].assessment.lines[0]
        assert taken.bend_rad <= budget
        assert taken.nodes != usual.nodes
        assert found.layouts[0].assessment.score >= free.layouts[0].assessment.score
    assert tried >= 1


def test_a_typed_length_and_a_budget_hold_together() -> None:
    made, _ = DEVICES["fill"]
    by_physics = _limit(made)
    for typed, expected in ((0.3, 0.3), (5.0, by_physics)):
        (line,) = made.lines
        options = (replace(line.options[0], max_length_m=typed),)
        both = replace(made, lines=(replace(line, options=options),))
        assert _limit(both) == pytest.approx(min(expected, by_physics))


def test_silencer_and_its_tube_are_part_of_the_way_out() -> None:
    made, _ = DEVICES["vent"]
    alone = _limit(made)
    outlet = Line(
        "outlet", "air_tube", "b", "silencer", 0.0,
        (replace(option("o", 2.5, LinePhysics()), max_length_m=0.3),), HERE,
    )  # fmt: skip
    silenced = replace(
        made,
        parts=(*made.parts, part("silencer", (SILENCER,), ("there",))),
        lines=(*made.lines, outlet),
    )
    with_it = build_setting(silenced).line_limits["joins"][0].max_length_m
    assert with_it < alone
    longer = replace(outlet, options=(replace(outlet.options[0], max_length_m=2.0),))
    still = replace(silenced, lines=(made.lines[0], longer))
    assert build_setting(still).line_limits["joins"][0].max_length_m < with_it


def test_reservoir_joined_straight_to_the_valve_runs_down_while_it_fills() -> None:
    made, _ = DEVICES["fill"]
    from optimizer.study.physics import PartPhysics

    feed = Line("feed", "air_tube", "tank", "a", 0.0, (option("o", 4, LinePhysics()),), HERE)
    limits = []
    for volume in (2e-4, 1e-3):
        tank = part("tank", (PartPhysics(reservoir_m3=volume),), ("here",))
        fed = replace(made, parts=(*made.parts, tank), lines=(*made.lines, feed))
        limits.append(build_setting(fed).line_limits["joins"][0].max_length_m)
    assert limits[0] < limits[1] < _limit(made)


def test_bend_of_a_cable_is_judged_where_joints_flex_most() -> None:
    made = device("pull_cable", replace(CABLE, friction_mu=0.03))
    found = place(made)
    assert isinstance(found, Ranking)
    (line,) = found.layouts[0].assessment.lines
    figures = line.physics
    assert figures["efficiency_pct"] <= figures["efficiency_gait_least_pct"] + 1e-9
    assert figures["efficiency_gait_least_pct"] < figures["efficiency_gait_mean_pct"]
    assert line.bend_rad < 4 * pi
