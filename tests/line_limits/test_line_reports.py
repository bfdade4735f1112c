"""What a layout's lines are said to do, against plain arithmetic from the same inputs."""

from __future__ import annotations

from dataclasses import replace
from math import exp, pi

import numpy as np
import pytest

from optimizer.assess.air_budget import air_report
from optimizer.assess.assessment import assess
from optimizer.assess.result import Assessment, Layout, Placement, Ranking, Routing
from optimizer.body.gait import joint_ranges
from optimizer.setting import build_setting
from optimizer.solve.place import place
from optimizer.study.load import bundled, load_study
from optimizer.study.model import Line, RoutesSpec, Study
from optimizer.study.physics import LinePhysics, PartPhysics
from tests.instances import HERE
from tests.line_limits.devices import (
    CABLE,
    CYLINDERS,
    FILLS,
    HOSE,
    VALVES,
    VENTS,
    WIRE,
    device,
    option,
    part,
)

ATMOSPHERE_PA = 101_325.0


def best(made: Study) -> Assessment:
    found = place(made, top=1)
    assert isinstance(found, Ranking)
    return found.layouts[0].assessment


def test_wire_is_reported_by_ohms_law() -> None:
    (line,) = best(device("wire", WIRE)).lines
    ohm = 2 * line.length_m * 33.3e-3 * 1.0786  # AWG 20: 33.3 ohm/km at 20 degC, here at 40
    assert line.physics["drop_v"] == pytest.approx(5.0 * ohm)
    assert line.physics["drop_pct"] == pytest.approx(100 * 5.0 * ohm / 14.4)
    assert line.physics["heat_w"] == pytest.approx(2.0**2 * ohm)
    assert line.physics["drop_margin_pct"] == pytest.approx(100 * (1 - 5.0 * ohm / 0.144))


def test_cable_is_reported_by_the_capstan_equation() -> None:
    (line,) = best(device("pull_cable", replace(CABLE, friction_mu=0.03))).lines
    share = exp(-0.03 * line.bend_rad)
    assert line.physics["efficiency_pct"] == pytest.approx(100 * share)
    assert line.physics["motor_force_n"] == pytest.approx(200 / share)
    assert line.physics["force_loss_n"] == pytest.approx(200 / share - 200)
    assert 0.5 < line.physics["stretch_mm"] < 5
    (unnamed,) = best(device("pull_cable", replace(CABLE, friction_mu=0.03, rope=""))).lines
    assert "stretch_mm" not in unnamed.physics  # of what?
    assert unnamed.physics["efficiency_pct"] == pytest.approx(100 * share)


def test_hose_is_reported_by_blasius() -> None:
    (line,) = best(device("hose", HOSE)).lines
    area, nu = pi / 4 * 2.5e-3**2, 1.002e-3 / 998.2
    speed = 2e-5 / area
    drop = 0.3164 * (speed * 2.5e-3 / nu) ** -0.25 * line.length_m / 2.5e-3 * 998.2 * speed**2 / 2
    assert line.physics["drop_kpa"] == pytest.approx(drop / 1e3, rel=1e-6)


def test_tube_holds_the_air_of_its_bore_and_gives_it_away_each_stride() -> None:
    (line,) = best(device("air_tube", FILLS, a=VALVES[1:], b=CYLINDERS[:1])).lines
    volume = pi / 4 * 2.5e-3**2 * line.length_m
    assert line.physics["dead_volume_cm3"] == pytest.approx(volume * 1e6)
    used = volume * (5e5 - ATMOSPHERE_PA) / 1e5
    assert line.physics["air_per_stride_anr_cm3"] == pytest.approx(used * 1e6)


def _with_pump(*, other_tube: bool) -> Study:
    made = device("air_tube", FILLS, a=VALVES[1:], b=CYLINDERS[:1])
    pump = replace(
        part("pump", (PartPhysics(pump_flow_m3_s=8e-5),), ("here",)).models[0], power_w=40.0
    )
    battery = part("battery", (PartPhysics(battery_j=72 * 3600.0),), ("here",))
    tank = part("tank", (PartPhysics(reservoir_m3=4e-4),), ("here",))
    meter = replace(part("meter", (PartPhysics(),), ("there",)).models[0], power_w=5.0)
    parts = (
        *made.parts, battery, tank,
        replace(part("pump", (PartPhysics(),), ("here",)), models=(pump,)),
        replace(part("meter", (PartPhysics(),), ("there",)), models=(meter,)),
    )  # fmt: skip
    lines = made.lines
    if other_tube:
        sense = Line("sense", "air_tube", "b", "meter", 0.5, (option("o", 4, LinePhysics()),), HERE)
        lines = (*lines, sense)
    return replace(made, parts=parts, lines=lines)


@pytest.mark.parametrize("other_tube", [False, True])
def test_air_bill_adds_up(other_tube: bool) -> None:
    made = _with_pump(other_tube=other_tube)
    found = best(made)
    air = found.air
    assert air is not None
    bores = {"joins": 2.5e-3, "sense": 4e-3}
    dead = sum(pi / 4 * bores[line.line] ** 2 * line.length_m for line in found.lines)
    assert air.dead_volume_m3 == pytest.approx(dead)
    stride = (12e-6 + dead) * (5e5 - ATMOSPHERE_PA) / 1e5  # a chamber of fixed volume
    assert air.air_per_stride_m3 == pytest.approx(stride)
    assert air.pump_needed_m3_s == pytest.approx(stride * air.cadence_per_min / 120)
    assert 90 < air.cadence_per_min < 130
    assert air.dip_pa == pytest.approx(1e5 * stride / 4e-4)
    mean = 40.0 * air.pump_needed_m3_s / 8e-5
    assert air.pump_w == pytest.approx(mean)
    assert air.other_w == pytest.approx(5.0)
    assert air.walking_h == pytest.approx(72.0 / (mean + 5.0))
    battery_kg = next(p.mass_kg for p in found.parts if p.unit == "battery")
    assert air.battery_kg_per_h == pytest.approx(battery_kg * (mean + 5.0) / 72.0)
    assert air_report(build_setting(made), found) == air


def test_a_stroke_takes_the_air_it_makes_room_for() -> None:
    made = device("air_tube", FILLS, a=VALVES[1:], b=CYLINDERS[1:])
    relaxed = replace(FILLS, response_s=0.3)
    (line,) = made.lines
    bought = replace(line.options[0], physics=relaxed)
    made = replace(made, lines=(replace(line, options=(bought,)),))
    air = best(made).air
    assert air is not None
    swept = pi / 4 * 0.02**2 * 0.04
    # the stroke, 40 N + 1.5 N/mm x 40 mm = 100 N on 314 mm2 above the air, is over below 500 kPa
    rest = 14e-6 - swept
    moved = 5e5 * 14e-6 - ATMOSPHERE_PA * rest
    tubes = air.dead_volume_m3 * (5e5 - ATMOSPHERE_PA)
    assert air.air_per_stride_m3 == pytest.approx((moved + tubes) / 1e5)


def test_a_pump_that_gives_too_little_or_the_impossible_is_told() -> None:
    made = _with_pump(other_tube=False)
    weak = tuple(
        replace(p, models=(replace(p.models[0], physics=PartPhysics(pump_flow_m3_s=1e-5)),))
        if p.name == "pump"
        else p
        for p in made.parts
    )
    air = best(replace(made, parts=weak)).air
    assert air is not None and "will fall stride by stride" in air.cautions[0]
    nearly = tuple(
        replace(p, models=(replace(p.models[0], physics=replace(
            p.models[0].physics, pump_flow_m3_s=0.99 * air.pump_needed_m3_s)),))
        if p.name == "pump"
        else p
        for p in made.parts
    )  # fmt: skip
    short = best(replace(made, parts=nearly)).air
    assert short is not None and ", 1.01 times the " in short.cautions[0]
    strong = tuple(
        replace(p, models=(replace(p.models[0], physics=PartPhysics(pump_flow_m3_s=1e-3)),))
        if p.name == "pump"
        else p
        for p in made.parts
    )
    air = best(replace(made, parts=strong)).air
    assert air is not None and air.pump_efficiency is not None and air.pump_efficiency > 1
    assert "flow or power is wrong" in air.cautions[0]


def test_other_tubes_on_the_chamber_are_counted_and_cautioned_of() -> None:
    made = _with_pump(other_tube=True)
    (fill, _) = best(made).lines
    assert fill.physics["fill_all_ms"] > fill.physics["fill_ms"]
    roomy = replace(FILLS, extra_m3=2e-5, response_s=0.4)
    (line, other) = made.lines
    allowed = replace(line, options=(replace(line.options[0], physics=roomy),))
    (fill, _) = best(replace(made, lines=(allowed, other))).lines
    assert "fill_all_ms" not in fill.physics and not fill.cautions
    setting = build_setting(made)
    (limit,) = setting.line_limits["joins"]
    just = replace(FILLS, response_s=fill_ms_at(made) * 1.0001)
    tight = replace(line, options=(replace(line.options[0], physics=just),))
    (fill, _) = best(replace(made, lines=(tight, other))).lines
    assert any("other tubes on b" in caution for caution in fill.cautions)
    assert limit.max_length_m > 0


def fill_ms_at(made: Study) -> float:
    """Filling time of the device's line in seconds, by itself."""
    return best(made).lines[0].physics["fill_ms"] / 1e3


def test_vent_line_reports_its_time_from_chamber_to_valve() -> None:
    found = best(device("air_tube", VENTS, a=CYLINDERS[:1], b=VALVES[:1]))
    (line,) = found.lines
    assert line.physics["vent_ms"] < line.physics["vent_budget_ms"] == pytest.approx(280.0)
    assert found.air is None  # nothing fills the chamber


def test_slack_for_sitting_is_what_the_wider_joint_range_asks_beyond_that_of_gait() -> None:
    made = device("pull_cable", replace(CABLE, friction_mu=0.0))
    found = best(made)
    (line,) = found.lines
    setting = build_setting(made)
    seated = replace(made, routes=replace(made.routes, joint_range="sit"))
    longer = build_setting(seated).graph
    walking = setting.graph
    arcs = walking.route_arcs(line.nodes)
    more = sum(float(longer.length_m[a]) - float(walking.length_m[a]) for a in arcs)
    said = line.physics.get("sitting_extra_mm", 0.0)
    assert said == pytest.approx(1e3 * max(more, 0.0), abs=1e-6)
    assert joint_ranges("sit")["knee"][1] > joint_ranges("gait")["knee"][1]


def test_crossings_are_counted_by_joint() -> None:
    made = device("pull_cable", replace(CABLE, friction_mu=0.0))
    found = best(made)
    assert found.joint_crossings == {"hip.right": 1, "knee.right": 1}
    twice = replace(
        made,
        lines=(
            *made.lines,
            Line("again", "wire", "a", "b", 0.0, (option("o", 1, LinePhysics()),), HERE),
        ),
    )
    assert best(twice).joint_crossings == {"hip.right": 2, "knee.right": 2}


def test_a_loop_that_folds_too_sharply_is_cautioned_of() -> None:
    stiff = LinePhysics(min_bend_radius_m=3.0)
    supple = LinePhysics(min_bend_radius_m=1e-4)
    cautions = []
    for physics in (stiff, supple):
        made = device("pull_cable", replace(CABLE, friction_mu=0.0))
        # in front of or behind the knee, off its axis
        made = replace(made, routes=RoutesSpec(forbid_anchors=("knee_outer_right",)))
        (line,) = made.lines
        tube = replace(line, kind="air_tube", options=(replace(line.options[0], physics=physics),))
        cautions.append(best(replace(made, lines=(tube,))).lines[0].cautions)
    assert any("hang slack" in text and "takes 3000 mm" in text for text in cautions[0])
    assert not any("hang slack" in text for text in cautions[1])


def test_a_wire_hot_even_alone_is_cautioned_of_and_a_warm_one_noted() -> None:
    heavy = replace(WIRE, current_a=20.0, peak_current_a=20.0, max_drop_share=0.5)
    hot = best(device("wire", heavy))
    assert any("free air" in text for text in hot.lines[0].cautions)
    warm = best(device("wire", replace(WIRE, current_a=3.0)))
    assert not warm.lines[0].cautions
    assert any("joins (3 A RMS in AWG 20" in note for note in warm.warnings)


def test_layout_that_breaks_a_budget_is_told_in_its_own_unit() -> None:
    made = device("wire", WIRE)
    setting = build_setting(made)
    nodes = best(made).lines[0].nodes
    layout = Layout(
        (Placement("a", "a", "m0", "here"), Placement("b", "b", "m0", "there")),
        (Routing("joins", "o", "a", "b", nodes, 1.0),),
    )
    found = assess(setting, layout)
    (broken,) = [limit for limit in found.limits if not limit.met]
    assert (broken.kind, broken.unit) == ("voltage_drop", "%")
    assert broken.label == "voltage lost in joins"
    assert broken.value == pytest.approx(100 * 5 * 2 * 33.3e-3 * 1.0786 / 14.4)
    assert broken.limit == pytest.approx(1.0)


def test_a_built_line_that_does_not_reach_is_told_and_no_lighter_layout() -> None:
    made = device("pull_cable", replace(CABLE, friction_mu=0.0))
    # in front of or behind the knee, off its axis
    made = replace(made, routes=RoutesSpec(forbid_anchors=("knee_outer_right",)))
    setting = build_setting(made)
    (planned,) = best(made).lines
    a, b = (np.array(setting.wearer.position(place)) for place in made.sites)
    straight = float(np.linalg.norm(a - b))
    route = planned.length_m - planned.slack_m
    assert straight < route < planned.length_m - 2e-3

    def built(length_m: float) -> tuple[str, bool]:
        layout = Layout(
            (Placement("a", "a", "m0", "here"), Placement("b", "b", "m0", "there")),
            (Routing("joins", "o", "a", "b", planned.nodes, length_m),),
        )
        found = assess(setting, layout)
        kept = [limit for limit in found.limits if limit.kind == "line_reach"]
        assert [limit.met for limit in kept] == [found.feasible]
        return " ".join(found.lines[0].cautions[:1]), found.feasible

    assert built(planned.length_m) == (" ".join(planned.cautions[:1]), True)
    needs = f"they ask for {planned.slack_m * 1e3:.0f} mm of slack"
    assert needs in built(route + 0.5 * planned.slack_m)[0]
    missing = f"built {(planned.length_m - straight) * 1e3 - 1:.0f} mm too short for its route"
    assert missing in built(straight + 1e-3)[0] and built(straight + 1e-3)[1]
    assert not built(straight - 1e-3)[1]
    assert not built(1e-3)[1]


def test_the_demo_tells_its_air_and_keeps_its_pump_below_its_flow() -> None:
    found = best(load_study(bundled("studies") / "air_ankle.toml"))
    air = found.air
    assert air is not None and air.pump_rated_m3_s is not None
    assert air.pump_needed_m3_s < air.pump_rated_m3_s
    assert air.pump_efficiency is not None and air.pump_efficiency < 0.5
    kinds = {limit.kind for limit in found.limits}
    assert {"fill_time", "vent_time", "pressure_drop", "voltage_drop"} <= kinds
    labels = {limit.label for limit in found.limits}
    assert "fill time of fill_tube" in labels
    # common practice, no source: pressure in roughly 130 ms, vented in roughly 350 ms
    fill = next(line for line in found.lines if line.line == "fill_tube")
    vent = next(line for line in found.lines if line.line == "vent_tube")
    assert fill.physics["fill_ms"] == pytest.approx(130, rel=0.25)
    assert vent.physics["vent_ms"] == pytest.approx(350, rel=0.25)
