"""What is wrong between cells, rows and tables: the exact place, and the name that was meant."""

from __future__ import annotations

import pytest
from study_files import StudyFiles, where


@pytest.mark.parametrize(
    ("file", "row", "column", "typed", "found", "nearest"),
    [
        ("parts.csv", 2, "name", "", "an empty cell", None),
        ("parts.csv", 2, "name", "big pump", '"big pump"', "big_pump"),
        ("parts.csv", 2, "name", "pump#2", '"pump#2"', "pump_2"),
        ("parts.csv", 6, "sites", "vest_bakc", '"vest_bakc"', "vest_back"),
        ("parts.csv", 6, "sites", "* !foot_rigth", '"!foot_rigth"', "!foot_left"),
        ("parts.csv", 6, "sites", "#vset", '"#vset"', "#vest"),
        ("parts.csv", 6, "sites", "vst_*", '"vst_*"', "vest_*"),
        ("parts.csv", 6, "sites", "vest", '"vest"', "#vest"),
        ("parts.csv", 6, "sites", "* !vest", '"!vest"', "!#vest"),
        ("parts.csv", 6, "sites", "* !*", '"* !*", which leaves no site', None),
        ("parts.csv", 6, "sites", "", "an empty cell", None),
        ("parts.csv", 5, "fixed_site", "right_shank", '"right_shank"', "shank_right"),
        ("parts.csv", 2, "needs", "cold", '"cold", needed by pump', "cool"),
        ("parts.csv", 2, "needs", "dry,cool", '"dry,cool"', "dry cool"),
        ("sites.csv", 2, "segment", "trnk", '"trnk"', "trunk"),
        ("sites.csv", 2, "segment", "", "an empty cell", None),
        ("sites.csv", 5, "side", "rigth", '"rigth"', "right"),
        ("sites.csv", 5, "side", "", "an empty cell", None),
        ("sites.csv", 5, "side", "centre", '"centre"', None),
        ("sites.csv", 2, "anchor", "wiast_back", "'wiast_back'", "waist_back"),
        ("lines.csv", 4, "kind", "wires", '"wires"', "wire"),
        ("lines.csv", 4, "from", "controler", '"controler"', "controller"),
        ("lines.csv", 4, "to", "controller", '"controller" at both ends', None),
        ("lines.csv", 4, "to", "", "an empty cell", None),
        ("lines.csv", 3, "kind", "hose", '"hose"', None),
        ("lines.csv", 3, "slack_mm", "", "an empty cell", None),
        ("lines.csv", 3, "option", "thin", 'line "supply" with option "thin" again', None),
        ("parts.csv", 4, "model", "slow", 'part "controller" with model "slow" again', None),
        ("parts.csv", 4, "quantity", "2", "quantity 2", None),
        ("sites.csv", 3, "name", "foot_left", None, None),
    ],
)
def test_flaw_is_told_of_its_cell(
    files: StudyFiles,
    file: str,
    row: int,
    column: str,
    typed: str,
    found: str | None,
    nearest: str | None,
) -> None:
    flaws = files.cell(file, row, column, typed).flaws()
    if found is None:  # the second of two alike is blamed, and what named the first
        assert where(flaws[-1]) == (file, 6, column)
        return
    ours = [f for f in flaws if where(f) == (file, row, column)]
    assert [f.found for f in ours] == [found]
    assert ours[0].nearest == nearest
    # A part's or site's name that cannot be read takes those who refer to it along; else it is
    # the only flaw.
    if column != "name":
        assert flaws == ours


def test_bad_cell_of_a_site_is_not_blamed_on_parts_that_name_it(files: StudyFiles) -> None:
    files.cell("sites.csv", 5, "max_mass_g", "x").cell("sites.csv", 2, "volume_cm3", "y")
    assert [where(f)[:2] for f in files.flaws()] == [("sites.csv", 2), ("sites.csv", 5)]


def test_bad_cell_of_a_part_is_not_blamed_on_its_lines_and_rules(files: StudyFiles) -> None:
    files.cell("parts.csv", 2, "mass_g", "x")
    assert where(files.flaw()) == ("parts.csv", 2, "mass_g")


def test_fixed_site_outside_the_allowed_ones(files: StudyFiles) -> None:
    flaw = files.cell("parts.csv", 5, "sites", "#vest").flaw()
    assert where(flaw) == ("parts.csv", 5, "fixed_site")
    assert flaw.found == '"shank_right", which "#vest" leaves out'


def test_need_that_no_allowed_site_meets_is_a_warning(files: StudyFiles) -> None:
    study = files.cell("parts.csv", 5, "needs", "dry").load()
    (warning,) = study.warnings
    assert "parts.csv row 5 column needs" in warning
    assert "actuator" in warning


def test_line_between_unequal_quantities(files: StudyFiles) -> None:
    files.cell("parts.csv", 2, "quantity", "3")
    flaw = files.flaw()
    assert where(flaw) == ("lines.csv", 2, "to")
    assert flaw.found == "a line from 3 x pump to 2 x valve"


def test_place_off_the_body_needs_no_position_but_an_arc_to_it(files: StudyFiles) -> None:
    files.row("sites.csv", "bench,off_body,,,,,,,,,,dry cool,,,bench_post,")
    flaw = files.flaw()
    assert where(flaw)[:2] == ("sites.csv", 7)
    files.texts["study.toml"] = str(files.texts["study.toml"]) + (
        '[[routes.add]]\nfrom = "waist_back"\nto = "bench_post"\nlength_mm = 2000\n'
        'carried_by = "off_body"\n'
    )
    site = files.load().sites[-1]
    assert (site.key, site.along, site.volume_m3) == (("off_body", "centre"), 0.0, float("inf"))
    files.cell("sites.csv", 7, "side", "left")
    assert where(files.flaw()) == ("sites.csv", 7, "side")


def test_all_flaws_of_all_files_at_once_in_order(files: StudyFiles) -> None:
    files.put("study.toml", "stature_mm = 1750", "stature_mm = 1.75")
    files.put("study.toml", "speed_m_s", "sped_m_s")
    files.put("study.toml", "device_mass_g", "device_mas_g")
    files.cell("parts.csv", 2, "mass_g", "1,5").cell("parts.csv", 2, "length_mm", "-1")
    files.cell("parts.csv", 6, "sites", "#nope")
    files.cell("sites.csv", 4, "comfort", "ten")
    files.cell("lines.csv", 4, "from", "controler").cell("lines.csv", 2, "bore_mm", "NaN")
    overrides = {"parts.valve.mass_g": "heavy", "parts.valv.mass_g": "1"}
    assert [where(f) for f in files.flaws(overrides)] == [
        ("study.toml", 12, "wearer.stature_mm"),
        ("study.toml", 16, "task.sped_m_s"),
        ("study.toml", 19, "limits.device_mas_g"),
        ("parts.csv", 2, "mass_g"),
        ("parts.csv", 2, "length_mm"),
        ("parts.csv", 6, "sites"),
        ("sites.csv", 4, "comfort"),
        ("lines.csv", 2, "bore_mm"),
        ("lines.csv", 4, "from"),
        ("--set", None, "parts.valv.mass_g"),
        ("--set", None, "parts.valve.mass_g"),
    ]


# --- rules ---------------------------------------------------------------------------------


def rules(files: StudyFiles, *texts: str) -> StudyFiles:
    """Replace the study's rules by `kind a b` each."""
    head = str(files.texts["study.toml"]).split("[[rules]]")[0]
    for text in texts:
        kind, a, b = text.split()
        head += f'[[rules]]\nkind = "{kind}"\nparts = ["{a}", "{b}"]\n'
    files.texts["study.toml"] = head
    return files


def test_rule_about_an_unknown_part(files: StudyFiles) -> None:
    flaw = rules(files, "apart pump valv").flaw()
    assert where(flaw) == ("study.toml", 26, "rules.1.parts")
    assert flaw.nearest == "valve"


def test_copies_of_one_part_may_be_kept_apart_but_not_a_single_part(files: StudyFiles) -> None:
    assert rules(files, "apart valve valve").load().rules
    assert rules(files, "apart pump pump").flaw().found == '"pump" twice'


def test_same_place_and_apart_on_one_pair(files: StudyFiles) -> None:
    flaw = rules(files, "same_place pump valve", "apart valve pump").flaw()
    assert where(flaw) == ("study.toml", 27, "rules.2")
    assert flaw.found.startswith("valve and pump apart, which ")
    assert "row 24 key rules.1 puts together" in flaw.found


def test_contradiction_over_a_third_part_names_the_chain(files: StudyFiles) -> None:
    flaw = rules(
        files, "same_place pump valve", "same_place valve controller", "apart pump controller"
    ).flaw()
    assert where(flaw)[1:] == (30, "rules.3")
    assert "rules.1 and " in flaw.found and "rules.2 put together" in flaw.found


def test_fixed_sites_that_rules_force_together(files: StudyFiles) -> None:
    files.cell("parts.csv", 2, "sites", "").cell("parts.csv", 2, "fixed_site", "vest_back")
    flaw = rules(files, "same_place pump valve", "same_place valve actuator").flaw()
    assert flaw.found.startswith(
        "pump and actuator at one place, fixed at vest_back and shank_right (bound by "
    )


def test_fixed_sites_that_a_rule_keeps_apart(files: StudyFiles) -> None:
    files.cell("parts.csv", 6, "sites", "").cell("parts.csv", 6, "fixed_site", "shank_right")
    flaw = rules(files, "apart actuator valve").flaw()
    assert flaw.found == "actuator and valve apart, both fixed at shank_right"


def test_parts_at_one_place_that_share_no_site(files: StudyFiles) -> None:
    flaw = rules(files, "same_place pump actuator").flaw()
    assert flaw.found == "pump, actuator at one place, but no site is allowed for all of them"


# --- warnings ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("file", "row", "cells", "said"),
    [
        ("parts.csv", 2, {"mass_g": "25000"}, "weighs 25 kg; is the mass in grams?"),
        ("parts.csv", 2, {"volume_cm3": "0.24"}, "has 1.88e+03 g/cm3"),
        ("parts.csv", 2, {"volume_cm3": "240", "mass_g": "0.45"}, "has 0.00188 g/cm3"),
        ("parts.csv", 2, {"volume_cm3": "500"}, "its length, width and thickness make 297 cm3"),
        ("parts.csv", 2, {"length_mm": "1100"}, "is 1.1 m long"),
        ("sites.csv", 6, {"along_pct": "-10"}, "beyond the end of the foot"),
        ("sites.csv", 2, {"front_mm": "-500"}, "lies 500 mm from the axis of the trunk"),
        ("lines.csv", 4, {"mass_g_per_m": "5500"}, "weighs 5.5 kg per metre"),
        ("lines.csv", 2, {"bore_mm": "40"}, "has a bore of 40 mm"),
    ],
)
def test_likely_slips_are_warned_of_in_place(
    files: StudyFiles, file: str, row: int, cells: dict[str, str], said: str
) -> None:
    assert files.load().warnings == ()
    for column, text in cells.items():
        files.cell(file, row, column, text)
    warnings = files.load().warnings
    column = next(iter(cells))
    assert any(said in w and f"{file} row {row} column {column}" in w for w in warnings), warnings


def test_unusual_stature_is_warned_of(files: StudyFiles) -> None:
    files.put("study.toml", "1750", "1150").put("study.toml", "mass_kg = 75", "mass_kg = 30")
    (warning,) = files.load().warnings
    assert "study.toml row 12 key wearer.stature_mm: 1150 mm" in warning


def test_column_ignored_for_a_misspelt_name_is_warned_of(files: StudyFiles) -> None:
    files.put("parts.csv", "quantity", "quantitty")
    (warning,) = files.load().warnings
    assert warning.endswith(
        "parts.csv row 1 column quantitty: a column of your own, ignored; or is quantity meant?"
    )
