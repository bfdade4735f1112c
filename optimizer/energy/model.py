"""The energy model of a study: a leg model, a trunk model and a walking model for one wearer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from difflib import get_close_matches
from typing import cast

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.energy.card import ModelCard
from optimizer.energy.conditions import Conditions, TaskLike, WearerLike, split_loads
from optimizer.energy.leg import LegModel
from optimizer.energy.own import is_own, own_model
from optimizer.energy.registry import LEG_MODELS, TRUNK_MODELS, WALKING_MODELS
from optimizer.energy.tables import terrains
from optimizer.energy.trunk import TrunkModel
from optimizer.energy.walking import WalkingModel
from optimizer.errors import Flaw, InputError, Origin
from optimizer.study.model import EnergySpec

_NOTES = (
    "Leg slopes are per kg of total added mass, measured with both legs loaded alike; a "
    "one-sided load is counted the same per kg (no evidence otherwise).",
    "Published leg loads were 2 kg per limb and more; lighter parts are extrapolated along the "
    "same straight line.",
    "Leg and trunk costs are added; no published model has a term for the two together.",
    "All coefficients come from healthy adults; a wearer with impaired gait may differ.",
)


@dataclass(frozen=True)
class EnergyModel:
    """What worn mass costs this wearer at this task.

    Works with any three models of the right kind, published or a user's own.
    """

    leg: LegModel
    trunk: TrunkModel
    walking: WalkingModel
    conditions: Conditions
    walking_w: float = field(init=False)
    """Net walking power of the bare wearer, W."""

    def __post_init__(self) -> None:
        object.__setattr__(self, "walking_w", self.walking.net_w(self.conditions))

    def leg_cost(self, segment: str, distance_m: ArrayLike) -> NDArray[np.float64]:
        """W per kg of added mass on "thigh", "shank" or "foot", of the shape of `distance_m`.

        `distance_m`: from the hip's mediolateral axis to the mass, standing, sagittal plane.
        Raises ValueError for another segment, a negative or a non-finite distance.
        """
        return self.leg.cost(segment, distance_m, self.conditions)

    def trunk_cost(self, load_kg: ArrayLike) -> NDArray[np.float64]:
        """W above zero load of a total trunk load, convex; of the shape of `load_kg`."""
        return self.trunk.cost(load_kg, self.conditions)

    def trunk_slope(self, load_kg: ArrayLike) -> NDArray[np.float64]:
        """Derivative of `trunk_cost`, W/kg, of the shape of `load_kg`."""
        return self.trunk.slope(load_kg, self.conditions)

    @property
    def trunk_is_linear(self) -> bool:
        """Whether the trunk costs the same per kg at every load."""
        return self.trunk.is_linear

    @property
    def cards(self) -> tuple[ModelCard, ModelCard, ModelCard]:
        """Cards of the leg, the trunk and the walking model."""
        return (self.leg.card, self.trunk.card, self.walking.card)

    @property
    def notes(self) -> tuple[str, ...]:
        """What holds of every answer, whatever the loads."""
        return _NOTES

    def warnings(self, load_by_segment_kg: Mapping[str, float]) -> tuple[str, ...]:
        """Where speed, grade, terrain or loads lie outside a model's range, without repeats.

        Keys are "trunk", "thigh.left", ... or "thigh" for both legs together. Raises ValueError
        for an unknown key.
        """
        loads = split_loads(load_by_segment_kg)
        said: dict[str, None] = {}
        for model in (self.leg, self.trunk, self.walking):
            said.update(dict.fromkeys(model.warnings(self.conditions, loads)))
        return tuple(said)

    def describe(self) -> tuple[str, ...]:
        """One line per model: family, name, equation, range and spread."""
        return tuple(
            f"{card.family}: {card.name}, {card.equation}; valid {card.validity}; {card.spread}"
            for card in self.cards
        )


def _unknown(origin: Origin, key: str, found: str, known: Mapping[str, object]) -> Flaw:
    column = origin.column if origin.column and origin.column.endswith(key) else None
    return Flaw(
        origin=replace(origin, column=column or key),
        found=repr(found),
        expected="one of " + ", ".join(known),
        nearest=next(iter(get_close_matches(str(found), known, n=1, cutoff=0.4)), None),
    )


def _terrain_name(name: str) -> str:
    return str(name).strip().lower().replace(" ", "_").replace("-", "_")


def energy_flaws(spec: EnergySpec, task: TaskLike) -> list[Flaw]:
    """Every model or terrain name that is not known, each with the nearest one that is."""
    flaws = [
        _unknown(spec.origin, f"energy.{key}", name, known)
        for key, name, known in (
            ("leg", spec.leg, LEG_MODELS),
            ("trunk", spec.trunk, TRUNK_MODELS),
            ("walking", spec.walking, WALKING_MODELS),
        )
        if name not in known and not (key in ("leg", "trunk") and is_own(name))
    ]
    for name, key in {spec.trunk: "trunk", spec.leg: "leg"}.items():  # a file of both read once
        if is_own(name):
            try:
                own_model(name, replace(spec.origin, column=f"energy.{key}"))
            except InputError as error:
                flaws += error.flaws
    if _terrain_name(task.terrain) not in terrains():
        origin = cast(Origin, getattr(task, "origin", Origin("")))
        flaws.append(_unknown(origin, "task.terrain", task.terrain, terrains()))
    return flaws


def energy_model(spec: EnergySpec, wearer: WearerLike, task: TaskLike) -> EnergyModel:
    """The energy model of a study.

    Raises InputError with every unknown name, or where the task leaves no net walking power to
    take a percentage of (standing still).
    """
    flaws = energy_flaws(spec, task)
    if flaws:
        raise InputError(flaws)
    ground = terrains()[_terrain_name(task.terrain)]
    model = EnergyModel(
        leg=own_model(spec.leg, spec.origin).leg if is_own(spec.leg) else LEG_MODELS[spec.leg],
        trunk=own_model(spec.trunk, spec.origin).trunk
        if is_own(spec.trunk)
        else TRUNK_MODELS[spec.trunk],
        walking=WALKING_MODELS[spec.walking],
        conditions=Conditions(
            body_mass_kg=wearer.mass_kg,
            foot_radius_m=wearer.foot_radius_m,
            speed_m_s=task.speed_m_s,
            grade_percent=task.grade_percent,
            terrain=ground.name,
            terrain_factor=ground.factor,
            wearer=wearer,
        ),
    )
    if not model.walking_w > 0:
        origin = cast(Origin, getattr(task, "origin", Origin("")))
        found = f"{task.speed_m_s:g} m/s at {task.grade_percent:g} %"
        expected = f"a task with a positive net walking power by {spec.walking}"
        raise InputError([Flaw(replace(origin, column="task.speed_m_s"), found, expected)])
    return model
