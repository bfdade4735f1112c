"""Worn masses as the assessment adds them up: one by one, each at its place on the wearer.

What a kilogram at a place costs and weighs about the joints is worked out from the wearer's
geometry and the energy model, once per place and setting. A `Load` is the masses that come together
(a holder, a part where it sits, a line along its route); `total` adds loads up, mass by mass, in
the order given.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from optimizer.assess.lookup import Lookup
from optimizer.body.inertia import squared_distance
from optimizer.body.places import is_belt
from optimizer.setting import Setting
from optimizer.study.model import LEG_SEGMENTS, OFF_BODY, SIDES, TRUNK, SegmentKey, Site

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
PROXIMAL_OF = {"hip": LEG_SEGMENTS, "knee": LEG_SEGMENTS[1:], "ankle": LEG_SEGMENTS[2:]}
LEG_KEYS: tuple[SegmentKey, ...] = tuple((seg, side) for seg in LEG_SEGMENTS for side in SIDES)
_KEYS: tuple[SegmentKey, ...] = (TRUNK, *LEG_KEYS, OFF_BODY)
_JOINTS: tuple[tuple[str, str], ...] = tuple((j, side) for j in PROXIMAL_OF for side in SIDES)

# Columns of a load's rows: what one mass adds to each sum.
_MASS, _LEG_W, _AT_HIP = 0, 1, 2
_MOMENT = slice(3, 6)
"""Mass times position, of what is on the trunk."""
_MASS_ON = {key: 6 + i for i, key in enumerate(_KEYS)}
_LEG_W_ON = {key: 6 + len(_KEYS) + i for i, key in enumerate(LEG_KEYS)}
_INERTIA = {about: 6 + len(_KEYS) + len(LEG_KEYS) + i for i, about in enumerate(_JOINTS)}
_COLUMNS = 6 + len(_KEYS) + len(LEG_KEYS) + len(_JOINTS)


@dataclass(frozen=True, slots=True)
class Lump:
    """A point mass moving with a segment, with the moment of inertia it has of its own."""

    key: SegmentKey
    position: Array
    mass_kg: float
    own_inertia_kg_m2: float = 0.0
    on_belt: bool = False


@dataclass(frozen=True, slots=True)
class Place:
    """Where masses can be: a site, or half an arc of a route.

    `per_kg` (columns,) is what a kilogram there adds to each sum; `swung` are the columns of the
    moments of inertia it has a part in.
    """

    key: SegmentKey
    position: Array
    on_belt: bool
    per_kg: Array
    swung: IntArray


@dataclass(frozen=True, slots=True)
class Load:
    """Masses that come together, n of them.

    `rows` (n, columns) are what each adds to each sum; `worn` (m, 4) are mass [kg] and position
    [m] of those on the body, `belt_kg` the masses of those on the belt; `segments` the segments
    that carry any, first come first.
    """

    lumps: tuple[Lump, ...]
    rows: Array
    worn: Array
    belt_kg: tuple[float, ...]
    segments: tuple[SegmentKey, ...]
    mass_kg: float
    trunk_kg: float
    leg_w: float
    hip_inertia_kg_m2: float
    """Added about the hip of the side each mass is on."""


@dataclass(frozen=True, slots=True)
class Totals:
    """Sums over loads. `mass_kg` has the segments that carry any, first come first.

    `trunk_moment_kg_m` is mass times position of the trunk's load; `worn` as of a `Load`.
    """

    mass_kg: Mapping[SegmentKey, float]
    leg_w: float
    leg_w_on: Mapping[SegmentKey, float]
    inertia_kg_m2: Mapping[tuple[str, str], float]
    """By joint and side."""
    trunk_moment_kg_m: tuple[float, float, float]
    worn: Array
    belt_kg: float


class Places:
    """The places of a setting, worked out as they are asked for."""

    def __init__(self, setting: Setting) -> None:
        self._setting = setting
        self._sites: dict[str, Place] = {}
        self._arcs: dict[int, tuple[Place, Place]] = {}

    def site(self, name: str) -> Place:
        """A site, by name."""
        found = self._sites.get(name)
        if found is None:
            site = self._setting.once(Lookup).sites[name]
            position = site_position(self._setting, site)
            found = self._sites[name] = self._place(site.key, position, is_belt(site))
        return found

    def arc(self, arc: int) -> tuple[Place, Place]:
        """The halves of an arc of the routing graph, tail's half first."""
        found = self._arcs.get(arc)
        if found is None:
            keys = self._setting.graph.half_keys[arc]
            points = np.array(self._setting.graph.half_points[arc], dtype=float)
            tail, head = (self._place(k, p, False) for k, p in zip(keys, points, strict=True))
            found = self._arcs[arc] = (tail, head)
        return found

    def _place(self, key: SegmentKey, position: Array, on_belt: bool) -> Place:
        """What a kilogram at a place adds up to; leg watts and inertia from first principles."""
        setting = self._setting
        position.flags.writeable = False  # shared by every layout
        per_kg = np.zeros(_COLUMNS)
        per_kg[_MASS] = per_kg[_MASS_ON[key]] = 1.0
        swung: list[int] = []
        if key == TRUNK:
            per_kg[_MOMENT] = position
        elif key[0] in LEG_SEGMENTS:
            reach = sagittal_distance(setting, key, position)
            watts = float(np.asarray(setting.energy.leg_cost(key[0], reach)).item())
            per_kg[_LEG_W] = per_kg[_LEG_W_ON[key]] = watts
            pose, at = setting.study.inertia_pose, position.reshape(1, 3)
            for joint, moving in PROXIMAL_OF.items():
                if key[0] in moving:
                    square = float(squared_distance(setting.wearer, key, at, joint, pose)[0])
                    columns = [_INERTIA[joint, key[1]]] + [_AT_HIP] * (joint == "hip")
                    per_kg[columns] = square
                    swung += columns
        return Place(key, position, on_belt, per_kg, np.array(swung, dtype=np.int64))


def load_of(masses: Sequence[tuple[Place, float]], own_kg_m2: float = 0.0) -> Load:
    """Masses [kg] at places as one load; each has `own_kg_m2` about its own centre."""
    kg = np.array([mass for _, mass in masses], dtype=float)
    rows = kg[:, None] * np.array([place.per_kg for place, _ in masses])
    if own_kg_m2:
        for row, (place, _) in zip(rows, masses, strict=True):
            row[place.swung] += own_kg_m2
    worn = [(mass, *place.position.tolist()) for place, mass in masses if place.key != OFF_BODY]
    sums = _added(rows)
    return Load(
        lumps=tuple(Lump(p.key, p.position, mass, own_kg_m2, p.on_belt) for p, mass in masses),
        rows=rows,
        worn=np.array(worn, dtype=float).reshape(-1, 4),
        belt_kg=tuple(mass for place, mass in masses if place.on_belt),
        segments=tuple(dict.fromkeys(place.key for place, _ in masses)),
        mass_kg=sums[_MASS],
        trunk_kg=sums[_MASS_ON[TRUNK]],
        leg_w=sums[_LEG_W],
        hip_inertia_kg_m2=sums[_AT_HIP],
    )


def total(loads: Sequence[Load]) -> Totals:
    """Everything that loads add up to, mass by mass in their order."""
    sums = [0.0] * _COLUMNS
    worn = np.zeros((0, 4))
    if loads:
        sums = _added(np.concatenate([load.rows for load in loads]))
        worn = np.concatenate([load.worn for load in loads])
    carrying = dict.fromkeys(chain.from_iterable(load.segments for load in loads))
    front, up, right = sums[_MOMENT]
    return Totals(
        mass_kg={key: sums[_MASS_ON[key]] for key in carrying},
        leg_w=sums[_LEG_W],
        leg_w_on={key: sums[column] for key, column in _LEG_W_ON.items()},
        inertia_kg_m2={about: sums[column] for about, column in _INERTIA.items()},
        trunk_moment_kg_m=(front, up, right),
        worn=worn,
        belt_kg=sum(chain.from_iterable(load.belt_kg for load in loads)),
    )


def _added(rows: Array) -> list[float]:
    """Sums of columns, added from the first row down."""
    sums: list[float] = np.add.reduce(rows, axis=0, initial=0.0).tolist()
    return sums


def sagittal_distance(setting: Setting, key: SegmentKey, position: Array) -> float:
    """Distance from the hip's mediolateral axis, standing [m]; from mid-hip for the trunk."""
    hip = setting.wearer.joint("hip", key[1]) if key[1] in SIDES else np.zeros(3)
    return float(np.hypot(position[0] - hip[0], position[1] - hip[1]))


def site_position(setting: Setting, site: Site) -> Array:
    """Where the centre of mass of what a site holds is counted [m]."""
    return np.asarray(setting.wearer.position(site), dtype=float)
