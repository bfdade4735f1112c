"""Shared set-up: most tests here ask whether something fits, not why it does not."""

from __future__ import annotations

import pytest

from optimizer.assess.result import Infeasible
from optimizer.problem.presolve import Reduced
from optimizer.setting import Setting


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "reasons: looks at why nothing fits")


@pytest.fixture(autouse=True)
def verdicts_only(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing fits: say so and stop. Finding the reasons takes many further solves."""
    if "reasons" in request.keywords:
        return

    def bare(
        setting: Setting, reduced: Reduced, seconds: float, *_: object, **__: object
    ) -> Infeasible:
        return Infeasible(setting.study.name, (), (), seconds)

    monkeypatch.setattr("optimizer.solve.place.explain", bare)
