from __future__ import annotations

import subprocess
import sys

import pytest
import view_samples as samples

from optimizer.views.frames import limits_frame, lines_frame, parts_frame, ranking_frame


def test_a_ranking_is_one_row_per_layout():
    frame = ranking_frame(samples.ranking("time_limit", 0.02))
    assert list(frame.index) == [1, 2, 3] and frame.index.name == "rank"
    assert frame["score"].is_monotonic_increasing
    assert frame.loc[2, "differs_from_best"] == "vent_valve: shank_left_outer -> shank_left_front"
    assert set(frame["status"]) == {"time_limit"} and frame.loc[1, "gap"] == 0.02


def test_parts_keep_their_order_and_values():
    found = samples.assessment()
    frame = parts_frame(found)
    assert list(frame.index) == [p.unit for p in found.parts]
    assert frame.loc["ankle_unit", "swing_inertia_kg_m2"] == 0.34131
    assert frame["mass_kg"].sum() == pytest.approx(sum(p.mass_kg for p in found.parts))


def test_lines_carry_margin_route_and_their_further_figures():
    frame = lines_frame(samples.assessment())
    assert frame.loc["air_main", "margin_m"] == pytest.approx(0.159)
    assert frame.loc["air_cylinder", "route"].startswith("shank_left_outer > ")
    assert frame["max_length_m"].isna().to_dict()["power"]
    assert frame.loc["air_main", "fill_ms"] == 96.04


def test_limits_say_whether_they_are_met():
    frame = limits_frame(samples.assessment())
    assert len(frame) == 12 and frame["met"].all()
    assert (frame["limit"] - frame["value"] - frame["slack"]).abs().max() < 1e-9


def test_pandas_is_not_imported_before_a_frame_is_asked_for():
    code = "import optimizer.views.frames, sys; sys.exit('pandas' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
