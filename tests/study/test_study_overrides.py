"""What-ifs: one dotted path to any cell or key, held to the same rules as what is written."""

from __future__ import annotations

import pytest
from study_files import StudyFiles, where

from optimizer.errors import InputError
from optimizer.study.overrides import Scale, parse_override, parse_overrides


@pytest.mark.parametrize(
    ("text", "path", "value"),
    [
        ("parts.pump.mass_g=120", "parts.pump.mass_g", "120"),
        (" wearer.mass_kg = 58 ", "wearer.mass_kg", "58"),
        ("parts.pump.mass_g*=0.8", "parts.pump.mass_g", Scale(0.8)),
        ("parts.ankle_*.mass_g *= 2", "parts.ankle_*.mass_g", Scale(2.0)),
        ("parts.pump.sites=#vest !vest_low", "parts.pump.sites", "#vest !vest_low"),
        ("parts.pump.notes=a=b", "parts.pump.notes", "a=b"),
        ("sites.belt.max_mass_g=", "sites.belt.max_mass_g", ""),
    ],
)
def test_text_is_split_into_path_and_value(text: str, path: str, value: object) -> None:
    assert parse_override(text) == (path, value)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("parts.pump.mass_g", "path=value or path*=factor"),
        ("=3", "path=value or path*=factor"),
        ("", "path=value or path*=factor"),
        ("a.b*=", "a factor greater than 0"),
        ("a.b*=0", "a factor greater than 0"),
        ("a.b*=-1", "a factor greater than 0"),
        ("a.b*=nan", "a factor greater than 0"),
        ("a.b*=1,5", "such as 1.5"),
        ("a.b*=80 %", 'a bare number without "%"'),
    ],
)
def test_text_that_is_no_override(text: str, said: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_override(text)
    (flaw,) = caught.value.flaws
    assert flaw.origin.file == "--set"
    assert said in flaw.expected


def test_all_bad_overrides_are_told_at_once() -> None:
    with pytest.raises(InputError) as caught:
        parse_overrides(["nonsense", "a.b*=x", "c.d=1", "c.d=2"])
    assert [f.origin.column for f in caught.value.flaws] == [None, "a.b", "c.d"]


def test_cells_are_set_and_scaled(files: StudyFiles) -> None:
    study = files.load(
        {
            "parts.pump.mass_g": "120",
            "parts.controller.mass_g": Scale(0.8),
            "parts.controller.fast.price": 10,
            "parts.valve.quantity": 3,
            "parts.valve.sites": ["vest_back", "#shoe"],
            "sites.vest_back.volume_cm3": None,
            "sites.vest_chest.max_mass_g": 0,
            "lines.supply.slack_mm": 100.5,
            "lines.supply.wide.max_length_mm": "700",
        }
    )
    pump, controller, _, valve = study.parts
    assert pump.models[0].mass_kg == 0.12
    assert [m.mass_kg for m in controller.models] == [0.076, 0.096]
    assert [m.price for m in controller.models] == [40.0, 10.0]
    assert (valve.count, valve.models[0].sites) == (3, ("vest_back", "foot_left"))
    assert study.sites[0].volume_m3 == float("inf")
    assert study.sites[1].max_mass_kg == 0.0
    assert study.lines[0].slack_m == 0.1005
    assert [o.max_length_m for o in study.lines[0].options] == [0.9, 0.7]


def test_scaling_adds_no_digits(files: StudyFiles) -> None:
    study = files.cell("parts.csv", 2, "mass_g", "0.1").load({"parts.pump.mass_g": Scale(3)})
    assert study.parts[0].models[0].mass_kg == 0.3 / 1000


def test_pattern_in_a_name_reaches_a_group(files: StudyFiles) -> None:
    study = files.load({"parts.*.mass_g": Scale(2), "sites.vest_*.comfort": "1"})
    assert [m.mass_kg for p in study.parts for m in p.models] == [0.9, 0.19, 0.24, 0.36, 0.07]
    assert [s.comfort for s in study.sites] == [1.0, 1.0, 1.0, 4.0, 3.0]


def test_keys_are_set_and_scaled(files: StudyFiles) -> None:
    study = files.load(
        {
            "wearer.mass_kg": "58",
            "wearer.sex": "female",
            "wearer.measured.thigh_length_mm": "400",
            "wearer.stature_mm": Scale(0.9),
            "task.terrain": "dirt_road",
            "limits.segment_mass_g.foot": "off",
            "limits.segment_mass_g.thigh": "600",
            "limits.sites_in_use": 4,
            "rules.1.distance_mm": 80,
            "rules.1.parts": '["pump", "valve"]',
            "weights.comfort": 0.25,
            "inertia.pose": "swing",
            "invented": "false",
        }
    )
    assert (study.wearer.mass_kg, study.wearer.sex, study.wearer.stature_m) == (
        58.0,
        "female",
        1.575,
    )
    assert study.wearer.measured == {"thigh_length_m": 0.4}
    assert study.task.terrain == "dirt_road"
    assert [(x.kind, x.subject, x.value) for x in study.limits] == [
        ("device_mass", "", 3.0),
        ("segment_mass", "thigh", 0.6),
        ("sites_in_use", "", 4.0),
    ]
    assert (study.rules[0].distance_m, study.rules[0].part_b) == (0.08, "valve")
    assert study.limits[-1].origin.file == "--set"
    assert not study.invented


def test_another_garment_may_be_named(files: StudyFiles) -> None:
    files.texts["other.csv"] = str(files.texts["sites.csv"]).replace("foot_left", "foot_other")
    study = files.load({"files.sites": "other.csv"})
    assert study.sites[-1].name == "foot_other"


@pytest.mark.parametrize(
    ("path", "value", "said"),
    [
        ("parts.pump.mass_g", "1,5", "such as 1.5"),
        ("parts.pump.mass_g", "120 g", "a bare number, such as 120"),
        ("parts.pump.mass_g", "", "greater than 0, in g"),
        ("parts.pump.mass_g", float("nan"), "greater than 0, in g"),
        ("parts.pump.mass_g", Scale(1e9), "no larger than 1e+09"),
        ("parts.pump.sites", "vest_bakc", "a site of the garment"),
        ("parts.controller.fixed_site", "nowhere", "a site of the garment"),
        ("parts.controller.fast.quantity", "2", "as for this part in row 3"),
        ("parts.actuator.price", Scale(2), "a number to scale"),
        ("sites.vest_back.anchor", "wiast_back", "routing anchor"),
        ("sites.foot_left.side", "", "left or right"),
        ("lines.signal.to", "controler", "a part"),
        ("wearer.mass_kg", "heavy", "from 20 to 300, in kg"),
        ("wearer.mass_kg", "58 kg", "a bare number, such as 58 (its unit, kg, is in the name)"),
        ("wearer.measured.thigh_length_mm", 4000, "(the table gives"),
        ("wearer.inertia_table", "deleva", "deleva1996"),
        ("energy.leg", "linear", "segment_curve"),
        ("task.grade_pct", Scale(2), "a number written in the study to scale"),
        ("limits.device_mass_g", "-1", "greater than 0, in g"),
        ("rules.1.kind", "near", "same_place or apart"),
        ("files.parts", "part.csv", "a parts table (CSV)"),
    ],
)
def test_value_that_cannot_be_is_blamed_on_the_override(
    files: StudyFiles, path: str, value: object, said: str
) -> None:
    flaws = files.flaws({path: value})
    assert {where(f) for f in flaws} == {("--set", None, path)}
    assert any(said in f.expected for f in flaws), flaws


@pytest.mark.parametrize(
    ("path", "nearest"),
    [
        ("parts.pmup.mass_g", "parts.pump.mass_g"),
        ("parts.pump.mas_g", "parts.pump.mass_g"),
        ("parts.pump.mass", "parts.pump.mass_g"),
        ("parts.controller.fst.mass_g", "parts.controller.fast.mass_g"),
        ("parts.pump", "parts.pump.mass_g"),
        ("parts.pump.name", None),
        ("sites.vest_bakc.volume_cm3", "sites.vest_back.volume_cm3"),
        ("lines.suply.slack_mm", "lines.supply.slack_mm"),
        ("wearer.mass_g", "wearer.mass_kg"),
        ("wearer.measured.thigh_lenght_mm", "wearer.measured.thigh_length_mm"),
        ("limits.device_mass", "limits.device_mass_g"),
        ("rules.3.distance_mm", "rules.1.distance_mm"),
        ("weight.metabolic", "weights.metabolic"),
        ("zzz", None),
        ("", None),
    ],
)
def test_path_that_leads_nowhere_names_the_nearest(
    files: StudyFiles, path: str, nearest: str | None
) -> None:
    flaw = files.flaw({path: "1"})
    assert flaw.origin.file == "--set"
    if nearest is not None:
        assert flaw.nearest == nearest


def test_scenarios_may_name_where_they_were_written(files: StudyFiles) -> None:
    from optimizer.study.load import load_study

    with pytest.raises(InputError) as caught:
        load_study(files.write(), {"wearer.mass_kg": -1}, overrides_from="scenarios.toml")
    assert caught.value.flaws[0].origin.file == "scenarios.toml"


def test_overrides_do_not_stick(files: StudyFiles) -> None:
    assert files.load({"parts.pump.mass_g": 1}).parts[0].models[0].mass_kg == 0.001
    assert files.load().parts[0].models[0].mass_kg == 0.45


def test_measurement_out_of_range_is_told_in_the_unit_it_is_typed_in(files: StudyFiles) -> None:
    flaw = files.flaw({"wearer.measured.thigh_length_mm": "5"})
    assert flaw.found == "5 mm"
    assert flaw.expected == "212 to 849 mm (the table gives 424)"
    flaw = files.flaw({"wearer.measured.thigh_mass_kg": "5000"})
    assert flaw.found == "5000 kg" and " kg (the table gives" in flaw.expected
