"""ISO 6358 flow, restrictions in series and side by side, against exact references."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from optimizer.lines import air
from optimizer.lines.air import flow_function, phi
from optimizer.lines.air_chamber import Chamber, fixed_volume_fill_time_s
from optimizer.lines.air_path import Restriction, parallel, series
from optimizer.lines.air_time import fill_time_s

RATIOS = st.floats(0.0, 0.6)
CONDUCTANCES = st.floats(0.02, 20.0)


@given(b=RATIOS, m=st.floats(0.4, 0.6))
def test_flow_function_falls_from_one_to_zero(b: float, m: float) -> None:
    share = flow_function(np.linspace(0.0, 1.0, 400), b, m)
    assert share[0] == 1.0
    assert share[-1] == 0.0
    assert np.all(np.diff(share) <= 1e-15)


def test_flow_function_is_the_published_ellipse_between_choking_and_the_laminar_line() -> None:
    x = np.array([0.5, 0.8, 0.99])
    assert flow_function(x, 0.3) == pytest.approx(np.sqrt(1 - ((x - 0.3) / 0.7) ** 2), rel=1e-14)
    assert flow_function(x, 0.3, 0.6) == pytest.approx((1 - ((x - 0.3) / 0.7) ** 2) ** 0.6)


@pytest.mark.parametrize("b", [0.0, 0.3, 0.6])
def test_laminar_line_carries_at_most_seven_per_cent_of_the_choked_flow(b: float) -> None:
    x = np.linspace(air.LAMINAR_ABOVE, 1.0, 1000)
    assert np.max(flow_function(x, b)) <= 0.071
    just_below = np.nextafter(air.LAMINAR_ABOVE, 0.0)
    assert flow_function(just_below, b) == pytest.approx(
        flow_function(air.LAMINAR_ABOVE, b), rel=1e-9
    )


def test_laminar_line_changes_no_time_below_999_permille_and_two_per_cent_at_9999() -> None:
    args = {"supply_pa": 7e5, "start_pa": 1e5}
    for share, effect in ((0.9, 1e-9), (0.999, 1e-9), (0.9999, 0.02)):
        plain = fixed_volume_fill_time_s(1e-3, 1e-8, 0.3, end_pa=share * 7e5, **args)
        with_line = fill_time_s(
            Chamber(1e-3), Restriction(1e-8, 0.3), 7e5, share * 7e5, start_pa=1e5
        )
        assert with_line == pytest.approx(plain, rel=effect)
        assert with_line >= plain * (1 - 1e-12)


def test_mass_flow_is_the_volume_flow_times_the_reference_density() -> None:
    warm = {"temperature_k": 323.15}
    volume = air.flow_anr_m3_s(1e-8, 0.3, 6e5, 5e5, **warm)
    assert air.mass_flow_kg_s(1e-8, 0.3, 6e5, 5e5, **warm) == pytest.approx(1.185 * volume)
    cold = air.flow_anr_m3_s(1e-8, 0.3, 6e5, 5e5)
    assert volume / cold == pytest.approx(np.sqrt(293.15 / 323.15))


@given(b=RATIOS, load=st.floats(0.15, 0.99))
def test_downstream_pressure_inverts_the_flow(b: float, load: float) -> None:
    flow = load * 2e-8 * 6e5
    left = air.downstream_pressure_pa(2e-8, b, 6e5, flow)
    assert air.flow_anr_m3_s(2e-8, b, 6e5, left) == pytest.approx(flow, rel=1e-9)


def test_ideal_nozzle_has_its_textbook_conductance() -> None:
    """0.199 dm3/(s bar) per mm2 ideal; a discharge of 0.8 is the 0.16 used for tube entries."""
    assert float(air.orifice_conductance(1e-6)) * 1e8 == pytest.approx(0.199, abs=5e-4)
    assert float(air.orifice_conductance(1e-6, 0.8)) * 1e8 == pytest.approx(0.16, abs=1e-3)


def _end_ratio(q: float, path: list[tuple[float, float]]) -> float:
    """Pressure left at the end of a path that passes q per upstream pressure; -1 if choked."""
    p = 1.0
    for C, b in path:
        load = q / (C * p)
        if load > 1.0:
            return -1.0
        p *= b + (1.0 - b) * np.sqrt(1.0 - load * load)
    return p


def _exact_choked(path: list[tuple[float, float]]) -> float:
    low, high = 0.0, min(C for C, _ in path)
    for _ in range(100):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if _end_ratio(middle, path) >= 0.0 else (low, middle)
    return low


def _exact_flow(x: float, path: list[tuple[float, float]], choked: float) -> float:
    """Flow per upstream pressure at end ratio x, by root-finding along the whole path."""
    if _end_ratio(choked, path) >= x:
        return choked
    return float(brentq(lambda q: _end_ratio(q, path) - x, 0.0, choked, xtol=1e-16))


def _combined(path: list[tuple[float, float]]) -> tuple[float, float]:
    C, b = series(*(Restriction(C, b) for C, b in path))
    return float(np.asarray(C)), float(np.asarray(b))


@given(C1=CONDUCTANCES, C2=CONDUCTANCES, b1=RATIOS, b2=RATIOS)
def test_pair_rule_gives_the_exact_choked_conductance(
    C1: float, C2: float, b1: float, b2: float
) -> None:
    path = [(C1, b1), (C2, b2)]
    whole, b = _combined(path)
    assert whole == pytest.approx(_exact_choked(path), rel=1e-9)
    assert 0.0 <= b < 1.0
    assert whole <= min(C1, C2) * (1 + 1e-12)


def test_three_in_series_stay_within_one_per_cent_of_the_exact_choked_flow() -> None:
    for path in (
        [(0.3, 0.3), (0.378, 0.287), (1.5, 0.4)],
        [(0.3, 0.5), (0.378, 0.287), (0.5, 0.5)],
        [(1.0, 0.6), (0.3, 0.6), (0.3, 0.6)],
    ):
        assert _combined(path)[0] == pytest.approx(_exact_choked(path), rel=0.01)


def test_pair_rule_moves_filling_times_by_less_than_one_and_a_half_per_cent() -> None:
    """Time to fill is proportional to the integral of 1/flow over the pressure ratio."""
    for path in (
        [(1.2, 0.3), (1.27, 0.35)],
        [(1.0, 0.5), (1.0, 0.5)],
        [(0.5, 0.3), (1.2, 0.35)],
        [(1.0, 0.5), (2.0, 0.1)],
        [(1.0, 0.1), (1.0, 0.5)],
        [(0.3, 0.3), (0.378, 0.287), (1.5, 0.4)],
    ):
        choked = _exact_choked(path)
        C, b = _combined(path)
        for x1, x2 in ((1 / 6, 4 / 6), (0.2, 0.98)):
            exact = quad(lambda x, p=path, c=choked: 1 / _exact_flow(x, p, c), x1, x2)[0]
            rule = quad(
                lambda x, C=C, b=b: 1 / (C * float(phi(np.asarray(x), np.asarray(b)))), x1, x2
            )[0]
            assert rule == pytest.approx(exact, rel=0.015)


def test_series_of_ratio_zero_is_the_square_rule() -> None:
    whole, b = _combined([(1.0, 0.0), (2.0, 0.0), (0.5, 0.0)])
    assert whole == pytest.approx((1 + 1 / 4 + 4) ** -0.5, rel=1e-12)
    assert b == pytest.approx(0.0, abs=1e-12)


def test_order_in_series_matters() -> None:
    """0.4936 against 0.4736 dm3/(s bar), reference table of lines in series."""
    forth, back = _combined([(0.5, 0.3), (1.2, 0.35)]), _combined([(1.2, 0.35), (0.5, 0.3)])
    assert forth[0] == pytest.approx(0.4936, abs=5e-5)
    assert back[0] == pytest.approx(0.4736, abs=5e-5)


def test_series_works_on_arrays() -> None:
    valves = Restriction.from_catalogue(np.array([[0.2], [1.0]]), np.array([[0.3], [0.1]]))
    tubes = Restriction.from_catalogue(np.array([0.3, 1.2, 5.0]), 0.25)
    C, b = series(valves, tubes)
    assert np.shape(C) == np.shape(b) == (2, 3)
    for i, (cv, bv) in enumerate([(0.2, 0.3), (1.0, 0.1)]):
        for j, ct in enumerate([0.3, 1.2, 5.0]):
            assert np.asarray(C)[i, j] == pytest.approx(_combined([(cv, bv), (ct, 0.25)])[0] * 1e-8)


@given(C1=CONDUCTANCES, C2=CONDUCTANCES, b1=RATIOS, b2=RATIOS)
def test_parallel_is_exact_when_choked_and_for_small_drops(
    C1: float, C2: float, b1: float, b2: float
) -> None:
    C, b = parallel(Restriction(C1, b1), Restriction(C2, b2))
    assert float(np.asarray(C)) == pytest.approx(C1 + C2)
    x = 1.0 - 1e-7
    no_line = {"laminar_above": 1.0 - 1e-12}
    together = C1 * flow_function(x, b1, **no_line) + C2 * flow_function(x, b2, **no_line)
    assert C * flow_function(x, b, **no_line) == pytest.approx(together, rel=1e-5)


def test_two_equal_in_parallel_keep_their_ratio() -> None:
    C, b = parallel(Restriction(1.0, 0.3), Restriction(1.0, 0.3))
    assert (float(np.asarray(C)), float(np.asarray(b))) == pytest.approx((2.0, 0.3))


def test_every_added_part_takes_flow_even_where_the_first_one_still_chokes_alone() -> None:
    parts = [Restriction(1.0, 0.3), Restriction(3.0, 0.2), Restriction(9.0, 0.4)]
    paths = [series(*parts[: i + 1]) for i in range(3)]
    C = [float(np.asarray(path.conductance)) for path in paths]
    assert all(b <= a for a, b in pairwise(C))
    flow = [
        float(c * flow_function(0.8, path.critical_ratio)) for c, path in zip(C, paths, strict=True)
    ]
    assert all(b < a for a, b in pairwise(flow))
