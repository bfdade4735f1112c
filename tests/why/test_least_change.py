"""Just enough fits, a hundredth less does not: judged by the enumeration of all layouts."""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimizer.assess.assessment import assess
from optimizer.setting import build_setting
from optimizer.solve.conflicts import Oracle, find_clash
from optimizer.solve.least_change import least_change
from optimizer.study.model import LimitSpec
from optimizer.study.relax import LINE_LIMITS, budget, with_value, without
from tests.depth import some
from tests.instances import HERE
from tests.solve.small import line, part, small
from tests.why.impossible import IMPOSSIBLE, fits, fits_with_only, has_layout

#: Nothing but rounding may lie between a value and the hundredth beyond it.
HUNDREDTH = 0.01


def tighter_by_a_hundredth(limit, value, study, options):
    """The value a hundredth short of what is needed, and of a count one less."""
    if limit.whole:
        return value - 1.0
    before = limit.value
    if limit.kind in LINE_LIMITS:
        own = next(ln for ln in study.lines if ln.name == limit.subject)
        before = max(
            v for o in own.options if (v := budget(o, limit.kind)) is not None and o.name in options
        )
    # as far as the limit as written, never beyond: that much is known not to fit
    if limit.falls:
        return min(value * (1.0 + HUNDREDTH), before)
    return max(value * (1.0 - HUNDREDTH), before)


@pytest.mark.parametrize("number", some(range(16), 9))
def test_the_least_change_of_each_limit_is_just_enough(number):
    setting = IMPOSSIBLE[number]
    oracle = Oracle(setting)
    clash = find_clash(oracle)
    assert clash is not None
    for m in clash.limits:
        limit, study = oracle.limits[m], setting.study
        change = least_change(oracle, m)
        if change is None:
            assert not fits(setting, without(study, [limit]))
        elif change.typed is None:
            assert fits(setting, without(study, [limit]))
        else:
            assert change.value is not None
            assert fits(setting, with_value(study, limit, change.typed, change.options))
            less = tighter_by_a_hundredth(limit, change.value, study, change.options)
            assert not fits(setting, with_value(study, limit, less, change.options))


@pytest.mark.parametrize("number", range(6))
def test_within_a_clash_each_least_change_settles_the_clash(number):
    setting = IMPOSSIBLE[number]
    oracle = Oracle(setting)
    clash = find_clash(oracle)
    assert clash is not None
    rest = [limit for m, limit in enumerate(oracle.limits) if m not in clash.limits]
    for m in clash.limits:
        limit = oracle.limits[m]
        change = least_change(oracle, m, oracle.all - frozenset(clash.limits))
        assert change is not None  # any member less, and the others can hold
        if change.typed is None:
            continue
        changed = with_value(setting.study, limit, change.typed, change.options)
        assert fits(setting, without(changed, rest))
        others = [o for i, o in enumerate(oracle.limits) if i in clash.limits and i != m]
        assert fits_with_only(setting, others)


def one_limit(setting):
    oracle = Oracle(setting)
    clash = find_clash(oracle)
    assert clash is not None and len(clash.limits) == 1
    change = least_change(oracle, clash.limits[0])
    assert change is not None
    return oracle.limits[clash.limits[0]], change


def test_an_offset_needs_just_what_the_least_offset_layout_has():
    study = small(
        part("pump", 0.4, "belt", "back"),
        part("pack", 0.5, "back"),
        limits=(LimitSpec("trunk_offset", "fore_aft", 0.01, HERE),),
    )
    limit, change = one_limit(build_setting(study))
    assert limit.kind == "trunk_offset"
    # pump at the belt, 50 mm in front, pack at the back, 110 mm behind
    assert change.value == pytest.approx(abs(0.4 * 0.05 - 0.5 * 0.11) / 0.9, rel=1e-5)
    assert change.typed is not None and change.typed >= change.value
    for value, expected in ((change.typed, True), (change.value * 0.99, False)):
        spec = replace(study.limits[0], value=value)
        assert has_layout(replace(study, limits=(spec,))) is expected


def test_a_walking_time_is_lowered_to_what_the_largest_battery_lasts():
    from optimizer.study.physics import PartPhysics

    pack = part("pack", 0.5, "back")
    held = replace(pack.models[0], physics=PartPhysics(battery_j=72 * 3600.0))
    pump = part("pump", 0.4, "belt", power_w=24.0)
    study = small(
        replace(pack, models=(held,)),
        pump,
        limits=(LimitSpec("walking_time", "", 4.0 * 3600.0, HERE),),
    )
    limit, change = one_limit(build_setting(study))
    assert limit.falls
    assert change.value == pytest.approx(3.0 * 3600.0, rel=1e-5)
    assert change.typed is not None and change.typed <= change.value


def test_a_contact_pressure_counts_the_holder():
    study = small(
        part("pump", 0.4, "belt"),
        sites={"belt": {"contact_m2": 2e-3, "holder_mass_kg": 0.1}},
        limits=(LimitSpec("contact_sustained", "", 1000.0, HERE),),
    )
    limit, change = one_limit(build_setting(study))
    assert limit.kind == "contact_sustained"
    assert change.value == pytest.approx(0.5 * 9.80665 / 2e-3, rel=1e-5)
    assert has_layout(with_value(study, limit, change.typed))


def test_protrusion_and_keep_out_are_limits_like_others():
    thick = small(
        part("pump", 0.4, "belt", size_m=(0.1, 0.05, 0.06)),
        limits=(LimitSpec("protrusion", "", 0.04, HERE),),
    )
    limit, change = one_limit(build_setting(thick))
    assert (limit.kind, change.value) == ("protrusion", pytest.approx(0.06))
    bone = small(
        part("pump", 0.4, "shank_right"),
        sites={"shank_right": {"tags": frozenset({"bone"})}},
        limits=(LimitSpec("keep_out", "", 1.0, HERE),),
    )
    limit, change = one_limit(build_setting(bone))
    assert limit.kind == "keep_out" and change.value is None and change.typed is None


def test_a_line_s_least_length_is_that_of_its_shortest_route():
    study = small(
        part("pump", 0.4, "belt"), part("valve", 0.05, "foot_right"),
        lines=(line("tube", "pump", "valve", longest=0.5),),
    )  # fmt: skip
    setting = build_setting(study)
    limit, change = one_limit(setting)
    names = [s.name for s in study.sites]
    shortest = setting.graph.shortest_lengths()[names.index("belt"), names.index("foot_right")]
    assert limit.kind == "line_length" and change.options == ("o",)
    assert change.value == pytest.approx(float(shortest))


def test_the_layout_told_with_a_change_fits_the_changed_study():
    for setting in IMPOSSIBLE.first(4):
        oracle = Oracle(setting)
        clash = find_clash(oracle)
        assert clash is not None
        for m in clash.limits:
            change = least_change(oracle, m)
            if change is None:
                continue
            limit = oracle.limits[m]
            changed = (
                without(setting.study, [limit])
                if change.typed is None
                else with_value(setting.study, limit, change.typed, change.options)
            )
            assert assess(replace(setting, study=changed), change.layout).feasible
