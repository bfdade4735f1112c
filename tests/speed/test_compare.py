"""The comparison's records, tables and verdicts; that a run resumes and is killed in time."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import compare
import pytest
from speed.agreement import disagreements
from speed.grid import Grid, geometric_mean, short
from speed.machine import described, machine
from speed.measure import measure
from speed.ranks import rank_table
from speed.runs import Record, RunFile, Task, as_json, from_json, outstanding
from speed.tables import Measured, Results, mean, race_tables, ratio, wall

TASK = Task("24x48_one_leg", 0, "ours", 60.0, 2)


def record(solver: str = "ours", seconds: float = 1.0, **changes: object) -> Record:
    """A proof of score 7 in so many seconds."""
    base = Record(
        replace(TASK, solver=solver), "optimal", 7.0, 7.0, 9.0, solve_s=seconds, write_s=0.5,
        cpu_s=2.0 * seconds, peak_mib=100.0, nodes=3, ranks=1,
    )  # fmt: skip
    return replace(base, **changes)  # type: ignore[arg-type]


def at(family: str, seed: int, one: Record, top: int = 1) -> Record:
    return replace(one, task=replace(one.task, family=family, seed=seed, top=top))


def cells(grid: Grid, name: str) -> dict[str, str]:
    row = next(row for row in grid.rows if row[0] == name)
    return dict(zip(grid.head, row, strict=True))


# -- tables --------------------------------------------------------------------------------------


def test_ratios_are_geometric_means_over_instances() -> None:
    records = [
        at("24x48_one_leg", 0, record("ours", 1.0)),
        at("24x48_one_leg", 0, record("cpsat", 4.0)),
        at("24x48_one_leg", 1, record("ours", 8.0)),
        at("24x48_one_leg", 1, record("cpsat", 2.0)),
    ]
    family = cells(race_tables(records)[0], "one_leg")
    assert family == {
        "family": "one_leg", "ours": "2.83", "cpsat": "2.83", "/cpsat": "1.00",
    }  # fmt: skip
    every = race_tables(records)[1]
    assert [row[2] for row in every.rows] == ["1.00", "1.06", "1.00", "4.00", "2/2"]
    assert "4.00 on 24x48_one_leg seed 1" in every.notes[0]


def test_a_rival_at_its_limit_counts_with_the_limit_and_is_marked() -> None:
    late = record("cpsat", 61.0, status="time_limit", bound=6.3)
    records = [record("ours", 6.0), late]
    family = cells(race_tables(records)[0], "one_leg")
    assert (family["cpsat"], family["/cpsat"]) == (">=60.0", "<=0.10")
    details = race_tables(records, details=True)
    shown = next(grid for grid in details if "gap" in grid.title)
    assert cells(shown, "24x48_one_leg/0")["cpsat"] == "gap 10.00%"


def test_both_at_the_limit_say_nothing_either_way() -> None:
    late = {"status": "time_limit", "bound": 6.0}
    records = [record("ours", 60.0, **late), record("cpsat", 60.0, **late)]
    assert cells(race_tables(records)[0], "one_leg")["/cpsat"] == "~1.00"
    assert str(ratio(Measured(60.0, ">="), Measured(6.0))) == ">=10.0"


def test_a_mean_is_a_bound_as_soon_as_one_is() -> None:
    assert str(mean([Measured(1.0), Measured(4.0, "<=")])) == "<=2.00"
    assert str(mean([Measured(1.0, ">="), Measured(4.0, "<=")])) == "~2.00"
    assert mean([]) is None


def test_a_rival_that_failed_is_left_out_and_named() -> None:
    records = [record("ours"), record("scip", status="crashed", score=None, bound=None)]
    grid = race_tables(records)[0]
    assert cells(grid, "one_leg")["/scip"] == "-"
    assert any("scip failed on 24x48_one_leg seed 0" in note for note in grid.notes)
    assert not disagreements(records)


def test_growth_is_told_from_size_to_size() -> None:
    records = [record("ours", 1.0), at("32x48_one_leg", 0, record("ours", 3.0))]
    grid = next(g for g in race_tables(records) if g.title.startswith("Growth"))
    assert [row[1] for row in grid.rows] == ["1.00", "3.00 x3.0"]
    assert Results(records).sizes == ["24x48", "32x48"]


def test_ranks_are_told_in_times_of_the_best() -> None:
    records = [
        at("24x48_one_leg", seed, record(solver, base * factor), top)
        for seed, base in ((0, 1.0), (1, 2.0))
        for solver, factors in (("ours", (1.0, 2.0, 5.0)), ("place", (1.0, 3.0, 7.0)))
        for top, factor in zip((1, 20, 100), factors, strict=True)
    ]
    grid = rank_table(records)
    assert grid is not None
    assert cells(grid, "24x48_one_leg") == {
        "family": "24x48_one_leg", "best s": "1.41", "20 best": "2.00", "100 best": "5.00",
        "placed s": "1.41", "20 placed": "3.00", "100 placed": "7.00",
    }  # fmt: skip
    assert cells(grid, "worst instance")["100 placed"] == "7.00"
    assert rank_table([record()]) is None


def test_tables_fit_100_columns_and_are_markdown_where_asked() -> None:
    every = []
    for size in ("24x48", "32x48", "64x96"):
        for kind in ("one_leg", "tight_pockets"):
            for seed in (0, 1, 2):
                for solver in compare.RACE:
                    late = solver == "scip"
                    one = record(solver, 1234.5, nodes=123_456, peak_mib=1234.0)
                    if late:
                        one = replace(one, status="time_limit", bound=6.0)
                    every.append(at(f"{size}_{kind}", seed, one))
    text = compare.show(every, ["a machine"], markdown=False, details=False)
    assert max(map(len, text.splitlines())) <= 100
    marked = compare.show(every, ["a machine"], markdown=True, details=True)
    assert "| family | ours | flow | pairs | cpsat | scip | /flow |" in marked
    assert "Machine: a machine." in marked
    assert "All 90 runs agree, 72 of them proofs." in marked


def test_numbers_keep_three_figures() -> None:
    assert [short(v) for v in (123.4, 12.34, 1.234, 0.1234, 0.01234)] == [
        "123", "12.3", "1.23", "0.12", "0.012",
    ]  # fmt: skip
    assert geometric_mean([1.0, 4.0]) == pytest.approx(2.0)


def test_machine_is_told_without_names_of_places() -> None:
    text = described(machine())
    assert "Python 3" in text
    assert "highspy" in text
    assert "/" not in text.replace("w/", "")


# -- verdicts ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"score": 7.01}, "calls 7.010000 best, yet 7.000000 was found"),
        ({"score": 7.01, "bound": 7.005, "status": "time_limit"}, "proved 7.005000 at least"),
        ({"status": "infeasible", "score": None, "bound": None}, "says that nothing fits"),
        ({"overstep": 0.01, "score": 6.5, "bound": 6.5}, "oversteps a limit by 1.0e-02"),
        ({"fault": "breaks: a and b stay apart"}, "its layout breaks: a and b stay apart"),
    ],
)
def test_what_does_not_agree_is_told(changes: dict[str, object], words: str) -> None:
    found = disagreements([record("ours"), record("cpsat", **changes)])
    assert len(found) == 1
    assert words in found[0]
    assert "24x48_one_leg seed 0: cpsat" in found[0]


def test_a_lost_optimum_of_ours_is_told_even_against_a_gap() -> None:
    better = record("cpsat", status="time_limit", score=6.9, bound=6.0)
    found = disagreements([record("ours"), better])
    assert any("ours calls 7.000000 best, yet 6.900000 was found" in text for text in found)


def test_a_hidden_layout_better_than_the_optimum_is_told() -> None:
    assert disagreements([record("ours", hidden=6.0)])
    assert not disagreements([record("ours", hidden=7.0)])


def test_a_crash_of_ours_counts_and_rounding_of_a_rival_does_not() -> None:
    crash = {"status": "crashed", "score": None, "bound": None, "fault": "KeyError"}
    assert "ours crashed: KeyError" in disagreements([record("ours", **crash)])[0]
    assert not disagreements(
        [record("ours"), record("cpsat", score=6.99, bound=6.9, overstep=1e-5)]
    )


# -- records -------------------------------------------------------------------------------------


def test_records_survive_the_file_and_a_torn_line(tmp_path: Path) -> None:
    file = RunFile(tmp_path / "runs.jsonl")
    one, other = record("ours"), record("cpsat", 3.0)
    file.append({"kind": "machine", "machine": {"cpu": "x"}})
    file.append(as_json(one))
    with file.path.open("a", encoding="utf-8") as raw:
        raw.write(json.dumps(as_json(other))[:40])
    assert file.records() == [one]
    file.append(as_json(other))
    assert file.records() == [one, other]
    assert file.machines() == [{"cpu": "x"}]
    assert from_json(json.loads(json.dumps(as_json(other)))) == other


def test_only_what_is_not_recorded_is_outstanding() -> None:
    others = [replace(TASK, seed=1), replace(TASK, solver="flow"), replace(TASK, top=20)]
    assert outstanding([TASK, *others], [record("ours")]) == others


def test_a_run_is_recorded_resumed_and_shown(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "race.jsonl"
    asked = ["--sizes", "8x24", "--families", "one_leg", "--seeds", "0", "--limit", "30"]
    asked += ["--solvers", "ours,flow", "--out", str(out)]
    assert compare.main(asked) == 0
    told = capsys.readouterr()
    assert "All 2 runs agree, 2 of them proofs." in told.out
    assert "[2/2] 8x24_one_leg seed 0  flow" in told.err
    found = RunFile(out).records()
    assert [r.task.solver for r in found] == ["ours", "flow"]
    assert all(r.proven and r.peak_mib > 20.0 and wall(r) > 0.0 for r in found)

    def never(*_: object) -> Record:
        raise AssertionError("ran again")

    monkeypatch.setattr("compare.measure", never)
    with pytest.raises(SystemExit, match="--resume"):
        compare.main(asked)
    assert compare.main([*asked, "--resume"]) == 0
    assert compare.main(["--table", str(out), "--markdown"]) == 0
    assert "| one_leg |" in capsys.readouterr().out
    # what is not right is told when the table is made, too
    RunFile(out).append(as_json(replace(found[1], score=1.0, bound=1.0)))
    assert compare.main(["--table", str(out)]) == 1
    assert "DISAGREEMENT" in capsys.readouterr().out


def test_ranks_run_ours_and_place(capsys: pytest.CaptureFixture[str]) -> None:
    asked = ["--sizes", "8x24", "--families", "identical", "--seeds", "0", "--ranks", "1,5"]
    assert compare.main(asked) == 0
    told = capsys.readouterr()
    assert "5 placed" in told.out
    assert "place top 5" in told.err


def test_unknown_names_are_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert compare.main(["--sizes", "9x9"]) == 2
    assert compare.main(["--solvers", "ours,nobody"]) == 2
    assert "nobody" in capsys.readouterr().err


def test_a_missing_package_is_left_out_with_a_word(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("speed.rivals.installed", lambda name: name != "scip")
    asked = ["--sizes", "8x24", "--families", "identical", "--seeds", "0"]
    assert compare.main([*asked, "--solvers", "ours,scip"]) == 0
    told = capsys.readouterr()
    assert "scip is left out" in told.err
    assert "/scip" not in told.out


# -- processes -----------------------------------------------------------------------------------


def script(folder: Path, text: str) -> Path:
    file = folder / "child.py"
    file.write_text(text, encoding="utf-8")
    return file


def test_a_run_that_does_not_end_is_killed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("speed.measure.GRACE", (1.0, 0.2))
    slow = script(tmp_path, "import time\ntime.sleep(60)\n")
    found = measure(replace(TASK, limit_s=0.2), slow)
    assert found.status == "killed"
    assert found.solve_s == 0.2


def test_a_crash_is_a_record_with_its_last_word(tmp_path: Path) -> None:
    found = measure(TASK, script(tmp_path, "raise RuntimeError('out of luck')\n"))
    assert (found.status, found.fault) == ("crashed", "RuntimeError: out of luck")


@pytest.mark.skipif(sys.platform != "linux", reason="counts memory as Linux does")
def test_peak_memory_is_that_of_the_process(tmp_path: Path) -> None:
    plain = json.dumps(as_json(record(peak_mib=0.0)))
    small = script(tmp_path, f"print({plain!r})\n")
    before = measure(TASK, small).peak_mib
    large = script(tmp_path, f"x = bytearray(300 * 2**20)\nprint({plain!r})\n")
    found = measure(TASK, large)
    assert found.proven
    assert found.peak_mib >= max(300.0, before)
    # a run that tells of itself is believed: it is not charged with what its parent holds
    told = json.dumps(as_json(record(peak_mib=42.0)))
    assert measure(TASK, script(tmp_path, f"print({told!r})\n")).peak_mib == 42.0
    code = "from speed.child import peak_mib as p; a = p(); x = bytearray(200 << 20); print(a, p())"
    run = subprocess.run(
        [sys.executable, "-c", code],
        env={"PYTHONPATH": os.pathsep.join(sys.path)},
        capture_output=True,
        text=True,
        check=True,
    )
    small_mib, large_mib = map(float, run.stdout.split())
    assert 20.0 < small_mib < 150.0
    assert large_mib >= small_mib + 199.0
