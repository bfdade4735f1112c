"""The bare wearer's own walking power, net of rest: the 100 % of a metabolic penalty.

Net means: minus what the same equation gives for standing or resting, so that a percentage
compares a cost of walking with the cost of walking. Each class says what it subtracts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from optimizer.energy.card import Described, ModelCard, PublishedModel
from optimizer.energy.cards import published_card
from optimizer.energy.conditions import Conditions
from optimizer.energy.equations import (
    acsm_ml_per_kg_min,
    looney2019_w_per_kg,
    ludlow_weyand_ml_per_kg_min,
    oxygen_w,
    pandolf_w,
)
from optimizer.energy.tables import coefficients


class WalkingModel(Described, Protocol):
    """What every walking model can do, beside the fields of its card."""

    def gross_w(self, c: Conditions) -> float:
        """Total metabolic power of walking without a device, W."""
        ...

    def rest_w(self, c: Conditions) -> float:
        """What `net_w` leaves out, W."""
        ...

    def net_w(self, c: Conditions) -> float:
        """Metabolic power of walking above rest, W."""
        ...


class _Walking(PublishedModel):
    def gross_w(self, c: Conditions) -> float:
        """Total metabolic power of walking without a device, W."""
        raise NotImplementedError

    def rest_w(self, c: Conditions) -> float:
        """What `net_w` leaves out, W."""
        raise NotImplementedError

    def net_w(self, c: Conditions) -> float:
        """Metabolic power of walking above rest, W."""
        return self.gross_w(c) - self.rest_w(c)


@dataclass(frozen=True)
class Looney2019(_Walking):
    """Level and graded walking [6], net of its own value at zero speed (1.44 W per kg)."""

    card: ModelCard

    def gross_w(self, c: Conditions) -> float:
        """Total metabolic power of walking without a device, W."""
        return c.body_mass_kg * looney2019_w_per_kg(c.speed_m_s, c.grade_percent)

    def rest_w(self, c: Conditions) -> float:
        """Standing still, W."""
        return c.body_mass_kg * coefficients("looney2019")["standing"]


@dataclass(frozen=True)
class LudlowWeyand(_Walking):
    """Minimum mechanics model [8], net of supine rest (3.05 mL O2/min/kg)."""

    card: ModelCard

    def gross_w(self, c: Conditions) -> float:
        """Total metabolic power of walking without a device, W."""
        walk = oxygen_w(ludlow_weyand_ml_per_kg_min(c.speed_m_s, c.grade_percent))
        return c.body_mass_kg * walk + self.rest_w(c)

    def rest_w(self, c: Conditions) -> float:
        """Supine rest, W."""
        return c.body_mass_kg * oxygen_w(coefficients("ludlow_weyand")["rest"])


@dataclass(frozen=True)
class Acsm(_Walking):
    """ACSM walking equation [9], net of its rest term (3.5 mL O2/min/kg)."""

    card: ModelCard

    def gross_w(self, c: Conditions) -> float:
        """Total metabolic power of walking without a device, W."""
        return c.body_mass_kg * oxygen_w(acsm_ml_per_kg_min(c.speed_m_s, c.grade_percent))

    def rest_w(self, c: Conditions) -> float:
        """Rest, W."""
        return c.body_mass_kg * oxygen_w(coefficients("acsm")["rest"])


@dataclass(frozen=True)
class PandolfWalking(_Walking):
    """Load carriage equation at zero load [4], net of its standing term (1.5 W per kg)."""

    card: ModelCard

    def gross_w(self, c: Conditions) -> float:
        """Total metabolic power of walking without a device, W."""
        return pandolf_w(c.body_mass_kg, 0.0, c.speed_m_s, c.grade_percent, c.terrain_factor)

    def rest_w(self, c: Conditions) -> float:
        """Standing still, W."""
        return c.body_mass_kg * coefficients("pandolf")["standing"]


def looney2019() -> Looney2019:
    """The default [6]."""
    return Looney2019(published_card("walking", "looney2019"))


def ludlow_weyand() -> LudlowWeyand:
    """Minimum mechanics model [8]."""
    return LudlowWeyand(published_card("walking", "ludlow_weyand"))


def acsm() -> Acsm:
    """ACSM walking equation [9]."""
    return Acsm(published_card("walking", "acsm"))


def pandolf() -> PandolfWalking:
    """Load carriage equation at zero load [4]."""
    return PandolfWalking(published_card("walking", "pandolf"))
