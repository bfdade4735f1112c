"""What is said of each model: equation, sources, where it holds, how far it is to be trusted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import inf
from typing import Protocol

from optimizer.energy.conditions import Conditions, Loads

_SLACK = 1e-9  # a load exactly at the limit, summed in another order, is still inside


@dataclass(frozen=True, slots=True)
class Validity:
    """Range a model was measured or stated for. Masses are limits from above, in kg.

    `leg_segment_kg` are limits for one leg, by segment. `conditions` tells what was measured.
    """

    speed_m_s: tuple[float, float] = (0.0, inf)
    grade_percent: tuple[float, float] = (-inf, inf)
    leg_segment_kg: Mapping[str, float] = field(default_factory=dict)
    leg_kg: float = inf
    trunk_kg: float = inf
    trunk_body_fraction: float = inf
    conditions: str = ""
    population: str = ""

    def task_breaches(self, c: Conditions) -> tuple[str, ...]:
        """In words, how the walking task lies outside the range."""
        found = []
        low, high = self.speed_m_s
        if not low <= c.speed_m_s <= high:
            found.append(f"speed {c.speed_m_s:.2f} m/s is outside {low:g}-{high:g} m/s")
        low, high = self.grade_percent
        if not low <= c.grade_percent <= high:
            if low == high == 0:
                found.append(f"grade {c.grade_percent:g} %, measured on the level only")
            elif high < inf:
                found.append(f"grade {c.grade_percent:g} % is outside {low:g} to {high:g} %")
            else:
                found.append(f"grade {c.grade_percent:g} % is below {low:g} %, counted as level")
        return tuple(found)

    def load_breaches(self, c: Conditions, loads: Loads) -> tuple[str, ...]:
        """In words, which worn masses lie above the range."""
        found = []
        for (segment, side), kg in loads.leg_kg.items():
            limit = self.leg_segment_kg.get(segment, inf)
            if kg > limit + _SLACK:
                found.append(f"{kg:.2f} kg on the {side} {segment} is above {limit:g} kg")
        for side in ("left", "right"):
            kg = sum(m for (_, s), m in loads.leg_kg.items() if s == side)
            if kg > self.leg_kg + _SLACK:
                found.append(f"{kg:.2f} kg on the {side} leg is above {self.leg_kg:g} kg")
        limit = min(self.trunk_kg, self.trunk_body_fraction * c.body_mass_kg)
        if loads.trunk_kg > limit + _SLACK:
            found.append(f"{loads.trunk_kg:.2f} kg on the trunk is above {limit:.3g} kg")
        return tuple(found)

    def __str__(self) -> str:
        low, high = self.speed_m_s
        words = [f"{low:g}-{high:g} m/s" if high < inf else f"from {low:g} m/s"]
        low, high = self.grade_percent
        if low == high == 0:
            words.append("level")
        elif high < inf:
            words.append(f"grade {low:g} to {high:g} %")
        elif low > -inf:
            words.append(f"grade from {low:g} %")
        if self.leg_segment_kg:
            words.append(
                "up to "
                + ", ".join(f"{kg:g} kg {name}" for name, kg in self.leg_segment_kg.items())
                + " per leg"
            )
        if self.trunk_kg < inf:
            words.append(f"up to {self.trunk_kg:g} kg")
        if self.trunk_body_fraction < inf:
            words.append(f"up to {100 * self.trunk_body_fraction:g} % of body mass")
        return "; ".join(words) + (f" ({self.population})" if self.population else "")


@dataclass(frozen=True, slots=True)
class Spread:
    """How far published values lie apart: a factor either way, or an absolute band.

    `w_per_kg_load` is per kg of worn mass, `w_per_kg_body` per kg of wearer, for the whole
    equation. None where nothing was read.
    """

    text: str
    factor: float | None = None
    w_per_kg_load: float | None = None
    w_per_kg_body: float | None = None

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True, slots=True)
class ModelCard:
    """One model in words. `family` is "leg", "trunk" or "walking"; `default` within its family.

    `source` is made of numbered references; `provenance` tells how the numbers were come by:
    READ, READ second-hand, DERIVED, or from memory.
    """

    family: str
    name: str
    title: str
    equation: str
    source: str
    provenance: str
    validity: Validity
    spread: Spread
    default: bool = False
    scales_with_body_mass: bool = False
    scales_with_speed: bool = False
    uses_terrain: bool = False


class Described(Protocol):
    """What every model tells of itself, published or a user's own."""

    @property
    def card(self) -> ModelCard:
        """Equation, sources, range and spread."""
        ...

    @property
    def name(self) -> str:
        """Name as written in a study."""
        ...

    @property
    def title(self) -> str:
        """Name in words."""
        ...

    @property
    def equation(self) -> str:
        """The equation in plain text."""
        ...

    @property
    def source(self) -> str:
        """Numbered references."""
        ...

    @property
    def validity(self) -> Validity:
        """Range the model holds for."""
        ...

    @property
    def spread(self) -> Spread:
        """How far it is to be trusted."""
        ...

    def warnings(self, c: Conditions, loads: Loads) -> tuple[str, ...]:
        """Where the task or the loads lie outside the model's range, one sentence each."""
        ...


class PublishedModel:
    """Shared by every model: its card's fields and its warnings."""

    card: ModelCard

    @property
    def name(self) -> str:
        """Name as written in a study."""
        return self.card.name

    @property
    def title(self) -> str:
        """Name in words."""
        return self.card.title

    @property
    def equation(self) -> str:
        """The equation in plain text."""
        return self.card.equation

    @property
    def source(self) -> str:
        """Numbered references."""
        return self.card.source

    @property
    def validity(self) -> Validity:
        """Range the model holds for."""
        return self.card.validity

    @property
    def spread(self) -> Spread:
        """How far it is to be trusted."""
        return self.card.spread

    def warnings(self, c: Conditions, loads: Loads) -> tuple[str, ...]:
        """Where the task or the loads lie outside the model's range, one sentence each."""
        said = self.validity.task_breaches(c) + self.validity.load_breaches(c, loads)
        if not self.card.uses_terrain and c.terrain_factor != 1.0:
            said += (f"has no terrain term; {c.terrain} counted as treadmill",)
        return tuple(f"{self.card.family} model {self.name}: {text}" for text in said)
