import math
import time
from dataclasses import replace

import numpy as np
import pytest
from body_samples import FEMALE, MALE, TABLES, site, wearer
from hypothesis import given
from hypothesis import strategies as st

from optimizer.body.anthropometry import ansur
from optimizer.body.wearer import MEASUREMENTS, build_wearer
from optimizer.errors import InputError, Origin
from optimizer.study.model import LEG_SEGMENTS, OFF_BODY, TRUNK, WearerSpec

SEXES = ("female", "male")
people = st.builds(
    WearerSpec,
    sex=st.sampled_from(SEXES),
    stature_m=st.floats(1.45, 2.0),
    mass_kg=st.floats(45.0, 120.0),
    inertia_table=st.sampled_from(TABLES),
    length_table=st.sampled_from([None, "deleva1996", "drillis_contini1966", "dumas2007"]),
)


def flaws(**changes):
    with pytest.raises(InputError) as error:
        build_wearer(replace(MALE, **changes))
    return error.value.flaws


@given(people)
def test_left_is_the_mirror_image_of_right(spec):
    body = build_wearer(spec)
    mirror = np.array([1.0, 1.0, -1.0])
    for segment in LEG_SEGMENTS:
        left, right = body.segments[segment, "left"], body.segments[segment, "right"]
        assert left.mass_kg == right.mass_kg
        assert left.inertia_ml_kg_m2 == right.inertia_ml_kg_m2
        for end in ("proximal", "distal", "com"):
            assert np.array_equal(getattr(left, end) * mirror, getattr(right, end))
    for joint in ("hip", "knee", "ankle"):
        assert np.array_equal(body.joint(joint, "left") * mirror, body.joint(joint, "right"))


@given(people)
def test_standing_pose_is_a_straight_leg_with_flat_feet(spec):
    body = build_wearer(spec)
    hip, knee, ankle = (body.joint(j, "right") for j in ("hip", "knee", "ankle"))
    assert hip[0] == knee[0] == ankle[0] == 0.0
    assert hip[2] == knee[2] == ankle[2] == body.hip_half_width_m > 0.0
    assert hip[1] == 0.0 > knee[1] > ankle[1] > -body.leg_length_m
    foot = body.segments["foot", "right"]
    assert foot.proximal[1] == foot.distal[1]
    # As in the check values: axis 0.0195 of stature below the ankle, heel 0.25 foot behind it.
    assert ankle[1] - foot.proximal[1] == pytest.approx(0.0195 * body.stature_m)
    assert ankle[0] - foot.proximal[0] == pytest.approx(0.25 * foot.length_m)
    assert foot.proximal[0] < foot.com[0] < foot.distal[0]
    assert foot.distal[0] - foot.proximal[0] == pytest.approx(foot.length_m)


@given(people)
def test_segment_masses_leave_room_for_head_and_arms(spec):
    body = build_wearer(spec)
    assert 0.7 * spec.mass_kg < sum(s.mass_kg for s in body.segments.values()) < spec.mass_kg


def test_sites_lie_where_the_segments_are():
    body = wearer()
    knee, ankle = body.joint("knee", "left"), body.joint("ankle", "left")
    middle = body.position(site("shank", "left", 0.5, front_m=0.05, outside_m=0.03))
    assert middle == pytest.approx((knee + ankle) / 2 + [0.05, 0.0, -0.03])
    right = body.position(site("shank", "right", 0.5, front_m=0.05, outside_m=0.03))
    assert right == pytest.approx(middle * [1.0, 1.0, -1.0])
    foot = body.segments["foot", "right"]
    dorsal = body.position(site("foot", "right", 0.25, front_m=0.04))
    offset = dorsal - body.joint("ankle", "right")
    assert offset == pytest.approx([0.0, 0.04 - 0.0195 * 1.75, 0.0], abs=1e-12)
    assert body.position(site("foot", "right", 1.0)) == pytest.approx(foot.distal)
    vest = body.position(site("trunk", "left", 1.0, front_m=-0.1, outside_m=0.15))
    assert vest == pytest.approx([-0.1, body.trunk_length_m, -0.15])
    assert body.position(site("trunk", "centre", 0.0, outside_m=0.1))[2] == 0.1
    bench = body.position(site("off_body", "centre", 0.5, front_m=1.0))
    assert bench == pytest.approx([1.0, 0.5 * body.trunk_length_m, 0.0])


def test_foot_radius_is_the_sagittal_distance_of_the_foot_from_the_hip():
    body = wearer()
    com = body.segments["foot", "left"].com
    assert body.foot_radius_m == pytest.approx(math.hypot(com[0], com[1]))


@pytest.mark.parametrize(
    ("name", "value"),
    [("thigh_length_m", 0.47), ("shank_length_m", 0.40), ("foot_length_m", 0.28)],
)
def test_a_measured_length_replaces_the_tables_and_moves_what_hangs_below(name, value):
    before = wearer()
    after = wearer(measured={name: value})
    segment = name.split("_")[0]
    assert after.segments[segment, "left"].length_m == value
    ratio = value / before.segments[segment, "left"].length_m
    for side in ("left", "right"):
        old, new = before.segments[segment, side], after.segments[segment, side]
        assert new.mass_kg == old.mass_kg
        assert new.inertia_ml_kg_m2 == pytest.approx(old.inertia_ml_kg_m2 * ratio**2)
    shift = value - before.segments[segment, "left"].length_m if segment != "foot" else 0.0
    drop = before.joint("ankle", "left") - after.joint("ankle", "left")
    assert drop == pytest.approx([0.0, shift, 0.0])


@pytest.mark.parametrize("table", TABLES)
def test_a_measured_foot_scales_the_foots_own_reference_length(table):
    before = wearer(table=table).segments["foot", "left"]
    longer = 1.1 * before.length_m
    after = wearer(table=table, measured={"foot_length_m": longer}).segments["foot", "left"]
    assert after.inertia_ml_kg_m2 == pytest.approx(1.21 * before.inertia_ml_kg_m2)


def test_a_measured_mass_is_one_segment_of_one_side():
    body = wearer(measured={"thigh_mass_kg": 9.0})
    assert body.segments["thigh", "left"].mass_kg == 9.0
    assert body.segments["thigh", "right"].mass_kg == 9.0
    assert body.segments["shank", "left"].mass_kg == wearer().segments["shank", "left"].mass_kg


def test_measured_girths_come_back_by_name_with_or_without_their_unit():
    body = wearer(measured={"waist_depth_m": 0.26, "hip_width_m": 0.36})
    assert body.breadth("waist_depth_m") == body.breadth("waist_depth") == 0.26
    assert body.breadth("hip_breadth") == 0.36
    assert body.hip_half_width_m == pytest.approx(0.09)
    with pytest.raises(KeyError, match="calf_circumference_m"):
        body.breadth("calf")


def test_hip_joints_follow_the_measured_iliac_spines():
    # Bell, Brand and Pedersen 1989: 14 % of the inter-ASIS distance inside each spine.
    body = wearer(measured={"inter_asis_distance_m": 0.24})
    assert body.hip_half_width_m == pytest.approx(0.36 * 0.24)


@pytest.mark.parametrize("sex", SEXES)
def test_girths_are_ansurs_means_for_ansurs_mean_person(sex):
    table = ansur(sex)
    body = build_wearer(WearerSpec(sex, table["stature_mean"], table["mass_mean"]))
    for ours, theirs in (
        ("waist_breadth", "waistbreadth"),
        ("calf_circumference", "calfcircumference"),
        ("lower_thigh_circumference", "lowerthighcircumference"),
        ("foot_breadth", "footbreadthhorizontal"),
    ):
        assert body.breadth(ours) == pytest.approx(table[f"{theirs}_mean"])


@pytest.mark.parametrize(("sex", "percentile"), [(s, p) for s in SEXES for p in ("p5", "p95")])
def test_girth_scaling_lands_near_ansurs_own_percentiles(sex, percentile):
    """A person at p5 (p95) of stature and mass has girths near p5 (p95): within 10 %."""
    table = ansur(sex)
    body = build_wearer(
        WearerSpec(sex, table[f"stature_{percentile}"], table[f"mass_{percentile}"])
    )
    for ours, theirs in (
        ("waist_circumference", "waistcircumference"),
        ("thigh_circumference", "thighcircumference"),
        ("calf_circumference", "calfcircumference"),
        ("ankle_circumference", "anklecircumference"),
        ("chest_breadth", "chestbreadth"),
    ):
        assert body.breadth(ours) == pytest.approx(table[f"{theirs}_{percentile}"], rel=0.10)


def test_every_flaw_of_the_measurements_is_reported_at_once():
    origin = Origin("study.toml", column="wearer")
    found = flaws(
        origin=origin,
        measured={
            "thigh_lenght_m": 0.4,
            "shank_mass_kg": -1.0,
            "foot_length_m": 26.0,
            "waist_depth_m": math.nan,
        },
    )
    assert [f.origin.column for f in found] == [
        "wearer.measured.thigh_lenght_m",
        "wearer.measured.shank_mass_kg",
        "wearer.measured.foot_length_m",
        "wearer.measured.waist_depth_m",
    ]
    assert found[0].nearest == "thigh_length_m"
    assert all(f.origin.file == "study.toml" for f in found)


@pytest.mark.parametrize(
    ("changes", "column"),
    [
        ({"inertia_table": "delva1996"}, "inertia_table"),
        ({"length_table": "winter_dempster"}, "length_table"),
        ({"sex": "man"}, "sex"),
        ({"stature_m": 175.0}, "stature_m"),
        ({"stature_m": math.nan}, "stature_m"),
        ({"mass_kg": 0.0}, "mass_kg"),
        ({"measured": {"trunk_mass_kg": 60.0}}, "measured"),
        ({"measured": {"trunk_length_m": 1.0}}, "measured"),
        ({"measured": {"inter_asis_distance_m": 0.5}}, "measured.inter_asis_distance_m"),
    ],
)
def test_an_impossible_wearer_is_refused_where_it_was_written(changes, column):
    (flaw,) = flaws(**changes)
    assert flaw.origin.column == f"wearer.{column}"
    assert flaw.expected


def test_nearest_table_name_is_offered():
    (flaw,) = flaws(inertia_table="delva1996")
    assert flaw.nearest == "deleva1996"
    assert "winter_dempster" in flaw.expected


def test_ordinary_wearers_raise_no_warning():
    assert wearer("male").warnings == ()
    assert wearer("female").warnings == ()


def test_warnings_name_what_is_uncertain():
    assert any("not verified" in w for w in wearer(table="dumas2007").warnings)
    assert any("extrapolated" in w for w in wearer(stature_m=1.30).warnings)
    assert any("end" in w for w in wearer(length_table="drillis_contini1966").warnings)


def test_measurements_carry_their_unit_in_their_name():
    for name, unit in MEASUREMENTS.items():
        assert name.endswith(f"_{unit}")
        assert unit in ("m", "kg")


def test_a_wearer_builds_in_milliseconds():
    build_wearer(FEMALE)
    start = time.perf_counter()
    for _ in range(20):
        build_wearer(FEMALE)
    assert (time.perf_counter() - start) / 20 < 0.005


def test_segments_cover_trunk_and_both_legs_and_nothing_off_the_body():
    keys = set(wearer().segments)
    assert TRUNK in keys
    assert OFF_BODY not in keys
    assert len(keys) == 7
