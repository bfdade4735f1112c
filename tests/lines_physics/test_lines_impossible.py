"""Impossible physics is refused in words, with the quantity and the offending element."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from optimizer.lines import air, air_time, cable, hose, stride_air, tube, wire
from optimizer.lines.air_chamber import Chamber
from optimizer.lines.air_limit import max_length_for_time
from optimizer.lines.air_line import (
    AirLine,
    max_length_to_pressure,
    max_length_to_vent,
    time_to_pressure,
)
from optimizer.lines.air_path import Restriction, parallel, series
from optimizer.lines.impossible import ImpossiblePhysics

PATH = Restriction(1e-8, 0.3)
LINE = AirLine(2.5e-3, Chamber(1e-5), 6e5, upstream=(PATH,), exhaust=(PATH,))
NAN = float("nan")


@pytest.mark.parametrize(
    ("quantity", "call"),
    [
        ("target pressure", lambda: time_to_pressure(LINE, 1.0, 6e5)),
        ("target pressure", lambda: time_to_pressure(LINE, 1.0, 7e5)),
        ("target pressure", lambda: max_length_to_pressure(LINE, 7e5, 0.1)),
        ("target pressure of venting", lambda: max_length_to_vent(LINE, 1e5, 0.1)),
        ("target pressure", lambda: time_to_pressure(LINE, 1.0, NAN)),
        ("tube bore", lambda: time_to_pressure(replace(LINE, bore_m=0.0), 1.0, 4e5)),
        ("tube bore", lambda: tube.tube_restriction(-1e-3, 1.0)),
        ("tube bore", lambda: tube.wall_mass_kg_per_m(4e-3, 4e-3, 1200)),
        ("tube length", lambda: tube.tube_restriction(4e-3, -0.1)),
        ("tube model", lambda: tube.tube_restriction(4e-3, 1.0, "guess")),
        ("critical pressure ratio b", lambda: series(Restriction(1e-8, 1.0))),
        ("critical pressure ratio b", lambda: series(PATH, Restriction(1e-8, -0.1))),
        ("critical pressure ratio b", lambda: parallel(PATH, Restriction(1e-8, 1.2))),
        ("critical pressure ratio b", lambda: air.flow_function(0.5, NAN)),
        ("sonic conductance", lambda: series(Restriction(0.0, 0.3))),
        ("sonic conductance", lambda: series(Restriction(np.inf, 0.3))),
        ("pressure ratio", lambda: air.flow_function(1.1, 0.3)),
        ("downstream pressure", lambda: air.flow_anr_m3_s(1e-8, 0.3, 5e5, 6e5)),
        ("flow ANR", lambda: air.downstream_pressure_pa(1e-8, 0.3, 6e5, 7e-3)),
        ("polytropic exponent", lambda: time_to_pressure(replace(LINE, exponent=1.5), 1, 4e5)),
        ("share of the tube", lambda: time_to_pressure(replace(LINE, tube_share=2), 1, 4e5)),
        ("switching time", lambda: time_to_pressure(replace(LINE, switch_s=-1), 1, 4e5)),
        ("reservoir volume", lambda: time_to_pressure(replace(LINE, reservoir_m3=0), 1, 4e5)),
        ("time budget", lambda: max_length_to_pressure(LINE, 4e5, 0.0)),
        ("time budget", lambda: max_length_for_time(lambda x: x, NAN)),
        ("chamber volume", lambda: air_time.fill_time_s(Chamber(0.0), PATH, 6e5, 4e5)),
        ("chamber volume", lambda: air_time.fill_time_s(Chamber(-1e-6), PATH, 6e5, 4e5)),
        (
            "pressure at which the stroke ends",
            lambda: air_time.vent_time_s(Chamber(1e-6, 1e-6, 3e5, 2e5), PATH, 6e5, 4e5),
        ),
        ("cylinder bore", lambda: Chamber.cylinder(0.0, 0.05, 1e-6)),
        ("discharge coefficient", lambda: air.orifice_conductance(1e-6, 1.1)),
        ("efficiency of the pump", lambda: stride_air.pump_power_w(1e-4, 6e5, 0.0)),
        ("discharge pressure", lambda: stride_air.pump_power_w(1e-4, 1e4, 0.3)),
        (
            "process of compression",
            lambda: stride_air.compression_work_j_per_m3(6e5, process="magic"),
        ),  # type: ignore[arg-type]
        ("specific energy", lambda: stride_air.battery_mass_kg(5, 2, 0)),
        ("usable share", lambda: stride_air.battery_mass_kg(5, 2, 150, usable=1.2)),
        ("cadence", lambda: stride_air.pump_flow_m3_s(1e-4, 0.0)),
        ("high pressure", lambda: stride_air.air_per_stride_m3(Chamber(1e-5), 1e5)),
        ("least efficiency of the cable", lambda: cable.bend_budget_rad(1.1, 0.1)),
        ("least efficiency of the cable", lambda: cable.bend_budget_rad(0.0, 0.1)),
        ("friction coefficient", lambda: cable.efficiency(-0.1, 1.0)),
        ("rope construction", lambda: cable.rope_stiffness_n(1e-3, "9x9")),
        ("joint angles", lambda: cable.bend_through_gait_rad(1.0, [0.1, 0.2])),
        ("voltage drop", lambda: wire.max_length_for_drop_m(0.0, 5.0, 0.039)),
        ("current", lambda: wire.loop_drop_v(-1.0, 1.0, 0.039)),
        ("conductor temperature", lambda: wire.resistance_ohm_per_m(0.039, 400.0)),
        ("kind of conductor", lambda: wire.wire_size("0.5", "class9")),
        ("hose bore", lambda: hose.pressure_drop_pa(1e-6, 1.0, 0.0, 1e-3, 1000)),
        ("pressure drop allowed", lambda: hose.max_length_for_drop_m(-1, 1e-6, 4e-3, 1e-3, 1e3)),
    ],
)
def test_impossible_number_is_named(quantity: str, call: Callable[[], object]) -> None:
    with pytest.raises(ImpossiblePhysics) as caught:
        call()
    assert caught.value.quantity.startswith(quantity)
    assert caught.value.expected
    assert isinstance(caught.value, ValueError)
    assert caught.value.quantity in str(caught.value)
    assert "expected" in str(caught.value)


def test_first_offender_of_an_array_is_pointed_at() -> None:
    bores = np.array([2.5e-3, 4e-3, 0.0, -1.0])
    with pytest.raises(ImpossiblePhysics) as caught:
        max_length_to_pressure(replace(LINE, bore_m=bores), 4e5, 0.1)
    assert caught.value.index == (2,)
    assert caught.value.found == 0.0
    with pytest.raises(ImpossiblePhysics) as caught:
        time_to_pressure(LINE, np.ones((2, 1)), np.array([[4e5, 3e5, 9e5]]))
    assert caught.value.index == (0, 2)
    assert caught.value.found == 9e5


def test_plain_numbers_have_no_index() -> None:
    with pytest.raises(ImpossiblePhysics) as caught:
        tube.tube_restriction(0.0, 1.0)
    assert caught.value.index == ()
    assert str(caught.value) == ("tube bore (m): found 0, expected a finite number above 0")
