from __future__ import annotations

import csv
import re
from itertools import product
from math import inf
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from optimizer.views.quantity import (
    column,
    cut_mm,
    distinct_column,
    grams,
    number,
    shown,
    small_percent,
)
from optimizer.views.routes import short_route
from optimizer.views.words import clean, counted, listing, segment_words, wrap

ROUTING = Path(__file__).parents[2] / "optimizer" / "data"


@given(
    st.text(st.characters(exclude_categories=["C", "Z"], include_characters=" _-."), max_size=120),
    st.integers(2, 90),
    st.integers(0, 6),
    st.integers(0, 6),
)
def test_wrapping_keeps_the_width_and_loses_nothing_but_spaces(text, width, hang, indent):
    lines = wrap(text, width, hang, indent)
    assert all(cell_len(line) <= width for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())


def test_long_names_break_after_their_joints():
    assert wrap("cylinder_pressure_sensor_right", 17) == ["cylinder_", "pressure_sensor_", "right"]


def test_an_arrow_is_never_left_at_the_end_of_a_line():
    text = "vent_valve: shank_left_outer -> shank_left_front > knee"
    for width in range(20, 60):
        assert not any(line.endswith((">", "->")) for line in wrap(text, width))


@given(st.text())
def test_nothing_a_terminal_obeys_survives(text):
    assert clean(text).isprintable() or clean(text) == ""


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [(1.005, 1, "1.0"), (-0.0001, 2, "0.00"), (-0.006, 2, "-0.01"), (None, 2, "-"),
     (float("nan"), 2, "-"), (float("inf"), 0, "-"), (2.5e3, 0, "2500")],
)  # fmt: skip
def test_numbers_print_plainly(value, decimals, text):
    assert number(value, decimals) == text


@pytest.mark.parametrize(("length_m", "millimetres"), [(0.4954, 496), (1.5231, 1524), (0.495, 495)])
def test_a_length_to_cut_is_never_shorter_than_needed(length_m, millimetres):
    assert cut_mm(length_m) == millimetres


def test_a_column_shows_that_a_small_value_is_not_zero():
    assert column([12.3, 0.004, 0.0], 2, 4) == ["12.300", "0.004", "0.000"]
    assert column([12.3, 0.0000001], 2, 4) == ["12.3000", "0.0000"]


def test_different_scores_print_differently_and_equal_ones_alike():
    assert distinct_column([9.08131, 9.08134, 9.08134], 3, 7) == ["9.08131", "9.08134", "9.08134"]
    assert distinct_column([9.0813, 9.0813 + 1e-12], 3, 7) == ["9.081", "9.081"]


def test_masses_are_whole_grams_unless_a_light_one_is_not():
    assert grams([0.486, 0.009]) == ["486", "9"]
    assert grams([0.486, 0.0058]) == ["486.0", "5.8"]
    assert grams([0.486, 0.0125]) == ["486", "12"]


def test_a_mass_that_was_typed_or_weighed_is_shown_as_it_was():
    assert grams([0.486, 0.0125], [0.49851], light_g=inf) == ["486.0", "12.5", "498.5"]
    assert grams([0.486, 0.012], [0.49851], light_g=inf) == ["486", "12", "499"]


@pytest.mark.parametrize(
    ("values", "unit", "texts", "name"),
    [((0.486, 0.5, 0.014), "kg", ["486", "500", "14"], "g"),
     ((0.3392, 0.35, 0.0108), "m", ["339.2", "350.0", "10.8"], "mm"),
     ((476.0, 480.0, 4.0), "cm3", ["476", "480", "4"], "cm3"),
     ((14.021, 25.0, 10.979), "% of the bare leg", ["14.02", "25.00", "10.98"],
      "% of the bare leg"),
     ((9800.0, 10000.0, 200.0), "Pa", ["9.80", "10.00", "0.20"], "kPa")],
)  # fmt: skip
def test_a_limit_is_shown_in_the_unit_people_read(values, unit, texts, name):
    assert shown(values, unit) == (texts, name)


@given(st.floats(1e-10, 1.0))
def test_at_most_is_never_less_than_the_gap(gap):
    said = float(small_percent(gap).removesuffix(" %"))
    assert 100 * gap * (1 - 1e-9) <= said <= 100 * gap * 1.1 + 1e-12


def test_words_for_people():
    assert segment_words("trunk") == "vest (trunk)"
    assert segment_words("shank", "left") == "left shank"
    assert listing(["a", "b", "c"]) == "a, b and c"
    assert counted(1, "part") == "1 part" and counted(3, "part") == "3 parts"


def _default_arcs() -> list[tuple[str, str]]:
    """Arcs of the default routing graph, from its data file, both sides."""
    with (ROUTING / "routing_arcs.csv").open(encoding="utf-8") as table:
        rows = list(csv.DictReader(table))
    arcs = []
    for row, side in product(rows, ("left", "right")):
        arcs.append((row["tail"].format(side=side), row["head"].format(side=side)))
    return sorted(set(arcs))


def test_two_routes_that_differ_are_told_in_different_words():
    beside: dict[str, list[str]] = {}
    for a, b in _default_arcs():
        beside.setdefault(a, []).append(b)
        beside.setdefault(b, []).append(a)
    paths = [(node,) for node in beside]
    told: dict[str, tuple[str, ...]] = {}
    for _ in range(4):
        for path in paths:
            words = short_route(path)
            assert told.setdefault(words, path) == path, words
        paths = [(*p, n) for p in paths for n in beside[p[-1]] if n not in p]
    assert len(told) > 1000


def test_short_routes_say_a_side_only_where_it_changes():
    route = [
        "waist_back",
        "waist_back_left",
        "hip_outer_left",
        "thigh_outer_left",
        "knee_back_left",
    ]
    assert short_route(route) == "waist back > left back > hip outer > thigh > knee back"
    assert short_route(["bench_outlet", "waist_right"]) == "bench_outlet > right waist side"
    assert len(re.findall("left", short_route(route))) == 1
