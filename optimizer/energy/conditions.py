"""What an energy model needs to know of the wearer and the task, as plain numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

LEGS: tuple[str, ...] = ("thigh", "shank", "foot")


class WearerLike(Protocol):
    """Anything with a body mass, a stature and a hip-to-foot distance."""

    @property
    def mass_kg(self) -> float:
        """Body mass."""
        ...

    @property
    def stature_m(self) -> float:
        """Standing height."""
        ...

    @property
    def foot_radius_m(self) -> float:
        """Hip to the foot's centre of mass, standing, sagittal plane."""
        ...


class TaskLike(Protocol):
    """Anything with a walking speed, a grade (percent, uphill positive) and a terrain name."""

    @property
    def speed_m_s(self) -> float:
        """Walking speed."""
        ...

    @property
    def grade_percent(self) -> float:
        """Slope, uphill positive."""
        ...

    @property
    def terrain(self) -> str:
        """Kind of ground, by name."""
        ...


@dataclass(frozen=True, slots=True)
class Conditions:
    """Wearer and task, in SI; `grade_percent` is positive uphill.

    `foot_radius_m` is the standing distance from the hip to the foot's centre of mass in the
    sagittal plane.
    """

    body_mass_kg: float
    foot_radius_m: float
    speed_m_s: float = 1.25
    grade_percent: float = 0.0
    terrain: str = "treadmill"
    terrain_factor: float = 1.0
    wearer: WearerLike | None = field(default=None, compare=False, repr=False)
    """The whole wearer, for models that need the body; others are met by the numbers above."""


@dataclass(frozen=True, slots=True)
class Loads:
    """Worn mass on the trunk, and on each leg segment of each side."""

    trunk_kg: float
    leg_kg: Mapping[tuple[str, str], float]

    def on(self, segment: str) -> float:
        """Mass on one leg segment, both sides together."""
        return sum(kg for (name, _), kg in self.leg_kg.items() if name == segment)


def split_loads(load_by_segment_kg: Mapping[str, float]) -> Loads:
    """Sort masses by segment and side.

    Keys are "trunk", "thigh.left", "foot.right", ...; "thigh" without a side is the total over
    both legs and is halved; "off_body" costs nothing. Raises ValueError for any other key.
    """
    trunk_kg = 0.0
    leg_kg: dict[tuple[str, str], float] = {}
    for key, kg in load_by_segment_kg.items():
        segment, _, side = key.partition(".")
        if segment in LEGS and side in ("left", "right", ""):
            for one in (side,) if side else ("left", "right"):
                share = kg if side else kg / 2
                leg_kg[segment, one] = leg_kg.get((segment, one), 0.0) + share
        elif segment == "trunk":
            trunk_kg += kg
        elif segment != "off_body":
            raise ValueError(f"unknown segment {key!r}: expected trunk, thigh, shank or foot")
    return Loads(trunk_kg, leg_kg)
