"""The wearer as rigid segments in the standing pose, and where a garment's sites are on them.

Body frame (ISB): x forward, y up, z to the wearer's right; origin midway between the hip joint
centres; metres. Standing pose: joint centres of a leg straight below one another, foot at right
angles to the shank, feet flat.

Assumptions that the tables leave open:

* The foot's axis runs horizontally, half the ankle height of Drillis and Contini (0.0195 of
  stature) below the ankle joint centre, and the heel lies a quarter of the foot's length behind
  that centre. Centres of mass given as a distance from the ankle (winter_dempster) lie on this
  axis at that distance.
* Each hip joint centre lies under the middle of its half of the hip width, so half their
  distance is a quarter of it: of a measured `hip_width_m`, else of Drillis and Contini's 0.191 of
  stature (84 mm at 1.75 m), which unlike ANSUR II's hip breadth does not grow with body mass. A
  measured `inter_asis_distance_m` goes first: 0.36 of it each side (Bell, Brand and Pedersen
  1989). The distance does not enter any swing inertia.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from math import sqrt
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from optimizer.body.anthropometry import (
    DEFAULT_LENGTHS,
    InertiaTable,
    LengthTable,
    asis_medial_fraction,
)
from optimizer.body.girth import population_warnings
from optimizer.body.measurement import (
    MEASUREMENTS,
    choose_tables,
    measurement_flaws,
    table_values,
    whole_body_flaws,
)
from optimizer.errors import InputError
from optimizer.study.model import LEG_SEGMENTS, SIDES, TRUNK, SegmentKey, WearerSpec

__all__ = ["JOINTS", "MEASUREMENTS", "Segment", "Wearer", "build_wearer"]

JOINTS: tuple[str, ...] = ("hip", "knee", "ankle")
#: Sign of z on each side; a site of the trunk's centre counts its `outside_m` to the right.
OUTWARD: dict[str, float] = {"left": -1.0, "right": 1.0, "centre": 1.0}

_HEEL_BEHIND_ANKLE = 0.25  # of foot length; assumption, see the module's docstring
_AXIS_BELOW_ANKLE = 0.5  # of ankle height; assumption, see the module's docstring

Vector = NDArray[np.float64]


class SiteLike(Protocol):
    """Anything that says where on a segment it is; see `optimizer.study.model.Site`."""

    @property
    def segment(self) -> str: ...
    @property
    def side(self) -> str: ...
    @property
    def along(self) -> float: ...
    @property
    def front_m(self) -> float: ...
    @property
    def outside_m(self) -> float: ...


@dataclass(frozen=True, slots=True)
class Segment:
    """A rigid segment in the standing pose; positions are (3,) in the body frame [m].

    `proximal` and `distal` are the ends of the axis sites are counted along: joint centres for
    thigh and shank, heel and toe tip for the foot, mid-hip and suprasternale for the trunk.
    `inertia_ml_kg_m2` is about the own centre of mass, mediolateral axis; `radius_ml_m` is its
    radius of gyration.
    """

    key: SegmentKey
    mass_kg: float
    length_m: float
    proximal: Vector
    distal: Vector
    com: Vector
    radius_ml_m: float
    source: str

    @property
    def inertia_ml_kg_m2(self) -> float:
        """Moment of inertia about the mediolateral axis through the centre of mass."""
        return self.mass_kg * self.radius_ml_m**2


@dataclass(frozen=True, slots=True, eq=False)
class Wearer:
    """A wearer's segments, joint centres and breadths. Made by `build_wearer`.

    Not to be changed: who asks for the same wearer again may be given the same object.
    """

    spec: WearerSpec
    stature_m: float
    mass_kg: float
    segments: dict[SegmentKey, Segment]
    ankle_height_m: float
    hip_half_width_m: float
    girths: dict[str, float]
    length_source: str
    warnings: tuple[str, ...] = ()
    _joints: dict[tuple[str, str], Vector] = field(default_factory=dict, repr=False)

    @property
    def trunk_length_m(self) -> float:
        """From the hips to the suprasternale."""
        return self.segments[TRUNK].length_m

    @property
    def leg_length_m(self) -> float:
        """From the hip joint centre straight down to the sole."""
        return (
            self.segments["thigh", "right"].length_m
            + self.segments["shank", "right"].length_m
            + self.ankle_height_m
        )

    @property
    def foot_radius_m(self) -> float:
        """Sagittal distance from the hip joint centre to the foot's centre of mass, standing."""
        offset = self.segments["foot", "right"].com - self.joint("hip", "right")
        return float(np.hypot(offset[0], offset[1]))

    def joint(self, joint: str, side: str) -> Vector:
        """Joint centre in the standing pose, (3,) [m].

        Raises
        ------
        KeyError
            Unless `joint` is "hip", "knee" or "ankle" and `side` "left" or "right".
        """
        return self._joints[joint, side]

    def position(self, site: SiteLike) -> Vector:
        """Where a site is in the standing pose, (3,) [m].

        Off-body places are counted as if on the trunk: `along` 0 at hip level, 1 at the
        suprasternale.
        """
        out = OUTWARD[site.side] * site.outside_m
        if site.segment not in LEG_SEGMENTS:
            return np.array([site.front_m, site.along * self.trunk_length_m, out])
        segment = self.segments[site.segment, site.side]
        front = (0.0, site.front_m, out) if site.segment == "foot" else (site.front_m, 0.0, out)
        return segment.proximal + site.along * (segment.distal - segment.proximal) + np.array(front)

    def breadth(self, name: str) -> float:
        """A breadth, depth, circumference or height [m] by name, as in `MEASUREMENTS`.

        The unit's suffix may be left out: "waist_depth" is "waist_depth_m". "hip_breadth" is
        "hip_width_m".

        Raises
        ------
        KeyError
            If the name is unknown; the message lists the valid ones.
        """
        full = name if name.endswith("_m") else f"{name}_m"
        full = "hip_width_m" if full == "hip_breadth_m" else full
        if full not in self.girths:
            raise KeyError(f"unknown breadth {name!r}; valid names: {', '.join(self.girths)}")
        return self.girths[full]


@lru_cache(maxsize=16)
def build_wearer(spec: WearerSpec) -> Wearer:
    """The wearer that `spec` describes, measured values in place of the tables'.

    The last few are kept: a sweep or a what-if that changes parts asks for the same one again.

    Raises
    ------
    InputError
        With every flaw found: an unknown table or measurement (with the nearest valid name), a
        value that is not positive, one implausibly far from the table's, or measured parts that
        together exceed the whole.
    """
    inertia, lengths = choose_tables(spec)
    values = table_values(spec, inertia, lengths)
    flaws = measurement_flaws(spec.measured, values, spec.origin)
    if flaws:
        raise InputError(flaws)
    measured = values | dict(spec.measured)
    if flaws := whole_body_flaws(spec, measured):
        raise InputError(flaws)
    warnings = [
        *population_warnings(spec.sex, spec.stature_m, spec.mass_kg),
        *inertia.warnings,
        *lengths.warnings,
    ]
    if lengths.name != DEFAULT_LENGTHS[inertia.name]:
        warnings.append(
            f"lengths of {lengths.name} with the inertia of {inertia.name}: "
            "the two tables place the segments' ends differently"
        )
    reference_m = measured["foot_length_m"]
    if inertia.foot.over_stature is not None:  # grows with a measured foot
        reference_m *= inertia.foot.over_stature * spec.stature_m / values["foot_length_m"]
    return _assemble(
        spec,
        inertia,
        measured,
        hip_half_width_m=_hip_half_width(spec, lengths),
        length_source=lengths.name,
        foot_reference_m=reference_m,
        warnings=tuple(warnings),
    )


def _assemble(
    spec: WearerSpec,
    inertia: InertiaTable,
    measured: dict[str, float],
    *,
    hip_half_width_m: float,
    length_source: str,
    foot_reference_m: float,
    warnings: tuple[str, ...],
) -> Wearer:
    joints: dict[tuple[str, str], Vector] = {}
    segments: dict[SegmentKey, Segment] = {}

    def add(  # one place that makes a segment, so that no side is treated differently
        key: SegmentKey, proximal: Vector, distal: Vector, com: Vector, reference_m: float
    ) -> None:
        row = inertia.segments[key[0]]
        segments[key] = Segment(
            key=key,
            mass_kg=measured[f"{key[0]}_mass_kg"],
            length_m=measured[f"{key[0]}_length_m"],
            proximal=proximal,
            distal=distal,
            com=com,
            radius_ml_m=row.radius_ml * reference_m,
            source=row.source,
        )

    trunk_m = measured["trunk_length_m"]
    top = np.array([0.0, trunk_m, 0.0])
    add(TRUNK, np.zeros(3), top, inertia.segments["trunk"].com[0] * top, trunk_m)
    for side in SIDES:
        out = OUTWARD[side]
        joints["hip", side] = np.array([0.0, 0.0, out * hip_half_width_m])
        for segment, upper, lower in (("thigh", "hip", "knee"), ("shank", "knee", "ankle")):
            length = measured[f"{segment}_length_m"]
            joints[lower, side] = joints[upper, side] - np.array([0.0, length, 0.0])
            along, front, outside = inertia.segments[segment].com
            com = joints[upper, side] + length * np.array([front, -along, out * outside])
            add((segment, side), joints[upper, side], joints[lower, side], com, length)
        foot_m = measured["foot_length_m"]
        below = np.array([0.0, _AXIS_BELOW_ANKLE * measured["ankle_height_m"], 0.0])
        heel = joints["ankle", side] - below - np.array([_HEEL_BEHIND_ANKLE * foot_m, 0.0, 0.0])
        toe = heel + np.array([foot_m, 0.0, 0.0])
        com = joints["ankle", side] + _foot_com(inertia, foot_m, foot_reference_m, below[1], out)
        add(("foot", side), heel, toe, com, foot_reference_m)
    girths = {n: measured[n] for n, unit in MEASUREMENTS.items() if unit == "m" and n in measured}
    return Wearer(
        spec=spec,
        stature_m=spec.stature_m,
        mass_kg=spec.mass_kg,
        segments=segments,
        ankle_height_m=measured["ankle_height_m"],
        hip_half_width_m=hip_half_width_m,
        girths=girths,
        length_source=length_source,
        warnings=warnings,
        _joints=joints,
    )


def _hip_half_width(spec: WearerSpec, lengths: LengthTable) -> float:
    """Half the distance of the hip joint centres; see the module's docstring."""
    if "inter_asis_distance_m" in spec.measured:
        return (0.5 - asis_medial_fraction()) * spec.measured["inter_asis_distance_m"]
    table_m = lengths.over_stature["hip_width"] * spec.stature_m
    return spec.measured.get("hip_width_m", table_m) / 4.0


def _foot_com(
    inertia: InertiaTable, foot_m: float, reference_m: float, below_m: float, out: float
) -> Vector:
    """From the ankle to the foot's centre of mass: on the foot's axis, or as the table has it."""
    first, second, third = (reference_m * c for c in inertia.segments["foot"].com)
    if inertia.foot.origin == "heel":
        return np.array([first - _HEEL_BEHIND_ANKLE * foot_m, -below_m, 0.0])
    if second == 0.0:  # a mere distance from the ankle: put it on the foot's axis
        below_m = min(below_m, first)
        return np.array([sqrt(first**2 - below_m**2), -below_m, 0.0])
    return np.array([first, second, out * third])
