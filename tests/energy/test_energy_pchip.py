from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from optimizer.energy.pchip import Pchip

steps = st.lists(st.floats(0.01, 5.0), min_size=1, max_size=7)


@given(steps, st.data())
def test_agrees_with_scipy_between_and_at_the_points(
    gaps: list[float], data: st.DataObject
) -> None:
    x = np.concatenate([[0.0], np.cumsum(gaps)])
    # Rounded: chords of denormal numbers overflow in both and test nothing.
    value = st.floats(-5.0, 5.0).map(lambda v: round(v, 3))
    y = np.array(data.draw(st.lists(value, min_size=x.size, max_size=x.size)))
    q = np.linspace(0.0, x[-1], 203)
    ours, theirs = Pchip(x, y), PchipInterpolator(x, y)
    np.testing.assert_allclose(ours(q), theirs(q), rtol=1e-12, atol=1e-12)
    np.testing.assert_array_equal(ours(x), y)


@given(steps, st.data())
def test_rising_points_give_a_rising_curve(gaps: list[float], data: st.DataObject) -> None:
    x = np.concatenate([[0.0], np.cumsum(gaps)])
    rises = data.draw(st.lists(st.floats(0.0, 3.0), min_size=x.size, max_size=x.size))
    values = Pchip(x, np.cumsum(rises))(np.linspace(-1.0, x[-1] + 1.0, 500))
    assert np.all(np.diff(values) >= -1e-12)


def test_constant_outside_the_points() -> None:
    curve = Pchip([1.0, 2.0, 4.0], [3.0, 5.0, 5.5])
    assert curve(0.0) == 3.0
    assert curve(9.0) == 5.5


@pytest.mark.parametrize(
    ("x", "y"),
    [([0.0], [1.0]), ([0.0, 0.0], [1.0, 2.0]), ([0.0, 1.0], [1.0]), ([0.0, 1.0], [1.0, np.nan])],
)
def test_refuses_points_without_a_curve(x: list[float], y: list[float]) -> None:
    with pytest.raises(ValueError, match="x"):
        Pchip(x, y)
