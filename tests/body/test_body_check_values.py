"""Check values of tests/data/check_body.csv, each with its source in its own row."""

from dataclasses import replace
from math import hypot

import numpy as np
import pytest
from body_samples import check_rows, foot_at_ankle, wearer

from optimizer.body.anthropometry import inertia_table
from optimizer.body.inertia import bare_leg_inertia, squared_distance
from optimizer.body.tables import read_table
from optimizer.body.wearer import Segment

CHECKS = check_rows()


def expect(check: str, computed: float) -> None:
    row = CHECKS[check]
    assert computed == pytest.approx(float(row["value"]), rel=float(row["rel_tol"])), row


DELEVA = {"male": "deleva_male_75_kg_1_75_m", "female": "deleva_female_62_kg_1_63_m"}


@pytest.mark.parametrize("sex", DELEVA)
@pytest.mark.parametrize("segment", ["thigh", "shank", "foot"])
def test_deleva_segments(sex, segment):
    part = wearer(sex).segments[segment, "left"]
    expect(f"{DELEVA[sex]}_{segment}_length", part.length_m)
    expect(f"{DELEVA[sex]}_{segment}_mass", part.mass_kg)
    expect(f"{DELEVA[sex]}_{segment}_i_cm_about_ml_axis", part.inertia_ml_kg_m2)


@pytest.mark.parametrize("sex", DELEVA)
def test_deleva_leg_inertia(sex):
    body = wearer(sex)
    at_ankle = foot_at_ankle(body)
    name = f"{DELEVA[sex]}_i_"
    expect(f"{name}hip_straight_leg_foot_90deg_variant_b", bare_leg_inertia(body, "left"))
    expect(f"{name}hip_straight_leg_foot_cm_at_ajc_variant_a", bare_leg_inertia(at_ankle, "left"))
    expect(f"{name}knee_shank_foot_variant_a", bare_leg_inertia(at_ankle, "right", "knee"))
    thigh, shank = (body.segments[s, "left"] for s in ("thigh", "shank"))
    without_foot = sum(
        s.mass_kg * squared_distance(body, s.key, s.com)[0] + s.inertia_ml_kg_m2
        for s in (thigh, shank)
    )
    expect(f"{name}hip_without_foot", without_foot)


@pytest.mark.parametrize("sex", DELEVA)
def test_deleva_leg_mass_and_centre_of_mass(sex):
    body = foot_at_ankle(wearer(sex))
    leg = [body.segments[s, "left"] for s in ("thigh", "shank", "foot")]
    mass = sum(s.mass_kg for s in leg)
    expect(f"{DELEVA[sex]}_leg_mass", mass)
    expect(f"{DELEVA[sex]}_leg_cm_below_hip_a", -sum(s.mass_kg * s.com[1] for s in leg) / mass)


@pytest.mark.parametrize("sex", DELEVA)
@pytest.mark.parametrize(
    ("place", "segment", "along"),
    [
        ("waist_hip_joint", "thigh", 0.0),
        ("mid_thigh", "thigh", 0.5),
        ("knee", "thigh", 1.0),
        ("mid_shank", "shank", 0.5),
        ("ankle", "shank", 1.0),
    ],
)
def test_what_one_kilogram_on_the_axis_adds(sex, place, segment, along):
    body = wearer(sex)
    part = body.segments[segment, "right"]
    point = part.proximal + along * (part.distal - part.proximal)
    row = CHECKS[f"{DELEVA[sex]}_di_hip_for_1_kg_at_{place}"]
    (added,) = squared_distance(body, (segment, "right"), point)
    assert added == pytest.approx(float(row["value"]), rel=1e-5, abs=1e-12)


WINTER = "winter_male_75_kg_1_75_m_"
STATURE, MASS = 1.75, 75.0


def test_winter_leg_as_a_sum_of_segments():
    body = wearer(table="winter_dempster")
    expect(f"{WINTER}leg_mass", sum(body.segments[s, "left"].mass_kg for s in LEG))
    short = foot_at_ankle(body)  # foot length 0.108 H, malleolus to metatarsal head
    expect(
        f"{WINTER}i_hip_segment_sum_foot_cm_at_ankle_foot_length_0_108h_lmal_mt2_fr",
        bare_leg_inertia(short, "left"),
    )
    long = foot_at_ankle(body, inertia_table("winter_dempster", "male").segments["foot"].radius_ml
                         * 0.152 * STATURE)  # fmt: skip
    expect(
        f"{WINTER}i_hip_segment_sum_foot_cm_at_ankle_foot_length_0_152h",
        bare_leg_inertia(long, "left"),
    )
    upper = [body.segments[s, "left"] for s in ("thigh", "shank")]
    expect(
        f"{WINTER}i_hip_thigh_leg_only",
        sum(
            s.mass_kg * squared_distance(body, s.key, s.com)[0] + s.inertia_ml_kg_m2 for s in upper
        ),
    )


LEG = ("thigh", "shank", "foot")


def test_winter_rows_of_several_segments():
    table = {
        (r["segment"], r["quantity"]): float(r["value"])
        for r in read_table("anthropometry_winter.csv")
    }
    whole, lower, leg = "total_leg:GTR-MMAL", "foot+leg:KJC-MMAL", "leg:KJC-MMAL"

    def about_proximal(label: str, length: float) -> float:
        return table[label, "mass_fraction"] * MASS * (table[label, "rg_proximal"] * length) ** 2

    length = (0.245 + 0.246) * STATURE
    expect(f"{WINTER}i_hip_from_total_leg_row_rg_proximal_0_560", about_proximal(whole, length))
    radius = hypot(table[whole, "rg_cg"], table[whole, "com_from_proximal"]) * length
    expect(
        f"{WINTER}i_hip_from_total_leg_row_rg_cg_0_326_cm_0_447",
        table[whole, "mass_fraction"] * MASS * radius**2,
    )
    expect(f"{WINTER}leg_cm_below_hip", table[whole, "com_from_proximal"] * length)
    shank = 0.246 * STATURE
    expect(f"{WINTER}i_knee_from_foot_leg_row_rg_proximal_0_735", about_proximal(lower, shank))
    expect(f"{WINTER}i_knee_leg_only_rg_proximal_0_528", about_proximal(leg, shank))


@pytest.mark.parametrize("sex", ["male", "female"])
def test_dumas_leg_inertia(sex):
    # The foot's reference length is recalled; the value checks arithmetic, not the source.
    name = {"male": "male_75_kg_1_75_m", "female": "female_62_kg_1_63_m"}[sex]
    body = wearer(sex, "dumas2007")
    expect(f"dumas_{name}_i_hip_straight_leg_foot_90_deg", bare_leg_inertia(body, "left"))


def test_published_worked_example_of_a_whole_limb():
    """BMClab's notebook: hip, knee, ankle and 2nd metatarsal at these places, M = 100 kg."""
    points = {
        "thigh": ((0.721, 0.928), (0.864, 0.549)),
        "shank": ((0.864, 0.549), (0.849, 0.110)),
        "foot": ((0.849, 0.110), (1.011, 0.013)),
    }
    rows = inertia_table("winter_dempster", "male").segments
    segments = {}
    for name, ends in points.items():
        proximal, distal = (np.array([*end, 0.0]) for end in ends)
        length = float(np.linalg.norm(distal - proximal))
        segments[name, "right"] = Segment(
            key=(name, "right"),
            mass_kg=100.0 * rows[name].mass_fraction,
            length_m=length,
            proximal=proximal,
            distal=distal,
            com=proximal + rows[name].com[0] * (distal - proximal),
            radius_ml_m=rows[name].radius_ml * length,
            source="",
        )
    joints = {
        (joint, "right"): segments[name, "right"].proximal
        for joint, name in (("hip", "thigh"), ("knee", "shank"), ("ankle", "foot"))
    }
    body = replace(wearer(), segments=segments, _joints=joints)
    for check, name in (
        ("bmc_winter_example_icm_foot_published_0_012", "foot"),
        ("icm_leg_published_0_082", "shank"),
        ("icm_thigh_published_0_171", "thigh"),
    ):
        expect(check, segments[name, "right"].inertia_ml_kg_m2)
    hip = bare_leg_inertia(body, "right")
    expect("ihip_lower_limb_published_3_317", hip)
    assert hip == pytest.approx(3.317, abs=5e-4)  # as printed
    mass = sum(s.mass_kg for s in segments.values())
    com = sum(s.mass_kg * s.com for s in segments.values()) / mass
    assert com[:2] == pytest.approx([0.818, 0.584], abs=5e-4)  # as printed
    offset = com - joints["hip", "right"]
    expect("icm_lower_limb_published_1_257", hip - mass * float(offset @ offset))
