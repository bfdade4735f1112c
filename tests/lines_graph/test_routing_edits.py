"""A study's own arcs and bans, and every way to get them wrong."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.errors import Origin
from optimizer.lines.graph import build_graph
from optimizer.study.model import OFF_BODY, RoutesSpec


def _names(graph):
    return [graph.arc_name(i) for i in range(len(graph.tail))]


def test_added_arc_replaces_the_default_one_with_its_own_length(wearer, added):
    own = added(
        "waist_left", "hip_outer_left", 0.2, slack_m=0.03, bend_rad=0.4, carried_by="thigh.left"
    )
    graph = build_graph(wearer, [], RoutesSpec(add=(own,)))
    pair = {"waist_left", "hip_outer_left"}
    (arc,) = [i for i, name in enumerate(_names(graph)) if set(name.split(" - ")) == pair]
    assert graph.length_m[arc] == pytest.approx(0.23)
    assert graph.slack_m[arc] == 0.03
    assert graph.bend_rad[arc] == 0.4
    assert graph.half_keys[arc] == (("thigh", "left"), ("thigh", "left"))


def test_added_arc_without_length_runs_straight(wearer, added):
    arc = added("chest_back", "hip_back_left")
    graph = build_graph(wearer, [], RoutesSpec(add=(arc,)))
    ends = [graph.positions[graph.nodes.index(name)] for name in ("chest_back", "hip_back_left")]
    assert graph.length_m[-1] == pytest.approx(np.linalg.norm(ends[0] - ends[1]))
    assert graph.cautions[-1] is None


def test_added_arc_with_too_little_joint_slack_is_cautioned(wearer, added):
    arc = added("thigh_front_left", "ankle_front_left", slack_m=0.01)
    graph = build_graph(wearer, [], RoutesSpec(add=(arc,)))
    assert graph.joint[-1] == "knee.left"
    assert "crosses knee.left with 10 mm of joint slack" in graph.cautions[-1]
    enough = replace(arc, slack_m=0.2)
    assert build_graph(wearer, [], RoutesSpec(add=(enough,))).cautions[-1] is None


def test_added_arc_can_shorten_a_route(wearer, garment, added):
    before = build_graph(wearer, garment, RoutesSpec()).shortest_lengths()
    short = added("waist_back", "ankle_back_left", 0.9)
    after = build_graph(wearer, garment, RoutesSpec(add=(short,))).shortest_lengths()
    assert np.all(after <= before + 1e-12)
    assert after[0, 6] < before[0, 6]


def test_forbidden_arc_and_anchor_are_gone_and_routes_go_round_them(wearer, garment):
    free = build_graph(wearer, garment, RoutesSpec())
    bans = RoutesSpec(
        forbid=(("shank_back_left", "knee_back_left"),), forbid_anchors=("thigh_back_left",)
    )
    graph = build_graph(wearer, garment, bans)
    assert "knee_back_left - shank_back_left" in _names(free)
    assert "knee_back_left - shank_back_left" not in _names(graph)
    assert "thigh_back_left" not in graph.nodes
    assert np.all(graph.shortest_lengths() >= free.shortest_lengths() - 1e-12)


def test_cut_off_leg_is_out_of_reach_not_an_error(wearer, garment):
    bans = tuple(f"hip_{aspect}_left" for aspect in ("front", "outer", "back"))
    lengths = build_graph(wearer, garment, RoutesSpec(forbid_anchors=bans)).shortest_lengths()
    names = [site.name for site in garment]
    assert np.isinf(lengths[names.index("vest_back"), names.index("heel_left")])
    assert np.isfinite(lengths[names.index("vest_back"), names.index("heel_right")])
    assert np.isfinite(lengths[names.index("calf_left"), names.index("heel_left")])


def test_site_without_an_anchor_of_its_segment_hangs_on_the_nearest(wearer, site):
    heel = site("heel", "foot", "left", 0.0)
    bans = tuple(f"foot_{place}_left" for place in ("top", "outer", "heel"))
    graph = build_graph(wearer, [heel], RoutesSpec(forbid_anchors=bans))
    assert graph.arc_name(len(graph.tail) - 1) == "ankle_back_left - heel"
    assert graph.joint[-1] == "ankle.left"


def test_bench_supply_hangs_on_an_off_body_anchor(wearer, garment, site, added):
    bench = site("bench", "off_body", "centre", 0.0)
    umbilical = added("waist_back", "hose_rack", 2.5, carried_by="off_body")
    graph = build_graph(wearer, [*garment, bench], RoutesSpec(add=(umbilical,)))
    rack = graph.nodes.index("hose_rack")
    assert graph.segment_of[rack] == OFF_BODY
    waist = graph.positions[graph.nodes.index("waist_back")]
    assert waist - graph.positions[rack] == pytest.approx([2.5, 0.0, 0.0])
    assert graph.arc_name(len(graph.tail) - 1) == "hose_rack - bench"
    assert graph.length_m[-1] == 0.0
    umbilical_arc = _names(graph).index("waist_back - hose_rack")
    assert graph.half_keys[umbilical_arc] == (OFF_BODY, OFF_BODY)
    lengths = graph.shortest_lengths()
    worn = build_graph(wearer, [*garment, site("pack", "trunk", "centre", 0.3, front_m=-0.13)],
                       RoutesSpec())  # fmt: skip
    to_waist = worn.nodes.index("waist_back")
    heel = worn.shortest_path(to_waist, worn.nodes.index("heel_left"))[1]
    expected = 2.5 + worn.length_m[list(heel)].sum()
    assert lengths[-1, [s.name for s in garment].index("heel_left")] == pytest.approx(expected)


def test_chain_of_off_body_anchors_is_placed_whatever_the_order(wearer, added):
    far, near = added("bench", "gantry", 1.0), added("gantry", "chest_back", 2.0)
    graph = build_graph(wearer, [], RoutesSpec(add=(far, near)))
    chest = graph.positions[graph.nodes.index("chest_back")]
    assert graph.positions[graph.nodes.index("bench")] == pytest.approx(chest - [3.0, 0, 0])


def test_off_body_anchors_joined_to_nothing_leave_their_site_out_of_reach(
    wearer, garment, site, added
):
    bench = site("bench", "off_body", "centre", 0.0, anchor="outlet")
    graph = build_graph(
        wearer, [*garment, bench], RoutesSpec(add=(added("outlet", "elsewhere", 1.0),))
    )
    assert np.all(np.isinf(graph.shortest_lengths()[-1, :-1]))


def test_off_body_site_needs_an_off_body_anchor(flaws_of, site, added):
    bench = site("bench", "off_body", "centre", 0.0)
    (flaw,) = flaws_of([bench])
    assert "no anchor off the body for site 'bench'" in flaw.found
    assert flaw.origin == bench.origin
    arcs = (added("waist_back", "rack", 2.0), added("chest_back", "gantry", 2.0))
    (flaw,) = flaws_of([bench], add=arcs)
    assert flaw.expected == "one of rack, gantry"
    (flaw,) = flaws_of([replace(bench, anchor="waist_back")], add=arcs)
    assert "off the body" in flaw.expected


def test_unknown_anchor_of_a_site_names_the_nearest(flaws_of, site):
    (flaw,) = flaws_of([site("cuff", "thigh", "left", 0.5, anchor="thigh_outter_left")])
    assert flaw.origin == Origin("garment.csv", 7, "anchor")
    assert flaw.nearest == "thigh_outer_left"


def test_site_on_a_forbidden_anchor_is_refused(flaws_of, site):
    cuff = site("cuff", "thigh", "left", 0.5, anchor="thigh_outer_left")
    (flaw,) = flaws_of([cuff], forbid_anchors=("thigh_outer_left",))
    assert flaw.found == "'thigh_outer_left'"
    assert "does not forbid" in flaw.expected


@pytest.mark.parametrize("length_m", [None, 0.3])
def test_an_added_arc_that_ends_at_a_site_is_one_flaw(flaws_of, site, added, length_m):
    cuff = site("cuff", "thigh", "left", 0.5)
    (flaw,) = flaws_of([cuff], add=(added("waist_back", "cuff", length_m),))
    assert flaw.found == "site 'cuff'" and "cannot end at a site" in flaw.expected


def test_misspelt_end_of_an_added_arc_is_not_taken_for_a_new_anchor(flaws_of, added):
    (flaw,) = flaws_of(add=(added("waist_bakc", "chest_back", 0.3),))
    assert flaw.nearest == "waist_back"
    assert flaw.origin == Origin("study.toml", 30)


def test_arc_to_a_new_anchor_must_state_its_length(flaws_of, added):
    (flaw,) = flaws_of(add=(added("waist_back", "rack"),))
    assert "no length for the arc to 'rack'" in flaw.found


def test_added_arc_cannot_end_at_a_site(flaws_of, garment, added):
    (flaw,) = flaws_of(garment, add=(added("waist_back", "belt_left", 0.3),))
    assert "site 'belt_left'" in flaw.found


def test_unknown_joint_range_lists_the_known_ones(flaws_of):
    (flaw,) = flaws_of(joint_range="sitt")
    assert flaw.expected == "gait or sit"
    assert flaw.nearest == "sit"


def test_every_flaw_is_reported_at_once(flaws_of, site, added):
    flaws = flaws_of(
        [site("cuff", "thigh", "left", 0.5, anchor="nowhere")],
        joint_range="run",
        forbid_anchors=("knee_inner_left", "waist_front"),
        forbid=(("waist_left", "foot_top_left"), ("hip_left", "waist_left"),
                ("chest_back", "hip_back")),
        add=(
            added("waist_front", "chest_left"),
            added("chest_back", "hip_back"),
            added("hip_back", "chest_back"),
            added("waist_left", "waist_left"),
            added("chest_front", "hip_front", carried_by="tigh.left"),
        ),
    )  # fmt: skip
    found = [flaw.found for flaw in flaws]
    assert found == [
        "'run'",
        "'knee_inner_left'",
        "'waist_front'",
        "a second arc hip_back - chest_back",
        "an arc from 'waist_left' to itself",
        "'tigh.left'",
        "waist_left - foot_top_left, between which there is no arc",
        "'hip_left'",
        "chest_back - hip_back",
        "'nowhere'",
    ]
    assert flaws[1].nearest == "knee_outer_left"
    assert flaws[5].nearest == "thigh.left"
    assert flaws[1].origin == Origin("study.toml", column="routes.forbid_anchors")
    assert flaws[6].origin == Origin("study.toml", column="routes.forbid")
