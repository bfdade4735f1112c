"""What was learned as an energy model file that every command accepts."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from optimizer._version import __version__
from optimizer.energy.conditions import LEGS
from optimizer.energy.own import FORMS, SLOPES
from optimizer.learn.learn import Learned
from optimizer.study.words import choice_of


def model_text(learned: Learned, title: str, form: str = FORMS[0]) -> str:
    """The file's text: slopes, form, spread, range; see `optimizer.energy.own`.

    Raises
    ------
    ValueError
        For an unknown form.
    """
    if form not in FORMS:
        raise ValueError(f"unknown form {form!r}: expected {choice_of(FORMS)}")
    sd = np.sqrt(np.diag(learned.covariance))
    together = learned.covariance / np.outer(sd, sd)
    np.fill_diagonal(together, 1.0)
    speeds = [trial.speed_m_s for trial in learned.trials]
    most = np.array([trial.added_kg for trial in learned.trials]).max(axis=0)
    n, people = len(learned.trials), len(learned.subjects)
    file = Path(learned.trials[0].origin.file).name
    lines = [
        f"# Written by limbtrim {__version__} learn from {n} trials of {people} subjects.",
        "# W per kg of wearer per kg of added mass, both legs counted together.",
        "",
        "format = 1",
        'kind = "energy_model"',
        f"title = {_text(title)}",
        f"source = {_text(f'{file}: {n} trials of {people} subjects; prior browning2007')}",
        "",
        "[slopes]",
        *(f"{name} = {value!r}" for name, value in zip(SLOPES, learned.mean.tolist(), strict=True)),
        "",
        "[leg]",
        f'form = "{form}"',
        "",
        "[spread]",
        f"sd = {_numbers(sd.tolist())}",
        "correlation = [",
        *(f"    {_numbers(row)}," for row in together.tolist()),
        "]",
        "",
        "[valid]",
        f"speed_m_s = {_numbers([min(speeds), max(speeds)])}",
        *(
            f"{name}_kg = {kg / (2.0 if name in LEGS else 1.0)!r}"
            for name, kg, told in zip((*LEGS, "trunk"), most.tolist(), learned.learned, strict=True)
            if told
        ),
        f"population = {_text(f'{people} subjects of own trials')}",
    ]
    return "\n".join(lines) + "\n"


def _numbers(values: Sequence[float]) -> str:
    return "[" + ", ".join(repr(float(v)) for v in values) + "]"


def _text(value: str) -> str:
    """A TOML basic string."""
    escaped = "".join(
        {"\\": "\\\\", '"': '\\"'}.get(c, c if c.isprintable() else f"\\U{ord(c):08X}")
        for c in value
    )
    return f'"{escaped}"'
