"""Wearers and legs that several tests of the body share."""

import csv
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

from optimizer.body.wearer import Wearer, build_wearer
from optimizer.study.model import WearerSpec

DATA = Path(__file__).resolve().parent.parent / "data"

MALE = WearerSpec(sex="male", stature_m=1.75, mass_kg=75.0)
FEMALE = WearerSpec(sex="female", stature_m=1.63, mass_kg=62.0)
TABLES = ("deleva1996", "winter_dempster", "dumas2007")


def check_rows() -> dict[str, dict[str, str]]:
    """The check values, by id; each row names its source."""
    with (DATA / "check_body.csv").open(newline="", encoding="utf-8") as handle:
        return {row["id"]: row for row in csv.DictReader(handle)}


def wearer(sex: str = "male", table: str = "deleva1996", **changes: object) -> Wearer:
    """The reference man (75 kg, 1.75 m) or woman (62 kg, 1.63 m)."""
    base = MALE if sex == "male" else FEMALE
    return build_wearer(replace(base, inertia_table=table, **changes))


def foot_at_ankle(body: Wearer, foot_radius_m: float | None = None) -> Wearer:
    """The same wearer with each foot's centre of mass moved to the ankle joint centre."""
    segments = dict(body.segments)
    for side in ("left", "right"):
        foot = segments["foot", side]
        segments["foot", side] = replace(
            foot,
            com=body.joint("ankle", side),
            radius_ml_m=foot.radius_ml_m if foot_radius_m is None else foot_radius_m,
        )
    return replace(body, segments=segments)


def site(
    segment: str, side: str, along: float, front_m: float = 0.0, outside_m: float = 0.0
) -> SimpleNamespace:
    return SimpleNamespace(
        segment=segment, side=side, along=along, front_m=front_m, outside_m=outside_m
    )
