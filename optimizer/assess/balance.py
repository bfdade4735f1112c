"""How a layout lies on the wearer: offset of the trunk's load, shift of the body's centre."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from optimizer.assess.result import Balance
from optimizer.body.balance import com_shift
from optimizer.setting import Setting
from optimizer.study.model import OFF_BODY, TRUNK, Site

if TYPE_CHECKING:
    from optimizer.assess.assessment import Lump


def balance_of(setting: Setting, lumps: Sequence[Lump], used: Sequence[Site]) -> Balance:
    """Offsets, shift, belt load and donning steps of worn masses; `used` are the sites in use."""
    worn = [lump for lump in lumps if lump.key != OFF_BODY]
    trunk = [lump for lump in worn if lump.key == TRUNK]
    trunk_kg = sum(lump.mass_kg for lump in trunk)
    moment = sum((lump.mass_kg * lump.position for lump in trunk), np.zeros(3))
    front, _, right = (moment / trunk_kg if trunk_kg > 0.0 else np.zeros(3)).tolist()
    shift = com_shift(
        setting.wearer, [lump.mass_kg for lump in worn], [lump.position for lump in worn]
    )
    pieces = {
        ("piece", site.piece) if site.piece else ("site", site.name)
        for site in used
        if site.key != OFF_BODY
    }
    return Balance(
        trunk_front_m=front,
        trunk_right_m=right,
        shift_m=(float(shift[0]), float(shift[1]), float(shift[2])),
        belt_kg=sum(lump.mass_kg for lump in lumps if lump.on_belt),
        donning_steps=len(pieces),
    )
