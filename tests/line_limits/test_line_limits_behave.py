"""Limits move the way physics says they must, and the bundled demos are worth having."""

from __future__ import annotations

import time
from dataclasses import replace
from math import inf, isnan

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.lines.line_limits import LineLimits
from optimizer.study.model import Study
from optimizer.study.physics import LinePhysics, PartPhysics
from tests.line_limits.devices import (
    CABLE,
    CYLINDERS,
    DM3_S_BAR,
    FILLS,
    HOSE,
    SILENCER,
    VALVES,
    VENTS,
    WIRE,
    device,
    option,
    part,
)

KINDS = st.sampled_from(["fill", "vent"])
FEW = settings(max_examples=60, deadline=None)


def length(made: Study) -> float:
    """The longest length of the device's line; -1 where there is none."""
    found = LineLimits(made.parts, made.lines).limits["joins"]
    return found[0].max_length_m if found else -1.0


def tube(kind: str, physics: LinePhysics, valve: PartPhysics, room: PartPhysics) -> Study:
    if kind == "fill":
        return device("air_tube", physics, a=(valve,), b=(room,))
    return device("air_tube", physics, a=(room,), b=(valve,))


def asked(kind: str, seconds: float) -> LinePhysics:
    if kind == "fill":
        return replace(FILLS, response_s=seconds)
    return replace(VENTS, vent_s=seconds)


@FEW
@given(
    kind=KINDS,
    seconds=st.floats(0.05, 0.6),
    more=st.floats(1.001, 2.0),
    room=st.sampled_from(CYLINDERS),
)
def test_more_time_allows_a_longer_tube(
    kind: str, seconds: float, more: float, room: PartPhysics
) -> None:
    short = length(tube(kind, asked(kind, seconds), VALVES[0], room))
    long = length(tube(kind, asked(kind, seconds * more), VALVES[0], room))
    assert long >= short
    assert long > short or short < 0


@FEW
@given(kind=KINDS, c=st.floats(0.08, 0.5), more=st.floats(1.01, 3.0), delay=st.floats(0.0, 0.03))
def test_a_valve_that_passes_more_or_switches_sooner_allows_a_longer_tube(
    kind: str, c: float, more: float, delay: float
) -> None:
    slow = replace(VALVES[0], valve_c=c * DM3_S_BAR, valve_delay_s=delay)
    wide = replace(slow, valve_c=c * more * DM3_S_BAR)
    quick = replace(slow, valve_delay_s=delay / 2)
    base = length(tube(kind, asked(kind, 0.25), slow, CYLINDERS[0]))
    for better in (wide, quick):
        # both lengths are found by root-finding, to the tolerance of `max_length_for_time`
        assert length(tube(kind, asked(kind, 0.25), better, CYLINDERS[0])) >= base - 1e-9


@FEW
@given(kind=KINDS, extra=st.floats(0.0, 2e-5), room=st.sampled_from(CYLINDERS))
def test_more_air_on_the_chamber_allows_less_tube(
    kind: str, extra: float, room: PartPhysics
) -> None:
    physics = asked(kind, 0.3)
    bare = length(tube(kind, replace(physics, extra_m3=0.0), VALVES[1], room))
    laden = length(tube(kind, replace(physics, extra_m3=extra), VALVES[1], room))
    assert laden <= bare


@FEW
@given(amps=st.floats(0.1, 20.0), share=st.floats(0.001, 0.2))
def test_wire_limit_is_ohms_law(amps: float, share: float) -> None:
    made = device("wire", replace(WIRE, peak_current_a=amps, current_a=None, max_drop_share=share))
    ohm_per_m = 33.3e-3 * 1.0786  # AWG 20 of published tables, 33.3 ohm/km, at 40 degC
    assert length(made) == pytest.approx(share * 14.4 / amps / (2 * ohm_per_m), rel=1e-9)


@FEW
@given(flow=st.floats(1e-6, 5e-5), more=st.floats(1.01, 2.0))
def test_more_flow_allows_a_shorter_hose(flow: float, more: float) -> None:
    long = length(device("hose", replace(HOSE, flow_m3_s=flow)))
    short = length(device("hose", replace(HOSE, flow_m3_s=flow * more)))
    assert 0.0 < short < long


@FEW
@given(mu=st.floats(0.01, 0.3), floor=st.floats(0.2, 0.99))
def test_bend_budget_of_a_cable_spends_its_whole_efficiency(mu: float, floor: float) -> None:
    made = device("pull_cable", replace(CABLE, friction_mu=mu, min_efficiency=floor))
    (limit,) = LineLimits(made.parts, made.lines).limits["joins"]
    assert limit.max_length_m == inf
    assert 2.718281828459045 ** (-mu * limit.max_bend_rad) == pytest.approx(floor, rel=1e-9)


def test_models_are_told_apart_only_where_they_differ() -> None:
    same = device("air_tube", FILLS, a=(VALVES[0], VALVES[0]), b=CYLINDERS[:1])
    (only,) = LineLimits(same.parts, same.lines).limits["joins"]
    assert (only.model_a, only.model_b) == (None, None)
    two = device("air_tube", FILLS, a=VALVES, b=CYLINDERS)
    found = {
        (limit.model_a, limit.model_b): limit.max_length_m
        for limit in LineLimits(two.parts, two.lines).limits["joins"]
    }
    assert set(found) <= {(a, b) for a in (0, 1) for b in (0, 1)}
    assert len(found) >= 3
    assert found[1, 0] > found[0, 0]


def test_a_way_that_is_too_slow_at_any_length_is_left_out() -> None:
    made = device("air_tube", replace(FILLS, response_s=0.02), a=VALVES, b=CYLINDERS[:1])
    assert LineLimits(made.parts, made.lines).limits["joins"] == ()
    from optimizer.assess.result import Infeasible
    from optimizer.solve.place import place

    answer = place(made)
    assert isinstance(answer, Infeasible)
    assert answer.obstacles or answer.unplaceable


@given(st.integers(0, 10**6))
@settings(max_examples=25, deadline=None)
def test_working_lines_out_together_or_one_by_one_is_the_same(seed: int) -> None:
    import numpy as np

    rng = np.random.default_rng(seed)
    made = device("air_tube", FILLS, a=VALVES, b=CYLINDERS)
    (line,) = made.lines
    lines = tuple(
        replace(
            line,
            name=f"l{k}",
            options=tuple(
                option(f"o{bore}", bore, replace(FILLS, response_s=float(rng.uniform(0.08, 0.4))))
                for bore in (2.0, 2.5, 4.0)
            ),
        )
        for k in range(3)
    )
    together = LineLimits(made.parts, lines).limits
    for one in lines:
        alone = LineLimits(made.parts, (one,)).limits[one.name]
        assert [(x.option, x.model_a, x.model_b) for x in alone] == [
            (x.option, x.model_a, x.model_b) for x in together[one.name]
        ]
        for x, y in zip(alone, together[one.name], strict=True):
            assert not isnan(x.max_length_m)
            assert x.max_length_m == pytest.approx(y.max_length_m, abs=2e-9)


def test_thirty_lines_of_many_models_take_well_under_a_second() -> None:
    """The target, half a second, is held by the benchmark; this catches a loss of vectorising."""
    valves = tuple(
        replace(VALVES[0], valve_c=(0.1 + 0.05 * k) * DM3_S_BAR, valve_delay_s=0.01)
        for k in range(3)
    )
    made = device("air_tube", FILLS, a=valves, b=CYLINDERS)
    (line,) = made.lines
    lines = tuple(
        replace(line, name=f"l{k}", options=tuple(option(f"o{b}", b, FILLS) for b in (2, 2.5, 4)))
        for k in range(30)
    )
    start = time.process_time()
    limits = LineLimits((*made.parts, part("s", (SILENCER,), ("here",))), lines).limits
    assert time.process_time() - start < 2.0
    assert sum(map(len, limits.values())) > 300
