"""How wearability limits are written in a study, switched off, and brought in by default."""

from __future__ import annotations

from pathlib import Path

import pytest

from optimizer.body.wear_defaults import default_value, recommended, wearability_defaults
from optimizer.errors import InputError
from optimizer.problem.limits import LIMITS
from optimizer.setting import build_setting
from optimizer.study.limits import LIMIT_FLAGS, LIMIT_KEYS, PARAMETERS
from optimizer.study.load import demo_path, load_study
from optimizer.study.model import Study

PARTS = """name,mass_g,volume_cm3,length_mm,width_mm,thickness_mm,sites,needs
motor,400,150,80,60,40,chest shank,
switch,40,5,30,20,10,chest shank,reachable_by_hand
"""
SITES = """name,segment,side,along_pct,front_mm,outside_mm,piece,standoff_mm
chest,trunk,centre,70,120,0,vest,8
shank,shank,right,40,50,30,cuff,
"""
STUDY = """format = 1
[files]
parts = "parts.csv"
sites = "sites.csv"
[wearer]
sex = "{sex}"
stature_mm = 1700
mass_kg = 70
affected_side = "right"
"""


def written(tmp_path: Path, text: str = "", sex: str = "male") -> Study:
    (tmp_path / "parts.csv").write_text(PARTS)
    (tmp_path / "sites.csv").write_text(SITES)
    (tmp_path / "study.toml").write_text(STUDY.format(sex=sex) + text)
    return load_study(tmp_path / "study.toml")


def values(study: Study) -> dict[tuple[str, str], float]:
    return {(x.kind, x.subject): x.value for x in study.limits}


def test_every_limit_has_a_unit_and_a_source_or_says_it_is_a_judgement() -> None:
    rows = wearability_defaults()
    for key, limit in LIMIT_KEYS.items():
        for subject in limit.subjects or ("",):
            units = [r.unit for r in rows if (r.key, r.subject) == (key, subject)]
            assert units, f"{key} {subject} has no row in data/wearability_defaults.csv"
            assert all(units), f"{key} {subject} has a row without unit"
    for row in rows:
        assert row.source != "none" or "judgement" in row.provenance
        assert row.provenance
        assert row.value is not None or not row.recommended
    without = set(LIMIT_FLAGS) - {r.key for r in rows}
    assert not without, f"{without} have no row in data/wearability_defaults.csv"


def test_every_kind_has_makers_on_both_roads() -> None:
    from optimizer.assess.limits import STUDY_LIMITS

    kinds = {limit.kind for limit in LIMIT_KEYS.values()} | set(LIMIT_FLAGS.values())
    assert kinds <= set(LIMITS)
    assert kinds <= set(STUDY_LIMITS)


def test_nothing_is_limited_that_is_not_written(tmp_path: Path) -> None:
    assert written(tmp_path).limits == ()


def test_defaults_bring_in_the_recommended_limits(tmp_path: Path) -> None:
    found = values(written(tmp_path, "[limits]\ndefaults = true\n"))
    assert found == {
        ("belt_soft", ""): 4.0,
        ("belt_hard", ""): 6.0,
        ("contact_sustained", ""): 10e3,
        ("contact_peak", ""): 30e3,
        ("protrusion_soft", ""): 0.127,
        ("keep_out", ""): 1.0,
    }
    assert not {kind for kind, _ in found} & PARAMETERS


def test_recommended_contact_pressure_is_half_for_women(tmp_path: Path) -> None:
    found = values(written(tmp_path, "[limits]\ndefaults = true\n", sex="female"))
    assert found["contact_sustained", ""] == 5e3
    assert found["contact_peak", ""] == 15e3
    assert len(recommended("female")) == len(recommended("male"))
    assert default_value("contact_peak_kpa", sex="female") == 15.0


def test_what_is_written_goes_before_the_defaults_and_false_switches_off(tmp_path: Path) -> None:
    text = """[limits]
defaults = true
belt_soft_g = 2500
belt_hard_g = false
keep_out_places = false
"""
    found = values(written(tmp_path, text))
    assert found["belt_soft", ""] == 2.5
    assert ("belt_hard", "") not in found
    assert ("keep_out", "") not in found
    assert ("protrusion_soft", "") in found


def test_directions_and_figures_are_read_in_their_units(tmp_path: Path) -> None:
    text = """[limits]
keep_out_places = true
protrusion_points_per_cm = 3
[limits.com_shift_mm]
fore_aft = 8
vertical = false
[limits.trunk_offset_mm]
lateral = 25
[limits.contact_factor]
foot = 5
"""
    found = values(written(tmp_path, text))
    assert found == {
        ("keep_out", ""): 1.0,
        ("protrusion_points", ""): pytest.approx(300.0),
        ("com_shift", "fore_aft"): 0.008,
        ("trunk_offset", "lateral"): 0.025,
        ("contact_factor", "foot"): 5.0,
    }


@pytest.mark.parametrize(
    "text,told",
    [
        ("[limits]\ndefaults = 1\n", "true or false"),
        ("[limits]\nkeep_out_places = 5\n", "true or false"),
        ("[limits]\ncom_shift_mm = 5\n", "a table of keys"),
        ("[limits.com_shift_mm]\nsideways = 5\n", "fore_aft"),
        ("[limits]\nbelt_soft = 4\n", "belt_soft_g"),
        ("[limits.trunk_offset_mm]\nfore_aft = 0\n", "greater than 0"),
        ("[counterweight]\nallowed = true\nside = 'centre'\n", "left"),
        ("[counterweight]\nallow = true\n", "allowed"),
    ],
)
def test_slips_are_told_with_what_is_expected(tmp_path: Path, text: str, told: str) -> None:
    with pytest.raises(InputError) as caught:
        written(tmp_path, text)
    (flaw,) = caught.value.flaws
    assert told in f"{flaw.expected} {flaw.nearest}"


def test_pieces_and_standoff_are_columns_of_the_garment(tmp_path: Path) -> None:
    chest, shank = written(tmp_path).sites
    assert (chest.piece, chest.standoff_m) == ("vest", 0.008)
    assert (shank.piece, shank.standoff_m) == ("cuff", 0.0)


def test_the_counterweight_goes_on_the_leg_that_is_not_affected(tmp_path: Path) -> None:
    assert written(tmp_path).counterweight is None
    assert written(tmp_path, "[counterweight]\nallowed = false\n").counterweight is None
    found = written(tmp_path, "[counterweight]\nallowed = true\nmax_mass_g = 250\n").counterweight
    assert found is not None
    assert (found.side, found.max_mass_kg, found.density_kg_m3) == ("left", 0.25, 7800.0)
    named = written(tmp_path, "[counterweight]\nallowed = true\nside = 'right'\n").counterweight
    assert named is not None
    assert (named.side, named.max_mass_kg) == ("right", 0.5)


def test_no_counterweight_without_a_sound_leg() -> None:
    with pytest.raises(InputError, match="the leg that may carry ballast"):
        load_study(demo_path(), {"wearer.affected_side": "both", "counterweight.allowed": "true"})


def test_lines_keep_away_from_the_back_of_the_knee_when_told_to() -> None:
    free = build_setting(load_study(demo_path())).graph
    kept = build_setting(load_study(demo_path(), {"routes.keep_out": "true"})).graph
    gone = set(free.nodes) - set(kept.nodes)
    sides = ("left", "right")
    assert gone == {f"{place}_back_{side}" for place in ("thigh", "knee") for side in sides}
