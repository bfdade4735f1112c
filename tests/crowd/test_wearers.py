"""Tables of wearers, the supplied one above all."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from optimizer.crowd.wearers import PERCENTILES, read_wearers
from optimizer.errors import InputError
from optimizer.study.model import WearerSpec

LIKE = WearerSpec("male", 1.75, 75.0, inertia_table="winter_dempster", affected_side="left")
CHECK = Path(__file__).parent.parent / "data" / "check_ansur_percentiles.csv"


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as table:
        return list(csv.DictReader(table))


@pytest.mark.parametrize("row", rows_of(CHECK), ids=lambda r: f"{r['sex']}-{r['column']}")
def test_percentiles_are_those_of_the_survey(row: dict[str, str]) -> None:
    supplied = {r["name"]: r for r in rows_of(PERCENTILES)}
    for p in ("p5", "p50", "p95"):
        found = float(supplied[f"{row['sex']}_{p}"][row["column"]])
        # printed to the last digit shown
        digits = len(row[p].partition(".")[2])
        assert abs(found - float(row[p])) <= 0.51 * 10.0**-digits


def test_the_supplied_bodies_can_be_built_and_keep_the_study_s_tables() -> None:
    people = read_wearers(None, LIKE)
    assert [p.name for p in people] == [
        f"{sex}_{p}" for sex in ("female", "male") for p in ("p5", "p50", "p95")
    ]
    assert {p.spec.inertia_table for p in people} == {"winter_dempster"}
    assert {p.spec.affected_side for p in people} == {"left"}
    assert people[0].spec.measured["foot_length_m"] == pytest.approx(0.226)
    assert [p.size for p in people[:3]] == ["small", "medium", "large"]


def test_own_wearers_may_have_measurements_and_sizes(tmp_path: Path) -> None:
    file = tmp_path / "w.csv"
    file.write_text(
        "name;sex;stature_mm;mass_kg;size;thigh_length_mm\n"
        "ann;female;1600;60;S;400\nbob;male;1800;80;;\n"
    )
    ann, bob = read_wearers(file, LIKE)
    assert ann.spec.measured == {"thigh_length_m": 0.4}
    assert ann.size == "S"
    assert bob.size == "all"
    assert bob.spec.stature_m == 1.8


def test_every_flaw_of_a_table_is_told_with_its_row(tmp_path: Path) -> None:
    file = tmp_path / "w.csv"
    file.write_text(
        "name,sex,stature_mm,mass_kg,thigh_length_mm\n"
        "a,femal,1600,60,\na,male,160,60,\nb,male,1700,70,9000\nc,male,1700,70,12 cm\n"
    )
    with pytest.raises(InputError) as caught:
        read_wearers(file, LIKE)
    found = {(f.origin.row, f.origin.column) for f in caught.value.flaws}
    assert found == {
        (2, "sex"),
        (3, "stature_mm"),
        (4, "thigh_length_mm"),
        (5, "thigh_length_mm"),
    }


def test_misspelt_measurement_is_told(tmp_path: Path) -> None:
    file = tmp_path / "w.csv"
    file.write_text("name,sex,stature_mm,mass_kg,tigh_length_mm\na,male,1700,70,400\n")
    cautions: list[str] = []
    read_wearers(file, LIKE, cautions)
    (said,) = cautions
    assert "w.csv row 1 column tigh_length_mm" in said and "is thigh_length_mm meant?" in said
    cautions.clear()
    read_wearers(None, LIKE, cautions)
    assert not cautions


def test_two_wearers_of_one_name_and_an_empty_table_are_refused(tmp_path: Path) -> None:
    file = tmp_path / "w.csv"
    file.write_text("name,sex,stature_mm,mass_kg\na,male,1700,70\na,male,1800,80\n")
    with pytest.raises(InputError, match="again"):
        read_wearers(file, LIKE)
    file.write_text("name,sex,stature_mm,mass_kg\n")
    with pytest.raises(InputError):
        read_wearers(file, LIKE)
