"""Studies as scenarios make them, all flaws of all scenarios told at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from optimizer.errors import Flaw, InputError, Origin
from optimizer.study.load import load_study
from optimizer.study.model import Scenario, Study
from optimizer.study.overrides import OVERRIDE_FILE


def load_scenarios(
    study_file: str | Path,
    scenarios: Sequence[Scenario],
    overrides: Mapping[str, object] | None = None,
) -> list[Study]:
    """The study of each scenario; `overrides` hold in all of them, a scenario's own come last.

    Raises
    ------
    InputError
        With every flaw that the scenarios bring in, naming the scenario it is in.
    """
    studies: list[Study] = []
    flaws: list[Flaw] = []
    for scenario in scenarios:
        written = scenario.origin.row is not None
        source = f"{scenario.origin.file} scenario {scenario.name}" if written else OVERRIDE_FILE
        merged = {**(overrides or {}), **scenario.settings}
        try:
            studies.append(load_study(study_file, merged, overrides_from=source))
        except InputError as error:
            flaws += error.flaws
    if flaws:
        raise InputError(list(dict.fromkeys(flaws)))
    return studies


def scenario_of(name: str, settings: Mapping[str, object], source: str) -> Scenario:
    """A scenario made by hand, e.g. from `--set`."""
    return Scenario(name, settings, Origin(source))
