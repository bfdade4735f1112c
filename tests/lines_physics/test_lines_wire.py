"""Wires: published resistances, drop, limits, heating, mass."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.lines import wire
from optimizer.lines.impossible import ImpossiblePhysics
from optimizer.lines.line_tables import read_table

RHO = 17.241e-9


@pytest.mark.parametrize(
    ("gauge", "mm2"),
    [
        (12, 3.31),
        (14, 2.08),
        (16, 1.31),
        (18, 0.823),
        (20, 0.518),
        (22, 0.326),
        (24, 0.205),
        (26, 0.129),
        (28, 0.081),
    ],
)
def test_gauge_definition_gives_the_published_areas(gauge: int, mm2: float) -> None:
    """Areas of public AWG tables."""
    assert wire.awg_area_m2(gauge) * 1e6 == pytest.approx(mm2, rel=7e-3)


def test_published_gauge_resistances_are_copper_of_that_area() -> None:
    for size in wire.wire_sizes():
        if size.name.startswith("AWG"):
            assert size.resistance_ohm_per_m == pytest.approx(RHO / size.area_m2, rel=5e-3)


def test_stranded_maxima_are_above_solid_copper_by_a_tenth_or_so() -> None:
    for size in wire.wire_sizes():
        if not size.name.startswith("AWG"):
            assert 1.05 < size.resistance_ohm_per_m / (RHO / size.area_m2) < 1.2


def test_tinned_wire_resists_more_and_stiff_wire_less() -> None:
    for row in read_table("wire_iec60228"):
        if row["class5_tinned_ohm_km"]:
            tinned, plain, stiff = (
                float(row[f"{kind}_ohm_km"])
                for kind in ("class5_tinned", "class5_plain", "class1_2_plain")
            )
            assert tinned > plain > stiff


@pytest.mark.parametrize("name", ["AWG 20", "awg20", "20 AWG", "20awg"])
def test_gauges_are_found_by_any_spelling(name: str) -> None:
    assert wire.wire_size(name).resistance_ohm_per_m == pytest.approx(33.3e-3)


@pytest.mark.parametrize("name", ["0.5 mm2", "0.5", "0.50mm²", ".5 mm^2"])
def test_metric_sizes_are_found_by_any_spelling(name: str) -> None:
    assert wire.wire_size(name).resistance_ohm_per_m == pytest.approx(39.0e-3)
    assert wire.wire_size(name, "class1_2_plain").resistance_ohm_per_m == pytest.approx(36e-3)


@pytest.mark.parametrize("name", ["AWG 21", "0.6 mm2", "6x4", ""])
def test_unknown_sizes_list_the_known_ones(name: str) -> None:
    with pytest.raises(ImpossiblePhysics, match="AWG 20"):
        wire.wire_size(name)


def test_tinned_thin_sizes_are_not_invented() -> None:
    with pytest.raises(ImpossiblePhysics):
        wire.wire_size("0.25 mm2", "class5_tinned")


def test_resistance_grows_with_temperature_as_the_correction_table_says() -> None:
    """Published factor to 20 degC from 40 degC: 0.926 (cable maker's table)."""
    assert 1 / wire.resistance_ohm_per_m(1.0, 40.0) == pytest.approx(0.926, abs=2e-3)
    assert wire.resistance_ohm_per_m(0.039, 20.0) == pytest.approx(0.039)


def test_worn_wires_are_judged_warm() -> None:
    """1/0.926, the published factor from 40 degC."""
    cold = wire.wire_size("AWG 20")
    assert wire.worn_ohm_per_m(cold) == pytest.approx(33.3e-3 / 0.926, rel=2e-3)


@given(
    drop=st.floats(0.01, 5.0),
    amp=st.floats(0.01, 20.0),
    ohm=st.floats(0.004, 0.3),
    fixed=st.floats(0.0, 0.02),
)
def test_longest_wire_loses_exactly_the_budget(
    drop: float, amp: float, ohm: float, fixed: float
) -> None:
    longest = wire.max_length_for_drop_m(drop, amp, ohm, fixed)
    if np.isnan(longest):
        assert wire.loop_drop_v(amp, 0.0, ohm, fixed) > drop
    else:
        assert wire.loop_drop_v(amp, longest, ohm, fixed) == pytest.approx(drop)
        assert wire.loop_drop_v(amp, 1.01 * longest + 1e-6, ohm, fixed) > drop


def test_no_current_means_no_limit() -> None:
    assert np.isinf(wire.max_length_for_drop_m(0.3, 0.0, 0.039))


def test_root_mean_square_of_a_pulse_train_and_of_unequal_steps() -> None:
    assert wire.rms_a([4.0, 0.0, 0.0, 0.0]) == pytest.approx(2.0)
    assert wire.rms_a([4.0, 0.0], duration_s=[0.25, 0.75]) == pytest.approx(2.0)
    assert wire.rms_a(np.sin(np.linspace(0, 2 * np.pi, 1001)[:-1])) == pytest.approx(np.sqrt(0.5))


def test_loop_loss_is_drop_times_current() -> None:
    assert wire.loop_loss_w(5.0, 1.0, 0.039) == pytest.approx(5 * 0.39)


def test_judged_film_coefficient_overstates_the_warming_of_rated_cables() -> None:
    """DIN VDE 0298-4 table 11: rated currents of single cores in air warm them by 40 K (30 to
    70 degC). Diameters by the usual construction: 0.8 mm insulation on the strands."""
    for row in read_table("wire_ampacity"):
        if not row["single_core_in_air_a"]:
            continue
        size = wire.wire_size(row["size_mm2"])
        outer = 1.25 * np.sqrt(4 / np.pi * size.area_m2) + 1.6e-3
        hot = wire.resistance_ohm_per_m(size.resistance_ohm_per_m, 70.0)
        amp = float(row["single_core_in_air_a"])
        assert 1.5 * 40 < wire.temperature_rise_k(amp, hot, outer) < 3 * 40


def test_ratings_by_laying_are_ordered_and_unknown_ones_are_not_invented() -> None:
    """DIN VDE 0298-4 table 11: 15, 12 and 6 A at 0.75 mm2; nothing for a single core of 0.5."""
    layings = ("single_core_in_air", "multicore_on_surface", "handheld_cord")
    assert [wire.cable_rating_a(0.75, how) for how in layings] == [15.0, 12.0, 6.0]
    assert wire.cable_rating_a(0.5, "single_core_in_air") is None
    assert wire.cable_rating_a(0.6) is None
    with pytest.raises(ImpossiblePhysics, match="handheld_cord"):
        wire.cable_rating_a(0.75, "underwater")


def test_bundle_rule_is_the_published_transmission_column() -> None:
    for row in read_table("wire_awg"):
        found = wire.bundled_rating_a(wire.awg_area_m2(int(row["awg"])))
        assert found == pytest.approx(float(row["transmission_a"]), rel=0.03)


def test_free_air_rating_meets_the_table_and_stays_between_neighbours() -> None:
    for row in read_table("wire_awg"):
        area = wire.awg_area_m2(int(row["awg"]))
        assert wire.free_air_rating_a(area) == pytest.approx(float(row["chassis_a"]))
    assert 7.0 < wire.free_air_rating_a(0.4e-6) < 11.0
    assert np.isnan(wire.free_air_rating_a(10e-6))


def test_heating_caution_comes_in_two_steps() -> None:
    size = wire.wire_size("AWG 24")
    assert wire.heating_caution(size, 0.5) is None
    bundle = wire.heating_caution(size, 2.0)
    assert bundle is not None
    assert "bundle" in bundle
    over = wire.heating_caution(size, 4.0)
    assert over is not None
    assert "thicker" in over


@pytest.mark.parametrize(
    ("mm2", "grams"), [(0.14, 1.24), (0.25, 2.22), (0.5, 4.45), (1.0, 8.89), (2.5, 22.2)]
)
def test_conductor_masses(mm2: float, grams: float) -> None:
    """Reference computation with 8.89 g/cm3 (IEC standard value 1913)."""
    assert 1e3 * wire.conductor_mass_kg_per_m(mm2 * 1e-6) == pytest.approx(grams, abs=0.05)


def test_insulated_mass_is_copper_and_plastic() -> None:
    copper = wire.conductor_mass_kg_per_m(0.5e-6)
    one = wire.insulated_mass_kg_per_m(0.5e-6, 0.94e-3, 2.1e-3, "PVC")
    plastic = 1430 * np.pi / 4 * (2.1e-3**2 - 0.94e-3**2)
    assert one == pytest.approx(float(copper) + plastic, rel=1e-3)
    assert wire.insulated_mass_kg_per_m(0.5e-6, 0.94e-3, 2.1e-3, "PVC", cores=2) == pytest.approx(
        2 * float(one)
    )
    assert wire.insulated_mass_kg_per_m(0.5e-6, 0.94e-3, 2.1e-3, "PE") < one


def test_insulation_cannot_be_thinner_than_its_conductor() -> None:
    with pytest.raises(ImpossiblePhysics):
        wire.insulated_mass_kg_per_m(0.5e-6, 0.94e-3, 0.9e-3)
    with pytest.raises(ImpossiblePhysics):
        wire.insulated_mass_kg_per_m(0.5e-6, 0.5e-3, 2.1e-3)
    with pytest.raises(ImpossiblePhysics, match="PVC"):
        wire.insulated_mass_kg_per_m(0.5e-6, 0.94e-3, 2.1e-3, "cheese")
