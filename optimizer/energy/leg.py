"""Cost of mass worn on the leg, W per kg of added mass, by published model.

Every model is built from plain numbers, so that coefficients from elsewhere (a laboratory's own
trials) make a model of the same kind: give it a card of its own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.energy.card import Described, ModelCard, PublishedModel
from optimizer.energy.cards import published_card
from optimizer.energy.conditions import LEGS, Conditions, Loads
from optimizer.energy.equations import oxygen_w
from optimizer.energy.pchip import Pchip
from optimizer.energy.tables import coefficients

FloatArray = NDArray[np.float64]


class LegModel(Described, Protocol):
    """What every leg model can do, beside the fields of its card."""

    def cost(self, segment: str, distance_m: ArrayLike, c: Conditions) -> FloatArray:
        """W per kg of added mass, of the shape of `distance_m` (hip to mass, sagittal)."""
        ...


def checked_distance(segment: str, distance_m: ArrayLike) -> FloatArray:
    """Distances as an array; ValueError for a segment off the leg or an impossible distance."""
    if segment not in LEGS:
        raise ValueError(f"{segment!r} is no leg segment: expected one of {', '.join(LEGS)}")
    distance = np.asarray(distance_m, dtype=float)
    if not np.all(np.isfinite(distance)) or np.any(distance < 0):
        raise ValueError("distance from the hip must be finite and not negative")
    return distance


@dataclass(frozen=True)
class SegmentSlopes(PublishedModel):
    """One cost per segment, the same all along it.

    `slopes` are W per kg of load (`per_kg_body` False) or W per kg of wearer per kg of load.
    `segment_table` has the regression slopes of [1] (per kg of wearer), `augmentation_factor`
    the location factors of [2] (from memory, not verified, 74 kg of body mass built in).
    """

    card: ModelCard
    slopes: Mapping[str, float]
    per_kg_body: bool

    def cost(self, segment: str, distance_m: ArrayLike, c: Conditions) -> FloatArray:
        """W per kg of added mass, of the shape of `distance_m`."""
        distance = checked_distance(segment, distance_m)
        scale = c.body_mass_kg if self.per_kg_body else 1.0
        return np.full(distance.shape, self.slopes[segment] * scale)


@dataclass(frozen=True)
class SegmentCurve(PublishedModel):
    """Monotone cubic curve in distance from the hip through the published slopes.

    `radius_m` (n,) and `slope` (n,), W per kg of wearer per kg of load. The radii belong to a
    body whose foot's centre of mass is `radius_m[-1]` (0.90 m) from the hip; for another wearer
    they are stretched by `foot_radius_m` / 0.90 m, so that a place at the same share of the leg
    costs the same. Beyond the last point the cost is constant: nothing was measured there. The
    segment does not matter, so there is no step at a joint.
    """

    card: ModelCard
    radius_m: tuple[float, ...]
    slope: tuple[float, ...]
    curve: Pchip = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "curve", Pchip(self.radius_m, self.slope))

    def cost(self, segment: str, distance_m: ArrayLike, c: Conditions) -> FloatArray:
        """W per kg of added mass, of the shape of `distance_m`."""
        # Divide first: a place at exactly the foot's radius then meets its point exactly.
        share = checked_distance(segment, distance_m) / c.foot_radius_m
        return c.body_mass_kg * self.curve(share * self.radius_m[-1])


@dataclass(frozen=True)
class RadiusSquared(PublishedModel):
    """Support cost plus a swing cost that grows with the squared distance from the hip [11].

    c = (B / B0) (a + k (V / V0)^2 r^2): a mass at r adds inertia m r^2 to the swinging leg. The
    waist value `intercept` is held, `per_m2` fitted to the slopes of [1] at B0 = 75 kg and
    V0 = 1.25 m/s. r is the wearer's own distance, not stretched. +-2.7 W/kg_load.
    """

    card: ModelCard
    intercept: float
    per_m2: float
    reference_body_mass_kg: float
    reference_speed_m_s: float

    def cost(self, segment: str, distance_m: ArrayLike, c: Conditions) -> FloatArray:
        """W per kg of added mass, of the shape of `distance_m`."""
        distance = checked_distance(segment, distance_m)
        speed = c.speed_m_s / self.reference_speed_m_s
        body = c.body_mass_kg / self.reference_body_mass_kg
        return np.asarray(body * (self.intercept + self.per_m2 * speed**2 * distance**2))


@dataclass(frozen=True)
class SouleGoldman(PublishedModel):
    """Foot loads, cost relative to that of carrying one's own body [3].

    `speed_m_s` (n,) and `foot_w_per_kg` (n,): ratio x no-load cost x 20.1 J/mL. Straight lines
    between the speeds, constant outside them (with a warning). Thigh and shank were not
    measured: their `others` slopes (W per kg of wearer per kg of load) are scaled by this
    model's foot cost over `others["foot"]`, which keeps the published proportions between the
    segments and with them the order foot > shank >= thigh.
    """

    card: ModelCard
    speed_m_s: tuple[float, ...]
    foot_w_per_kg: tuple[float, ...]
    others: Mapping[str, float]

    def cost(self, segment: str, distance_m: ArrayLike, c: Conditions) -> FloatArray:
        """W per kg of added mass, of the shape of `distance_m`."""
        distance = checked_distance(segment, distance_m)
        foot = float(np.interp(c.speed_m_s, self.speed_m_s, self.foot_w_per_kg))
        return np.full(distance.shape, foot * self.others[segment] / self.others["foot"])

    def warnings(self, c: Conditions, loads: Loads) -> tuple[str, ...]:
        """Range warnings, and that thigh and shank are borrowed where they carry anything."""
        said = super().warnings(c, loads)
        if loads.on("thigh") + loads.on("shank") > 0:
            said += (
                f"leg model {self.name}: only the foot was published; thigh and shank take the "
                "proportions of segment_table",
            )
        return said


def segment_table() -> SegmentSlopes:
    """Published slopes per segment [1], W per kg of wearer per kg of load."""
    return SegmentSlopes(
        published_card("leg", "segment_table"), coefficients("segment_table"), True
    )


def segment_curve() -> SegmentCurve:
    """The default: monotone curve through waist, thigh, shank and foot of [1]."""
    radii, slopes = coefficients("segment_curve"), coefficients("segment_table")
    return SegmentCurve(
        published_card("leg", "segment_curve"),
        tuple(radii[f"radius_{n}"] for n in ("waist", *LEGS)),
        (coefficients("browning_waist")["slope"], *(slopes[n] for n in LEGS)),
    )


def radius_squared() -> RadiusSquared:
    """Fit with the waist held at its published value [11]."""
    k = coefficients("radius_squared")
    return RadiusSquared(
        published_card("leg", "radius_squared"),
        intercept=k["intercept"],
        per_m2=k["radius_squared_slope"],
        reference_body_mass_kg=k["reference_body_mass"],
        reference_speed_m_s=k["reference_speed"],
    )


def augmentation_factor() -> SegmentSlopes:
    """Location factors of the augmentation factor [2], W per kg of load."""
    k = coefficients("augmentation_factor")
    card = published_card("leg", "augmentation_factor")
    return SegmentSlopes(card, {name: k[name] for name in LEGS}, False)


def soule_goldman() -> SouleGoldman:
    """Foot loads at three speeds [3]."""
    k = coefficients("soule_goldman")
    tag = "foot_ratio_at_"
    speeds = sorted((name.removeprefix(tag) for name in k if name.startswith(tag)), key=float)
    return SouleGoldman(
        published_card("leg", "soule_goldman"),
        speed_m_s=tuple(float(v) for v in speeds),
        foot_w_per_kg=tuple(k[tag + v] * oxygen_w(k[f"no_load_cost_at_{v}"]) for v in speeds),
        others=coefficients("segment_table"),
    )
