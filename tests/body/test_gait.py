import math

import numpy as np
import pytest

from optimizer.body.gait import (
    CURVES,
    PeriodicCurve,
    cadence_per_min,
    gait_curve,
    joint_angle,
    joint_ranges,
    leg_length_of_stature,
    segment_angles,
    speed_warnings,
    stride_time_s,
    swing_rotations,
    swing_share,
)
from optimizer.body.tables import read_table

DENSE = np.linspace(0.0, 1.0, 2001)


def table(file, condition, quantity):
    return [
        (float(r["percent_cycle"]) / 100, math.radians(float(r["value"])))
        for r in read_table(file)
        if r["condition"] == condition and r["quantity"] == quantity
    ]


@pytest.mark.parametrize(
    "quantity",
    ["hip_flexion", "knee_flexion", "ankle_dorsiflexion", "pelvis_anterior_tilt", "foot_pitch"],
)
def test_six_harmonics_pass_through_every_published_point(quantity):
    # The table is six harmonics rounded to 0.01 deg.
    for phase, value in table("gait.csv", "comfortable_overground_young_adult", quantity):
        assert gait_curve(quantity)(phase) == pytest.approx(value, abs=math.radians(0.011))


def test_curve_derivatives_are_those_of_the_curve():
    curve = gait_curve("knee_flexion")
    step = 1e-5
    for phase in np.linspace(0.05, 0.95, 19):
        slope = (curve(phase + step) - curve(phase - step)) / (2 * step)
        assert curve(phase, 1) == pytest.approx(slope, rel=1e-6, abs=1e-6)
        bend = (curve(phase + step, 1) - curve(phase - step, 1)) / (2 * step)
        assert curve(phase, 2) == pytest.approx(bend, rel=1e-6, abs=1e-5)


def test_a_curve_of_few_harmonics_is_fitted_exactly():
    phase = np.arange(50) / 50
    made = 1.0 + 2.0 * np.cos(2 * np.pi * phase) - 0.5 * np.sin(6 * np.pi * phase)
    curve = PeriodicCurve.fit(made)
    wanted = 1.0 + 2.0 * np.cos(2 * np.pi * DENSE) - 0.5 * np.sin(6 * np.pi * DENSE)
    assert curve(DENSE) == pytest.approx(wanted, abs=1e-12)


def test_peak_joint_rates_are_those_computed_with_the_curves():
    # The gait tables' own figures for a stride of 1.046 s, by differences on a coarse grid and so
    # a little low: knee +347 (62 %) and -406 (89 %), hip +192 (66 %), ankle -255 (57 %) deg/s.
    rate = {
        quantity: np.degrees(gait_curve(quantity)(DENSE, 1)) / 1.046
        for quantity in ("knee_flexion", "hip_flexion", "ankle_dorsiflexion")
    }
    for quantity, peak, phase in (
        ("knee_flexion", 347.0, 0.62),
        ("knee_flexion", -406.0, 0.89),
        ("hip_flexion", 192.0, 0.66),
        ("ankle_dorsiflexion", -255.0, 0.57),
    ):
        at = np.argmax(rate[quantity] * np.sign(peak))
        assert rate[quantity][at] == pytest.approx(peak, rel=0.012)
        assert DENSE[at] == pytest.approx(phase, abs=0.006)


def test_segment_angles_at_initial_contact():
    # 31.19 - 11.57 = 19.6 deg; Winter's subject: 19.6 deg, measured.
    thigh, shank, foot = segment_angles(0.0)
    assert np.degrees(thigh) == pytest.approx(19.62, abs=0.02)
    assert np.degrees(shank) == pytest.approx(19.57, abs=0.02)
    assert np.degrees(foot) == pytest.approx(19.38, abs=0.02)


def test_foot_angle_from_the_joints_is_near_the_measured_foot_pitch():
    # The same 24 people; shank + dorsiflexion against the foot's own pitch: offsets of a few deg.
    _, _, foot = segment_angles(DENSE)
    difference = np.degrees(foot - gait_curve("foot_pitch")(DENSE))
    assert np.sqrt(np.mean(difference**2)) < 3.0


@pytest.mark.parametrize("curves", CURVES)
def test_every_set_of_curves_swings_the_leg_forward(curves):
    thigh, shank, foot = segment_angles(np.linspace(0.6, 1.0, 81), curves)
    assert thigh[-1] - thigh[0] > math.radians(15)
    assert shank[-1] - shank[0] > math.radians(30)
    assert foot[-1] - foot[0] > math.radians(30)
    assert (thigh - shank).max() > math.radians(40)  # the knee bends in swing


def test_unknown_curves_list_the_valid_ones():
    with pytest.raises(ValueError, match="fukuchi2018_young24"):
        segment_angles(0.5, "bovi2011")
    with pytest.raises(ValueError, match="knee_flexion"):
        gait_curve("elbow_flexion")


@pytest.mark.parametrize(
    ("speed", "stride"),
    [(0.50, 1.574), (0.69, 1.344), (0.88, 1.199), (1.06, 1.092), (1.25, 1.014), (1.44, 0.949)],
)
def test_stride_time_is_near_the_measured_means(speed, stride):
    # Means of 43 adults (bmclab_h2a), stature 1.683 m; both fits within their spread.
    assert stride_time_s(speed) == pytest.approx(stride, rel=0.05)
    leg = leg_length_of_stature(1.683)
    assert leg == pytest.approx(0.870, abs=5e-4)
    assert stride_time_s(speed, leg) == pytest.approx(stride, rel=0.05)


def test_cadence_of_the_published_line_of_young_adults():
    assert cadence_per_min(1.24, population="young") == pytest.approx(115.3, abs=0.05)
    assert cadence_per_min(1.24) == pytest.approx(118.3, abs=0.05)


def test_short_legs_step_faster_at_one_speed():
    assert stride_time_s(1.25, 0.80) < stride_time_s(1.25, 0.90)


@pytest.mark.parametrize("speed", [0.0, -1.0])
def test_no_stride_without_speed(speed):
    with pytest.raises(ValueError, match="positive"):
        stride_time_s(speed)
    with pytest.raises(ValueError, match="young"):
        stride_time_s(1.0, population="children")


def test_swing_share_by_speed():
    assert swing_share() == pytest.approx(0.397)
    assert swing_share(1.24) == pytest.approx(0.397)
    # Read for the same people: 38.2 % at 0.94 and 40.9 % at 1.50 m/s.
    assert swing_share(0.94) == pytest.approx(0.382, abs=0.002)
    assert swing_share(1.50) == pytest.approx(0.409, abs=0.002)


def test_speeds_outside_the_data_are_said_to_be_extrapolated():
    assert speed_warnings(1.25) == ()
    assert "extrapolated" in speed_warnings(2.2)[0]


def test_joint_ranges_are_the_extremes_of_the_curves_from_the_standing_pose():
    tilt = gait_curve("pelvis_anterior_tilt")(DENSE)
    curves = {
        "hip": gait_curve("hip_flexion")(DENSE) - tilt,  # standing, the thigh hangs down
        "knee": gait_curve("knee_flexion")(DENSE),
        "ankle": gait_curve("ankle_dorsiflexion")(DENSE),
    }
    for joint, (low, high) in joint_ranges("gait").items():
        assert joint_angle(joint, DENSE) == pytest.approx(curves[joint], abs=1e-12)
        assert low == pytest.approx(curves[joint].min(), abs=math.radians(0.1))
        assert high == pytest.approx(curves[joint].max(), abs=math.radians(0.1))


def test_published_ranges_of_motion():
    spans = {j: math.degrees(high - low) for j, (low, high) in joint_ranges("gait").items()}
    # the hip's published 37.8 degrees are to the pelvis, which rocks by 2.7 along with the thigh
    assert spans == pytest.approx({"hip": 37.2, "knee": 63.2, "ankle": 26.2})


def test_the_thigh_reaches_as_far_back_as_the_hip_range_says_lines_must():
    # one subject's thigh to the vertical, measured (Winter's Table A.1): no pelvis in it
    thigh = np.degrees(segment_angles(DENSE, "winter_tableA1")[0])
    low, high = (math.degrees(angle) for angle in joint_ranges("gait")["hip"])
    assert low == pytest.approx(thigh.min(), abs=1.0)
    assert high == pytest.approx(thigh.max(), abs=6.0)


def test_sitting_range_holds_the_gait_range():
    gait, sit = joint_ranges("gait"), joint_ranges("sit")
    for joint, (low, high) in gait.items():
        assert sit[joint][0] <= low
        assert sit[joint][1] >= high
    assert math.degrees(sit["hip"][1]) == pytest.approx(120)
    assert math.degrees(sit["knee"][1]) == pytest.approx(135)
    with pytest.raises(ValueError, match="gait, sit"):
        joint_ranges("squat")


def test_mean_rotations_are_time_averages_over_swing():
    phase = np.linspace(1 - 0.397, 1.0, 20001)
    thigh, shank, foot = segment_angles(phase)
    for mean, turn in zip(
        swing_rotations(), (shank - thigh, foot - shank, foot - thigh), strict=True
    ):
        assert mean == pytest.approx(np.trapezoid(np.exp(1j * turn), phase) / 0.397, abs=1e-8)
