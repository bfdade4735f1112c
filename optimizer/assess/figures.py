"""Figures of a line by name with the unit at the end, and which of them are judged."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

Figures = dict[str, float]


@dataclass(frozen=True, slots=True)
class Judged:
    """A figure with a budget: the limit's kind, what it is in words, its unit and column."""

    kind: str
    words: str
    name: str
    suffix: str
    unit: str
    column: str

    def value(self, figures: Mapping[str, float]) -> float:
        """Where the line stands."""
        return figures[f"{self.name}_{self.suffix}"]

    def budget(self, figures: Mapping[str, float]) -> float | None:
        """What it may come to; None if nothing is asked."""
        return figures.get(f"{self.name}_budget_{self.suffix}")


#: Every figure that a budget of the lines table judges.
JUDGED = (
    Judged("fill_time", "fill time", "fill", "ms", "ms", "response_ms"),
    Judged("vent_time", "vent time", "vent", "ms", "ms", "vent_ms"),
    Judged("pressure_drop", "pressure lost", "drop", "kpa", "kPa", "max_drop_kpa"),
    Judged("voltage_drop", "voltage lost", "drop", "pct", "%", "max_drop_pct"),
    Judged("cable_loss", "force lost", "force_loss", "pct", "%", "min_efficiency_pct"),
)


def budgeted(figures: Figures, name: str, suffix: str, value: float, budget: float | None) -> None:
    """Put down a figure and, where there is one, its budget and the margin left in % of it."""
    figures[f"{name}_{suffix}"] = value
    if budget is not None:
        figures[f"{name}_budget_{suffix}"] = budget
        figures[f"{name}_margin_pct"] = 100.0 * (1.0 - value / budget) if budget > 0 else 0.0
