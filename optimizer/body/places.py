"""What follows for the wearer from where a site is: places to keep out of, the hand's reach.

Keep-out zones are sectors around a segment's axis (`data/keep_out_zones.csv`); the direction of a
site is counted from the front (0) over the outside (90) and the back (180) to the inside (270).
All of it is judgement, said row by row; a site's own tags overrule it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from math import atan2, degrees

import numpy as np

from optimizer.body.tables import read_table
from optimizer.body.wear_defaults import default_value
from optimizer.body.wearer import OUTWARD, Wearer
from optimizer.study.model import LEG_SEGMENTS, SIDES, Site

#: What a site offers, without being told to, where the unaffected hand reaches it.
BY_HAND = "reachable_by_hand"
#: Sites with one of these tags carry the belt's load.
BELT_TAGS: frozenset[str] = frozenset({"belt", "pelvis"})
#: A site with one of these tags lies over bone, whatever its geometry.
BONE_TAG = "bone"
#: A site that offers this does not touch the skin.
OFF_SKIN = "off_skin"


@dataclass(frozen=True, slots=True)
class Zone:
    """A sector of a segment where nothing should sit; angles in degrees, see the module."""

    name: str
    title: str
    segment: str
    along: tuple[float, float]
    angle_deg: tuple[float, float]
    only_on_skin: bool

    def holds(self, site: Site) -> bool:
        """Whether a site lies in the zone."""
        if site.segment != self.segment or not self.along[0] <= site.along <= self.along[1]:
            return False
        if self.only_on_skin and OFF_SKIN in site.offers:
            return False
        first, last = self.angle_deg
        return (direction_deg(site) - first) % 360.0 <= last - first


@cache
def keep_out_zones() -> tuple[Zone, ...]:
    """The zones of `data/keep_out_zones.csv`."""
    return tuple(
        Zone(
            row["zone"],
            row["title"],
            row["segment"],
            (float(row["along_min"]), float(row["along_max"])),
            (float(row["angle_min_deg"]), float(row["angle_max_deg"])),
            row["only_on_skin"] == "yes",
        )
        for row in read_table("keep_out_zones.csv")
    )


def direction_deg(site: Site) -> float:
    """Direction of a site from its segment's axis: front 0, outside 90, back 180, inside 270."""
    return degrees(atan2(site.outside_m, site.front_m)) % 360.0


def keep_out(site: Site) -> str | None:
    """In words, the place to keep out of that a site lies in; None if in none.

    A tag says it outright: `bone` (over bone), or a zone's name such as `inner_thigh`.
    """
    if BONE_TAG in site.tags:
        return "over bone"
    for zone in keep_out_zones():
        if zone.name in site.tags or zone.holds(site):
            return zone.title
    return None


def is_belt(site: Site) -> bool:
    """Whether a site's load hangs on the belt: a place of the trunk tagged belt or pelvis."""
    return site.segment == "trunk" and bool(site.tags & BELT_TAGS)


@cache
def _stature_fractions() -> dict[str, float]:
    """Lengths and heights over stature, Drillis and Contini (1966)."""
    rows = read_table("anthropometry_lengths.csv")
    return {
        row["quantity"]: float(row["value"])
        for row in rows
        if row["source_key"] == "drillis_contini1966"
    }


def reached_by_hand(wearer: Wearer, site: Site) -> bool:
    """Whether the wearer's unaffected hand reaches a site, standing upright.

    The straight distance from the shoulder joint to the site must not exceed upper arm, forearm
    and hand together (Drillis and Contini 1966, fractions of stature); a hand put behind the back
    works up to `hand_back_along` of the trunk (`wearability_defaults.csv`). Without an affected
    side either hand may do it; with both affected none does. Judgement throughout: nobody's
    reach was measured, and reaching the shank by sitting down does not count.
    """
    if site.segment not in ("trunk", *LEG_SEGMENTS):
        return False
    affected = wearer.spec.affected_side
    hands = {"none": SIDES, "both": ()}.get(affected) or tuple(
        side for side in SIDES if affected in SIDES and side != affected
    )
    behind = site.front_m < 0 and abs(site.front_m) >= abs(site.outside_m)
    if site.segment == "trunk" and behind and site.along > default_value("hand_back_along"):
        return False
    share = _stature_fractions()
    arm_m = wearer.stature_m * sum(share[n] for n in ("upper_arm_length", "forearm_length"))
    arm_m += wearer.stature_m * share["hand_length"]
    place = wearer.position(site)
    for side in hands:
        shoulder = np.array(
            [
                0.0,
                share["shoulder_height"] * wearer.stature_m - wearer.leg_length_m,
                OUTWARD[side] * share["shoulder_half_width"] * wearer.stature_m,
            ]
        )
        if float(np.linalg.norm(place - shoulder)) <= arm_m:
            return True
    return False


def offers_of(wearer: Wearer, site: Site) -> frozenset[str]:
    """What a site offers, with what follows from where it is."""
    if BY_HAND not in site.offers and reached_by_hand(wearer, site):
        return site.offers | {BY_HAND}
    return site.offers
