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
    code, out, err = run("sweep", study, path, "--from", 100, "--to", 1400)
    assert code == 0 and fits(out) and "solve" in err
    found = sweep(dial(study, path), 100, 1400)
    assert len(found.pieces) == 3
    said = " ".join(out.split())
    assert f"{path} (g), now 450: " in said
    assert "Exact: every switch point" in said
    assert "because of mass in vest_back" in said
    one = run("sweep", study, path, "--from", 100, "--to", 900)[1]
    assert "one answer all the way" in one and "Exact: it is proven" in one
    told = json.loads(run("sweep", study, path, "--from", 100, "--to", 1400, "--json", "-")[1])
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
    said = " ".join(out.split())
    assert code == 0 and "Metabolic penalty at most 0.01 %: at no value from 50 to 400 g." in said
    assert f"Nearest: metabolic penalty {low:.5g} % at 50 g." in said
    told = json.loads(run("target", study, path, *limits, *figure, 0.01, "--json", "-", "-q")[1])
    assert told["nearest"] == {"value": 50, "figure": pytest.approx(low)}


def test_targets_json_has_the_layout_at_each_end(run: Run, study: Path) -> None:
    turned = ("parts.actuator.mass_g", "--from", 50, "--to", 400)
    wanted = ("--figure", "worn_g", "--at-most", 1500)
    told = json.loads(run("target", study, *turned, *wanted, "--json", "-", "-q")[1])
    for met in told["met"]:
        for value, layout in ((met["low"], met["at_low"]), (met["high"], met["at_high"])):
            assert layout["feasible"]
            (again,) = json.loads(
                run(
                    "place",
                    study,
                    *("--top", 1, "--set", f"parts.actuator.mass_g={value!r}"),
                    *("--json", "-", "-q"),
                )[1]
            )["layouts"]
            assert layout["score"] == pytest.approx(again["score"], rel=1e-6)
    assert told["met"]


def test_target_of_a_place_names_where_it_is_taken(run: Run, study: Path) -> None:
    where = ("--part", "actuator", "--at", "shank", "--from", 100, "--to", 200)
    code, out, _ = run("target", study, "parts.actuator.mass_g", *where, "-q")
    assert code == 0
    assert "actuator sits at shank: all the way from 100 to 200 g" in " ".join(out.split())


def test_target_of_a_place_says_where_the_part_sits_beyond_and_why(run: Run, study: Path) -> None:
    turned = ("parts.pump.mass_g", "--from", 100, "--to", 1400)
    pieces = json.loads(run("sweep", study, *turned, "--json", "-", "-q")[1])["pieces"]
    first, then, nothing = pieces
    at = [
        next(p["site"] for p in piece["at_low"]["parts"] if p["part"] == "valve")
        for piece in (first, then)
    ]
    assert at[0] != at[1] and first["ended_by"] and nothing["at_low"] is None
    said = [
        " ".join(run("target", study, *turned, "--part", "valve", "--at", where, "-q")[1].split())
        for where in at
    ]
    (reason,) = first["ended_by"]
    assert f"Above that valve sits at {at[1]}, because of {reason}." in said[0]
    assert "Above that nothing meets every limit, because of" in said[1]
    assert f"Below that valve sits at {at[0]}, " in said[1]


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
    tight = ("--set", "limits.device_mass_g=500")
    code, out, _ = run("whatif", study, *tight, "-q")
    said = " ".join(out.split())
    assert code == 3
    assert "no layout meets every limit; this cannot hold:" in said
    assert "worn mass at most 500 g (--set limits.device_mass_g) -> " in said
    # beside a scenario that something fits it is one line of the table
    code, out, _ = run("whatif", study, "--scenario", "light valve", *tight, "-q")
    assert code == 0 and "no layout meets every limit" in " ".join(out.split())


def test_whatif_says_what_moved_and_which_limits_bind(run: Run, study: Path) -> None:
    told = json.loads(run("place", study, "--top", 1, "--json", "-", "-q")[1])["layouts"][0]
    grams = round(told["mass"]["worn_kg"] * 1e3, 6)
    code, out, _ = run("whatif", study, "--set", f"limits.device_mass_g={grams!r}", "-q")
    said = " ".join(out.split())
    assert code == 0 and "nothing moves" in said
    assert "the same penalty and the same swing inertia against as written" in said
    assert "now binding: worn mass" in said
    code, out, _ = run("whatif", study, "--set", "parts.pump.mass_g=1180", "-q")
    said = " ".join(out.split())
    assert code == 0 and "changes: - valve: vest_back -> vest_side - " in said
    assert "left where they are the parts would break: mass in vest_back" in said
    assert "now binding: no limit that did not before" in said


def test_whatif_stopped_by_hand_keeps_what_it_has_and_names_the_rest(
    run: Run, study: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from optimizer.solve import whatif

    solve, calls = whatif.place, []

    def stopped_at_the_second(*arguments: object, **options: object) -> object:
        calls.append(1)
        if len(calls) > 1:
            raise KeyboardInterrupt
        return solve(*arguments, **options)  # type: ignore[arg-type]

    monkeypatch.setattr(whatif, "place", stopped_at_the_second)
    code, out, _ = run("whatif", study, "-q")
    assert code == 0 and "Stopped before 'light valve'." in out
    assert "as written" in out


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


def test_compare_says_when_one_side_has_no_layout_and_why(run: Run, study: Path) -> None:
    code, out, _ = run("compare", study, "--set-b", "limits.device_mass_g=300", "-q")
    said = " ".join(out.split())
    assert code == 3
    assert "nothing meets every limit" in said
    assert "in b this cannot hold: worn mass at most 300 g" in said
    assert "b's layout" not in said


def test_compare_names_the_option_of_the_side_that_is_wrong(run: Run, study: Path) -> None:
    code, _, err = run("compare", study, "--set-b", "wearer.mas_kg=70")
    assert code == 2 and err.startswith("--set-b:") and "wearer.mass_kg" in err


def test_compare_of_two_garments_tells_what_only_one_has_in_a_line(run: Run, study: Path) -> None:
    garment = study.parent / "other.csv"
    lines = (study.parent / "sites.csv").read_text().splitlines()
    kept = [line for line in lines if not line.startswith("vest_side")]
    garment.write_text("\n".join(kept).replace(",60,4,leg", ",90,4,leg") + "\n")
    code, out, _ = run("compare", study, "--set-b", "files.sites=other.csv", "-q", "--width", 120)
    said = [line.split() for line in out.partition("Input: ")[2].splitlines()]
    assert code == 0
    assert ["sites.vest_side", "only", "here", "-"] in said
    assert ["sites.shank_side.holder_mass_g", "60", "90"] in said
    assert said[0] == ["2", "differences"]
    told = run("compare", study, "--set-b", "files.sites=other.csv", "-q", "--json", "-")[1]
    paths = {d["path"] for d in json.loads(told)["input_differences"]}
    assert {"sites.vest_side.volume_cm3", "parts.pump.sites"} <= paths


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
    turned = ("limits.device_mass_g", "--from", 100, "--to", 400, "-q")
    code, out, _ = run("sweep", study, *turned)
    assert code == 3 and "no layout meets every limit at any value" in " ".join(out.split())
    code, out, _ = run("target", study, *turned, "--figure", "score", "--at-most", 5)
    assert code == 3 and "No layout meets every limit at any of them" in " ".join(out.split())


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("sweep", "parts.pmup.mass_g"), "Did you mean parts.pump.mass_g?"),
        (("sweep", "parts.pump.mass_kg"), "Did you mean parts.pump.mass_g?"),
        (("sweep", "task.sped_m_s"), "Did you mean task.speed_m_s?"),
        (("sweep", "wearer.sex"), "expected a number"),
        (("sweep", "parts.battery.mass_g"), "--from, --to"),
        (("sweep", "wearer.stature_mm"), "a fifth of 1750, 350, is no end"),
        (("sweep", "parts.pump.mass_g", "--from", "-5", "--to", "5"), "greater than 0"),
        (("sweep", "parts.pump.mass_g", "--from", "5", "--to", "5"), "from low to high"),
        (("front", "--goals", "metabolic"), "1 goal"),
        (("front", "--goals", "metabolic,swng_inertia"), "Did you mean swing_inertia?"),
        (("front", "--third", "response"), "the same for every layout"),
        (("target", "parts.pump.mass_g", "--figure", "scor", "--at-most", "5"), "score?"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else "",
)
def test_what_cannot_be_is_one_error_with_the_nearest_that_can(
    run: Run, study: Path, arguments: tuple[str, ...], told: str
) -> None:
    code, out, err = run(arguments[0], study, *arguments[1:])
    assert code == 2 and out == ""
    assert told in err and err.count("error") == 1


def test_no_time_is_told_with_exit_code_4(run: Run, study: Path) -> None:
    turned = ("parts.pump.mass_g", "--from", 100, "--to", 900, "--time-limit", 0, "-q")
    assert run("front", study, "--time-limit", 0, "-q")[0] == 4
    assert run("sweep", study, *turned)[0] == 4
    assert run("target", study, *turned, "--figure", "score", "--at-most", 5)[0] == 4


def test_compare_tells_what_is_wrong_with_both_sides_by_their_options(
    run: Run, study: Path, tmp_path: Path
) -> None:
    missing = ("--layout-a", tmp_path / "no.json", "--layout-b", tmp_path / "none.csv")
    code, out, err = run("compare", study, *missing)
    assert code == 2 and out == ""
    assert "--layout-a" in err and "--layout-b" in err and "2 errors" in err
    code, _, err = run("compare", study, "--set-a", "wearer.mas_kg=1", "--set-b", "task.sped=1")
    assert code == 2 and "mas_kg" in err and "sped" in err


def test_whatif_tells_wrong_scenarios_and_settings_together(run: Run, study: Path) -> None:
    code, _, err = run("whatif", study, "--scenario", "y", "--set", "a=1", "--set", "b")
    assert code == 2
    assert all(text in err for text in ("--scenario", "'y'", "a", '"b"')) and "3 errors" in err


def test_settings_that_cannot_be_read_do_not_hide_values_that_are_wrong(
    run: Run, study: Path
) -> None:
    code, _, err = run("check", study, "--set", "nonsense", "--set", "wearer.mass_kg=heavy")
    assert code == 2 and "nonsense" in err and "heavy" in err


@pytest.fixture
def untold(tmp_path: Path) -> Path:
    """The small study with neither prices nor batteries."""
    made = small(tmp_path / "untold")
    table = made.parent / "parts.csv"
    rows = [row.rsplit(",", 2)[0] for row in table.read_text(encoding="utf-8").splitlines()]
    table.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return made


@pytest.mark.parametrize(
    ("figure", "needed"),
    [
        ("price", "a study whose parts table has price"),
        ("walking_time_h", "a study whose parts table has battery_wh"),
        ("response_ms", "a study with an air tube from a valve to a chamber"),
    ],
)
def test_target_refuses_a_figure_that_the_study_says_nothing_of(
    run: Run, untold: Path, figure: str, needed: str
) -> None:
    turned = ("parts.pump.mass_g", "--from", 400, "--to", 500)
    code, out, err = run("target", untold, *turned, "--figure", figure, "--at-most", 3, "-q")
    assert code == 2 and out == ""
    said = " ".join(err.split())
    assert f"'{figure}', of which the study says nothing" in said and needed in said


def test_compare_shows_what_one_study_does_not_say_as_unknown_not_as_nothing(
    run: Run, study: Path, untold: Path
) -> None:
    code, out, _ = run("compare", study, untold, "-q")
    assert code == 0
    row = next(line.split() for line in out.splitlines() if line.startswith("price of all parts"))
    assert row[4:] == [row[4], "-", "-"] and float(row[4]) > 0
    told = json.loads(run("compare", study, untold, "-q", "--json", "-")[1])["figures"]
    figures = {each["figure"]: (each["a"], each["b"]) for each in told}
    assert figures["price of all parts"][0] > 0 and figures["price of all parts"][1] is None
    assert figures["walking time at rated power"][1] is None
    assert "slowest filling of an air chamber" not in figures


def test_whatifs_price_is_null_where_no_part_has_one(run: Run, untold: Path) -> None:
    out = run("whatif", untold, "--set", "parts.pump.mass_g=440", "-q", "--json", "-")[1]
    assert [case["price"] for case in json.loads(out)["scenarios"]] == [None, None]
