"""How a layout lies on the wearer: offset of the trunk's load, shift of the body's centre."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from optimizer.assess.loads import Array, Totals
from optimizer.assess.result import Balance
from optimizer.body.balance import body_com, com_shift
from optimizer.setting import Setting
from optimizer.study.model import OFF_BODY, TRUNK, Site


def balance_of(setting: Setting, totals: Totals, used: Sequence[Site]) -> Balance:
    """Offsets, shift, belt load and donning steps of worn masses; `used` are the sites in use."""
    trunk_kg = totals.mass_kg.get(TRUNK, 0.0)
    front, right = 0.0, 0.0
    if trunk_kg > 0.0:
        front, _, right = (moment / trunk_kg for moment in totals.trunk_moment_kg_m)
    masses = np.ascontiguousarray(totals.worn[:, 0])
    shift = com_shift(setting.wearer, masses, totals.worn[:, 1:], setting.once(_bare_com))
    pieces = {
        ("piece", site.piece) if site.piece else ("site", site.name)
        for site in used
        if site.key != OFF_BODY
    }
    return Balance(
        trunk_front_m=front,
        trunk_right_m=right,
        shift_m=(float(shift[0]), float(shift[1]), float(shift[2])),
        belt_kg=totals.belt_kg,
        donning_steps=len(pieces),
    )


def _bare_com(setting: Setting) -> Array:
    return body_com(setting.wearer)
