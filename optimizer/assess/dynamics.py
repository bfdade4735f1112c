"""What a layout does to the swinging legs: moments, powers, work, rhythm and foot clearance.

Worked out on demand from a layout's own masses by `optimizer.body.dynamics` and
`optimizer.body.clearance`; what those leave out holds here too: the load is taken not to change
how the wearer walks.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from optimizer.assess.assessment import layout_lumps
from optimizer.assess.loads import site_position
from optimizer.assess.result import Assessment
from optimizer.body.clearance import clearance
from optimizer.body.dynamics import AddedMass, SwingDynamics, swing_dynamics
from optimizer.body.wearer import JOINTS
from optimizer.setting import Setting
from optimizer.study.model import LEG_SEGMENTS, SIDES


@dataclass(frozen=True, slots=True)
class JointSwing:
    """One joint through swing: net moment and power of the bare leg, and what the load adds.

    `peak_*_moment_nm`, `peak_*_power_w` are the largest absolute values, bare and of the change;
    works are of the positive power, in one swing.
    """

    joint: str
    peak_bare_moment_nm: float
    peak_extra_moment_nm: float
    peak_bare_power_w: float
    peak_extra_power_w: float
    bare_positive_work_j: float
    extra_positive_work_j: float


@dataclass(frozen=True, slots=True)
class LegSwing:
    """One leg's swing, bare and loaded.

    `extra_positive_power_w`: extra positive joint work over the whole stride's time, mechanical.
    Natural frequencies are the straight leg's as a pendulum about the hip.
    """

    side: str
    added_kg: float
    stride_time_s: float
    swing_time_s: float
    natural_frequency_bare_hz: float
    natural_frequency_loaded_hz: float
    extra_positive_power_w: float
    joints: tuple[JointSwing, ...]


@dataclass(frozen=True, slots=True)
class PartClearance:
    """Smallest gap between ground and foot in mid-swing, with one part and without any [m].

    `below_sole_m`: how far the part reaches below the sole in standing, to be stepped on.
    """

    unit: str
    site: str
    bare_gap_m: float
    gap_m: float
    below_sole_m: float

    @property
    def unaffected(self) -> bool:
        """Whether the sole, not the part, stays the lowest."""
        return self.bare_gap_m - self.gap_m < 1e-6 and self.below_sole_m < 1e-6


@dataclass(frozen=True, slots=True)
class SwingReport:
    """Both legs' swings, the clearance of every part on shank and foot, range warnings."""

    speed_m_s: float
    legs: tuple[LegSwing, ...]
    clearances: tuple[PartClearance, ...]
    warnings: tuple[str, ...]


def swing_report(setting: Setting, assessment: Assessment) -> SwingReport:
    """Inverse dynamics of both legs with everything a layout puts on them."""
    speed = setting.study.task.speed_m_s
    added = [
        AddedMass(lump.key, lump.position, lump.mass_kg, lump.own_inertia_kg_m2)
        for lump in layout_lumps(setting, assessment.layout)
        if lump.key[0] in LEG_SEGMENTS
    ]
    legs: list[LegSwing] = []
    warnings: list[str] = []
    for side in SIDES:
        here = [load for load in added if load.segment_key[1] == side]
        found = swing_dynamics(setting.wearer, side, here, speed)
        legs.append(_leg(found, sum(load.mass_kg for load in here)))
        warnings += found.warnings
    return SwingReport(
        speed,
        tuple(legs),
        _clearances(setting, assessment),
        tuple(dict.fromkeys(warnings)),
    )


def _leg(found: SwingDynamics, added_kg: float) -> LegSwing:
    joints = tuple(
        JointSwing(
            joint=joint,
            peak_bare_moment_nm=float(np.abs(found.bare.moment_nm[joint]).max()),
            peak_extra_moment_nm=found.peak_extra_moment_nm(joint),
            peak_bare_power_w=float(np.abs(found.bare.power_w[joint]).max()),
            peak_extra_power_w=float(
                np.abs(found.loaded.power_w[joint] - found.bare.power_w[joint]).max()
            ),
            bare_positive_work_j=found.positive_work_j(found.bare, joint),
            extra_positive_work_j=found.extra_positive_work_j(joint),
        )
        for joint in JOINTS
    )
    return LegSwing(
        side=found.side,
        added_kg=added_kg,
        stride_time_s=found.stride_time_s,
        swing_time_s=found.swing_time_s,
        natural_frequency_bare_hz=found.natural_frequency_bare_hz,
        natural_frequency_loaded_hz=found.natural_frequency_loaded_hz,
        extra_positive_power_w=found.extra_positive_power_w,
        joints=joints,
    )


def _clearances(setting: Setting, assessment: Assessment) -> tuple[PartClearance, ...]:
    sites = {site.name: site for site in setting.study.sites}
    sizes = {
        (part.name, model.name): model.size_m
        for part in setting.study.parts
        for model in part.models
    }
    found = []
    for placed in assessment.layout.placements:
        site = sites[placed.site]
        if site.segment not in ("shank", "foot"):
            continue
        left = clearance(
            setting.wearer,
            site.key,
            site_position(setting, site),
            sizes[placed.part, placed.model],
            abs(site.outside_m) > abs(site.front_m),
        )
        found.append(
            PartClearance(placed.unit, site.name, left.bare_gap_m, left.gap_m, left.below_sole_m)
        )
    return tuple(found)
