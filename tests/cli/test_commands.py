"""The commands as a user runs them, some in a process of their own."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from unittest.mock import patch

import jsonschema
import pytest
from rich.cells import cell_len

import optimizer
from optimizer._version import __version__
from tests.running import run_here

ROOT = Path(optimizer.__file__).parents[1]
RUN = [sys.executable, "-c", "from optimizer.cli import main; main()"]
SCHEMA = json.loads((ROOT / "optimizer" / "data" / "schema_ranking.json").read_text())


Done = subprocess.CompletedProcess[str]


def limbtrim(*arguments: str, **environment: str) -> Done:
    """Run a command where nothing is a terminal, in this process."""
    with patch.dict(os.environ, _environment(environment), clear=True):
        return subprocess.CompletedProcess(arguments, *run_here(arguments))


def alone(*arguments: str, **environment: str) -> Done:
    """Run a command where nothing is a terminal, in a process of its own."""
    return subprocess.run(
        [*RUN, *arguments],
        capture_output=True,
        text=True,
        encoding="utf-8",
        env=_environment(environment),
        timeout=120,
        check=False,
    )


def _environment(more: dict[str, str]) -> dict[str, str]:
    kept = {k: v for k, v in os.environ.items() if k not in ("COLUMNS", "NO_COLOR", "FORCE_COLOR")}
    return {**kept, "PYTHONPATH": str(ROOT), **more}


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    made = tmp_path_factory.mktemp("studies")
    assert limbtrim("new", "mine", "--in", str(made)).returncode == 0
    return made


@pytest.fixture(scope="module")
def study(folder) -> str:
    return str(folder / "mine.toml")


@pytest.fixture(scope="module")
def placed(folder, study) -> Done:
    return limbtrim("place", study, "--top", "3", "--json", str(folder / "ranking.json"))


def test_the_version_is_told_without_importing_anything_heavy():
    code = (
        "import sys; sys.argv = ['limbtrim', '--version']\n"
        "from optimizer.cli import main; main()\n"
        "heavy = {'typer', 'rich', 'numpy', 'pydantic', 'pyomo', 'scipy', 'pandas'}\n"
        "sys.exit(bool(heavy & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, env=_environment({}),
        check=False,
    )  # fmt: skip
    first, second = done.stdout.splitlines()
    assert done.returncode == 0 and first == f"limbtrim {__version__}"
    assert second.startswith("compiled parts: ")


@pytest.mark.parametrize("option", ["--version", "-V"])
def test_both_spellings_of_version_work_beside_other_options(option):
    assert alone(option).stdout == limbtrim(option, "models").stdout


@pytest.mark.parametrize("arguments", [(), ("--help",), ("-h",)])
def test_help_names_every_command_the_exit_codes_and_the_caution(arguments):
    done = limbtrim(*arguments)
    assert done.returncode == 0
    for word in ("check", "place", "weigh", "models", "new", "Exit codes", "not a prescription"):
        assert word in done.stdout


@pytest.mark.parametrize("command", ["check", "place", "weigh", "models", "new"])
def test_every_command_has_help_of_its_own_and_speaks_json(command):
    done = limbtrim(command, "--help")
    assert done.returncode == 0 and "--json" in done.stdout and "--width" in done.stdout


def test_a_study_in_order_is_checked_with_exit_code_0(study):
    done = limbtrim("check", study)
    assert done.returncode == 0 and "nothing wrong was found" in done.stdout
    assert json.loads(limbtrim("check", study, "--json", "-").stdout)["schema"] == (
        "limbtrim.study/1"
    )


@pytest.mark.parametrize("command", ["check", "place", "weigh", "export"])
def test_unreadable_and_wrong_settings_are_told_together(study, command):
    more = {"weigh": ["--layout", "none.csv"], "export": ["--table", "parts"]}.get(command, [])
    steps = ["--set", "a", "--set", "b*=x", "--set", "parts.pump.mass_g=-1"]
    found = limbtrim(command, study, *more, *steps)
    assert (found.returncode, found.stdout) == (2, "")
    assert "3 errors" in found.stderr and 'parts.pump.mass_g: found "-1"' in found.stderr


@pytest.mark.parametrize(
    ("arguments", "near"),
    [
        (("export", "STUDY", "--table", "partz", "--format", "mdd"), ("parts", "md")),
        (("sweep", "STUDY", "parts.pump.mass_g", "--method", "exakt"), ("exact",)),
        (("learn", "none.csv", "--form", "segment_tabel"), ("segment_table",)),
    ],
)
def test_option_that_takes_one_of_a_few_words_names_the_nearest(study, arguments, near):
    found = limbtrim(*(study if a == "STUDY" else a for a in arguments))
    assert (found.returncode, found.stdout) == (2, "")
    assert all(f"Did you mean {name}?" in found.stderr for name in near)


def test_check_looks_at_what_scenarios_set(folder, tmp_path):
    study = folder / "mine.toml"
    scenarios = '[[scenarios]]\nname = "a"\n[scenarios.set]\n"parts.pumpp.mass_g" = 3\n"x.y" = 2\n'
    for table in folder.glob("*.csv"):
        (tmp_path / table.name).write_bytes(table.read_bytes())
    spoilt = tmp_path / "spoilt.toml"
    spoilt.write_text(f"{study.read_text()}\n{scenarios}")
    found = limbtrim("check", str(spoilt))
    assert (found.returncode, found.stdout) == (2, "")
    assert "scenario a" in found.stderr and "2 errors" in found.stderr
    assert 'found "x.y"' in found.stderr and "mean parts.pump.mass_g?" in found.stderr


def test_place_ranks_proves_and_keeps_its_tables_within_80_columns(placed):
    assert placed.returncode == 0
    assert "Best 3 layouts" in placed.stdout
    assert "Rank 1 is proven best: nothing scores lower, gap 0." in placed.stdout
    assert "Before anyone acts on this" in placed.stdout
    assert max(cell_len(line) for line in placed.stdout.splitlines()) <= 80
    assert "\x1b" not in placed.stdout + placed.stderr
    assert "searched" in placed.stderr and "searched" not in placed.stdout


@pytest.mark.parametrize(
    ("options", "environment", "width"),
    [((), {"COLUMNS": "120"}, 120), (("--width", "120"), {"COLUMNS": "60"}, 120),
     (("--width", "60"), {}, 60)],
)  # fmt: skip
def test_the_width_can_be_chosen(study, options, environment, width):
    done = limbtrim("place", study, "--top", "1", *options, **environment)
    longest = max(cell_len(line) for line in done.stdout.splitlines())
    assert longest <= width and (width < 120 or longest > 100)


def test_the_same_input_gives_the_same_bytes(folder, study, placed):
    again = alone("place", study, "--top", "3", "--json", "-", "--quiet")
    assert again.stderr == ""
    assert again.stdout == (folder / "ranking.json").read_text(encoding="utf-8")
    jsonschema.Draft202012Validator(SCHEMA).validate(json.loads(again.stdout))


def test_weigh_gives_each_ranked_layout_the_score_it_was_ranked_by(folder, study, placed):
    ranking = json.loads((folder / "ranking.json").read_text(encoding="utf-8"))
    for layout in ranking["layouts"]:
        done = limbtrim(
            "weigh", study, "--layout", str(folder / "ranking.json"),
            "--rank", str(layout["rank"]), "--json", "-",
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        weighed = json.loads(done.stdout)
        jsonschema.Draft202012Validator(SCHEMA).validate(weighed)
        assert weighed["layout"]["score"] == pytest.approx(layout["score"], rel=1e-12)
        assert weighed["layout"]["proof"]["status"] == "given"
        assert weighed["layout"]["score"] >= ranking["layouts"][0]["score"] * (1 - 1e-9)


HAND_MADE = (
    "part,model,site\nbattery,block,vest_back_low\npump,,{pump}\ncontroller,,vest_chest\n"
    "valve,,thigh_right_outer\nankle_cylinder,,shank_right_ankle\nheel_switch,,foot_right_sole\n"
)


def test_a_hand_made_layout_never_beats_the_proven_best(folder, study, placed):
    drawn = folder / "drawn.csv"
    drawn.write_text(HAND_MADE.format(pump="vest_back"))
    done = limbtrim("weigh", study, "--layout", str(drawn), "--json", "-")
    weighed = json.loads(done.stdout)["layout"]
    best = json.loads((folder / "ranking.json").read_text(encoding="utf-8"))["layouts"][0]
    assert weighed["score"] > best["score"] or not weighed["feasible"]
    assert done.returncode == (0 if weighed["feasible"] else 3)


def test_a_layout_that_breaks_a_limit_is_told_in_full_with_exit_code_3(folder, study):
    drawn = folder / "broken.csv"
    drawn.write_text(HAND_MADE.format(pump="foot_right_sole"))
    done = limbtrim("weigh", study, "--layout", str(drawn))
    assert done.returncode == 3
    assert "BROKEN" in done.stdout and "Part by part" in done.stdout
    assert "no route was given" in " ".join(done.stdout.split())


def test_nothing_fits_gives_exit_code_3_and_names_the_limit(study):
    done = alone("place", study, "--set", "limits.device_mass_g=100", "--json", "-")
    assert done.returncode == 3
    document = json.loads(done.stdout)
    jsonschema.Draft202012Validator(SCHEMA).validate(document)
    assert document["schema"] == "limbtrim.infeasible/1"
    assert any("100 g" in o["text"] for o in document["obstacles"])


def test_what_ifs_change_the_answer_and_their_flaws_are_told(study):
    light = json.loads(
        limbtrim("place", study, "--top", "1", "--set", "parts.pump.mass_g*=0.5",
                 "--json", "-").stdout
    )["layouts"][0]  # fmt: skip
    plain = json.loads(limbtrim("place", study, "--top", "1", "--json", "-").stdout)["layouts"][0]
    assert light["mass"]["worn_kg"] == pytest.approx(plain["mass"]["worn_kg"] - 0.225)
    assert light["score"] < plain["score"]
    done = limbtrim("place", study, "--set", "parts.pmup.mass_g=3", "--set", "nonsense")
    assert done.returncode == 2 and "nonsense" in done.stderr


BAD = [
    ("check", "{folder}/nix.toml"),
    ("place", "{folder}/nix.toml"),
    ("check", "{folder}"),
    ("check", "{folder}/mine_parts.csv"),
    ("weigh", "{study}", "--layout", "{folder}/nix.csv"),
    ("weigh", "{study}"),
    ("place", "{study}", "--top", "0"),
    ("place", "{study}", "--gap", "-1"),
    ("place", "{study}", "--gap", "nan"),
    ("place", "{study}", "--time-limit", "soon"),
    ("place", "{study}", "--width", "10"),
    ("place", "{study}", "--json", "{folder}/no/such/folder/out.json"),
    ("new", "mine", "--in", "{folder}"),
    ("new", "../mine", "--in", "{folder}"),
    ("paint",),
]


@pytest.mark.parametrize("arguments", BAD, ids=" ".join)
def test_bad_input_gives_exit_code_2_and_a_sentence_never_a_traceback(folder, study, arguments):
    done = limbtrim(*(a.format(folder=folder, study=study) for a in arguments))
    assert done.returncode == 2
    assert done.stdout == "" and done.stderr.strip()
    assert "Traceback" not in done.stderr


def test_flaws_of_several_tables_are_all_told(tmp_path):
    limbtrim("new", "mine", "--in", str(tmp_path))
    for name, old, new in (("mine_parts.csv", "pump,,450", "pump,,4x50"),
                           ("mine_sites.csv", "trunk", "trnk")):  # fmt: skip
        path = tmp_path / name
        path.write_text(path.read_text(encoding="utf-8").replace(old, new, 1), encoding="utf-8")
    done = alone("check", str(tmp_path / "mine.toml"))
    assert done.returncode == 2
    assert "mine_parts.csv" in done.stderr and "mine_sites.csv" in done.stderr
    assert "mass_g" in done.stderr and "4x50" in done.stderr


def test_a_search_without_time_finds_nothing_and_claims_nothing(study):
    done = limbtrim("place", study, "--time-limit", "0")
    assert done.returncode == 4
    assert "nothing is known" in " ".join(done.stdout.split())


def test_a_demo_is_solved_where_no_study_is_given():
    done = alone("place", "--top", "1")
    assert done.returncode == 0 and "demo" in done.stderr
    assert "proven best" in done.stdout and "(an invented example)" in " ".join(done.stdout.split())


#: Sends itself a Ctrl-C when so many layouts of those found have been assessed: how long a machine
#: takes to that moment cannot be known.
INTERRUPTED = """
import os, signal, sys
import optimizer.solve.place
from optimizer.cli import main

module, assessed = sys.modules["optimizer.solve.place"], []
assess = module.assess

def interrupted(*arguments):
    assessed.append(arguments)
    if len(assessed) == 30:
        os.kill(os.getpid(), signal.SIGINT)
    return assess(*arguments)

module.assess = interrupted
main()
"""


@pytest.mark.skipif(os.name == "nt", reason="signals are sent otherwise there")
def test_ctrl_c_ends_a_long_run_with_the_best_so_far():
    done = subprocess.run(
        [sys.executable, "-c", INTERRUPTED, "place", "--top", "900"],
        capture_output=True, text=True, env=_environment({}), timeout=120, check=False,
    )  # fmt: skip
    assert "Traceback" not in done.stderr
    assert done.returncode == 0, done.stderr
    said = " ".join(done.stdout.split())
    assert "29 of the 900 layouts asked for" in said and "Rank 1 is" in said


@pytest.mark.skipif(os.name == "nt", reason="signals are sent otherwise there")
def test_ctrl_c_at_any_time_is_never_a_traceback():
    for patience in (
        2.0,
        3.0,
    ):  # past the start of the interpreter, which has a traceback of its own
        with subprocess.Popen(
            [*RUN, "place", "--top", "900"], stdout=subprocess.PIPE, stderr=subprocess.PIPE,
            text=True, env=_environment({}),
        ) as running:  # fmt: skip
            time.sleep(patience)
            running.send_signal(signal.SIGINT)
            _, err = running.communicate(timeout=60)
        assert "Traceback" not in err
        assert running.returncode in (0, 4, 130), err


def test_a_reader_that_stops_early_is_no_error(study):
    with subprocess.Popen(
        [*RUN, "models"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=_environment({}),
    ) as running:  # fmt: skip
        assert running.stdout is not None and running.stderr is not None
        running.stdout.close()
        err = running.stderr.read()
        running.wait(timeout=60)
    assert running.returncode == 0 and err == b""


def test_models_are_listed_as_tables_and_json():
    assert "segment_curve (default)" in limbtrim("models").stdout
    assert json.loads(limbtrim("models", "--json", "-").stdout)["schema"] == "limbtrim.models/1"


def test_a_terminal_charset_without_the_names_letters_stops_nothing(tmp_path):
    limbtrim("new", "größe", "--in", str(tmp_path))
    done = alone("check", str(tmp_path / "größe.toml"), PYTHONIOENCODING="ascii")
    assert done.returncode == 0 and "gr??e" in done.stdout
    done = alone("check", str(tmp_path / "größe.toml"), "--json", "-", PYTHONIOENCODING="ascii")
    assert json.loads(done.stdout)["study"]["name"] == "größe"
