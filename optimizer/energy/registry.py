"""The published models by name."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import TypeVar

from optimizer.energy import leg, swing_work, trunk, walking
from optimizer.energy.card import Described, ModelCard

_Model = TypeVar("_Model", bound=Described)


def _by_name(*models: _Model) -> Mapping[str, _Model]:
    return MappingProxyType({model.name: model for model in models})


#: Cost of mass on the leg.
LEG_MODELS: Mapping[str, leg.LegModel] = _by_name(
    leg.segment_curve(),
    leg.segment_table(),
    leg.radius_squared(),
    leg.augmentation_factor(),
    leg.soule_goldman(),
    swing_work.swing_work(),
)
#: Cost of mass on the trunk.
TRUNK_MODELS: Mapping[str, trunk.TrunkModel] = _by_name(
    trunk.browning_waist(),
    trunk.pandolf(),
    trunk.looney_backpack(),
    trunk.ludlow_weyand(),
    trunk.huang_kuo(),
)
#: The bare wearer's own walking power.
WALKING_MODELS: Mapping[str, walking.WalkingModel] = _by_name(
    walking.looney2019(), walking.ludlow_weyand(), walking.acsm(), walking.pandolf()
)


def catalogue() -> list[ModelCard]:
    """Cards of every model on offer, leg, trunk, walking, the default of a family first."""
    return [
        model.card
        for family in (LEG_MODELS, TRUNK_MODELS, WALKING_MODELS)
        for model in family.values()
    ]
