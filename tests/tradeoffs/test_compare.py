"""Two layouts, garments or studies side by side."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from optimizer.setting import build_setting
from optimizer.solve.compare import Side, best_side, compare, study_differences, typed
from optimizer.study.load import load_study
from optimizer.views.compare import figure_rows
from tests.instances import random_study
from tests.tradeoffs.small import small


@pytest.mark.parametrize(
    ("path", "value", "before"),
    [
        ("parts.pump.mass_g", "470", "450"),
        ("parts.battery.large.price", "80", "95"),
        ("parts.valve.volume_cm3", "16", "15"),
        ("parts.controller.thickness_mm", "20", "18"),
        ("sites.thigh_side.max_mass_g", "450", "500"),
        ("sites.vest_back.along_pct", "50", "45"),
        ("lines.supply.max_length_mm", "1400", "1500"),
        ("lines.signal.mass_g_per_m", "6.5", "5.5"),
        ("wearer.stature_mm", "1810", "1750"),
        ("wearer.mass_kg", "68.5", "75"),
        ("task.speed_m_s", "1.1", "1.25"),
        ("weights.swing_inertia", "0.25", "0.1"),
        ("limits.device_mass_g", "2500", "3000"),
        ("energy.trunk", "pandolf", "browning_waist"),
    ],
)
def test_one_changed_number_is_the_one_difference_told_as_typed(
    tmp_path: Path, path: str, value: str, before: str
) -> None:
    file = small(tmp_path)
    (difference,) = study_differences(load_study(file), load_study(file, {path: value}))
    assert (difference.path, difference.a, difference.b) == (path, before, value)


def test_what_only_one_study_has_is_told_with_a_dash(tmp_path: Path) -> None:
    file = small(tmp_path)
    a = load_study(file)
    b = load_study(file, {"limits.sites_in_use": 3, "limits.device_mass_g": False})
    told = {d.path: (d.a, d.b) for d in study_differences(a, b)}
    assert told == {"limits.sites_in_use": ("-", "3"), "limits.device_mass_g": ("3000", "-")}


def test_every_path_is_told_once(tmp_path: Path) -> None:
    for study in (load_study(small(tmp_path)), random_study(1), random_study(4)):
        paths = [path for path, _ in typed(study)]
        assert len(paths) == len(set(paths))


def test_a_study_does_not_differ_from_itself(tmp_path: Path) -> None:
    study = load_study(small(tmp_path))
    assert study_differences(study, study) == ()
    assert study_differences(study, replace(study)) == ()


def test_each_layout_is_weighed_under_the_others_terms(tmp_path: Path) -> None:
    file = small(tmp_path)
    a = best_side("a", build_setting(load_study(file)))
    b = best_side("b", build_setting(load_study(file, {"weights.swing_inertia": "3"})))
    found = compare(a, b)
    assert a.proof == b.proof == "optimal"
    assert found.a_in_b is not None and found.b_in_a is not None
    assert a.assessment is not None and b.assessment is not None
    # neither can beat the other at its own terms
    assert found.a_in_b.score >= b.assessment.score - 1e-9
    assert found.b_in_a.score >= a.assessment.score - 1e-9


def test_a_layout_that_cannot_be_made_in_the_other_study_is_none(tmp_path: Path) -> None:
    file = small(tmp_path)
    a = best_side("a", build_setting(load_study(file)))
    other = best_side("b", build_setting(random_study(1)))
    found = compare(a, other)
    assert found.a_in_b is None and found.b_in_a is None


def test_figures_are_those_of_the_two_assessments(tmp_path: Path) -> None:
    file = small(tmp_path)
    a = best_side("a", build_setting(load_study(file)))
    assert a.assessment is not None
    heavier = build_setting(load_study(file, {"parts.actuator.mass_g": "250"}))
    b = best_side("b", heavier)
    rows = {name: (one, two) for name, _, one, two in figure_rows(a, b)}
    assert rows["worn mass"][1] - rows["worn mass"][0] == pytest.approx(70.0, abs=60.0)
    assert rows["price of all parts"][0] in (100 + 60 + 40 + 210.0, 100 + 95 + 40 + 210.0)
    assert rows["rated power of all parts"][0] == pytest.approx(20 + 2 + 8 + 1.5)


def test_a_side_without_a_layout_is_kept(tmp_path: Path) -> None:
    file = small(tmp_path)
    study = load_study(file, {"limits.device_mass_g": "200"})
    nothing = best_side("b", build_setting(study))
    assert nothing.assessment is None and nothing.infeasible is not None
    found = compare(best_side("a", build_setting(load_study(file))), nothing)
    assert found.b_in_a is None and found.a_in_b is not None and not found.a_in_b.feasible
    assert isinstance(found.b, Side)
