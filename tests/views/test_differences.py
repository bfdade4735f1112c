from __future__ import annotations

from dataclasses import replace

import pytest
import view_samples as samples
from hypothesis import given
from hypothesis import strategies as st

from optimizer.assess.result import Layout, Placement, Routing
from optimizer.views.differences import differences, differences_in_short

BEST = samples.layout()


def placed(*spots: tuple[str, str, str]) -> Layout:
    """Copies of one part: unit, model, site."""
    return Layout(tuple(Placement(u, u.split("#")[0], m, s) for u, m, s in spots), ())


def routed(*ways: tuple[str, str, tuple[str, ...]]) -> Layout:
    """Lines of a layout whose parts never move: name, option, nodes."""
    ends = (Placement("a", "a", "a", "here"), Placement("b", "b", "b", "there"))
    return Layout(ends, tuple(Routing(n, o, "a", "b", nodes) for n, o, nodes in ways))


def test_a_layout_does_not_differ_from_itself():
    assert differences(BEST, BEST) == ()


def test_a_moved_part_is_named_with_both_places():
    moved = samples.layout({"vent_valve": "vest_left"})
    assert differences(BEST, moved)[0] == "vent_valve: shank_left_outer -> vest_left"


def test_swapping_like_copies_changes_nothing():
    one = placed(("valve#1", "v", "left"), ("valve#2", "v", "right"))
    other = placed(("valve#1", "v", "right"), ("valve#2", "v", "left"))
    assert differences(one, other) == ()


def test_only_the_copy_that_moved_is_named():
    one = placed(("valve#1", "v", "left"), ("valve#2", "v", "right"))
    other = placed(("valve#1", "v", "right"), ("valve#2", "v", "waist"))
    assert differences(one, other) == ("valve: left -> waist",)


@pytest.mark.parametrize(
    ("after", "words"),
    [(("pump", "small", "vest"), "pump at vest: model big -> small"),
     (("pump", "small", "belt"), "pump: big at vest -> small at belt"),
     (("pump", "big", "belt"), "pump: vest -> belt")],
)  # fmt: skip
def test_a_changed_model_is_told_apart_from_a_move(after, words):
    assert differences(placed(("pump", "big", "vest")), placed(after)) == (words,)


def test_in_short_like_moves_are_told_together_and_copies_counted():
    one = placed(
        ("pump", "p", "vest"),
        ("valve#1", "v", "vest"),
        ("valve#2", "v", "vest"),
        ("imu", "i", "leg"),
    )
    other = placed(
        ("pump", "p", "belt"),
        ("valve#1", "v", "belt"),
        ("valve#2", "v", "belt"),
        ("imu", "i", "vest"),
    )
    assert differences(one, other) == (
        "pump: vest -> belt", "valve: vest -> belt", "valve: vest -> belt", "imu: leg -> vest",
    )  # fmt: skip
    assert differences_in_short(one, other) == (
        "pump, 2 x valve: vest -> belt", "imu: leg -> vest",
    )  # fmt: skip
    assert differences_in_short(one, other, besides="imu") == ("pump, 2 x valve: vest -> belt",)
    assert differences_in_short(one, other, besides="pump")[0] == "2 x valve: vest -> belt"
    assert differences_in_short(BEST, BEST) == ()


def test_another_option_and_another_way_are_told():
    one = routed(("air#1", "6x4", ("here", "waist_back", "there")))
    assert differences(one, routed(("air#1", "8x5", ("here", "waist_back", "there")))) == (
        "air: option 6x4 -> 8x5",
    )
    assert differences(one, routed(("air#1", "6x4", ("here", "waist_front", "there")))) == (
        "air: other way, by waist_front instead of waist_back",
    )


def test_a_way_that_only_follows_its_moved_end_is_not_told():
    moved = samples.layout({"ankle_unit": "foot_left_top"})
    routings = tuple(
        replace(r, nodes=(*r.nodes[:-1], "foot_left_top")) if r.unit_b == "ankle_unit" else r
        for r in moved.routings
    )
    said = differences(BEST, Layout(moved.placements, routings))
    assert said == ("ankle_unit: foot_left_heel -> foot_left_top",)


SITES = st.sampled_from(["vest", "belt", "shank", "foot"])
SPOTS = st.lists(st.tuples(st.sampled_from(["v", "w"]), SITES), min_size=1, max_size=5)


@given(SPOTS, SPOTS, st.randoms())
def test_shuffled_copies_make_no_difference_and_each_move_makes_one(before, after, random):
    after = (after * len(before))[: len(before)]
    one = placed(*((f"p#{i}", m, s) for i, (m, s) in enumerate(before)))
    mixed = list(before)
    random.shuffle(mixed)
    assert differences(one, placed(*((f"p#{i}", m, s) for i, (m, s) in enumerate(mixed)))) == ()
    other = placed(*((f"p#{i}", m, s) for i, (m, s) in enumerate(after)))
    left = list(before)
    for spot in after:
        if spot in left:
            left.remove(spot)
    assert len(differences(one, other)) == len(left)
