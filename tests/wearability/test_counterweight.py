"""Ballast on the sound leg: against a closed form, brute force, and where it must not pay."""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimizer.assess.assessment import assess
from optimizer.assess.result import Ballast, Infeasible, Layout, Placement, Ranking
from optimizer.errors import InputError
from optimizer.setting import build_setting
from optimizer.solve.front import front
from optimizer.solve.place import place
from optimizer.study.model import Counterweight, LimitSpec, Part, Study, Weights
from tests.instances import HERE, model, site, study

RIGHT = ("shank", "right", 0.5, 0.0, 0.06)
LEFT = ("shank", "left", 0.5, 0.0, 0.06)
LEFT_HIGH = ("thigh", "left", 0.4, 0.02, 0.09)
VEST = ("trunk", "centre", 0.5, -0.12, 0.0)
STEEL = 7800.0


def one_sided(limit_kg: float, *, allowed: bool = True, vest: bool = False) -> Study:
    """0.8 kg that must go on the right leg (or the vest), two places for ballast."""
    sites = (
        site("right", RIGHT, holder_mass_kg=0.05),
        site("left", LEFT, holder_mass_kg=0.03),
        site("left_high", LEFT_HIGH, holder_mass_kg=0.02, max_mass_kg=0.25),
        *((site("vest", VEST, comfort=2.0),) if vest else ()),
    )
    where = ("right", "vest") if vest else ("right",)
    return study(
        parts=(Part("motor", (model("m", 0.8, where),), 1, HERE),),
        sites=sites,
        limits=(LimitSpec("left_right_mass", "", limit_kg, HERE),),
        weights=Weights(1.0, 0.1, 1.0),
        counterweight=Counterweight("left", 0.6, STEEL, HERE) if allowed else None,
    )


def test_ballast_is_just_what_the_limit_asks_for_where_it_costs_least() -> None:
    # 0.85 kg on the right; 0.65 kg less is met by a 0.02 kg holder and 0.18 kg high on the thigh
    found = place(one_sided(0.65), top=1)
    assert isinstance(found, Ranking)
    layout = found.layouts[0].assessment.layout
    assert [b.site for b in layout.ballast] == ["left_high"]
    assert layout.ballast[0].mass_kg == pytest.approx(0.18, abs=1e-6)
    assert found.counterweight is not None
    assert found.counterweight.pays
    assert found.counterweight.score_without is None
    assert found.counterweight.proven


def test_without_leave_there_is_no_ballast_and_no_answer() -> None:
    assert isinstance(place(one_sided(0.65, allowed=False), top=1), Infeasible)


def test_ballast_never_pays_where_the_limit_is_met_without() -> None:
    found = place(one_sided(0.9), top=1)
    assert isinstance(found, Ranking)
    assert found.layouts[0].assessment.layout.ballast == ()
    assert found.counterweight is not None
    assert not found.counterweight.pays
    assert found.counterweight.score_without == found.counterweight.score_with


def test_ballast_fills_one_place_then_the_next_and_stops_at_the_most_allowed() -> None:
    # 0.45 kg short: 0.25 kg high in a 0.02 kg holder, then 0.03 kg holder and 0.15 kg low
    found = place(one_sided(0.40), top=1)
    assert isinstance(found, Ranking)
    masses = {b.site: b.mass_kg for b in found.layouts[0].assessment.layout.ballast}
    assert masses == pytest.approx({"left_high": 0.25, "left": 0.15}, abs=1e-6)
    # 0.85 - 0.6 - 0.05 = 0.2 kg is the least difference that can be met
    assert isinstance(place(one_sided(0.2001), top=1), Ranking)
    assert isinstance(place(one_sided(0.1999), top=1), Infeasible)


def brute_force(made: Study, step_kg: float) -> float:
    """The least score over places and ballast on a grid, all through the assessment."""
    setting = build_setting(made)
    best = float("inf")
    counts = [i * step_kg for i in range(round(0.6 / step_kg) + 1)]
    for where in made.parts[0].models[0].sites:
        for low in counts:
            for high in counts:
                ballast = [Ballast(n, kg) for n, kg in (("left", low), ("left_high", high)) if kg]
                layout = Layout((Placement("motor", "motor", "m", where),), (), tuple(ballast))
                found = assess(setting, layout)
                if found.feasible:
                    best = min(best, found.score)
    return best


@pytest.mark.parametrize("limit_kg", [0.35, 0.5, 0.7])
@pytest.mark.parametrize("comfort", [0.0, 1.0])
def test_best_with_ballast_equals_a_fine_grid_of_ballast(limit_kg: float, comfort: float) -> None:
    made = one_sided(limit_kg, vest=True)
    made = replace(made, weights=Weights(1.0, 0.1, comfort))
    found = place(made, top=1)
    assert isinstance(found, Ranking)
    step_kg = 0.03
    grid = brute_force(made, step_kg)
    exact = found.layouts[0].assessment.score
    per_kg = 20.0  # more than a kilogram on the shank scores
    assert exact <= grid + 1e-9
    assert grid - exact < 2.0 * step_kg * per_kg
    report = found.counterweight
    assert report is not None
    assert report.score_without is not None  # the vest needs none
    assert report.score_with <= report.score_without + 1e-9
    assert report.pays == (report.score_with < report.score_without - 1e-9)
    plain = place(replace(made, counterweight=None), top=1)
    assert isinstance(plain, Ranking)
    assert report.score_without == pytest.approx(plain.layouts[0].assessment.score, rel=1e-9)


def test_ballast_takes_room_and_presses() -> None:
    made = one_sided(0.65)
    # 20 cm3 hold 0.156 kg of steel
    small = tuple(replace(s, volume_m3=20e-6) if s.name == "left_high" else s for s in made.sites)
    found = place(replace(made, sites=small), top=1)
    assert isinstance(found, Ranking)
    assert all(m.met for m in found.layouts[0].assessment.limits)
    high = {b.site: b.mass_kg for b in found.layouts[0].assessment.layout.ballast}
    assert high.get("left_high", 0.0) <= 20e-6 * STEEL * (1 + 1e-6)
    pressed = tuple(replace(s, contact_m2=1e-4) for s in made.sites if s.name != "right")
    kept = tuple(s for s in made.sites if s.name == "right")
    limits = (*made.limits, LimitSpec("contact_sustained", "", 1.2e4, HERE))
    # 1 cm2 at 12 kPa carries 0.122 kg with its holder: two places, 0.245 kg in all
    tight = replace(made, sites=(*kept, *pressed), limits=limits)
    assert isinstance(place(tight, top=1), Ranking)
    tighter = replace(tight, limits=(LimitSpec("left_right_mass", "", 0.60, HERE), limits[1]))
    assert isinstance(place(tighter, top=1), Infeasible)


def test_ballast_elsewhere_than_on_the_sound_leg_is_a_broken_limit() -> None:
    setting = build_setting(one_sided(0.9))
    placed = (Placement("motor", "motor", "m", "right"),)
    found = assess(setting, Layout(placed, (), (Ballast("right", 0.1),)))
    assert [m.kind for m in found.limits if not m.met] == ["left_right_mass", "counterweight"]


def test_a_front_with_ballast_is_refused() -> None:
    with pytest.raises(InputError, match="counterweight"):
        front(one_sided(0.65))
