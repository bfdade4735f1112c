"""Whatever lies outside what models and tables were measured at is said with every answer."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from optimizer.joint.heed import summed_up
from tests.running import run_here

FAST = "leg model segment_curve: speed 2.50 m/s is outside"
TALL = "stature 2.1 m is outside"
WIRE = "above the rule of 700 circular mil per ampere"
SWEPT = ("parts.valve.mass_g", "--from", "60", "--to", "80")
#: Every command that answers about a study, with what it is asked.
ASKED = {
    "place": ("--top", "1"),
    "why": ("valve",),
    "front": ("--goals", "metabolic,comfort"),
    "sweep": SWEPT,
    "target": (*SWEPT, "--figure", "score", "--at-most", "99"),
    "whatif": ("--scenario", "tried"),
    "trust": ("--draws", "10", "--solve", "2", "--workers", "1", "--no-regret"),
    "crowd": ("--workers", "1"),
}
SCENARIO = '\n[[scenarios]]\nname = "tried"\nset = { "parts.valve.mass_g" = 70 }\n'


def said(text: str) -> str:
    """Running text, whatever lines it was broken into."""
    return " ".join(text.replace("\\_", "_").split())


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The study `new` writes, of a very tall wearer who runs."""
    folder = tmp_path_factory.mktemp("warned")
    assert run_here(("new", "mine", "--in", str(folder)))[0] == 0
    made = folder / "mine.toml"
    text = re.sub(r"(?m)^speed_m_s = .*$", "speed_m_s = 2.5", made.read_text())
    made.write_text(re.sub(r"(?m)^stature_mm = .*$", "stature_mm = 2100", text) + SCENARIO)
    (folder / "people.csv").write_text(
        "name,sex,stature_mm,mass_kg\nann,female,1650,60\nbea,female,1700,65\ncy,male,2100,110\n"
    )
    return made


@pytest.mark.parametrize("command", ASKED)
def test_every_answer_says_that_speed_and_stature_are_out_of_range(
    command: str, study: Path, tmp_path: Path
) -> None:
    kept = tmp_path / "answer.json"
    code, out, _ = run_here((command, str(study), *ASKED[command], "--json", str(kept)))
    assert code == 0
    document = json.loads(kept.read_text())
    # a crowd has bodies of its own, and none of those supplied is so tall
    for text in (FAST,) if command == "crowd" else (FAST, TALL):
        assert text in said(out)
        assert sum(text in warning for warning in document["warnings"]) == 1
    assert len(set(document["warnings"])) == len(document["warnings"])


def test_compare_says_it_of_both_sides(study: Path, tmp_path: Path) -> None:
    kept = tmp_path / "answer.json"
    changed = ("--set-b", "task.speed_m_s=2.4")
    code, out, _ = run_here(("compare", str(study), *changed, "--json", str(kept)))
    assert code == 0
    warnings = json.loads(kept.read_text())["warnings"]
    for text in (FAST, FAST.replace("2.50", "2.40")):
        assert text in said(out) and any(text in warning for warning in warnings)


@pytest.mark.parametrize("command", ["place", "why", "trust"])
def test_a_study_in_which_nothing_fits_says_it_too(
    command: str, study: Path, tmp_path: Path
) -> None:
    kept = tmp_path / "answer.json"
    small = ("--set", "limits.device_mass_g=100")
    code, out, _ = run_here((command, str(study), *small, "--json", str(kept)))
    assert code == 3
    for text in (FAST, TALL):
        assert text in said(out)
        assert any(text in warning for warning in json.loads(kept.read_text())["warnings"])


@pytest.mark.parametrize("form", ["md", "html"])
def test_the_build_sheet_says_it_on_paper_and_on_the_terminal(
    form: str, study: Path, tmp_path: Path
) -> None:
    sheet, kept = tmp_path / f"sheet.{form}", tmp_path / "answer.json"
    code, out, _ = run_here(("build", str(study), "--out", str(sheet), "--json", str(kept)))
    assert code == 0
    for text in (FAST, TALL):
        assert text in said(out) and text in said(sheet.read_text())
        assert any(text in warning for warning in json.loads(kept.read_text())["warnings"])


def test_a_crowd_says_which_wearers_are_out_of_range(study: Path, tmp_path: Path) -> None:
    kept = tmp_path / "answer.json"
    people = ("--wearers", str(study.parent / "people.csv"), "--workers", "1")
    normal = ("--set", "task.speed_m_s=1.25", "--set", "wearer.stature_mm=1700")
    code, out, _ = run_here(("crowd", str(study), *people, *normal, "--json", str(kept)))
    assert code == 0
    assert f"1 of 3 wearers (cy): {TALL}" in said(out)
    wearers = json.loads(kept.read_text())["wearers"]
    assert [any(TALL in w for w in each["warnings"]) for each in wearers] == [False, False, True]


def test_what_bodies_drawn_are_beyond_is_said_of_trust(study: Path) -> None:
    normal = ("--set", "task.speed_m_s=1.25", "--set", "wearer.stature_mm=1700")
    drawn = ("--speed", "1.2:2.4", "--bodies", "4", *ASKED["trust"])
    code, out, _ = run_here(("trust", str(study), *normal, *drawn))
    assert code == 0
    assert "of 4 bodies and speeds" in said(out) and "leg model segment_curve: speed" in said(out)


def test_air_that_cannot_be_and_warm_wires_are_said_of_questions_too() -> None:
    demo = Path(__file__).parents[2] / "studies" / "air_ankle.toml"
    flow = ("--set", "parts.pump.power_w*=0.1")
    turned = ("parts.radio.mass_g", "--from", "18", "--to", "18.1")
    asked = {
        "why": ("radio",),
        "target": (*turned, "--figure", "score", "--at-most", "99"),
    }
    for command, arguments in asked.items():
        code, out, _ = run_here((command, str(demo), *arguments, *flow))
        assert code == 0
        assert "flow or power is wrong" in said(out) and WIRE in said(out)


def test_warnings_alike_but_for_their_numbers_are_summed_up() -> None:
    told = [("a", ["mass 9 kg", "slow"]), ("b", ["mass 8.5 kg", "slow"]), ("c", ["slow"])]
    assert summed_up(told, "wearers") == ("2 of 3 wearers (a, b): first of them: mass 9 kg", "slow")
    many = [(name, ["out of range"]) for name in "abcdef"] + [("g", [])]
    assert summed_up(many, "bodies") == ("6 of 7 bodies (a, b, c, d, ...): out of range",)
    assert summed_up([], "bodies") == ()
