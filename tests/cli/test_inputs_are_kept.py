"""No answer is written over a file that the question was read from."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.running import run_here

TRIALS = (
    "subject,body_mass_kg,speed_m_s,thigh_kg,shank_kg,foot_kg,trunk_kg,metabolic_w\n"
    "a,70,1.25,0,0,0,0,280\na,70,1.25,0,0,2,0,311\na,70,1.25,0,2,0,0,292\n"
)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    assert run_here(("new", "base", "--in", str(tmp_path)))[0] == 0
    (tmp_path / "trials.csv").write_text(TRIALS)
    assert (
        run_here(
            ("place", str(tmp_path / "base.toml"), "--top", "1", "--json",
             str(tmp_path / "ranking.json"))
        )[0]
        == 0
    )  # fmt: skip
    (tmp_path / "link.toml").symlink_to("base.toml")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def everything(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


@pytest.mark.parametrize(
    ("command", "option"),
    [
        ("check base.toml --json base.toml", "--json"),
        ("check base.toml --json link.toml", "--json"),
        ("check base.toml --json ./base_sites.csv", "--json"),
        ("place base.toml --json base_parts.csv", "--json"),
        ("weigh base.toml --layout ranking.json --json ranking.json", "--json"),
        ("export base.toml --table parts --out base_parts.csv", "--out"),
        ("export base.toml --table sweep --sweep parts.pump.mass_g --out base.toml", "--out"),
        ("export base.toml --table parts --layout ranking.json --out ranking.json", "--out"),
        ("learn trials.csv --write trials.csv", "--write"),
        ("learn trials.csv --json trials.csv", "--json"),
    ],
)
def test_an_answer_is_not_written_over_an_input(command: str, option: str, folder: Path) -> None:
    before = everything(folder)
    code, out, err = run_here(command.split())
    assert code == 2 and out == ""
    assert f"{option}:\n  found" in err and "which is read" in err and err.count("found") == 1
    assert everything(folder) == before


def test_an_answer_may_replace_what_is_not_read(folder: Path) -> None:
    for command in (
        "check base.toml --json ranking.json",
        "export base.toml --table parts --layout ranking.json --out trials.csv",
    ):
        if "layout" in command:
            run_here(["place", "base.toml", "--top", "1", "--json", "ranking.json"])
        assert run_here(command.split())[0] == 0
    assert (folder / "trials.csv").read_text().startswith("unit,")


def test_a_wrong_study_is_told_together_with_the_output(folder: Path) -> None:
    said = ["check", "base.toml", "--json", "base_sites.csv", "--set", "parts.pump.mass_g=heavy"]
    code, _, err = run_here(said)
    assert code == 2 and "which is read" in err and "heavy" in err
