"""`limbtrim report` and `limbtrim build` as a user runs them."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import pytest

from optimizer.report import folder as folders
from optimizer.report import need

pytestmark = pytest.mark.xdist_group("report commands")


def everything(folder):
    return {
        p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()
    }


@pytest.fixture(scope="module")
def made(run, solved, tmp_path_factory):
    out = tmp_path_factory.mktemp("out") / "report"
    code, said, err = run("report", str(solved.path), "--out", str(out), "--top", "2", "-q")
    assert code == 0, err
    return out, said


def test_a_report_is_a_page_figures_and_tables_and_says_what_was_written(made):
    out, said = made
    assert set(everything(out)) == {
        "report.html", "measured_parts.csv", "measured_lines.csv",
        *(f"figures/{n}.{e}" for n in ("body", "segments", "lines", "front")
          for e in ("svg", "png")),
    }  # fmt: skip
    assert "report.html" in said and "Before anyone acts on this" in said
    assert not [p for p in out.parent.iterdir() if p.name.startswith(".")]


def test_again_into_the_same_folder_gives_the_same_bytes(run, solved, made):
    before = everything(made[0])
    code, said, _ = run("report", str(solved.path), "--out", str(made[0]), "--top", "2",
                        "--json", "-", "-q")  # fmt: skip
    assert code == 0
    assert everything(made[0]) == before
    document = json.loads(said)
    assert document["schema"] == "limbtrim.written/1" and len(document["files"]) == len(before)


@pytest.mark.parametrize("extra", ["trust", "front"])
def test_ctrl_c_in_what_else_is_asked_for_does_not_lose_the_layout(
    run, solved, tmp_path, monkeypatch, extra
):
    def stopped(*given, **also):
        raise KeyboardInterrupt

    monkeypatch.setattr(f"optimizer.commands.report._{extra}", stopped)
    asked = ("--no-front", "--trust") if extra == "trust" else ()
    code, said, err = run("report", str(solved.path), "--out", str(tmp_path / "out"), *asked, "-q")
    assert code == 0 and "stopped by hand" in err and "left out" in err
    assert "report.html" in said and (tmp_path / "out" / "report.html").exists()


def test_measured_values_are_never_written_over(run, solved, made):
    table = made[0] / "measured_parts.csv"
    blank = table.read_bytes()
    table.write_bytes(blank.replace(b"450.0,", b"450.0,471.5"))
    filled = everything(made[0])
    try:
        code, out, err = run("report", str(solved.path), "--out", str(made[0]), "-q")
        assert code == 2 and out == "" and "measured_parts.csv" in err and "lost" in err
        assert everything(made[0]) == filled
    finally:
        table.write_bytes(blank)


def test_folders_with_other_things_are_left_alone(run, solved, made, tmp_path):
    (tmp_path / "thesis.txt").write_text("years of work")
    code, _, err = run("report", str(solved.path), "--out", str(tmp_path), "--no-front", "-q")
    assert code == 2 and "other files" in err
    (made[0] / "notes.txt").write_text("mine")
    try:
        code, _, err = run("report", str(solved.path), "--out", str(made[0]), "-q")
        assert code == 2 and "notes.txt" in err
    finally:
        (made[0] / "notes.txt").unlink()
    assert everything(tmp_path) == {"thesis.txt": b"years of work"}


def test_a_report_that_cannot_be_written_leaves_nothing(tmp_path, monkeypatch):
    def fails(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(folders.os, "replace", fails)
    with pytest.raises(folders.InputError) as told:
        folders.write_folder(tmp_path / "r", {"report.html": "x"}, filled=(), page="report.html")
    assert "No space left" in str(told.value)
    assert list(tmp_path.iterdir()) == []


def test_an_earlier_report_comes_back_if_the_new_one_cannot_take_its_place(tmp_path, monkeypatch):
    target = tmp_path / "r"
    folders.write_folder(target, {"report.html": "old"}, filled=(), page="report.html")
    real, calls = os.replace, []

    def second_fails(a, b):
        calls.append(a)
        if len(calls) == 2:
            raise OSError(5, "Input/output error")
        real(a, b)

    monkeypatch.setattr(folders.os, "replace", second_fails)
    with pytest.raises(folders.InputError):
        folders.write_folder(target, {"report.html": "new"}, filled=(), page="report.html")
    assert everything(tmp_path) == {"r/report.html": b"old"}


def test_without_matplotlib_one_line_says_how_to_get_it(run, solved, tmp_path, monkeypatch):
    monkeypatch.setattr(need, "find_spec", lambda name: None)
    code, out, err = run("report", str(solved.path), "--out", str(tmp_path / "r"), "-q")
    assert code == 2 and out == ""
    assert "pip install 'limbtrim[report]'" in err and "Traceback" not in err
    assert not (tmp_path / "r").exists()


def test_a_study_nothing_fits_says_so_and_writes_nothing(run, solved, tmp_path):
    for command in (("report", "--out", str(tmp_path / "r")),
                    ("build", "--out", str(tmp_path / "b.md"))):  # fmt: skip
        code, out, _ = run(
            command[0], str(solved.path), *command[1:], "--set", "limits.device_mass_g=100", "-q"
        )
        assert code == 3 and "100 g" in " ".join(out.split())
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("form", ["html", "md"])
def test_build_writes_a_sheet_and_two_tables(run, solved, tmp_path, form):
    out = tmp_path / f"sheet.{form}"
    code, said, err = run("build", str(solved.path), "--out", str(out), "-q")
    assert code == 0, err
    assert set(everything(tmp_path)) == {f"sheet.{form}", "sheet_parts.csv", "sheet_lines.csv"}
    assert "Before anyone acts on this" in said
    text = out.read_text(encoding="utf-8").replace("\\", "").replace("<wbr>", "")
    assert "sheet_parts.csv" in text and "ankle_cylinder" in text


def test_from_plan_to_weighed_prototype_and_back(run, solved, tmp_path):
    sheet = tmp_path / "sheet.md"
    run("build", str(solved.path), "--out", str(sheet), "-q")
    parts, lines = tmp_path / "sheet_parts.csv", tmp_path / "sheet_lines.csv"
    parts.write_text(parts.read_text().replace("180.0,", "180.0,195"))
    code, said, err = run(
        "weigh", str(solved.path), "--layout", str(parts), "--lines", str(lines), "--json", "-"
    )
    assert code == 0, err
    weighed = {p["unit"]: p for p in json.loads(said)["layout"]["parts"]}
    assert weighed["ankle_cylinder"]["measured_mass_kg"] == pytest.approx(0.195)
    code, _, err = run("build", str(solved.path), "--out", str(sheet), "--measured", str(parts),
                       "-q")  # fmt: skip
    assert code == 2 and "sheet_parts.csv" in err  # what was weighed stays
    compared = tmp_path / "compared.md"
    code, _, err = run("build", str(solved.path), "--out", str(compared), "--measured", str(parts),
                       "--measured-lines", str(lines), "-q")  # fmt: skip
    assert code == 0, err
    text = compared.read_text()
    assert "Plan against prototype" in text
    assert r"| ankle\_cylinder | g | 180.0 | 195.0 | +15.0 |" in text


def test_a_given_layout_gets_a_sheet_and_one_that_breaks_a_limit_exit_code_3(
    run, solved, tmp_path, results
):
    from optimizer.report.measured import measured_parts

    drawn = tmp_path / "drawn.csv"
    drawn.write_text(
        measured_parts(results.plan).replace(
            "valve,standard,shank_right_outer", "valve,standard,foot_right_sole"
        )
    )
    code, out, _ = run("build", str(solved.path), "--layout", str(drawn), "--out",
                       str(tmp_path / "s.html"), "-q")  # fmt: skip
    assert code == 3 and "BROKEN, do not build" in " ".join(out.split())
    assert "BROKEN, do not build" in (tmp_path / "s.html").read_text()


@pytest.mark.parametrize(
    "arguments",
    [("build", "--out", "sheet.pdf"), ("build", "--out", "no/such/folder/sheet.md"),
     ("build", "--out", "s.md", "--measured-lines", "x.csv"),
     ("report", "--out", "r", "--sweep", "parts.pmup.mass_g"), ("report",), ("build",)],
    ids=" ".join,
)  # fmt: skip
def test_bad_input_gives_exit_code_2_and_a_sentence(run, solved, arguments, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, out, err = run(arguments[0], str(solved.path), *arguments[1:])
    assert code == 2 and out == "" and err.strip() and "Traceback" not in err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(("words", "found"), [("limbtrim pla", "place"), ("limbtrim rep", "report"),
                                              ("limbtrim place --to", "--top")])  # fmt: skip
def test_a_shell_completes_commands_and_options(words, found):
    done = subprocess.run(
        [sys.executable, "-c", "from optimizer.cli import main; main()"],
        capture_output=True, text=True, timeout=60, check=False,
        env={**os.environ, "_LIMBTRIM_COMPLETE": "complete_bash", "COMP_WORDS": words,
             "COMP_CWORD": str(len(words.split()) - 1)},
    )  # fmt: skip
    assert found in done.stdout.split(), done.stderr


@pytest.mark.parametrize("command", ["report", "build", "export"])
def test_each_command_has_help_within_80_columns(run, command):
    code, out, _ = run(command, "--help")
    assert code == 0 and max(map(len, out.splitlines())) <= 100 and "--layout" in out


def test_a_report_can_hold_a_sweep_and_trust(run, solved, tmp_path):
    out = tmp_path / "r"
    code, _, err = run(
        "report", str(solved.path), "--out", str(out), "--no-front", "--trust", "--solve", "3",
        "--sweep", "parts.pump.mass_g", "--from", "440", "--to", "460", "-q",
    )  # fmt: skip
    assert code == 0, err
    names = {p.name for p in (out / "figures").iterdir()}
    assert {"sweep.svg", "trust.svg"} <= names and "front.svg" not in names
    page = (out / "report.html").read_text(encoding="utf-8")
    assert 'id="trust"' in page and 'id="sweep"' in page and "it is that one" in page


@pytest.mark.parametrize(
    "command", [("build", "compared.md"), ("report", "compared", "--no-front")]
)
def test_a_prototype_that_breaks_a_limit_is_told_as_weigh_tells_it(
    run, solved, tmp_path, results, command
):
    from optimizer.report.measured import measured_parts

    weighed = tmp_path / "weighed.csv"
    weighed.write_text(measured_parts(results.plan).replace("180.0,", "180.0,9000"))
    kept = tmp_path / "answer.json"
    code, out, err = run(
        command[0], str(solved.path), "--out", str(tmp_path / command[1]), *command[2:],
        "--measured", str(weighed), "--json", str(kept), "-q",
    )  # fmt: skip
    assert code == 3, err
    broken = json.loads(kept.read_text())["limits_broken"]
    assert broken["plan"] == [] and broken["prototype"]
    said = " ".join(out.split())
    assert "BROKEN by the prototype" in said
    assert all(label in said for label in broken["prototype"])
    assert run("weigh", str(solved.path), "--layout", str(weighed))[0] == 3


def test_a_prototype_that_cannot_be_read_is_blamed_on_its_own_option(run, solved, tmp_path):
    for more in (["--measured", "no.csv"], ["--measured", "no.csv", "--measured-lines", "nor.csv"]):
        code, _, err = run("build", str(solved.path), "--out", str(tmp_path / "s.md"), *more)
        assert code == 2 and "--layout" not in err and "--lines" not in err.replace("d-lines", "")
        assert all(f"{option}:" in err for option in more[::2])
