"""Wearability figures against published values and closed forms."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import pytest

from optimizer.assess.assessment import assess
from optimizer.assess.result import Assessment, Layout, Placement
from optimizer.body.balance import body_com
from optimizer.body.places import BY_HAND, keep_out, offers_of, reached_by_hand
from optimizer.body.wearer import build_wearer
from optimizer.setting import Setting, build_setting
from optimizer.study.model import (
    AddedArc,
    LimitSpec,
    Part,
    RoutesSpec,
    Site,
    WearerSpec,
    Weights,
)
from tests.instances import HERE, model, site, study

CHECKS = Path(__file__).parent.parent / "data" / "check_wearability.csv"
PLACE = ("trunk", "centre", 0.5, -0.12, 0.0)


def one_part(
    mass_kg: float = 4.0, limits: tuple[LimitSpec, ...] = (), here: Site | None = None
) -> tuple[Setting, Assessment]:
    """One part at one place, assessed."""
    where = here or site("pack", PLACE)
    made = study(
        parts=(Part("load", (model("m", mass_kg, (where.name,)),), 1, HERE),),
        sites=(where,),
        limits=limits,
        weights=Weights(1.0, 0.0, 1.0),
    )
    setting = build_setting(made)
    layout = Layout((Placement("load", "load", "m", where.name),), ())
    return setting, assess(setting, layout)


def limit(found: Assessment, kind: str, subject: str = "") -> float:
    (report,) = [m for m in found.limits if m.kind == kind and subject in m.subject]
    return report.value


@pytest.mark.parametrize("row", list(csv.DictReader(CHECKS.open())), ids=lambda r: r["name"])
def test_shift_of_the_centre_of_mass_equals_published_values(row: dict[str, str]) -> None:
    """4 kg carried 120 and 150 mm behind a 75 kg body."""
    wearer = build_wearer(WearerSpec("male", 1.75, float(row["body_kg"])))
    behind = float(row["behind_mm"]) / 1e3 - float(body_com(wearer)[0])
    here = site("pack", ("trunk", "centre", 0.5, -behind, 0.0))
    spec = LimitSpec("com_shift", "fore_aft", 1.0, HERE)
    _, found = one_part(float(row["load_kg"]), (spec,), here)
    value = limit(found, "com_shift", "back")
    assert value == pytest.approx(float(row["shift_mm"]), abs=float(row["tolerance_mm"]))
    assert value == pytest.approx(-limit(found, "com_shift", "front"))


def test_offset_of_one_part_is_where_it_sits() -> None:
    spec = LimitSpec("trunk_offset", "fore_aft", 0.2, HERE)
    _, found = one_part(1.3, (spec,))
    assert limit(found, "trunk_offset", "back") == pytest.approx(120.0)


@pytest.mark.parametrize("segment,factor", [("trunk", 1.5), ("thigh", 2.0), ("shank", 3.0)])
def test_contact_pressure_is_weight_over_area(segment: str, factor: float) -> None:
    side = "centre" if segment == "trunk" else "left"
    here = site("pad", (segment, side, 0.5, 0.05, 0.0), contact_m2=50e-4, holder_mass_kg=0.1)
    limits = (
        LimitSpec("contact_sustained", "", 1e4, HERE),
        LimitSpec("contact_peak", "", 3e4, HERE),
    )
    _, found = one_part(0.4, limits, here)
    # 0.5 kg x 9.80665 m/s2 / 50 cm2 = 0.980665 kPa
    assert limit(found, "contact_sustained") == pytest.approx(0.980665)
    assert limit(found, "contact_peak") == pytest.approx(0.980665 * factor)


def test_a_written_factor_goes_before_the_recommended_one() -> None:
    here = site("pad", PLACE, contact_m2=50e-4)
    limits = (
        LimitSpec("contact_peak", "", 3e4, HERE),
        LimitSpec("contact_factor", "trunk", 4.0, HERE),
    )
    _, found = one_part(0.5, limits, here)
    assert limit(found, "contact_peak") == pytest.approx(0.980665 * 4.0)


def test_belt_above_its_soft_value_costs_points_and_is_no_breach() -> None:
    here = site("belt", PLACE, tags=frozenset({"belt"}))
    limits = (LimitSpec("belt_soft", "", 4.0, HERE), LimitSpec("belt_hard", "", 6.0, HERE))
    _, free = one_part(5.0, (), here)
    _, found = one_part(5.0, limits, here)
    # 1 kg above 4 kg at the recommended 2 points per kg, weight of comfort 1
    assert found.discomfort - free.discomfort == pytest.approx(2.0)
    assert found.score - free.score == pytest.approx(2.0)
    assert found.feasible
    _, heavy = one_part(6.5, limits, here)
    assert not heavy.feasible


def test_protrusion_counts_standoff_and_thickness() -> None:
    here = site("pack", PLACE, standoff_m=0.115)
    limits = (LimitSpec("protrusion_soft", "", 0.127, HERE),)
    _, found = one_part(1.0, limits, here)
    # 115 mm + 20 mm is 8 mm beyond; 1 point per cm
    assert found.discomfort == pytest.approx(0.8)
    _, bound = one_part(1.0, (LimitSpec("protrusion", "", 0.127, HERE),), here)
    assert not bound.feasible


@pytest.mark.parametrize(
    "place,title",
    [
        (("thigh", "left", 0.5, 0.0, -0.08), "the inner thigh"),
        (("thigh", "left", 0.5, 0.0, 0.08), None),
        (("thigh", "right", 0.95, -0.06, 0.01), "the back of the knee"),
        (("shank", "right", 0.1, -0.06, 0.01), "the back of the knee"),
        (("shank", "right", 0.3, -0.06, 0.01), None),
        (("shank", "right", 0.5, 0.05, 0.0), "the edge of the shin bone"),
        (("shank", "right", 0.5, 0.04, 0.03), None),
        (("shank", "right", 0.97, 0.0, 0.05), "the ankle bones"),
        (("thigh", "right", 0.97, 0.06, 0.0), "the kneecap"),
        (("thigh", "right", 0.3, -0.09, 0.0), "the seat surface"),
    ],
)
def test_places_to_keep_out_of(
    place: tuple[str, str, float, float, float], title: str | None
) -> None:
    assert keep_out(site("here", place)) == title
    tagged = site("here", ("trunk", "centre", 0.5, 0.1, 0.0), tags=frozenset({"bone"}))
    assert keep_out(tagged) == "over bone"


def test_bone_matters_only_where_the_skin_is_touched() -> None:
    shin = ("shank", "right", 0.5, 0.05, 0.0)
    assert keep_out(site("here", shin, offers=frozenset({"off_skin"}))) is None
    inner = site("here", ("thigh", "left", 0.5, 0.0, -0.08), offers=frozenset({"off_skin"}))
    assert keep_out(inner) == "the inner thigh"


def reach(affected: str, place: tuple[str, str, float, float, float]) -> bool:
    wearer = build_wearer(WearerSpec("male", 1.75, 75.0, affected_side=affected))  # type: ignore[arg-type]
    return reached_by_hand(wearer, site("here", place))


def test_the_unaffected_hand_reaches_chest_and_thigh_but_not_the_foot() -> None:
    for affected in ("left", "right", "none"):
        assert reach(affected, ("trunk", "right", 0.7, 0.12, 0.08))
        assert reach(affected, ("trunk", "centre", 0.15, -0.12, 0.0))
        assert not reach(affected, ("foot", "right", 0.5, 0.05, 0.0))
        assert not reach(affected, ("trunk", "centre", 0.75, -0.14, 0.0))
    assert not reach("both", ("trunk", "right", 0.7, 0.12, 0.08))


def test_reach_ends_at_the_arm_s_length() -> None:
    """Arm 0.186 + 0.146 + 0.108 of stature from a shoulder at 0.818, 0.129 to the side."""
    stature, arm = 1.75, 0.44 * 1.75
    wearer = build_wearer(WearerSpec("male", stature, 75.0, affected_side="left"))
    up = 0.818 * stature - wearer.leg_length_m
    # straight in front of the right shoulder's foot point at hip level
    front = (arm**2 - up**2) ** 0.5
    for share, within in ((0.999, True), (1.001, False)):
        there = site("here", ("trunk", "right", 0.0, front * share, 0.129 * stature))
        assert reached_by_hand(wearer, there) == within


def test_what_follows_from_the_place_is_added_to_what_is_offered() -> None:
    wearer = build_wearer(WearerSpec("male", 1.75, 75.0))
    near = site("near", ("trunk", "right", 0.7, 0.12, 0.08), offers=frozenset({"dry"}))
    far = site("far", ("foot", "right", 0.5, 0.05, 0.0), offers=frozenset({"dry"}))
    assert offers_of(wearer, near) == {"dry", BY_HAND}
    assert offers_of(wearer, far) == {"dry"}
    assert BY_HAND in offers_of(wearer, replace(far, offers=frozenset({BY_HAND})))


def test_donning_counts_pieces_once_and_places_without_one_singly() -> None:
    places = [
        site("a", PLACE, piece="vest"),
        site("b", PLACE, piece="vest"),
        site("c", PLACE),
        site("d", PLACE),
        site("table", ("off_body", "centre", 0.0, 0.0, 0.0)),
    ]
    parts = tuple(
        Part(f"p{i}", (model("m", 0.1, (s.name,)),), 1, HERE) for i, s in enumerate(places)
    )
    bench = AddedArc("waist_back", "bench", 1.0, 0.0, 0.0, "off_body", HERE)
    routes = RoutesSpec(add=(bench,))
    made = study(parts=parts, sites=tuple(places), routes=routes)
    layout = Layout(
        tuple(Placement(p.name, p.name, "m", s.name) for p, s in zip(parts, places, strict=True)),
        (),
    )
    balance = assess(build_setting(made), layout).balance
    assert balance is not None
    assert balance.donning_steps == 3
