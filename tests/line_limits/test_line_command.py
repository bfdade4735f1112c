"""`limbtrim line`: the table of one line's response against its length."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from optimizer.commands._app import app
from optimizer.study.load import bundled

STUDIES = bundled("studies")


def run(*arguments: str) -> tuple[int, str]:
    result = CliRunner().invoke(app, ["line", *arguments])
    return result.exit_code, result.output


@pytest.mark.parametrize("width", [80, 120])
@pytest.mark.parametrize(
    ("study", "line"),
    [
        ("air_ankle", "fill_tube"),
        ("air_ankle", "vent_tube"),
        ("air_ankle", "supply_tube"),
        ("air_ankle", "radio_bus"),
        ("cable_hip_ankle", "hip_cable_left"),
        ("knee_motor", "motor_wire_left"),
    ],
)
def test_tables_keep_to_the_width(study: str, line: str, width: int) -> None:
    code, text = run(str(STUDIES / f"{study}.toml"), line, "--width", str(width))
    assert code == 0
    assert max(map(len, text.splitlines())) <= width
    assert line in text and "longest" in text
    assert "…" not in text
    assert "worked out, not measured" in text and "on the bench first" in text


def test_stars_mark_just_the_values_above_what_is_asked() -> None:
    _, text = run(str(STUDIES / "air_ankle.toml"), "fill_tube", "--width", "80")
    table = text[text.index("against length") :].splitlines()
    rows = [row.split() for row in table if row[:6].strip().isdigit()]
    assert len(rows) >= 5
    marked = 0
    for row in rows:
        cells = " ".join(row[1:]).replace(" *", "*").split()
        assert len(cells) == 4
        for cell in cells:
            assert cell.endswith("*") == (float(cell.rstrip("*")) > 150.0), cell
            marked += cell.endswith("*")
    assert 0 < marked < 4 * len(rows)


def test_json_says_the_same_and_times_rise_with_length() -> None:
    code, text = run(str(STUDIES / "air_ankle.toml"), "fill_tube", "--json", "-")
    document = json.loads(text)
    assert code == 0 and document["schema"] == "limbtrim.line/1"
    assert len(document["ways"]) == 4
    assert any("Test a layout on the bench first" in text for text in document["cautions"])
    impossible = [way for way in document["ways"] if not way["possible"]]
    assert [way["models"] for way in impossible] == [["direct acting"]]
    for way in document["ways"]:
        times = way["figures"]["fill_ms"]
        assert times == sorted(times)
        for length, ms in zip(document["lengths_m"], times, strict=True):
            fits = way["possible"] and length <= way["max_length_m"]
            assert fits == (ms <= way["budgets"]["fill_time"])


def test_lengths_asked_for_are_the_ones_shown() -> None:
    study = str(STUDIES / "knee_motor.toml")
    _, text = run(study, "motor_wire_left", "--json", "-", "--length", "500", "--length", "250")
    assert json.loads(text)["lengths_m"] == [0.25, 0.5]


def test_what_if_reaches_the_line() -> None:
    study = str(STUDIES / "knee_motor.toml")
    lengths = []
    for percent in ("1.5", "3"):
        _, text = run(
            study, "motor_wire_left", "--json", "-", "--set",
            f"lines.motor_wire_left.max_drop_pct={percent}",
        )  # fmt: skip
        lengths.append(json.loads(text)["ways"][0]["max_length_m"])
    assert lengths[1] == pytest.approx(2 * lengths[0])


def test_unknown_line_is_told_with_the_nearest() -> None:
    code, text = run(str(STUDIES / "air_ankle.toml"), "fil_tube")
    assert code == 2 and "fill_tube" in text


@pytest.mark.parametrize("length", ["0", "-5", "inf", "1e308", "1.1e9"])
def test_impossible_length_is_refused(length: str) -> None:
    code, text = run(str(STUDIES / "air_ankle.toml"), "fill_tube", f"--length={length}")
    assert code == 2 and "length above 0" in text
