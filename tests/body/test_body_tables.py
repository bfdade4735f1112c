"""The published tables agree with themselves, as their authors' arithmetic says they must."""

import math
from itertools import combinations

import pytest

from optimizer.body.anthropometry import (
    INERTIA_TABLES,
    LENGTH_TABLES,
    inertia_table,
    length_table,
)
from optimizer.body.tables import read_table

PAIRED = ("upper_arm", "forearm", "hand", "thigh", "shank", "foot")


def values(file: str, sex: str) -> dict[tuple[str, str], float]:
    return {
        (r["segment"], r["quantity"]): float(r["value"])
        for r in read_table(file)
        if r["sex"] in (sex, "both")
    }


def first_rows(table: dict[tuple[str, str], float]) -> dict[str, str]:
    """Segment -> its first end-point variant."""
    labels: dict[str, str] = {}
    for label, _ in table:
        labels.setdefault(label.split(":")[0], label)
    return labels


@pytest.mark.parametrize(("sex", "total"), [("male", 1.0000), ("female", 0.9999)])
def test_deleva_masses_add_up_to_the_whole_body(sex, total):
    table = values("anthropometry_deleva1996.csv", sex)
    labels = first_rows(table)
    once = sum(table[labels[s], "mass_fraction"] for s in ("head", "trunk"))
    both = sum(table[labels[s], "mass_fraction"] for s in PAIRED)
    assert once + 2 * both == pytest.approx(total, abs=5e-5)


@pytest.mark.parametrize("sex", ["male", "female"])
def test_deleva_trunk_is_the_sum_of_its_three_parts(sex):
    table = values("anthropometry_deleva1996.csv", sex)
    labels = first_rows(table)
    parts = ("upper_trunk", "middle_trunk", "lower_trunk")
    # Lengths run along slightly different lines, so only the masses add up to a digit.
    mass = sum(table[labels[s], "mass_fraction"] for s in parts)
    assert mass == pytest.approx(table[labels["trunk"], "mass_fraction"], abs=1.5e-4)
    length = sum(table[labels[s], "length"] for s in parts)
    assert length == pytest.approx(table[labels["trunk"], "length"], abs=1e-4)


@pytest.mark.parametrize("sex", ["male", "female"])
def test_deleva_alternative_end_points_give_one_segment(sex):
    table = values("anthropometry_deleva1996.csv", sex)
    labels = {label for label, quantity in table if quantity == "mass_fraction"}
    compared = 0
    for a, b in combinations(sorted(labels), 2):
        if a.split(":")[0] != b.split(":")[0] or "upper_trunk" in a:
            continue
        compared += 1
        for axis in ("sagittal_axis_AP", "transverse_axis_ML", "longitudinal_axis"):
            radius_a, radius_b = (table[x, f"rg_cg_{axis}"] * table[x, "length"] for x in (a, b))
            assert radius_a == pytest.approx(radius_b, abs=0.45e-3), (a, b, axis)  # 0.4 mm, rounded
        proximal_a, proximal_b = (x.split(":")[1].split("-")[0] for x in (a, b))
        if proximal_a == proximal_b:
            com_a, com_b = (table[x, "com_from_proximal"] * table[x, "length"] for x in (a, b))
            assert com_a == pytest.approx(com_b, abs=0.06e-3), (a, b)
    assert compared >= 10


@pytest.mark.parametrize("label", ["thigh:GTR-KJC", "leg:KJC-MMAL", "foot:LMAL-MT2"])
def test_winter_radii_close_by_the_parallel_axis_theorem(label):
    table = values("anthropometry_winter.csv", "both")
    com, rg = table[label, "com_from_proximal"], table[label, "rg_cg"]
    assert math.hypot(rg, com) == pytest.approx(table[label, "rg_proximal"], abs=1.5e-3)
    assert math.hypot(rg, 1 - com) == pytest.approx(table[label, "rg_distal"], abs=1.5e-3)


def test_winter_total_leg_row_is_the_known_exception():
    table = values("anthropometry_winter.csv", "both")
    com, rg = (table["total_leg:GTR-MMAL", q] for q in ("com_from_proximal", "rg_cg"))
    assert math.hypot(rg, com) == pytest.approx(0.553, abs=5e-4)
    assert table["total_leg:GTR-MMAL", "rg_proximal"] == 0.560


@pytest.mark.parametrize(("sex", "total"), [("male", 1.002), ("female", 0.999)])
def test_dumas_masses_add_up_to_the_whole_body(sex, total):
    table = values("anthropometry_dumas2007.csv", sex)
    once = sum(table[s, "mass_fraction"] for s in ("head", "thorax", "abdomen", "pelvis"))
    paired = ("upper_arm", "forearm", "hand", "thigh", "shank", "foot")
    both = sum(table[s, "mass_fraction"] for s in paired)
    assert once + 2 * both == pytest.approx(total, abs=5e-4)


def test_drillis_contini_lengths_are_differences_of_their_heights():
    table = {q: v for (_, q), v in values("anthropometry_lengths.csv", "both").items()}
    assert table["hip_height"] - table["knee_height"] == pytest.approx(
        table["thigh_length_hip_to_knee"]
    )
    assert table["knee_height"] - table["ankle_height"] == pytest.approx(
        table["leg_length_knee_to_ankle"]
    )


@pytest.mark.parametrize("sex", ["male", "female"])
@pytest.mark.parametrize("name", INERTIA_TABLES)
def test_every_inertia_table_is_complete_for_both_sexes(name, sex):
    table = inertia_table(name, sex)
    assert set(table.segments) == {"trunk", "thigh", "shank", "foot"}
    for row in table.segments.values():
        assert 0 < row.mass_fraction < 0.6
        assert 0 < row.radius_ml < 0.6


@pytest.mark.parametrize("sex", ["male", "female"])
@pytest.mark.parametrize("name", LENGTH_TABLES)
def test_every_length_table_describes_a_body_that_fits_its_stature(name, sex):
    lengths = length_table(name, sex).over_stature
    assert sum(lengths[s] for s in ("thigh", "shank", "trunk", "ankle_height")) < 0.9


@pytest.mark.parametrize(
    ("call", "valid"), [(inertia_table, INERTIA_TABLES), (length_table, LENGTH_TABLES)]
)
def test_unknown_table_name_lists_the_valid_ones(call, valid):
    with pytest.raises(ValueError) as error:
        call("dempster1955", "male")
    assert all(name in str(error.value) for name in valid)


def test_values_from_memory_are_flagged_where_they_are_used():
    assert any("not verified" in text for text in inertia_table("dumas2007", "male").warnings)
    assert any("not verified" in text for text in length_table("dumas2007", "male").warnings)
    assert not inertia_table("deleva1996", "female").warnings
    assert not inertia_table("winter_dempster", "female").warnings


def test_every_row_of_every_table_says_where_it_comes_from():
    files = (
        "anthropometry_deleva1996.csv",
        "anthropometry_winter.csv",
        "anthropometry_dumas2007.csv",
        "anthropometry_lengths.csv",
        "anthropometry_ansur2.csv",
        "gait.csv",
        "gait_schwartz2008.csv",
        "gait_winter.csv",
        "gait_time_distance.csv",
        "joint_range.csv",
    )
    grades = ("READ", "COMPUTED", "FROM MEMORY", "JUDGEMENT")
    for file in files:
        for row in read_table(file):
            assert row["provenance"].startswith(grades), (file, row)
            assert row["source_key"], (file, row)
