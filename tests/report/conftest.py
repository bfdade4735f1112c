"""One small study, solved once, for all tests of pictures and paper."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from optimizer.assess.result import Ranking
from optimizer.report.make import Results
from optimizer.setting import Setting, build_setting
from optimizer.solve.front import front
from optimizer.solve.place import place
from optimizer.study.load import load_study
from optimizer.study.template import new_study
from tests.running import run_here

Run = Callable[..., tuple[int, str, str]]


@dataclass(frozen=True)
class Solved:
    """A study's file, its setting and its ranking."""

    path: Path
    setting: Setting
    ranking: Ranking


@pytest.fixture(scope="session")
def run() -> Run:
    return lambda *arguments: run_here(arguments)


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
