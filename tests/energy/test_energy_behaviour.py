from __future__ import annotations

import subprocess
import sys
from math import inf, nan

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.energy import LEG_MODELS, TRUNK_MODELS, WALKING_MODELS, energy_flaws, energy_model
from optimizer.energy.card import ModelCard, Spread, Validity
from optimizer.energy.conditions import Conditions, split_loads
from optimizer.energy.leg import SegmentCurve, SegmentSlopes
from optimizer.energy.model import EnergyModel
from optimizer.energy.tables import terrains
from optimizer.energy.trunk import TrunkSlope
from optimizer.errors import InputError, Origin
from optimizer.study.model import EnergySpec, Task

#: The first call of a leg model may tabulate the work of swinging, which takes its time.
untimed = settings(deadline=None)
conditions = st.builds(
    Conditions,
    body_mass_kg=st.floats(40.0, 140.0),
    foot_radius_m=st.floats(0.70, 1.10),
    speed_m_s=st.floats(0.4, 2.0),
    grade_percent=st.floats(-40.0, 40.0),
    terrain_factor=st.floats(1.0, 2.1),
)


@given(conditions)
def test_curve_meets_the_four_published_slopes_at_the_wearers_own_radii(c: Conditions) -> None:
    curve, table = LEG_MODELS["segment_curve"], LEG_MODELS["segment_table"]
    stretch = c.foot_radius_m / 0.90
    for segment, radius in (("thigh", 0.30), ("shank", 0.63), ("foot", 0.90)):
        there = float(curve.cost(segment, radius * stretch, c))
        assert there == pytest.approx(float(table.cost(segment, 0.0, c)), rel=1e-9)
    at_hip = float(curve.cost("thigh", 0.0, c))
    assert at_hip == pytest.approx(float(TRUNK_MODELS["browning_waist"].slope(1.0, c)), rel=1e-12)


@given(conditions)
def test_curve_never_falls_towards_the_foot_and_stays_flat_beyond_it(c: Conditions) -> None:
    distance = np.linspace(0.0, 1.5 * c.foot_radius_m, 400)
    cost = LEG_MODELS["segment_curve"].cost("shank", distance, c)
    assert np.all(np.diff(cost) >= -1e-12)
    assert np.all(cost[distance >= c.foot_radius_m] == cost[-1])
    between = cost[(distance > 0.31 * c.foot_radius_m) & (distance < 0.69 * c.foot_radius_m)]
    assert np.all((between > cost[0]) & (between < cost[-1]))


@untimed
@given(conditions, st.sampled_from(sorted(LEG_MODELS)))
def test_leg_order_is_foot_over_shank_at_least_thigh(c: Conditions, name: str) -> None:
    reach = c.foot_radius_m
    model = LEG_MODELS[name]
    foot, shank, thigh = (
        float(model.cost(s, share * reach, c))
        for s, share in (("foot", 1.0), ("shank", 0.7), ("thigh", 1 / 3))
    )
    assert foot > shank >= thigh >= 0
    # by the work of swinging alone mass on the thigh costs nothing; see its card
    assert thigh > 0 or name == "swing_work"


@untimed
@given(conditions, st.sampled_from(sorted(LEG_MODELS)))
def test_leg_cost_of_many_distances_is_that_of_each(c: Conditions, name: str) -> None:
    model, distance = LEG_MODELS[name], np.array([0.05, 0.4, 0.8])
    many = model.cost("shank", distance, c)
    assert many.shape == (3,)
    np.testing.assert_array_equal(many, [float(model.cost("shank", d, c)) for d in distance])


@given(conditions, st.sampled_from(sorted(TRUNK_MODELS)))
def test_trunk_cost_starts_at_zero_and_is_convex_with_its_slope(c: Conditions, name: str) -> None:
    model = TRUNK_MODELS[name]
    load = np.linspace(0.0, 40.0, 81)
    cost, slope = model.cost(load, c), model.slope(load, c)
    assert cost[0] == 0.0
    assert np.all(np.diff(slope) >= -1e-9) and np.all(slope >= 0.0)
    # Convex: every chord lies between the slopes at its ends.
    chord = np.diff(cost) / np.diff(load)
    assert np.all(chord >= slope[:-1] - 1e-9) and np.all(chord <= slope[1:] + 1e-9)
    h = 1e-4
    central = (model.cost(load[1:] + h, c) - model.cost(load[1:] - h, c)) / (2 * h)
    np.testing.assert_allclose(slope[1:], central, rtol=1e-6)
    assert model.is_linear == bool(np.ptp(slope) <= 1e-12 * slope.max())


@given(conditions, st.sampled_from(sorted(WALKING_MODELS)))
def test_net_walking_power_is_gross_less_rest_and_grows_with_the_body(
    c: Conditions, name: str
) -> None:
    model = WALKING_MODELS[name]
    assert model.net_w(c) == pytest.approx(model.gross_w(c) - model.rest_w(c))
    assert 0 < model.net_w(c) < model.gross_w(c)
    per_kg = model.net_w(c) / c.body_mass_kg
    one_kg = Conditions(1.0, c.foot_radius_m, c.speed_m_s, c.grade_percent, "", c.terrain_factor)
    assert per_kg == pytest.approx(model.net_w(one_kg))


@pytest.mark.parametrize("name", sorted(WALKING_MODELS))
def test_standing_still_leaves_no_net_power_except_the_offset_of_ludlow_weyand(name: str) -> None:
    still = WALKING_MODELS[name].net_w(Conditions(75.0, 0.9, speed_m_s=0.0))
    assert still == pytest.approx(75 * 3.28 * 20.1 / 60 if name == "ludlow_weyand" else 0.0)


@untimed
@given(conditions, st.floats(1.05, 2.0))
def test_only_models_said_to_scale_with_body_mass_or_speed_do(c: Conditions, factor: float) -> None:
    heavier = Conditions(factor * c.body_mass_kg, c.foot_radius_m, c.speed_m_s)
    faster = Conditions(c.body_mass_kg, c.foot_radius_m, factor * c.speed_m_s)
    same = Conditions(c.body_mass_kg, c.foot_radius_m, c.speed_m_s)
    for leg in LEG_MODELS.values():
        base = float(leg.cost("foot", 0.8, same))
        mass_ratio = float(leg.cost("foot", 0.8, heavier)) / base
        assert mass_ratio == pytest.approx(factor if leg.card.scales_with_body_mass else 1.0)
        speed_ratio = float(leg.cost("foot", 0.8, faster)) / base
        assert leg.card.scales_with_speed or speed_ratio == 1.0
    for trunk in TRUNK_MODELS.values():
        base = float(trunk.cost(5.0, same))
        moved = float(trunk.cost(5.0, heavier)) != pytest.approx(base, rel=1e-9)
        assert moved == trunk.card.scales_with_body_mass
        sped = float(trunk.cost(5.0, faster)) != pytest.approx(base, rel=1e-9)
        assert sped == trunk.card.scales_with_speed


def test_only_models_said_to_use_terrain_do() -> None:
    road, sand = (Conditions(75.0, 0.9, terrain_factor=f) for f in (1.0, 2.1))
    for trunk in TRUNK_MODELS.values():
        assert (trunk.cost(5.0, sand) > trunk.cost(5.0, road)) == trunk.card.uses_terrain
    for walking in WALKING_MODELS.values():
        assert (walking.net_w(sand) > walking.net_w(road)) == walking.card.uses_terrain


def test_soule_goldman_borrows_the_proportions_of_the_other_segments() -> None:
    c = Conditions(75.0, 0.9)
    borrowed, table = LEG_MODELS["soule_goldman"], LEG_MODELS["segment_table"]
    for segment in ("thigh", "shank"):
        share = borrowed.cost(segment, 0.5, c) / borrowed.cost("foot", 0.9, c)
        assert float(share) == pytest.approx(
            float(table.cost(segment, 0.5, c) / table.cost("foot", 0.9, c))
        )
    told = borrowed.warnings(c, split_loads({"shank.left": 0.5}))
    assert any("only the foot was published" in text for text in told)
    assert not borrowed.warnings(c, split_loads({"foot.left": 0.5}))


@pytest.mark.parametrize("distance", [-0.1, nan, inf])
def test_impossible_distances_are_refused(wearer, distance: float) -> None:
    with pytest.raises(ValueError, match="distance"):
        energy_model(EnergySpec(), wearer, Task()).leg_cost("foot", [0.5, distance])


def test_cost_off_the_leg_is_refused(wearer) -> None:
    with pytest.raises(ValueError, match="no leg segment"):
        energy_model(EnergySpec(), wearer, Task()).leg_cost("trunk", 0.5)


@pytest.mark.parametrize("load", [-1.0, nan, inf])
def test_impossible_trunk_loads_are_refused(wearer, load: float) -> None:
    for name in TRUNK_MODELS:
        with pytest.raises(ValueError, match="trunk load"):
            energy_model(EnergySpec(trunk=name), wearer, Task()).trunk_cost(load)


def test_a_solvers_zero_counts_as_zero(wearer) -> None:
    for name in TRUNK_MODELS:
        model = energy_model(EnergySpec(trunk=name), wearer, Task())
        assert model.trunk_cost(-1e-9) == 0.0


def test_unknown_names_are_all_told_at_once_with_the_nearest(wearer) -> None:
    spec = EnergySpec(leg="segment-curv", trunk="pandolv", walking="zzz", origin=Origin("s.toml"))
    task = Task(terrain="lose sand", origin=Origin("s.toml"))
    with pytest.raises(InputError) as caught:
        energy_model(spec, wearer, task)
    flaws = caught.value.flaws
    assert [(f.origin.file, f.origin.column, f.nearest) for f in flaws] == [
        ("s.toml", "energy.leg", "segment_curve"),
        ("s.toml", "energy.trunk", "pandolf"),
        ("s.toml", "energy.walking", None),
        ("s.toml", "task.terrain", "loose_sand"),
    ]
    assert "browning_waist" in flaws[1].expected
    assert energy_flaws(EnergySpec(), Task()) == []


def test_terrain_names_forgive_case_and_spaces(wearer) -> None:
    for terrain in terrains().values():
        written = terrain.name.replace("_", " ").title()
        model = energy_model(EnergySpec(), wearer, Task(terrain=written))
        assert model.conditions.terrain_factor == terrain.factor


def test_a_task_without_walking_power_is_refused(wearer) -> None:
    with pytest.raises(InputError, match="positive net walking power"):
        energy_model(EnergySpec(), wearer, Task(speed_m_s=0.0))


def test_inside_the_published_range_nothing_is_warned_of(wearer) -> None:
    loads = {"foot.left": 1.0, "shank.left": 2.0, "thigh": 3.0, "trunk": 8.0, "off_body": 40.0}
    for leg in LEG_MODELS:
        if leg == "soule_goldman":
            continue  # borrows thigh and shank, and says so
        for trunk in TRUNK_MODELS:
            for walking in WALKING_MODELS:
                model = energy_model(EnergySpec(leg, trunk, walking), wearer, Task())
                assert model.warnings(loads) == ()


@pytest.mark.parametrize(
    ("task", "loads", "said"),
    [
        (Task(speed_m_s=0.6), {}, "leg model segment_curve: speed 0.60 m/s is outside 1-1.6 m/s"),
        (Task(speed_m_s=2.1), {}, "walking model looney2019: speed 2.10 m/s"),
        (Task(grade_percent=5.0), {}, "trunk model browning_waist: grade 5 %"),
        (Task(grade_percent=60.0), {}, "walking model looney2019: grade 60 % is outside -40 to 45"),
        (Task(terrain="loose_sand"), {}, "leg model segment_curve: has no terrain term"),
        (Task(), {"foot.left": 4.5}, "4.50 kg on the left foot is above 4 kg"),
        (Task(), {"foot": 9.0}, "4.50 kg on the right foot is above 4 kg"),
        (Task(), {"thigh.left": 6.0, "shank.left": 3.0}, "9.00 kg on the left leg is above 8 kg"),
        (Task(), {"trunk": 17.0}, "17.00 kg on the trunk is above 16 kg"),
    ],
)
def test_outside_the_published_range_is_told(wearer, task, loads, said) -> None:
    found = energy_model(EnergySpec(), wearer, task).warnings(loads)
    assert sum(said in text for text in found) == 1, found


def test_trunk_limits_follow_the_body_mass(make_wearer) -> None:
    for mass, told in ((60.0, True), (90.0, False)):
        spec = EnergySpec(trunk="ludlow_weyand")
        found = energy_model(spec, make_wearer(mass_kg=mass), Task()).warnings({"trunk": 20.0})
        assert bool(found) == told


@pytest.mark.parametrize("name", ["pandolf", "acsm"])
def test_downhill_counted_as_level_says_so(wearer, name: str) -> None:
    spec = EnergySpec(walking=name)
    down = energy_model(spec, wearer, Task(grade_percent=-5.0))
    assert down.walking_w == energy_model(spec, wearer, Task()).walking_w
    assert any(f"{name}: grade -5 % is below 0 %, counted as level" in t for t in down.warnings({}))


def test_loads_on_unknown_segments_are_refused(wearer) -> None:
    model = energy_model(EnergySpec(), wearer, Task())
    for key in ("arm.left", "foot.middle"):
        with pytest.raises(ValueError, match="unknown segment"):
            model.warnings({key: 1.0})


def test_notes_and_description_name_what_was_used(wearer) -> None:
    model = energy_model(EnergySpec(), wearer, Task())
    assert any("one-sided" in note for note in model.notes)
    for card, line in zip(model.cards, model.describe(), strict=True):
        assert card.name in line and card.equation in line and str(card.validity) in line


def test_models_can_be_made_of_a_laboratorys_own_numbers() -> None:
    def card(family: str) -> ModelCard:
        return ModelCard(
            family, "own", "Own trials", "P/m = s", "own", "READ", Validity(), Spread("own")
        )

    slopes = {"thigh": 4.0, "shank": 6.0, "foot": 11.0}
    own = EnergyModel(
        SegmentSlopes(card("leg"), slopes, per_kg_body=False),
        TrunkSlope(card("trunk"), 3.0, per_kg_body=False),
        WALKING_MODELS["looney2019"],
        Conditions(75.0, 0.9),
    )
    assert float(own.leg_cost("shank", 0.6)) == 6.0
    assert float(own.trunk_cost(2.0)) == 6.0
    assert own.warnings({"trunk": 90.0, "foot.left": 50.0}) == ()
    curve = SegmentCurve(card("leg"), (0.0, 0.4, 0.8), (0.04, 0.06, 0.15))
    assert float(curve.cost("foot", 1.0, Conditions(50.0, 1.0))) == pytest.approx(7.5)


def test_a_model_is_made_without_loading_scipy() -> None:
    # Why the interpolation is our own: scipy's takes most of the time a check may take.
    code = "import sys, optimizer.energy; sys.exit(any(m.startswith('scipy') for m in sys.modules))"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
