"""One small study, solved once, for all tests of pictures and paper."""

from __future__ import annotations

import contextlib
import io
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from optimizer.assess.result import Ranking
from optimizer.cli import main
from optimizer.report.make import Results
from optimizer.setting import Setting, build_setting
from optimizer.solve.front import front
from optimizer.solve.place import place
from optimizer.study.load import load_study
from optimizer.study.template import new_study

Run = Callable[..., tuple[int, str, str]]


@dataclass(frozen=True)
class Solved:
    """A study's file, its setting and its ranking."""

    path: Path
    setting: Setting
    ranking: Ranking


def run_here(*arguments: str) -> tuple[int, str, str]:
    """A command in this process: exit code, stdout, stderr."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2))
    code = 0
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            main(arguments)
        except SystemExit as stop:
            code = int(stop.code or 0)
        out.flush()
        err.flush()
    said = [stream.buffer.getvalue().decode() for stream in (out, err)]  # type: ignore[attr-defined]
    return code, said[0], said[1]


@pytest.fixture(scope="session")
def run() -> Run:
    return run_here


@pytest.fixture(scope="session")
def solved(tmp_path_factory: pytest.TempPathFactory) -> Solved:
    folder = tmp_path_factory.mktemp("paper")
    path = new_study("mine", folder)[0]
    setting = build_setting(load_study(path))
    ranking = place(setting, top=2)
    assert isinstance(ranking, Ranking)
    return Solved(Path(path), setting, ranking)


@pytest.fixture(scope="session")
def results(solved: Solved) -> Results:
    best = solved.ranking.layouts[0]
    trade = front(solved.setting)
    return Results(
        solved.setting, best.assessment, best.proof, solved.ranking, front=trade  # type: ignore[arg-type]
    )  # fmt: skip
