import numpy as np
import pytest
from body_samples import TABLES, wearer

from optimizer.body.anthropometry import deleva_values
from optimizer.body.balance import body_com, com_shift


@pytest.mark.parametrize("sex", ["male", "female"])
@pytest.mark.parametrize("table", TABLES)
def test_centre_of_mass_lies_in_the_pelvis_on_the_midline(sex, table):
    # Textbooks put it at 55-57 % of stature (common knowledge, no source read): wide bounds.
    body = wearer(sex, table)
    x, y, z = body_com(body)
    assert z == pytest.approx(0.0, abs=1e-15)
    assert abs(x) < 0.02
    assert 0.52 < (y + body.leg_length_m) / body.stature_m < 0.60


def test_head_and_arms_make_up_the_rest_of_the_mass():
    table = deleva_values("male")
    arms = sum(
        table[s, "mass_fraction"] for s in ("upper_arm:SJC-EJC", "forearm:EJC-WJC", "hand:WJC-MET3")
    )
    body = wearer()
    rest = body.mass_kg - sum(s.mass_kg for s in body.segments.values())
    expected = body.mass_kg * (table["head:VERT-MIDG", "mass_fraction"] + 2 * arms)
    assert rest == pytest.approx(expected, rel=1e-3)


def test_shift_is_the_change_of_the_combined_centre():
    body = wearer()
    places = np.array([[-0.15, 0.3, 0.0], [0.05, -0.6, 0.12]])
    masses = np.array([4.0, 1.0])
    before = body_com(body)
    after = (body.mass_kg * before + masses @ places) / (body.mass_kg + 5.0)
    assert com_shift(body, masses, places) == pytest.approx(after - before, rel=1e-12)
    assert com_shift(body, [], np.zeros((0, 3))) == pytest.approx(np.zeros(3))
    assert com_shift(body, [7.0], before) == pytest.approx(np.zeros(3), abs=1e-15)


def test_reference_man_segment_by_segment():
    """Every segment of de Leva's table placed by hand: male, 1.741 m, 73 kg, numbers as printed."""
    body = wearer(stature_m=1.741, mass_kg=73.0)
    hips = body.leg_length_m
    shoulder = 0.5155  # MIDS above MIDH
    rows = [
        (0.0694, 1.741 - hips - 0.5976 * 0.2033),
        (0.4346, (1 - 0.4486) * 0.5319),
        (2 * 0.0271, shoulder - 0.5772 * 0.2817),
        (2 * 0.0162, shoulder - 0.2817 - 0.4574 * 0.2689),
        (2 * 0.0061, shoulder - 0.2817 - 0.2689 - 0.79 * 0.0862),
        (2 * 0.1416, -0.4095 * 0.4222),
        (2 * 0.0433, -0.4222 - 0.4395 * 0.4403),
        (2 * 0.0137, -0.4222 - 0.4403 - 0.0195 * 1.741),
    ]
    expected = sum(share * height for share, height in rows) / sum(share for share, _ in rows)
    assert body_com(body)[1] == pytest.approx(expected, abs=1e-5)
