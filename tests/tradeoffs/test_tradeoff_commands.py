"""`front`, `sweep`, `target`, `whatif` and `compare` as a user calls them."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from rich.cells import cell_len

from optimizer.cli import main
from optimizer.solve.front import Front, front
from optimizer.solve.sweep import sweep
from optimizer.solve.sweep_dial import dial
from optimizer.study.load import load_study
from tests.tradeoffs.small import small

Run = Callable[..., tuple[int, str, str]]
SCENARIO = '\n[[scenarios]]\nname = "light valve"\nset = { "parts.valve.mass_g*" = 0.5 }\n'


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    """Runs a command in this process: exit code, stdout, stderr."""
    for name in ("COLUMNS", "NO_COLOR", "FORCE_COLOR"):
        monkeypatch.delenv(name, raising=False)

    def call(*arguments: object) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as ended:
            main([str(argument) for argument in arguments])
        out, err = capsys.readouterr()
        return int(ended.value.code or 0), out, err

    return call


@pytest.fixture
def study(tmp_path: Path) -> Path:
    return small(tmp_path, SCENARIO)


def fits(text: str, width: int = 80) -> bool:
    return all(cell_len(line) <= width for line in text.splitlines())


def test_front_shows_the_points_and_what_place_picks(run: Run, study: Path) -> None:
    code, out, err = run("front", study, "--goals", "metabolic,comfort", "-q")
    found = front(load_study(study), ("metabolic", "comfort"))
    assert isinstance(found, Front)
    assert code == 0 and err == "" and fits(out)
    said = " ".join(out.split())
    assert len(found.points) > 1
    assert f"{len(found.points)} layouts that no other beats" in said
    assert "Proven complete" in said
    assert "`limbtrim place` picks" in said
    assert "--" not in out.partition("Before anyone")[0]


def test_fronts_json_is_the_front_and_the_same_every_time(run: Run, study: Path) -> None:
    code, out, _ = run("front", study, "--third", "comfort", "--json", "-", "-q")
    again = run("front", study, "--third", "comfort", "--json", "-", "-q")[1]
    assert code == 0 and out == again
    told = json.loads(out)
    assert told["schema"] == "limbtrim.front/1" and told["complete"]
    found = front(load_study(study), third="comfort")
    assert isinstance(found, Front)
    values = [tuple(point["values"].values()) for point in told["points"]]
    assert values == [pytest.approx(point.values) for point in found.points]
    assert all(point["layout"]["feasible"] for point in told["points"])


def test_sweep_shows_every_piece_and_how_it_was_found(run: Run, study: Path) -> None:
    path = "parts.pump.mass_g"
    code, out, err = run("sweep", study, path, "--from", 100, "--to", 900)
    assert code == 0 and fits(out) and "solve" in err
    found = sweep(dial(study, path), 100, 900)
    said = " ".join(out.split())
    assert f"{path} (g), now 450: " in said
    assert "Exact: every switch point" in said
    told = json.loads(run("sweep", study, path, "--from", 100, "--to", 900, "--json", "-")[1])
    assert told["schema"] == "limbtrim.sweep/1"
    assert told["switch_points"] == list(found.switch_points)
    assert len(told["pieces"]) == len(found.pieces)
    assert told["method"] == "exact" and told["turned"]["now"] == 450


def test_sweep_says_when_it_could_only_bracket(run: Run, study: Path) -> None:
    code, out, _ = run("sweep", study, "wearer.stature_mm", "--from", 1600, "--to", 1800, "-q")
    assert code == 0
    assert "Bracketed and bisected, as it" in " ".join(out.split())
    code, out, _ = run("sweep", study, "limits.sites_in_use", "--from", 1, "--to", 4, "-q")
    assert code == 0 and "Every whole number was solved." in out


def test_the_range_of_a_sweep_follows_from_the_study_or_is_asked_for(run: Run, study: Path) -> None:
    code, out, _ = run("sweep", study, "parts.pump.mass_g", "--json", "-", "-q")
    told = json.loads(out)["turned"]
    assert code == 0 and (told["low"], told["high"]) == (pytest.approx(90), pytest.approx(1350))
    code, out, err = run("sweep", study, "weights.comfort", "-q")
    assert code == 2 and out == "" and "--from, --to" in err


def test_target_answers_in_a_sentence_and_confirms_it(run: Run, study: Path) -> None:
    path = "parts.actuator.mass_g"
    limits = ("--from", 50, "--to", 400)
    figure = ("--figure", "metabolic_pct", "--at-most")
    low, high = (
        json.loads(run("sweep", study, path, *limits, "--json", "-", "-q")[1])["pieces"][i][end][
            "penalty"
        ]["metabolic_pct"]
        for i, end in ((0, "at_low"), (-1, "at_high"))
    )
    bound = 0.5 * (low + high)
    code, out, _ = run("target", study, path, *limits, *figure, bound, "-q")
    said = " ".join(out.split())
    assert code == 0 and fits(out)
    assert "Metabolic penalty at most" in said and "up to" in said
    assert "Every end was solved anew and confirmed." in said
    told = json.loads(run("target", study, path, *limits, *figure, bound, "--json", "-", "-q")[1])
    assert told["schema"] == "limbtrim.target/1" and told["verified"]
    (met,) = told["met"]
    assert met["low"] == 50 and 50 < met["high"] < 400
    code, out, _ = run("target", study, path, *limits, *figure, 0.01, "-q")
    assert code == 0 and "At no value from 50 to 400 g" in " ".join(out.split())


def test_target_of_a_place_names_where_it_is_taken(run: Run, study: Path) -> None:
    where = ("--part", "actuator", "--at", "shank", "--from", 100, "--to", 200)
    code, out, _ = run("target", study, "parts.actuator.mass_g", *where, "-q")
    assert code == 0
    assert "Actuator at shank: all the way from 100 to 200 g" in " ".join(out.split())


def test_whatif_sets_scenarios_beside_the_study_as_written(run: Run, study: Path) -> None:
    code, out, _ = run("whatif", study, "-q")
    said = " ".join(out.split())
    assert code == 0 and fits(out)
    assert "as written" in said and "light valve" in said
    assert "set: parts.valve.mass_g*=0.5" in said
    assert "Every layout here is proven best in its scenario." in said
    settings = ("--set", "parts.pump.mass_g=900", "--set", "wearer.mass_kg=58")
    told = json.loads(run("whatif", study, *settings, "--json", "-", "-q")[1])
    assert told["schema"] == "limbtrim.whatif/1"
    assert [s["name"] for s in told["scenarios"]] == ["as written", "as set"]
    assert told["scenarios"][1]["set"] == ["parts.pump.mass_g=900", "wearer.mass_kg=58"]
    assert told["scenarios"][1]["study"]["wearer"]["mass_kg"] == 58
    both = json.loads(
        run("whatif", study, *settings, "--scenario", "light valve", "--json", "-", "-q")[1]
    )
    assert [s["name"] for s in both["scenarios"]] == ["as written", "light valve", "as set"]


def test_whatif_refuses_what_it_cannot_read(run: Run, study: Path, tmp_path: Path) -> None:
    code, _, err = run("whatif", study, "--scenario", "light valves")
    assert code == 2 and "light valve" in err
    code, _, err = run("whatif", study, "--set", "parts.pmup.mass_g=1")
    assert code == 2 and "parts.pump.mass_g" in err
    code, _, err = run("whatif", small(tmp_path / "plain"))
    assert code == 2 and "no scenario" in err


def test_whatif_tells_of_a_scenario_in_which_nothing_fits(run: Run, study: Path) -> None:
    code, out, _ = run("whatif", study, "--set", "limits.device_mass_g=500", "-q")
    assert code == 0
    assert "no layout meets every limit" in " ".join(out.split())


def test_compare_shows_differences_first(run: Run, study: Path, tmp_path: Path) -> None:
    code, out, _ = run("compare", study, "--set-b", "weights.swing_inertia=3", "-q")
    assert code == 0 and fits(out)
    said = " ".join(out.split())
    assert "Input: 1 difference" in said
    assert "weights.swing_inertia 0.1 3" in said
    assert out.index("Figures") < out.index("Input")
    ranking = tmp_path / "ranking.json"
    assert run("place", study, "--top", 2, "--json", ranking, "-q")[0] == 0
    layouts = ("--layout-a", ranking, "--layout-b", ranking, "--rank-b", 2)
    code, out, _ = run("compare", study, *layouts, "--json", "-", "-q")
    told = json.loads(out)
    assert code == 0 and told["schema"] == "limbtrim.comparison/1"
    assert told["layout_differences"] and told["input_differences"] == []
    assert told["a"]["proof"] == told["b"]["proof"] == "given"
    ranked = json.loads(ranking.read_text())["layouts"]
    assert told["b"]["layout"]["score"] == pytest.approx(ranked[1]["score"])


def test_compare_says_when_one_side_has_no_layout(run: Run, study: Path) -> None:
    code, out, _ = run("compare", study, "--set-b", "limits.device_mass_g=300", "-q")
    assert code == 3
    assert "nothing meets every limit" in " ".join(out.split())


@pytest.mark.parametrize("width", [60, 120])
def test_tables_keep_to_the_width(run: Run, study: Path, width: int) -> None:
    turned = ("parts.pump.mass_g", "--from", 100, "--to", 900)
    for arguments in (
        ("front", study, "--goals", "metabolic,comfort"),
        ("sweep", study, *turned),
        ("target", study, *turned, "--figure", "metabolic_pct", "--at-most", 5),
        ("whatif", study),
        ("compare", study, "--set-b", "wearer.mass_kg=90"),
    ):
        code, out, _ = run(*arguments, "--width", width, "-q")
        assert code == 0 and fits(out, width), arguments[0]


def test_nothing_fits_is_told_with_exit_code_3(run: Run, tmp_path: Path) -> None:
    study = small(tmp_path / "full")
    code, out, _ = run("front", study, "--set", "limits.device_mass_g=400", "-q")
    assert code == 3 and "No layout of study meets every limit." in out


def test_no_time_is_told_with_exit_code_4(run: Run, study: Path) -> None:
    turned = ("parts.pump.mass_g", "--from", 100, "--to", 900, "--time-limit", 0, "-q")
    assert run("front", study, "--time-limit", 0, "-q")[0] == 4
    assert run("sweep", study, *turned)[0] == 4
    assert run("target", study, *turned, "--figure", "score", "--at-most", 5)[0] == 4
