"""Bad physics in the tables: each told with file, row and column, all at once."""

from __future__ import annotations

from pathlib import Path

import pytest

from optimizer.study.load import load_study
from tests.study.study_files import StudyFiles, where

PARTS = """\
name,model,mass_g,volume_cm3,length_mm,width_mm,thickness_mm,sites,chamber_cm3,stroke_mm,piston_mm,valve_c,valve_b,valve_delay_ms
valve,light,35,15,42,22,22,vest_back,,,,0.12,0.3,10
valve,strong,60,25,60,30,15,vest_back,,,,0.2,0.35,14
vent,,35,15,42,22,22,vest_back,,,,0.12,0.3,10
silencer,,7,5,30,14,14,vest_back,,,,0.6,0.4,
cylinder,,180,75,150,34,32,vest_back,13,40,20,,,
box,,90,60,90,60,18,vest_back,,,,,,
"""
LINES = """\
name,option,kind,from,to,size,bore_mm,mass_g_per_m,max_length_mm,supply_kpa,target_kpa,response_ms,vent_kpa,vent_ms,fitting_c,fitting_b,max_drop_kpa,flow_anr_dm3_min,flow_ml_s,liquid,current_a,peak_current_a,voltage_v,max_drop_pct,friction_mu,min_efficiency_pct,rope
fill,thin,air_tube,valve,cylinder,3x2,2,4.7,,600,500,150,,,0.25,,,,,,,,,,,,
fill,wide,air_tube,valve,cylinder,4x2.5,2.5,9.2,,600,500,150,,,0.5,,,,,,,,,,,,
out,,air_tube,cylinder,vent,4x2.5,2.5,9.2,,,500,,115,320,0.5,,,,,,,,,,,,
noise,,air_tube,vent,silencer,4x2.5,2.5,9.2,300,,,,,,,,,,,,,,,,,,
feed,,air_tube,box,valve,6x4,4,18.8,,650,,,,,,,50,,,,,,,,,,
power,,wire,box,valve,AWG 24,,6.9,,,,,,,,,,,,,0.5,0.9,5,3,,,
pull,,pull_cable,box,cylinder,1.2,1.2,31,,,,,,,,,,,,,,,,,0.08,75,
water,,hose,box,silencer,6,4,30,,,,,,,,,12,,20,water 20C,,,,,,,
"""
FILL, WIDE, OUT, NOISE, FEED, POWER, PULL, WATER = range(2, 10)


@pytest.fixture
def files(tmp_path: Path) -> StudyFiles:
    made = StudyFiles(tmp_path)
    made.texts["parts.csv"], made.texts["lines.csv"] = PARTS, LINES
    made.texts["study.toml"] = str(made.texts["study.toml"]).split("[[rules]]")[0]
    return made


def test_the_study_is_sound_and_its_figures_are_in_si(files: StudyFiles) -> None:
    study = files.load()
    lines = {line.name: line for line in study.lines}
    parts = {part.name: part for part in study.parts}
    fill = lines["fill"].options[0].physics
    assert (fill.supply_pa, fill.target_pa, fill.response_s) == (6e5, 5e5, 0.15)
    assert fill.fitting_c == pytest.approx(0.25e-8)
    valve = parts["valve"].models[1].physics
    assert valve.valve_c == pytest.approx(0.2e-8)
    assert valve.valve_delay_s == pytest.approx(0.014)
    cylinder = parts["cylinder"].models[0].physics
    assert cylinder.chamber_m3 == pytest.approx(13e-6)
    assert cylinder.piston_m == 0.02
    assert lines["power"].options[0].physics.max_drop_share == pytest.approx(0.03)
    assert lines["water"].options[0].physics.flow_m3_s == pytest.approx(2e-5)
    assert lines["pull"].options[0].physics.min_efficiency == 0.75


@pytest.mark.parametrize(
    ("file", "row", "column", "typed", "found", "expected"),
    [
        ("lines.csv", FILL, "target_kpa", "600", "a target of 600 kPa", "below the supply"),
        ("lines.csv", FILL, "target_kpa", "700", "a target of 700 kPa", "below the supply"),
        ("lines.csv", FILL, "target_kpa", "90", "90 kPa", "the atmosphere"),
        ("lines.csv", FILL, "supply_kpa", "100", "100 kPa", "the atmosphere"),
        ("lines.csv", OUT, "vent_kpa", "101", "101 kPa", "the atmosphere"),
        ("lines.csv", OUT, "vent_kpa", "510", "510 kPa", "below the target of 500 kPa"),
        ("lines.csv", FILL, "bore_mm", "0", '"0"', "greater than 0"),
        ("lines.csv", FILL, "bore_mm", "", "an empty cell", "response_ms of fill needs it"),
        ("lines.csv", FILL, "response_ms", "0", '"0"', "greater than 0"),
        ("lines.csv", FILL, "fitting_b", "1", "1", "below 1"),
        ("lines.csv", FILL, "supply_kpa", "", "an empty cell", "response_ms of fill needs it"),
        ("lines.csv", FILL, "target_kpa", "", "an empty cell", "response_ms of fill needs it"),
        ("lines.csv", OUT, "vent_kpa", "", "an empty cell", "vent_ms of out needs it"),
        ("lines.csv", OUT, "target_kpa", "", "an empty cell", "venting starts from"),
        ("lines.csv", NOISE, "max_length_mm", "", "an empty cell", "vent_ms of out"),
        ("lines.csv", NOISE, "bore_mm", "", "an empty cell", "vent_ms of out"),
        ("lines.csv", FEED, "supply_kpa", "", "an empty cell", "max_drop_kpa of feed needs it"),
        ("lines.csv", FEED, "max_drop_kpa", "700", "a drop of 700 kPa", "below the supply"),
        ("lines.csv", POWER, "size", "AWG 23", '"AWG 23"', "a gauge"),
        ("lines.csv", POWER, "size", "", "an empty cell", "a gauge"),
        ("lines.csv", POWER, "voltage_v", "", "an empty cell", "max_drop_pct of power needs it"),
        ("lines.csv", POWER, "peak_current_a", "0.2", "a peak of 0.2 A", "current_a, 0.5 A"),
        ("lines.csv", POWER, "max_drop_pct", "120", '"120"', "at most 100"),
        ("lines.csv", POWER, "response_ms", "100", "response_ms of a wire", "for air_tube"),
        ("lines.csv", PULL, "friction_mu", "", "an empty cell", "min_efficiency_pct of pull"),
        ("lines.csv", PULL, "min_efficiency_pct", "0", '"0"', "greater than 0"),
        ("lines.csv", PULL, "rope", "7x9 stainless", '"7x9 stainless"', "7x7 stainless"),
        ("lines.csv", WATER, "liquid", "watr", '"watr"', "a liquid"),
        ("lines.csv", WATER, "liquid", "", "an empty cell", "a liquid"),
        ("lines.csv", WATER, "flow_ml_s", "", "an empty cell", "max_drop_kpa of water"),
        ("lines.csv", WATER, "flow_ml_s", "900", "Reynolds number", "the range of Blasius"),
        ("parts.csv", 2, "valve_b", "1.2", "1.2", "at least 0 and below 1"),
        ("parts.csv", 2, "valve_b", "-0.1", "-0.1", "at least 0 and below 1"),
        ("parts.csv", 3, "valve_b", "", "an empty cell", "goes with valve_c"),
        ("parts.csv", 5, "valve_c", "0", '"0"', "greater than 0"),
        ("parts.csv", 6, "chamber_cm3", "10", "10 cm3", "piston_mm and stroke_mm sweep"),
        ("parts.csv", 6, "stroke_mm", "", "an empty cell", "goes with piston_mm"),
    ],
)
def test_impossible_or_missing_number_is_told_with_its_row_and_column(
    files: StudyFiles, file: str, row: int, column: str, typed: str, found: str, expected: str
) -> None:
    flaws = files.cell(file, row, column, typed).flaws()
    mine = [flaw for flaw in flaws if where(flaw) == (file, row, column)]
    assert len(mine) == 1, flaws
    assert found in mine[0].found
    assert expected in mine[0].expected


def test_the_nearest_gauge_and_liquid_are_named(files: StudyFiles) -> None:
    files.cell("lines.csv", POWER, "size", "AWG 23").cell("lines.csv", WATER, "liquid", "watr 20C")
    near = {where(flaw)[2]: flaw.nearest for flaw in files.flaws()}
    assert near == {"size": "AWG 22", "liquid": "water 20C"}


def test_a_model_without_the_number_a_budget_needs_is_named_in_the_parts_table(
    files: StudyFiles,
) -> None:
    files.cell("parts.csv", 3, "valve_c", "").cell("parts.csv", 3, "valve_b", "")
    flaws = files.flaws()
    assert {where(flaw) for flaw in flaws} == {
        ("parts.csv", 3, "valve_c"),
        ("parts.csv", 3, "valve_b"),
    }
    assert any("response_ms of fill" in flaw.expected for flaw in flaws)


def test_a_response_asked_of_a_line_without_valve_or_chamber_is_refused(files: StudyFiles) -> None:
    files.cell("lines.csv", FILL, "to", "box").cell("lines.csv", WIDE, "to", "box")
    (flaw,) = files.flaws()
    assert where(flaw) == ("lines.csv", FILL, "response_ms")
    assert "between valve and box" in flaw.found and "chamber_cm3" in flaw.expected


def test_a_filling_time_on_a_line_leading_out_of_the_chamber_is_refused(files: StudyFiles) -> None:
    files.cell("lines.csv", OUT, "response_ms", "150").cell("lines.csv", OUT, "supply_kpa", "600")
    (flaw,) = files.flaws()
    assert where(flaw) == ("lines.csv", OUT, "response_ms")
    assert "from cylinder to vent" in flaw.found


def test_all_flaws_are_told_at_once(files: StudyFiles) -> None:
    files.cell("lines.csv", FILL, "target_kpa", "700")
    files.cell("lines.csv", POWER, "size", "AWG 23")
    files.cell("parts.csv", 2, "valve_b", "1.5")
    assert {where(flaw) for flaw in files.flaws()} == {
        ("lines.csv", FILL, "target_kpa"),
        ("lines.csv", POWER, "size"),
        ("parts.csv", 2, "valve_b"),
    }


def test_an_override_that_makes_it_impossible_is_named_as_the_culprit(files: StudyFiles) -> None:
    flaws = files.flaws({"lines.fill.thin.target_kpa": 650})
    assert len(flaws) == 1
    assert flaws[0].origin.file.startswith("--set") or "override" in flaws[0].origin.file
    assert "below the supply" in flaws[0].expected


def test_budgets_can_be_changed_by_path(files: StudyFiles) -> None:
    path = files.write()
    before = load_study(path).lines[0].options[1].physics.response_s
    after = load_study(path, {"lines.fill.response_ms": 120}).lines[0].options[1].physics
    assert before == 0.15
    assert after.response_s == pytest.approx(0.12)


@pytest.mark.parametrize(
    ("load_n", "spring_n_mm", "share", "least_kpa"),
    [
        # by hand: A = 314.16 mm2; 101.325 kPa + 200 N/A = 737.9, + 1.5 x 40/A = 928.9
        ("200", "1.5", "0 %", "929"),
        # 355.97 to 546.96 kPa: (500 - 355.97) / 190.99
        ("80", "1.5", "75 %", "547"),
        ("0", "4", "78 %", "611"),
        ("126", "0", "0 %", "503"),
    ],
)
def test_a_piston_that_stalls_is_an_error_and_no_fast_one(
    files: StudyFiles, load_n: str, spring_n_mm: str, share: str, least_kpa: str
) -> None:
    header, *rows = PARTS.splitlines()
    rows = [f"{row},," for row in rows[:4]] + [f"{rows[4]},{load_n},{spring_n_mm}", f"{rows[5]},,"]
    files.texts["parts.csv"] = "\n".join([f"{header},load_n,spring_n_mm", *rows, ""])
    flaw = files.flaw()
    assert where(flaw) == ("parts.csv", 6, "spring_n_mm" if load_n == "0" else "load_n")
    assert f"{share} of the stroke is made at target_kpa 500 of fill" in flaw.found
    assert flaw.expected.endswith(f"target_kpa of at least {least_kpa}")
    # 500 kPa push 125.2 N: the 65 N with the 60 N of the spring are moved, and nothing is said
    files.texts["parts.csv"] = str(files.texts["parts.csv"]).replace(
        f",{load_n},{spring_n_mm}\n", ",65,1.5\n"
    )
    files.load()


@pytest.mark.parametrize(
    ("size", "mass_g_per_m", "said"),
    [
        # water of 998.2 kg/m3 in 4 mm: 12.54 g/m; a 6x4 wall of 1.2 g/cm3: 18.85 g/m
        ("6", "12", "12 g/m, less than 12.5 g/m of water 20C; is"),
        ("6", "13", None),
        ("6x4", "30", "30 g/m, less than 12.5 g/m of water 20C in a polyurethane wall of 18.8"),
        ("6x4", "32", None),
    ],
)
def test_a_hose_too_light_to_be_full_is_told(
    files: StudyFiles, size: str, mass_g_per_m: str, said: str | None
) -> None:
    files.cell("lines.csv", WATER, "size", size)
    files.cell("lines.csv", WATER, "mass_g_per_m", mass_g_per_m)
    found = [w for w in files.load().warnings if "liquid" in w]
    assert len(found) == (said is not None)
    for warning in found:
        assert "lines.csv row 9 column mass_g_per_m" in warning and str(said) in warning


@pytest.mark.parametrize(
    ("row", "supply_kpa", "gauge_kpa"),
    # a catalogue's polyurethane 4x2.5 and 6x4 are for 0.8 MPa, gauge: 901.3 kPa absolute
    [(WIDE, "1600", 1499), (WIDE, "902", 801), (WIDE, "901", None), (FEED, "950", 849)],
)
def test_a_tube_above_the_pressure_it_is_made_for_is_told(
    files: StudyFiles, row: int, supply_kpa: str, gauge_kpa: int | None
) -> None:
    files.cell("lines.csv", row, "supply_kpa", supply_kpa)
    found = [w for w in files.load().warnings if "made for 800 kPa" in w]
    assert len(found) == (gauge_kpa is not None)
    for warning in found:
        assert f"lines.csv row {row} column supply_kpa" in warning
        assert f"holds {gauge_kpa} kPa above the atmosphere" in warning
