"""Published models of what worn mass costs a walker: legs, trunk, and the walking itself."""

from __future__ import annotations

from optimizer.energy.assist import assist_power_w
from optimizer.energy.card import ModelCard
from optimizer.energy.model import EnergyModel, energy_flaws, energy_model
from optimizer.energy.registry import LEG_MODELS, TRUNK_MODELS, WALKING_MODELS, catalogue

__all__ = [
    "LEG_MODELS",
    "TRUNK_MODELS",
    "WALKING_MODELS",
    "EnergyModel",
    "ModelCard",
    "assist_power_w",
    "catalogue",
    "energy_flaws",
    "energy_model",
]
