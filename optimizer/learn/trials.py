"""A table of treadmill trials: who walked, how fast, with what mass where, at what cost.

Columns: subject (may be left out: one subject), body_mass_kg, speed_m_s, thigh_kg, shank_kg,
foot_kg, trunk_kg (mass added in all, both legs together; blank for none) and metabolic_w, the
measured metabolic power in watts, gross or net, but the same throughout. What walking costs by
itself is worked out for every subject at every speed, so it is no matter which.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from optimizer.errors import Flaw, InputError, Origin
from optimizer.study.cautions import column_cautions
from optimizer.study.cells import Name, Number
from optimizer.study.files import display, read_text
from optimizer.study.tables import RowSchema, TableFormat, parse_rows, read_table

ONE_SUBJECT = "subject"


class TrialRow(RowSchema):
    """One row of a table of trials."""

    subject: Annotated[str, Name("a subject's name", spaces=True, blank=ONE_SUBJECT)]
    body_mass_kg: Annotated[float, Number("kg", least=20, most=300)]
    speed_m_s: Annotated[float, Number("m/s", above=0, most=3)]
    thigh_kg: Annotated[float, Number("kg", least=0, most=50, optional=True, blank=0.0)]
    shank_kg: Annotated[float, Number("kg", least=0, most=50, optional=True, blank=0.0)]
    foot_kg: Annotated[float, Number("kg", least=0, most=50, optional=True, blank=0.0)]
    trunk_kg: Annotated[float, Number("kg", least=0, most=100, optional=True, blank=0.0)]
    metabolic_w: Annotated[float, Number("W", above=0, most=5000)]


@dataclass(frozen=True, slots=True)
class Trial:
    """One trial. `added_kg` is by thigh, shank, foot, trunk, both legs together."""

    subject: str
    body_mass_kg: float
    speed_m_s: float
    added_kg: tuple[float, float, float, float]
    metabolic_w: float
    origin: Origin


def read_trials(path: str | Path, cautions: list[str] | None = None) -> tuple[Trial, ...]:
    """The trials of a table; columns that look misspelt are told in `cautions`.

    Raises
    ------
    InputError
        With every flaw of the table.
    """
    flaws: list[Flaw] = []
    where = Path(path)
    origin = Origin(display(where))
    text = read_text(where, origin, "a trials table (CSV)", flaws)
    layout = TableFormat(
        "trials",
        tuple(TrialRow.model_fields),
        ("body_mass_kg", "speed_m_s", "metabolic_w"),
        ("thigh_kg", "shank_kg", "foot_kg", "trunk_kg"),
    )
    table = None if text is None else read_table(text, display(where), layout, flaws)
    trials: list[Trial] = []
    if table is not None:
        if cautions is not None:
            cautions += column_cautions(table)
        for row, v in parse_rows(table, TrialRow, flaws):
            if v is None:
                continue
            added = (v.thigh_kg, v.shank_kg, v.foot_kg, v.trunk_kg)
            trials.append(
                Trial(
                    v.subject, v.body_mass_kg, v.speed_m_s, added, v.metabolic_w, table.origin(row)
                )
            )
    flaws += _weights_that_change(trials)
    if flaws:
        raise InputError(flaws)
    return tuple(trials)


def _weights_that_change(trials: list[Trial]) -> list[Flaw]:
    """A subject whose body mass differs between trials by more than a tenth: two people."""
    first: dict[str, Trial] = {}
    flaws = []
    for trial in trials:
        known = first.setdefault(trial.subject, trial)
        if abs(trial.body_mass_kg - known.body_mass_kg) > 0.1 * known.body_mass_kg:
            found = f"{trial.body_mass_kg:g} kg for {trial.subject}, before {known.body_mass_kg:g}"
            origin = Origin(trial.origin.file, trial.origin.row, "body_mass_kg")
            flaws.append(Flaw(origin, found, "the wearer's own mass, without what was added"))
    return flaws
