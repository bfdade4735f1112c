r"""Cost of mass on the leg from the work of swinging it, by inverse dynamics.

.. math::
    c(s, r) = \max\left(0,\ \frac{W^+_\mathrm{loaded} - W^+_\mathrm{bare}}{\eta\,m\,T}\right)

W+ is the positive work of the net hip, knee and ankle moments in one swing
(`optimizer.body.dynamics`, Winter's link-segment model on published joint angles), T the wearer's
own stride time, m a reference load at distance r from the hip along the limb's axis, eta the
efficiency of positive work. It is tabulated along each segment and is linear in between.

Limits: swing only, so nothing for carrying the mass in stance; the load does not change the
motion; positive work of net moments is not metabolic cost (elastic return and two-joint muscles
lower it, braking and co-contraction raise it). At the foot it gives about twice the published
cost; at the thigh net work falls with load, which is cut off at 0: a load that pays would make
ballast worth carrying, on the word of a model that knows nothing of stance. Places off the limb's
axis count by their distance from the hip; the heel as the place equally far in front of the ankle.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.energy.card import ModelCard, PublishedModel
from optimizer.energy.cards import published_card
from optimizer.energy.conditions import LEGS, Conditions
from optimizer.energy.tables import coefficients
from optimizer.study.model import WearerSpec

FloatArray = NDArray[np.float64]
#: Places tabulated along each segment.
PLACES = 13


@dataclass(frozen=True)
class SwingWork(PublishedModel):
    """Extra positive joint work of swing over an efficiency, W per kg of added mass.

    `efficiency` of positive work; `reference_kg` the load it is worked out with (between 50 g and
    2 kg the result per kg changes by under 3 % down to the midfoot, 14 % at the toe tip).
    Without a whole wearer to hand (plain `Conditions`) a man of ordinary build with the same
    hip-to-foot distance stands in.
    """

    card: ModelCard
    efficiency: float
    reference_kg: float

    def cost(self, segment: str, distance_m: ArrayLike, c: Conditions) -> FloatArray:
        """W per kg of added mass, of the shape of `distance_m`; never negative."""
        from optimizer.energy.leg import checked_distance

        distance = checked_distance(segment, distance_m)
        at, watts = self.table(c)[segment]
        return np.asarray(np.interp(distance, at, np.maximum(watts, 0.0)), dtype=float)

    def table(self, c: Conditions) -> Mapping[str, tuple[FloatArray, FloatArray]]:
        """Distances from the hip [m] and W per kg there by segment, before cutting off at 0."""
        spec = getattr(c.wearer, "spec", None)
        if not isinstance(spec, WearerSpec):
            spec = _stand_in(c.foot_radius_m)
        key = (
            spec.sex,
            spec.stature_m,
            spec.mass_kg,
            spec.inertia_table,
            spec.length_table,
            tuple(sorted(spec.measured.items())),
        )
        return _table(key, c.speed_m_s, self.efficiency, self.reference_kg)


@lru_cache(maxsize=64)
def _stand_in(foot_radius_m: float) -> WearerSpec:
    """A man of ordinary build whose foot is so far from his hip."""
    from optimizer.body.wearer import build_wearer

    usual = WearerSpec("male", 1.75, 75.0)
    size = foot_radius_m / build_wearer(usual).foot_radius_m
    return WearerSpec("male", usual.stature_m * size, usual.mass_kg * size**3)


@lru_cache(maxsize=64)
def _table(
    key: tuple[str, float, float, str, str | None, tuple[tuple[str, float], ...]],
    speed_m_s: float,
    efficiency: float,
    reference_kg: float,
) -> Mapping[str, tuple[FloatArray, FloatArray]]:
    from optimizer.body.dynamics import AddedMass, inverse_dynamics, leg_links
    from optimizer.body.motion import swing_motion, swing_phases, wearer_stride_time_s
    from optimizer.body.wearer import JOINTS, build_wearer

    sex, stature, mass, inertia_table, length_table, measured = key
    wearer = build_wearer(
        WearerSpec(
            "female" if sex == "female" else "male",
            stature,
            mass,
            inertia_table,
            length_table,
            measured=dict(measured),
        )
    )
    motion = swing_motion(wearer, speed_m_s, swing_phases(speed_m_s))
    stride_s = wearer_stride_time_s(wearer, speed_m_s)
    side = "right"
    hip = wearer.joint("hip", side)

    def positive_work_j(added: tuple[AddedMass, ...]) -> float:
        loads = inverse_dynamics(leg_links(wearer, side, added), motion)
        return float(
            sum(np.trapezoid(np.maximum(loads.power_w[j], 0.0), motion.time_s) for j in JOINTS)
        )

    bare = positive_work_j(())
    found = {}
    for segment in LEGS:
        ends = wearer.segments[segment, side]
        start = ends.proximal
        if segment == "foot":  # from under the ankle on: distance grows with the place
            start = np.array([hip[0], ends.proximal[1], ends.proximal[2]])
        places = [start + share * (ends.distal - start) for share in np.linspace(0.0, 1.0, PLACES)]
        watts = []
        for place in places:
            work = positive_work_j((AddedMass((segment, side), place, reference_kg),)) - bare
            watts.append(work / (efficiency * reference_kg * stride_s))
        offsets = np.array(places) - hip
        found[segment] = (np.hypot(offsets[:, 0], offsets[:, 1]), np.array(watts))
    return found


def swing_work() -> SwingWork:
    """The model with its efficiency and reference load from `energy_coefficients.csv`."""
    k = coefficients("swing_work")
    return SwingWork(
        published_card("leg", "swing_work"),
        efficiency=k["efficiency"],
        reference_kg=k["reference_load"],
    )
