"""`trust`, `crowd` and `learn` as a user runs them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.test_commands import limbtrim

pytestmark = pytest.mark.xdist_group("trust commands")


@pytest.fixture(scope="module")
def study(tmp_path_factory) -> str:
    folder = tmp_path_factory.mktemp("studies")
    assert limbtrim("new", "mine", "--in", str(folder)).returncode == 0
    return str(folder / "mine.toml")


def test_trust_tells_wins_regret_and_what_decides(study: str, tmp_path: Path) -> None:
    to = tmp_path / "trust.json"
    done = limbtrim(
        "trust", study, "--draws", "200", "--solve", "6", "--top", "3", "--workers", "1",
        "--json", str(to),
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    for words in ("How often each layout is best", "Least worst regret", "Drawn from", "proven"):
        assert words in done.stdout
    document = json.loads(to.read_text())
    assert document["schema"] == "limbtrim.trust/1"
    assert sum(x["win_share"] for x in document["layouts"]) == pytest.approx(1.0)
    assert document["least_worst_regret"]["proven"]
    assert document["draws"]["solved"] == 6


def test_trust_refuses_ranges_and_weights_it_cannot_read(study: str) -> None:
    done = limbtrim("trust", study, "--mass", "60-90")
    assert done.returncode == 2
    assert "60:90" in done.stderr
    done = limbtrim("trust", study, "--leg", "radius_sqared=1")
    assert done.returncode == 2
    assert "radius_squared" in done.stderr


def test_crowd_serves_the_supplied_bodies(study: str) -> None:
    done = limbtrim("crowd", study, "--workers", "1", "--json", "-")
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    assert [w["name"] for w in document["wearers"]][:2] == ["female_p5", "female_p50"]
    assert document["common"]["mean"]["proven"]
    assert any("no one person" in text for text in document["warnings"])


def test_crowd_says_who_makes_up_each_size(study: str) -> None:
    done = limbtrim("crowd", study, "--workers", "1", "--width", "80")
    assert done.returncode == 0, done.stderr
    said = [line.strip() for line in done.stdout.splitlines()]
    assert "small: female_p5 and male_p5" in said


def test_learn_writes_a_model_that_place_accepts(study: str, tmp_path: Path) -> None:
    rows = ["subject,body_mass_kg,speed_m_s,thigh_kg,shank_kg,foot_kg,trunk_kg,metabolic_w"]
    for who, body, base in (("a", 70, 280.0), ("b", 82, 330.0), ("c", 61, 250.0)):
        for thigh, foot, trunk in ((0, 0, 0), (2, 0, 0), (0, 2, 0), (0, 0, 6)):
            power = base + body * (0.08 * thigh + 0.21 * foot + 0.05 * trunk)
            rows.append(f"{who},{body},1.1,{thigh},,{foot},{trunk},{power:.1f}")
    trials, model = tmp_path / "trials.csv", tmp_path / "mine.toml"
    trials.write_text("\n".join(rows) + "\n")
    done = limbtrim("learn", str(trials), "--write", str(model), "--json", "-")
    assert done.returncode == 0, done.stderr
    slopes = {s["place"]: s for s in json.loads(done.stdout)["slopes"]}
    assert slopes["foot"]["mean_w_per_kg_per_kg"] == pytest.approx(0.21, rel=0.02)
    assert not slopes["shank"]["told"]
    placed = limbtrim("place", study, "--top", "1", "--set", f"energy.leg=file:{model}")
    assert placed.returncode == 0, placed.stderr
    assert "file:" in placed.stdout
    refused = limbtrim("learn", str(trials), "--form", "curve")
    assert refused.returncode == 2
    assert "segment_curve" in refused.stderr
