import numpy as np
import pytest
from body_samples import site, wearer
from hypothesis import given
from hypothesis import strategies as st

from optimizer.body.clearance import clearance
from optimizer.body.gait import minimum_toe_clearance_m

BODY = wearer()


def part(along, up, size, sideways=False, segment="foot", side="left", body=BODY, **more):
    place = body.position(site(segment, side, along, front_m=up))
    return clearance(body, (segment, side), place, size, sideways, **more)


def under_sole(along, length, thickness):
    """A part stuck under the sole with its upper face on it."""
    up = -BODY.ankle_height_m / 2 - thickness / 2
    return part(along, up, (length, 0.05, thickness))


def test_published_toe_clearance_is_the_yardstick():
    # Moosabhoy and Gard 2006: 1.9 cm (SD 0.5) in ten able-bodied adults.
    assert minimum_toe_clearance_m() == 0.019
    assert part(0.5, 0.05, (0.05, 0.05, 0.02)).bare_gap_m == 0.019


@pytest.mark.parametrize("curves", ["fukuchi2018_young24", "winter_tableA1"])
def test_smallest_gap_falls_in_mid_swing_as_published(curves):
    # 51 % of swing in the same study; the model's curves are of other people.
    got = part(0.5, 0.05, (0.05, 0.05, 0.02), curves=curves)
    assert got.swing_fraction == pytest.approx(0.51, abs=0.13)


def test_a_part_on_top_of_the_foot_takes_nothing():
    got = part(0.5, 0.06, (0.10, 0.06, 0.03))
    assert got.unaffected
    assert got.loss_m == pytest.approx(0.0, abs=1e-12)


def test_a_part_on_the_shank_takes_nothing():
    assert part(0.5, 0.08, (0.15, 0.06, 0.04), segment="shank").unaffected


def test_a_plate_under_the_whole_sole_takes_about_its_thickness():
    got = under_sole(0.5, BODY.segments["foot", "left"].length_m, 0.008)
    assert not got.unaffected
    assert got.below_sole_m == pytest.approx(0.008)
    assert got.loss_m == pytest.approx(0.008, rel=0.10)


def test_a_plate_under_the_toes_takes_more_than_one_under_the_heel():
    toe, heel = under_sole(0.9, 0.05, 0.01), under_sole(0.05, 0.02, 0.01)
    assert toe.loss_m > 0.005
    assert heel.loss_m == 0.0  # the heel is far up in mid-swing ...
    assert heel.below_sole_m == pytest.approx(0.01)  # ... but it is stood on
    assert not heel.unaffected


def test_a_block_ahead_of_the_toes_may_touch_the_ground():
    assert part(1.3, -0.03, (0.10, 0.05, 0.02)).gap_m < 0.0


@given(st.floats(0.0, 1.0), st.floats(-0.05, 0.1), st.floats(0.002, 0.05), st.floats(0.0, 0.03))
def test_a_thicker_part_never_leaves_more_room(along, up, thickness, extra):
    thin = part(along, up, (0.05, 0.04, thickness))
    thick = part(along, up, (0.05, 0.04, thickness + extra))
    assert thick.gap_m <= thin.gap_m + 1e-12
    assert thin.gap_m <= thin.bare_gap_m + 1e-12


@given(st.floats(0.0, 1.0), st.floats(-0.05, 0.1))
def test_both_feet_clear_alike(along, up):
    size = (0.05, 0.04, 0.03)
    assert part(along, up, size, side="left") == part(along, up, size, side="right")


def test_sideways_parts_show_their_width():
    up = -0.02
    narrow = part(0.9, up, (0.05, 0.02, 0.06), sideways=True)
    flat = part(0.9, up, (0.05, 0.02, 0.06))
    assert flat.gap_m < narrow.gap_m


def test_a_vest_does_not_swing():
    with pytest.raises(ValueError, match="trunk"):
        clearance(BODY, ("trunk", "centre"), np.zeros(3), (0.1, 0.1, 0.1), False)
