"""An option that another one needs beside it is refused without that, never ignored."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from optimizer.assess.result import Ranking
from optimizer.setting import Setting
from optimizer.solve.place import place as solve_few
from tests.running import run_here
from tests.tradeoffs.small import small


def flat(text: str) -> str:
    """Running text, whatever lines it was broken into."""
    return " ".join(text.split())


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    assert run_here(("new", "mine", "--in", str(tmp_path)))[0] == 0
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize(
    ("command", "option", "needed"),
    [
        ("export mine.toml --table lines --lines none.csv", "--lines", "--layout FILE"),
        ("build mine.toml --out s.md --lines none.csv", "--lines", "--layout FILE"),
        ("report mine.toml --out r --lines none.csv", "--lines", "--layout FILE"),
        ("build mine.toml --out s.md --measured-lines none.csv", "--measured-lines", "--measured"),
        ("compare mine.toml --rank-a 2", "--rank-a", "--layout-a FILE"),
        ("compare mine.toml --rank-b 1", "--rank-b", "--layout-b FILE"),
        ("export mine.toml --table trust --layout none.json", "--layout", "--table parts"),
        ("export mine.toml --table front --rank 2", "--rank", "--table parts"),
        ("export mine.toml --table ranking --layout none.json", "--layout", "--table parts"),
        ("export mine.toml --table parts --from 3", "--from", "--table sweep"),
        ("export mine.toml --table parts --sweep no.such", "--sweep", "--table sweep"),
        ("export mine.toml --table sweep", "--table", "--sweep PATH"),
        ("report mine.toml --out r --from 3", "--from", "--sweep PATH"),
        ("report mine.toml --out r --to 3", "--to", "--sweep PATH"),
        ("report mine.toml --out r --solve 5", "--solve", "--trust"),
    ],
)
def test_an_option_alone_is_refused_with_the_one_it_needs(
    command: str, option: str, needed: str, folder: Path
) -> None:
    before = sorted(folder.iterdir())
    code, out, err = run_here(command.split())
    assert code == 2 and out == ""
    said = flat(err)
    assert f"{option}: found" in said and f"expected {needed}" in said and "beside it" in said
    assert "1 error" in said
    assert sorted(folder.iterdir()) == before


def test_all_options_alone_are_told_at_once(folder: Path) -> None:
    ends = ["--from", "3", "--to", "4", "--lines", "l.csv"]
    code, _, err = run_here(["report", "mine.toml", "--out", "r", *ends])
    assert code == 2
    assert all(f"{option}:" in err for option in ("--from", "--to", "--lines"))


RANKED = [
    "build study.toml --out s.md",
    "export study.toml --table parts",
    "report study.toml --out r --no-front",
]


@pytest.fixture
def few(folder: Path) -> Path:
    """A folder with a study of which there are a few dozen layouts."""
    small(folder)
    return folder


@pytest.mark.parametrize("command", RANKED)
def test_a_rank_beyond_the_last_layout_is_refused(command: str, few: Path) -> None:
    before = sorted(few.iterdir())
    code, out, err = run_here([*command.split(), "--rank", "900", "-q"])
    assert code == 2 and out == ""
    assert "--rank: found 900; expected a rank from 1 to 42, the layouts there are" in flat(err)
    assert sorted(few.iterdir()) == before


def test_a_rank_not_reached_in_the_time_is_refused_too(
    few: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stopped(setting: Setting, top: int, *_: object) -> Ranking:
        found = solve_few(setting, 3)
        assert isinstance(found, Ranking) and top == 4
        return replace(found, exhausted=False)

    monkeypatch.setattr("optimizer.solve.place.place", stopped)
    code, _, err = run_here(["build", str(few / "study.toml"), "--out", "s.md", "--rank", "4"])
    assert code == 2
    assert "found 4; expected a rank from 1 to 3, all found in the time" in flat(err)


def test_the_sheet_says_which_layout_it_is_and_what_is_proven(folder: Path) -> None:
    for form in ("md", "html"):
        code, _, err = run_here(
            ["build", "mine.toml", "--out", f"second.{form}", "--rank", "2", "-q"]
        )
        assert code == 0, err
        text = (folder / f"second.{form}").read_text()
        assert "This layout is rank 2, proven best: nothing left scores lower, gap 0." in text
        for path in folder.glob("second*.csv"):
            path.unlink()
    drawn = folder / "second.json"
    assert run_here(["place", "mine.toml", "--top", "2", "--json", str(drawn), "-q"])[0] == 0
    given = ["--layout", str(drawn), "--rank", "2"]
    assert run_here(["build", "mine.toml", "--out", "given.md", *given])[0] == 0
    assert "This layout was given, not searched for" in (folder / "given.md").read_text()
