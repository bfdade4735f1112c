"""What a kilogram at a place adds up to, from the wearer and the energy model alone."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from optimizer.body.inertia import bare_leg_inertia, squared_distance
from optimizer.setting import Setting
from optimizer.study.model import OFF_BODY, Site

Vector = NDArray[np.float64]
Mask = NDArray[np.bool_]
Ints = NDArray[np.int64]

LEGS = ("thigh", "shank", "foot")
BOTH = ("left", "right")
#: What a tally counts: mass by segment and side, watts on the legs, hip inertia by side.
KEYS = (("trunk", "centre"), *((leg, side) for leg in LEGS for side in BOTH), OFF_BODY)
LEG_W, HIP = len(KEYS), {"left": len(KEYS) + 1, "right": len(KEYS) + 2}
WIDTH = len(KEYS) + 3
#: Feasible if met to this share of the limit; instances keep clear of it.
CLEAR = 1e-9
#: Layouts whose scores differ by less are equals.
TIED = 1e-6


def legs_of(side: str) -> list[int]:
    return [KEYS.index((leg, side)) for leg in LEGS]


class Scale:
    """What a kilogram at a place adds to a tally, and what a tally scores."""

    def __init__(self, setting: Setting):
        self.setting = setting
        study = setting.study
        self.bare = bare_leg_inertia(setting.wearer, "right", "hip", study.inertia_pose)

    def kilogram(self, key: tuple[str, str], position: Vector) -> Vector:
        tally = np.zeros(WIDTH)
        tally[KEYS.index(key)] = 1.0
        segment, side = key
        if segment in LEGS:
            hip = self.setting.wearer.joint("hip", side)
            away = float(np.hypot(*(position - hip)[:2]))
            tally[LEG_W] = float(self.setting.energy.leg_cost(segment, away))
            if self.setting.study.inertia_pose == "straight":
                tally[HIP[side]] = away**2
            else:
                tally[HIP[side]] = squared_distance(
                    self.setting.wearer, key, position, "hip", "swing"
                )[0]
        return tally

    def site(self, site: Site) -> Vector:
        return self.kilogram(site.key, np.asarray(self.setting.wearer.position(site)))

    def part(self, site: Site, mass_kg: float, size_m: tuple[float, float, float]) -> Vector:
        tally = mass_kg * self.site(site)
        if site.key[0] in LEGS:
            length, width, thickness = size_m
            facing = thickness if abs(site.front_m) >= abs(site.outside_m) else width
            tally[HIP[site.side]] += mass_kg * (length * length + facing * facing) / 12.0
        return tally

    def score(self, tally: Vector, discomfort: Vector) -> Vector:
        """Scores of tallies (n, WIDTH)."""
        weights, energy = self.setting.study.weights, self.setting.energy
        watts = tally[:, LEG_W] + np.asarray(energy.trunk_cost(tally[:, 0]))
        inertia = tally[:, HIP["left"]] + tally[:, HIP["right"]]
        total: Vector = (
            weights.metabolic * 100.0 * watts / energy.walking_w
            + weights.swing_inertia * 100.0 * inertia / self.bare
            + weights.comfort * discomfort
        )
        return total

    def marginal(self) -> Vector:
        """Score per unit of tally by which routes are compared: trunk at half the parts' mass."""
        weights, energy = self.setting.study.weights, self.setting.energy
        half = sum(p.count * min(m.mass_kg for m in p.models) for p in self.setting.study.parts) / 2
        per = np.zeros(WIDTH)
        per[0] = weights.metabolic * 100.0 / energy.walking_w * float(energy.trunk_slope(half))
        per[LEG_W] = weights.metabolic * 100.0 / energy.walking_w
        per[list(HIP.values())] = weights.swing_inertia * 100.0 / self.bare
        return per
