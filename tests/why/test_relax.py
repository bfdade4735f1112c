"""Studies with one limit changed."""

from __future__ import annotations

from dataclasses import replace
from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.study.load import bundled, load_study
from optimizer.study.model import LimitSpec, PairRule
from optimizer.study.relax import (
    StudyLimit,
    budget,
    eased,
    rounded_up,
    study_limits,
    with_value,
    without,
)
from tests.instances import HERE, random_study
from tests.solve.small import line, part, small


def every_kind():
    """A study with a limit of every family."""
    return small(
        part("pump", 0.4, "belt", needs=frozenset({"cool", "dry"})),
        part("valve", 0.05, "thigh_right"),
        sites={"belt": {"volume_m3": 3e-4, "max_mass_kg": 0.5, "max_thickness_m": 0.03}},
        lines=(line("tube", "pump", "valve", longest=0.8),),
        limits=(
            LimitSpec("device_mass", "", 1.0, HERE),
            LimitSpec("keep_out", "", 1.0, HERE),
            LimitSpec("belt_soft", "", 1.0, HERE),
            LimitSpec("sites_in_use", "", 3.0, HERE),
        ),
        rules=(
            PairRule("apart", "pump", "valve", 0.2, HERE),
            PairRule("same_place", "pump", "valve", 0.0, HERE),
        ),
    )


def test_all_that_keeps_layouts_out_is_a_limit_and_what_only_costs_comfort_is_not():
    kinds = [limit.kind for limit in study_limits(every_kind())]
    assert sorted(kinds) == sorted(
        ["device_mass", "keep_out", "sites_in_use", "apart", "same_place", "line_length",
         "site_volume", "site_mass", "site_thickness", "needs", "needs"]
    )  # fmt: skip


def test_the_designer_s_own_limits_come_first_and_needs_last():
    families = [limit.family for limit in study_limits(every_kind())]
    assert families[:5] == ["limit"] * 3 + ["rule"] * 2
    assert families[-2:] == ["needs", "needs"]


def test_a_study_without_all_its_limits_has_none_left_but_soft_ones():
    study = every_kind()
    bare = without(study, study_limits(study))
    assert study_limits(bare) == ()
    assert [spec.kind for spec in bare.limits] == ["belt_soft"]
    assert bare.rules == () and all(not m.needs for p in bare.parts for m in p.models)
    assert all(s.volume_m3 == s.max_mass_kg == s.max_thickness_m == inf for s in bare.sites)


@pytest.mark.parametrize("limit", study_limits(every_kind()), ids=lambda m: m.kind)
def test_taking_one_limit_away_leaves_all_others(limit):
    study = every_kind()
    left = study_limits(without(study, [limit]))
    others = [other for other in study_limits(study) if other != limit]
    # entries after the one taken move up, so places are not compared
    plain = [replace(other, number=min(other.number, 0)) for other in others]
    assert [replace(other, number=min(other.number, 0)) for other in left] == plain


@pytest.mark.parametrize(
    "limit", [m for m in study_limits(every_kind()) if m.value is not None], ids=lambda m: m.kind
)
def test_a_new_value_is_read_back(limit):
    value = limit.value * (0.5 if limit.falls else 2.0)
    changed = study_limits(with_value(every_kind(), limit, value))
    (found,) = [m for m in changed if (m.kind, m.subject) == (limit.kind, limit.subject)]
    assert found.value == pytest.approx(value)


def test_loosening_raises_or_lowers_counts_by_one_and_drops_what_has_no_amount():
    study = every_kind()
    for limit in study_limits(study):
        after = [
            m for m in study_limits(eased(study, limit, 0.1))
            if (m.kind, m.subject) == (limit.kind, limit.subject)
        ]  # fmt: skip
        if limit.value is None:
            assert after == []
        elif limit.whole:
            assert after[0].value == limit.value + 1
        else:
            assert after[0].value == pytest.approx(limit.value * (0.9 if limit.falls else 1.1))


def test_bundled_studies_have_their_line_budgets_among_the_limits():
    study = load_study(bundled("studies") / "air_ankle.toml")
    kinds = {limit.kind for limit in study_limits(study)}
    assert {"fill_time", "vent_time", "voltage_drop", "line_length"} <= kinds
    for limit in study_limits(study):
        assert limit.origin.file and (limit.origin.row is not None or limit.origin.column)
    fill = next(m for m in study_limits(study) if m.kind == "fill_time")
    quicker = with_value(study, fill, fill.value * 3)
    line_ = next(ln for ln in quicker.lines if ln.name == fill.subject)
    assert all(budget(o, "fill_time") in (None, fill.value * 3) for o in line_.options)


@given(
    st.floats(1e-3, 1e4),
    st.booleans(),
    st.sampled_from([(1e6, "cm3"), (1e3, "g"), (1.0, "%")]),
)
def test_a_typed_value_is_looser_by_less_than_a_thousandth(value, falls, unit):
    limit = StudyLimit("x", "y", value, unit[1], unit[0], HERE, falls=falls)
    typed = rounded_up(limit, value)
    if falls:
        assert value * (1 - 1.1e-3) <= typed <= value * (1 + 1e-6)
    else:
        assert value * (1 - 1e-6) <= typed <= value * (1 + 1.1e-3)


def test_what_is_whole_but_for_rounding_stays():
    limit = StudyLimit("site_volume", "s", 96e-6, "cm3", 1e6, HERE)
    assert rounded_up(limit, 99.00000000001e-6) == pytest.approx(99e-6, rel=1e-15)
    count = StudyLimit("sites_in_use", "", 3.0, "", 1.0, HERE, whole=True)
    assert rounded_up(count, 3.4) == 4.0


@pytest.mark.parametrize("seed", range(20))
def test_every_limit_of_a_random_study_can_be_changed_and_dropped(seed):
    study = random_study(seed)
    for limit in study_limits(study):
        assert limit not in study_limits(without(study, [limit])) or limit.number >= 0
        assert eased(study, limit, 0.1) != study
