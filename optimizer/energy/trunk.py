"""Cost of mass worn on the trunk: W above zero load, convex in the load, with exact slope."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.energy.card import Described, ModelCard, PublishedModel
from optimizer.energy.cards import published_card
from optimizer.energy.conditions import Conditions
from optimizer.energy.equations import (
    looney_backpack_unloaded_w_per_kg,
    ludlow_weyand_ml_per_kg_min,
    oxygen_w,
    pandolf_moving_w_per_kg,
)
from optimizer.energy.tables import coefficients

FloatArray = NDArray[np.float64]

_ROUND_OFF_KG = 1e-6  # a solver's zero


class TrunkModel(Described, Protocol):
    """What every trunk model can do, beside the fields of its card."""

    @property
    def is_linear(self) -> bool:
        """Whether the slope is the same for every load."""
        ...

    def cost(self, load_kg: ArrayLike, c: Conditions) -> FloatArray:
        """W above the cost at zero load, of the shape of `load_kg`."""
        ...

    def slope(self, load_kg: ArrayLike, c: Conditions) -> FloatArray:
        """Derivative of `cost`, W per kg, of the shape of `load_kg`."""
        ...


def checked_load(load_kg: ArrayLike) -> FloatArray:
    """Loads as an array; ValueError for a negative or infinite one."""
    load = np.asarray(load_kg, dtype=float)
    if not np.all(np.isfinite(load)) or np.any(load < -_ROUND_OFF_KG):
        raise ValueError("trunk load must be finite and not negative")
    return np.maximum(load, 0.0)


class _Linear(PublishedModel):
    """A cost in proportion to the load; a child tells its W per kg."""

    def rate(self, c: Conditions) -> float:
        """W per kg of load."""
        raise NotImplementedError

    @property
    def is_linear(self) -> bool:
        """True: one slope for every load."""
        return True

    def cost(self, load_kg: ArrayLike, c: Conditions) -> FloatArray:
        """W above the cost at zero load, of the shape of `load_kg`."""
        return np.asarray(self.rate(c) * checked_load(load_kg))

    def slope(self, load_kg: ArrayLike, c: Conditions) -> FloatArray:
        """Derivative of `cost`, W per kg, of the shape of `load_kg`."""
        return np.full(checked_load(load_kg).shape, self.rate(c))


@dataclass(frozen=True)
class TrunkSlope(_Linear):
    """A measured slope: W per kg of load, or per kg of wearer and kg of load (`per_kg_body`).

    `browning_waist` [1] is per kg of wearer, `huang_kuo` [10] is not. Also the form for a slope
    fitted to other trials.
    """

    card: ModelCard
    w_per_kg: float
    per_kg_body: bool

    def rate(self, c: Conditions) -> float:
        """W per kg of load."""
        return self.w_per_kg * (c.body_mass_kg if self.per_kg_body else 1.0)


@dataclass(frozen=True)
class LudlowWeyandTrunk(_Linear):
    """Load share of the minimum mechanics model [8]: oxygen use per kg of body and load."""

    card: ModelCard

    def rate(self, c: Conditions) -> float:
        """W per kg of load."""
        return oxygen_w(ludlow_weyand_ml_per_kg_min(c.speed_m_s, c.grade_percent))


@dataclass(frozen=True)
class PandolfTrunk(PublishedModel):
    """Load share of the load carriage equation [4].

    P = 2.0 (B + L) (L/B)^2 + eta L (1.5 V^2 + 0.35 V G). Downhill is counted as level.
    """

    card: ModelCard

    @property
    def is_linear(self) -> bool:
        """False: the standing part grows faster than the load."""
        return False

    def _moving(self, c: Conditions) -> float:
        return pandolf_moving_w_per_kg(c.speed_m_s, c.grade_percent, c.terrain_factor)

    def cost(self, load_kg: ArrayLike, c: Conditions) -> FloatArray:
        """W above the cost at zero load, of the shape of `load_kg`."""
        load, body = checked_load(load_kg), c.body_mass_kg
        k = coefficients("pandolf")["standing_load"]
        return np.asarray(k * (body + load) * (load / body) ** 2 + self._moving(c) * load)

    def slope(self, load_kg: ArrayLike, c: Conditions) -> FloatArray:
        """Derivative of `cost`, W per kg, of the shape of `load_kg`."""
        share = checked_load(load_kg) / c.body_mass_kg
        k = coefficients("pandolf")["standing_load"]
        return np.asarray(k * share * (2.0 + 3.0 * share) + self._moving(c))


@dataclass(frozen=True)
class LooneyBackpack(PublishedModel):
    """Load share of the backpacking equation [7].

    P = B (0.19 + eta (1.78 S^0.58 + 0.27 S^4 + grade term)) 1.96 (L/B)^1.36. The slope is zero
    at zero load, so light loads come nearly free.
    """

    card: ModelCard

    @property
    def is_linear(self) -> bool:
        """False: a power law in the load."""
        return False

    def _scale(self, c: Conditions) -> float:
        bracket = looney_backpack_unloaded_w_per_kg(c.speed_m_s, c.grade_percent, c.terrain_factor)
        # Positive all over the published range; kept so beyond it, that the cost stays convex.
        return coefficients("looney_backpack")["load"] * max(bracket, 0.0)

    def cost(self, load_kg: ArrayLike, c: Conditions) -> FloatArray:
        """W above the cost at zero load, of the shape of `load_kg`."""
        share = checked_load(load_kg) / c.body_mass_kg
        power = coefficients("looney_backpack")["load_exponent"]
        return np.asarray(c.body_mass_kg * self._scale(c) * share**power)

    def slope(self, load_kg: ArrayLike, c: Conditions) -> FloatArray:
        """Derivative of `cost`, W per kg, of the shape of `load_kg`."""
        share = checked_load(load_kg) / c.body_mass_kg
        power = coefficients("looney_backpack")["load_exponent"]
        return np.asarray(self._scale(c) * power * share ** (power - 1.0))


def browning_waist() -> TrunkSlope:
    """The default: slope of waist loads [1]."""
    slope = coefficients("browning_waist")["slope"]
    return TrunkSlope(published_card("trunk", "browning_waist"), slope, True)


def huang_kuo() -> TrunkSlope:
    """Slope of backpack loads [10]."""
    slope = coefficients("huang_kuo")["slope"]
    return TrunkSlope(published_card("trunk", "huang_kuo"), slope, False)


def pandolf() -> PandolfTrunk:
    """Load share of the load carriage equation [4]."""
    return PandolfTrunk(published_card("trunk", "pandolf"))


def looney_backpack() -> LooneyBackpack:
    """Load share of the backpacking equation [7]."""
    return LooneyBackpack(published_card("trunk", "looney_backpack"))


def ludlow_weyand() -> LudlowWeyandTrunk:
    """Load share of the minimum mechanics model [8]."""
    return LudlowWeyandTrunk(published_card("trunk", "ludlow_weyand"))
