"""Every way people write a number that is not one: exact place, plain sentence."""

from __future__ import annotations

import pytest
from study_files import StudyFiles, where

#: What is typed into the mass of the first part -> what the flaw must say.
SPOILT = [
    ("1,5", "a number with a decimal point, such as 1.5"),
    ("0,455", "a number with a decimal point, such as 0.455"),
    (",5", "a number with a decimal point, such as 0.5"),
    ("1,200", "1200 if the comma separates thousands, 1.200 if it separates decimals"),
    ("1.200,5", "without thousands separators, such as 1200.5"),
    ("1,200.5", "without thousands separators, such as 1200.5"),
    ("1 200", "without thousands separators, such as 1200"),
    ("1 200,5", "without thousands separators, such as 1200.5"),
    ("1\u202f200", "without thousands separators, such as 1200"),
    ("1'200", "without thousands separators, such as 1200"),
    ("1_200", "without thousands separators, such as 1200"),
    ("1.200.300", "without thousands separators, such as 1200300"),
    ("120 g", "a bare number, such as 120 (its unit, g, is in the name)"),
    ("120g", "a bare number, such as 120 (its unit, g, is in the name)"),
    ("0.12 kg", 'a bare number in g, without "kg"'),
    ("1,2 kg", 'a bare number in g, without "kg"'),
    ("", "a number greater than 0, in g"),
    ("   ", "a number greater than 0, in g"),
    ("0", "a number greater than 0, in g"),
    ("-5", "a number greater than 0, in g"),
    ("NaN", "a number greater than 0, in g"),
    ("inf", "a number greater than 0, in g"),
    ("1e999", "no larger than 1e+09"),
    ("1e-300", "0 or at least 1e-09"),
    ("\N{MINUS SIGN}5", "with the plain minus sign -"),
    ("heavy", "a number greater than 0, in g"),
    ("#DIV/0!", "a spreadsheet's error value"),
    ("=B2*2", "a formula's result, not the formula"),
    ("10-20", "a number greater than 0, in g"),
    ("\N{FULLWIDTH DIGIT ONE}", "a number greater than 0, in g"),
    ("0x10", "a number greater than 0, in g"),
    ("1" * 5000, "a number greater than 0, in g"),
]


@pytest.mark.parametrize(("typed", "said"), SPOILT, ids=[repr(t)[:20] for t, _ in SPOILT])
def test_mass_that_is_no_number_is_refused_in_place(
    files: StudyFiles, typed: str, said: str
) -> None:
    flaw = files.cell("parts.csv", 3, "mass_g", typed).flaw()
    assert where(flaw) == ("parts.csv", 3, "mass_g")
    assert said in flaw.expected
    assert len(flaw.found) < 80
    if typed.strip() and typed.isascii() and len(typed) < 60:
        assert flaw.found == f'"{typed.strip()}"'


@pytest.mark.parametrize("typed", ["1e2", "+5", "007", ".5", "5.", " 12 ", "1E-3", "\u00a012"])
def test_plain_numerals_are_taken(files: StudyFiles, typed: str) -> None:
    model = files.cell("parts.csv", 2, "mass_g", typed).load().parts[0].models[0]
    assert model.mass_kg == float(typed) / 1000


@pytest.mark.parametrize(
    ("file", "row", "column", "typed", "said"),
    [
        ("parts.csv", 2, "volume_cm3", "240 ml", "its unit, cm3, is in the name"),
        ("parts.csv", 2, "length_mm", "0", "greater than 0, in mm"),
        ("parts.csv", 2, "power_w", "-1", "not below 0, in W"),
        ("parts.csv", 2, "price", "12 EUR", 'a bare number without "EUR"'),
        ("parts.csv", 6, "quantity", "1.5", "a whole number from 1 to 99"),
        ("parts.csv", 6, "quantity", "0", "a whole number from 1 to 99"),
        ("parts.csv", 6, "quantity", "two", "a whole number from 1 to 99"),
        ("sites.csv", 2, "along_pct", "45 %", "its unit, %, is in the name"),
        ("sites.csv", 2, "along_pct", "450", "from -25 to 125, in %"),
        ("sites.csv", 2, "along_pct", "", "from -25 to 125, in %"),
        ("sites.csv", 2, "front_mm", "", "from -1000 to 1000, in mm"),
        ("sites.csv", 2, "outside_mm", "0,5", "such as 0.5"),
        ("sites.csv", 2, "volume_cm3", "-1", "not below 0, in cm3"),
        ("sites.csv", 2, "max_mass_g", "unlimited", "or an empty cell"),
        ("sites.csv", 2, "max_thickness_mm", "inf", "or an empty cell"),
        ("sites.csv", 2, "holder_mass_g", "-3", "not below 0, in g"),
        ("sites.csv", 2, "contact_cm2", "0", "greater than 0, in cm2"),
        ("sites.csv", 2, "comfort", "11", "from 0 to 10"),
        ("lines.csv", 2, "bore_mm", "0", "greater than 0, in mm"),
        ("lines.csv", 2, "mass_g_per_m", "", "not below 0, in g/m"),
        ("lines.csv", 2, "end_mass_g", "-1", "not below 0, in g"),
        ("lines.csv", 2, "max_length_mm", "0", "greater than 0, in mm"),
        ("lines.csv", 4, "slack_mm", "-1", "not below 0, in mm"),
    ],
)
def test_bounds_of_each_column(
    files: StudyFiles, file: str, row: int, column: str, typed: str, said: str
) -> None:
    flaw = files.cell(file, row, column, typed).flaw()
    assert where(flaw) == (file, row, column)
    assert said in flaw.expected


def test_units_said_in_messages_are_those_of_the_column_names() -> None:
    from optimizer.study.cells import Number
    from optimizer.study.lines import LineRow
    from optimizer.study.parts import PartRow
    from optimizer.study.sites import SiteRow

    endings = {"%": "_pct", "g/m": "_g_per_m", "W": "_w", "": ""}
    endings |= {"N": "_n", "N/mm": "_n_mm", "A": "_a", "V": "_v", "Wh": "_wh"}
    endings |= {"kPa": "_kpa", "dm3/(s bar)": "_c", "dm3/min": "_dm3_min", "ml/s": "_ml_s"}
    for schema in (PartRow, SiteRow, LineRow):
        for name, field in schema.model_fields.items():
            for marker in field.metadata:
                if isinstance(marker, Number):
                    assert name.endswith(endings.get(marker.unit, f"_{marker.unit}"))
