"""Published values, worked examples and measurements; each with its source in tests/data."""

from __future__ import annotations

import csv
import doctest
from pathlib import Path

import numpy as np
import pytest

from optimizer.energy import assist, catalogue, energy_model, equations
from optimizer.energy.conditions import Conditions
from optimizer.energy.registry import TRUNK_MODELS, WALKING_MODELS
from optimizer.energy.tables import coefficient_rows, coefficients, read_rows, sources, terrains
from optimizer.study.model import EnergySpec, Task

DATA = Path(__file__).resolve().parent.parent / "data"


def model_for(wearer, task=None, **names):
    return energy_model(EnergySpec(**names), wearer, task or Task())


def test_pandolf_worked_example_as_the_sum_of_walking_and_load(checks) -> None:
    c = Conditions(body_mass_kg=81.65, foot_radius_m=0.9, speed_m_s=1.5646)
    total = WALKING_MODELS["pandolf"].gross_w(c) + float(TRUNK_MODELS["pandolf"].cost(13.61, c))
    assert total == checks["pandolf_w"].close()
    assert total / 4184 * 3600 == checks["pandolf_kcal_h"].close()
    assert total == pytest.approx(equations.pandolf_w(81.65, 13.61, 1.5646), rel=1e-12)


def test_looney2019_level_values(checks) -> None:
    assert equations.looney2019_w_per_kg(0.0) == checks["looney2019_rest"].close()
    assert equations.looney2019_w_per_kg(1.25) == checks["looney2019_1_25"].close()
    assert equations.looney2019_w_per_kg(1.40) == checks["looney2019_1_40"].close()


@pytest.mark.parametrize(
    ("case", "speed", "grade"),
    [
        ("a", 0.4768426667, 13.24968434),
        ("b", 0.89408, 15.15151515),
        ("c", 0.54395076, -11.83712121),
    ],
)
def test_looney2019_graded_worked_values_of_both_printed_bases(checks, case, speed, grade) -> None:
    with_111 = equations.looney2019_w_per_kg(speed, grade, inner_base=1.11)
    assert with_111 == checks[f"looney2019_111_{case}"].close()
    assert equations.looney2019_w_per_kg(speed, grade) == checks[f"looney2019_110_{case}"].close()


def test_acsm_worked_value_and_net_of_rest(checks, wearer) -> None:
    assert equations.acsm_ml_per_kg_min(93.8 / 60, 10.0) == checks["acsm_ml"].close()
    task = Task(speed_m_s=93.8 / 60, grade_percent=10.0)
    net_ml = checks["acsm_ml"].value - 3.5
    expected = net_ml * 75 * 20.1 / 60
    assert model_for(wearer, task, walking="acsm").walking_w == pytest.approx(expected, rel=2e-4)


def test_ludlow_weyand_load_costs_what_the_body_costs_per_kg(checks, wearer) -> None:
    model = model_for(wearer, trunk="ludlow_weyand", walking="ludlow_weyand")
    assert float(model.trunk_slope(0.0)) == checks["ludlow_weyand_w_per_kg"].close()
    assert model.walking_w == pytest.approx(75 * float(model.trunk_slope(5.0)), rel=1e-12)


def test_ludlow_weyand_on_grades(checks) -> None:
    uphill = equations.ludlow_weyand_ml_per_kg_min(1.0, 5.0)
    assert uphill == checks["ludlow_weyand_uphill"].close()
    downhill = equations.ludlow_weyand_ml_per_kg_min(1.0, -5.0)
    assert downhill == checks["ludlow_weyand_downhill"].close()


def test_pandolf_uphill_on_sand_as_the_sum_of_walking_and_load(checks) -> None:
    c = Conditions(75.0, 0.9, speed_m_s=1.0, grade_percent=5.0, terrain_factor=2.1)
    total = WALKING_MODELS["pandolf"].gross_w(c) + float(TRUNK_MODELS["pandolf"].cost(10.0, c))
    assert total == checks["pandolf_uphill_sand_w"].close()


@pytest.mark.parametrize(("speed", "case"), [(1.117, "1_117"), (1.333, "1_333"), (1.55, "1_550")])
def test_radius_squared_grows_with_squared_speed(checks, wearer, speed, case) -> None:
    model = model_for(wearer, Task(speed_m_s=speed), leg="radius_squared")
    assert float(model.leg_cost("foot", 0.9)) == checks[f"radius_squared_{case}"].close()


def test_huang_kuo_measured_slope(checks, wearer) -> None:
    slope = model_for(wearer, trunk="huang_kuo").trunk_slope(10.0)
    assert float(slope) == checks["huang_kuo_w_per_kg"].close()


@pytest.mark.parametrize("load", [1, 2, 8, 15, 30])
def test_looney_backpack_cost_per_kg(checks, wearer, load) -> None:
    cost = float(model_for(wearer, trunk="looney_backpack").trunk_cost(load))
    assert cost / load == checks[f"looney_backpack_{load}"].close()


@pytest.mark.parametrize(("speed", "case"), [(1.117, "1_117"), (1.333, "1_333"), (1.55, "1_550")])
def test_soule_goldman_foot_at_its_three_speeds(checks, wearer, speed, case) -> None:
    model = model_for(wearer, Task(speed_m_s=speed), leg="soule_goldman")
    assert float(model.leg_cost("foot", 0.9)) == checks[f"soule_goldman_{case}"].close()


def _comparison() -> list[dict[str, str]]:
    with (DATA / "check_energy_comparison.csv").open(encoding="utf-8", newline="") as table:
        return list(csv.DictReader(table))


@pytest.mark.parametrize("row", _comparison(), ids=lambda r: f"{r['model']}-{r['site']}")
def test_two_kg_on_a_75_kg_adult_by_every_model(wearer, row) -> None:
    model = model_for(wearer, **{row["family"]: row["model"]})
    if row["family"] == "leg":
        radius = {"thigh": 0.30, "shank": 0.63, "foot": 0.90}[row["site"]]
        watts = 2 * float(model.leg_cost(row["site"], radius))
    else:
        watts = float(model.trunk_cost(2.0))
    assert watts == pytest.approx(float(row["value_w"]), abs=0.06)  # printed to one decimal


def test_radius_squared_is_the_least_squares_fit_through_the_held_waist(checks, wearer) -> None:
    table, curve = coefficients("segment_table"), coefficients("segment_curve")
    names = ("thigh", "shank", "foot")
    published = 75 * np.array([table[n] for n in names])
    r2 = np.array([curve[f"radius_{n}"] for n in names]) ** 2
    waist = 75 * coefficients("browning_waist")["slope"]
    slope, *_ = np.linalg.lstsq(r2[:, None], published - waist, rcond=None)
    fitted = coefficients("radius_squared")
    assert fitted["intercept"] == pytest.approx(waist, rel=1e-12)
    assert fitted["radius_squared_slope"] == pytest.approx(slope[0], abs=5e-4)
    assert fitted["radius_squared_slope"] / 1.25**2 == checks["radius_squared_k"].close()
    model = model_for(wearer, leg="radius_squared")
    for name, radius2, cost in zip(names, r2, published, strict=True):
        residual = cost - float(model.leg_cost(name, radius2**0.5))
        assert residual == checks[f"fit_{name}"].close()


def test_segment_curve_predicts_ankle_weights_it_was_not_fitted_to(checks, wearer) -> None:
    # Ankle at about 0.82 m from the hip; speed about 1.20 m/s. The curve does not know the study.
    model = model_for(wearer, Task(speed_m_s=1.20))
    assert float(model.leg_cost("shank", 0.82)) == checks["skinner_barrack_both"].close()


def test_foot_to_back_ratio_is_near_the_measured_one(checks, wearer) -> None:
    model = model_for(wearer)
    ratio = float(model.leg_cost("foot", 0.9) / model.trunk_slope(0.0))
    assert ratio == checks["legg_ratio"].close()


def test_percent_per_kg_lies_in_the_quoted_ranges(checks, wearer) -> None:
    model = model_for(wearer)
    foot = 100 * float(model.leg_cost("foot", 0.9)) / model.walking_w
    waist = 100 * float(model.trunk_cost(1.0)) / model.walking_w
    assert 0.9 * checks["foot_percent_low"].value <= foot <= 1.1 * checks["foot_percent_high"].value
    assert checks["waist_percent_low"].value <= waist <= checks["waist_percent_high"].value


def test_recalled_location_factors_agree_with_the_slopes_at_one_body_mass() -> None:
    # Recalled factors are no oracle; that all four imply one body mass supports them.
    recalled, slopes = coefficients("augmentation_factor"), coefficients("segment_table")
    implied = [recalled[n] / slopes[n] for n in ("thigh", "shank", "foot")]
    implied.append(recalled["waist"] / coefficients("browning_waist")["slope"])
    assert max(implied) - min(implied) < 1.5
    assert np.mean(implied) == pytest.approx(74.0, abs=0.5)


def test_assist_power_pays_back_at_the_stated_efficiency(checks) -> None:
    assert assist.metabolic_benefit_w(23.0) == checks["assist_23_w"].close()
    assert assist.assist_power_w(assist.metabolic_benefit_w(7.0)) == pytest.approx(7.0)


@pytest.mark.parametrize("module", [equations, assist], ids=lambda m: m.__name__)
def test_examples_in_docstrings_print_what_they_say(module) -> None:
    result = doctest.testmod(module)
    assert result.attempted > 0
    assert result.failed == 0


def test_every_number_names_a_listed_source_and_how_it_was_come_by() -> None:
    known = sources()
    for row in (*coefficient_rows(), *terrains().values()):
        assert row.source in known, row
        assert row.provenance, row
    cited = {key for row in read_rows("energy_models.csv") for key in row["sources"].split(";")}
    assert cited <= set(known)
    numbers = [source.number for source in known.values()]
    assert numbers == list(range(1, len(numbers) + 1))


def test_catalogue_lists_each_model_once_with_one_default_a_family() -> None:
    cards = catalogue()
    assert len({(c.family, c.name) for c in cards}) == len(cards)
    described = {(row["family"], row["name"]) for row in read_rows("energy_models.csv")}
    assert {(c.family, c.name) for c in cards} == described
    defaults = {c.family: c.name for c in cards if c.default}
    spec = EnergySpec()
    assert defaults == {"leg": spec.leg, "trunk": spec.trunk, "walking": spec.walking}
    assert sum(c.default for c in cards) == 3
    for card in cards:
        for text in (card.title, card.equation, card.source, card.provenance, str(card.spread)):
            assert text
        assert card.validity.population and card.validity.conditions
    # Numbers that are only recalled say so on the card.
    recalled = [c.name for c in cards if "memory" in c.provenance]
    assert recalled == ["augmentation_factor", "swing_work"]
