"""The study file: syntax, unknown keys and tables, values of the wrong kind."""

from __future__ import annotations

import pytest
from study_files import StudyFiles, where


@pytest.mark.parametrize(
    ("old", "new", "row", "found"),
    [
        ("speed_m_s = 1.25", "speed_m_s = 1,25", 16, '"speed_m_s = 1,25"'),
        ('sex = "male"', "sex = male", 11, '"sex = male"'),
        ("[task]", "[task", 15, '"[task"'),
        ("mass_kg = 75", "mass_kg = 75\nmass_kg = 80", 14, '"mass_kg = 80"'),
        ("[limits]", "[wearer]", 18, '"[wearer]"'),
    ],
    ids=["decimal comma", "no quotes", "bracket", "key twice", "table twice"],
)
def test_syntax_error_names_its_line(
    files: StudyFiles, old: str, new: str, row: int, found: str
) -> None:
    flaw = files.put("study.toml", old, new).flaw()
    assert where(flaw)[:2] == ("study.toml", row)
    assert flaw.found.startswith(found)
    if "," in new:
        assert flaw.expected == "a number with a decimal point"


@pytest.mark.parametrize(
    ("data", "found"),
    [
        (b"", "no key format"),
        (b"format = 1", "no table [files]"),
        (b"\xff\xfe\x00", "UTF-16 text"),
        (b"title = '\xe4'", "byte 0xe4"),
        (b"a = " + b"[" * 100_000, "nested too deeply"),
        (b"a = " + b"1" * 10_000, "Exceeds the limit"),
        (b"format = 2\nunheard_of = 3", "format = 2"),
    ],
    ids=["empty", "format only", "utf-16", "latin-1", "deep", "long", "other format"],
)
def test_study_file_that_is_none(files: StudyFiles, data: bytes, found: str) -> None:
    files.texts["study.toml"] = data
    assert found in files.flaws()[0].found


def test_study_of_another_format_is_that_flaw_alone(files: StudyFiles) -> None:
    flaw = files.put("study.toml", "format = 1", "format = 7\nfuture = 1").flaw()
    assert where(flaw) == ("study.toml", 1, "format")
    assert flaw.expected == "format = 1, the one this version reads"


def test_byte_order_mark_and_crlf(files: StudyFiles) -> None:
    text = str(files.texts["study.toml"])
    files.texts["study.toml"] = b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode()
    study = files.load()
    assert study.limits[0].origin.row == 19


@pytest.mark.parametrize(
    ("old", "new", "row", "column", "nearest"),
    [
        ("[task]", "[taks]", 15, "taks", "task"),
        ("speed_m_s", "speed_ms", 16, "task.speed_ms", "speed_m_s"),
        ("invented = true", "invented = true\nspeed_m_s = 1", 4, "speed_m_s", "task.speed_m_s"),
        ("stature_mm = 1750", "stature_mm = 1750\nage = 30", 13, "wearer.age", None),
        ("device_mass_g", "device_mass_kg", 19, "limits.device_mass_kg", "device_mass_g"),
        ("foot = 400", "feet = 400", 22, "limits.segment_mass_g.feet", "foot"),
        ("distance_mm", "distance", 27, "rules.1.distance", "distance_mm"),
        ('parts = ["pump"', 'part = ["pump"', 26, "rules.1.part", "parts"),
    ],
)
def test_unknown_key_names_the_nearest(
    files: StudyFiles, old: str, new: str, row: int, column: str, nearest: str | None
) -> None:
    flaws = files.put("study.toml", old, new).flaws()
    ours = [f for f in flaws if where(f) == ("study.toml", row, column)]
    assert [f.nearest for f in ours] == [nearest]
    assert ours[0].found.startswith("an unknown ")


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('sex = "male"', 'Sex = "male"'),
        ("[wearer]", "[Wearer]"),
        ("[files]", "[file]"),
        ("parts = [", "part = ["),
    ],
)
def test_misspelt_key_that_is_needed_is_not_told_as_missing_too(
    files: StudyFiles, old: str, new: str
) -> None:
    flaw = files.put("study.toml", old, new).flaw()
    assert flaw.found.startswith("an unknown ") and flaw.nearest in old
    files.put("study.toml", "mass_kg = 75", "")
    # of a table whose name is misspelt nothing more is known
    assert len(files.flaws()) == 1 + (new != "[Wearer]")


@pytest.mark.parametrize(
    ("old", "new", "column", "expected", "nearest"),
    [
        ('"male"', '"man"', "wearer.sex", "female or male", "male"),
        ('"male"', "1", "wearer.sex", "female or male", None),
        ("= 1750", '= "1750"', "wearer.stature_mm", "without quotation marks", None),
        ("= 1750", '= "175 cm"', "wearer.stature_mm", 'in mm, without "cm"', None),
        ("= 1750", "= 1.75", "wearer.stature_mm", "from 1000 to 2500, in mm", None),
        ("= 1750", "= nan", "wearer.stature_mm", "from 1000 to 2500, in mm", None),
        ("= 1750", "= inf", "wearer.stature_mm", "from 1000 to 2500, in mm", None),
        ("= 1750", "= true", "wearer.stature_mm", "from 1000 to 2500, in mm", None),
        ("= 1750", "= [1750]", "wearer.stature_mm", "from 1000 to 2500, in mm", None),
        ("= 1750", "= 2020-01-01", "wearer.stature_mm", "from 1000 to 2500, in mm", None),
        ("mass_kg = 75", "", "wearer.mass_kg", "a number from 20 to 300, in kg", None),
        ("= 1.25", "= -1", "task.speed_m_s", "greater than 0 and at most 3, in m/s", None),
        ("invented = true", 'invented = "yes"', "invented", "true or false", "true"),
        ('title = "bench pump"', "title = 3", "title", "text, in quotation marks", None),
        ("= 3000", "= 0", "limits.device_mass_g", "greater than 0, in g; or false", None),
        ("= 3000", '= "3 kg"', "limits.device_mass_g", 'without "kg"; or false', None),
        ("foot = 400", "foot = -1", "limits.segment_mass_g.foot", "greater than 0, in g", None),
        ('"apart"', '"appart"', "rules.1.kind", "same_place or apart", "apart"),
        ('["pump", "controller"]', '["pump"]', "rules.1.parts", "two parts' names", None),
        ('["pump", "controller"]', '"pump"', "rules.1.parts", "two parts' names", None),
        ("distance_mm = 50", 'distance_mm = "far"', "rules.1.distance_mm", "in mm", None),
    ],
)
def test_value_of_the_wrong_kind(
    files: StudyFiles, old: str, new: str, column: str, expected: str, nearest: str | None
) -> None:
    flaw = files.put("study.toml", old, new).flaw()
    assert where(flaw)[0] == "study.toml"
    assert flaw.origin.column == column
    assert flaw.origin.row is not None
    assert expected in flaw.expected
    assert flaw.nearest == nearest


@pytest.mark.parametrize(
    ("text", "column", "nearest"),
    [
        ('[energy]\nleg = "segment_curv"', "energy.leg", "segment_curve"),
        ('[energy]\ntrunk = "browning"', "energy.trunk", "browning_waist"),
        ('[energy]\nwalking = "looney_2019"', "energy.walking", "looney2019"),
        ("[weights]\nmetabolic = 0\nswing_inertia = 0", "weights", None),
        ('[inertia]\npose = "swinging"', "inertia.pose", "swing"),
        ('[routes]\njoint_range = "sitting"', "routes.joint_range", "sit"),
        ('[routes]\nforbid_anchors = ["wiast_back"]', "routes.forbid_anchors", "waist_back"),
        ('[routes]\nforbid = ["waist_back"]', "routes.forbid", None),
        ('[[routes.add]]\nfrom = "waist_back"', "routes.add.1.to", None),
        ("[routes]\nadd = 3", "routes.add", None),
        ("[solve]\ntop = 0", "solve.top", None),
        ("[solve]\ngap = 2", "solve.gap", None),
        ("[solve]\ntime_limit_s = -1", "solve.time_limit_s", None),
        ("[wearer.measured]\nthigh_lenght_mm = 400", "wearer.measured.thigh_lenght_mm",
         "thigh_length_mm"),
        ("[wearer.measured]\nthigh_length_m = 0.4", "wearer.measured.thigh_length_m",
         "thigh_length_mm"),
        ("[wearer.measured]\nthigh_length_mm = 4000", "wearer.measured.thigh_length_mm", None),
        ('[wearer.measured]\nthigh_mass_kg = "8"', "wearer.measured.thigh_mass_kg", None),
    ],
)  # fmt: skip
def test_names_and_values_that_later_steps_know(
    files: StudyFiles, text: str, column: str, nearest: str | None
) -> None:
    files.texts["study.toml"] = f"{files.texts['study.toml']}\n{text}\n"
    flaw = files.flaw()
    assert flaw.origin.column == column
    assert flaw.origin.row is not None and flaw.origin.row > 27
    assert flaw.nearest == nearest


@pytest.mark.parametrize(
    ("text", "column", "nearest"),
    [
        ('inertia_table = "deleva"', "wearer.inertia_table", "deleva1996"),
        ('length_table = "drillis"', "wearer.length_table", "drillis_contini1966"),
        ('affected_side = "rigth"', "wearer.affected_side", "right"),
    ],
)
def test_names_of_body_tables(files: StudyFiles, text: str, column: str, nearest: str) -> None:
    flaw = files.put("study.toml", "mass_kg = 75", f"mass_kg = 75\n{text}").flaw()
    assert where(flaw) == ("study.toml", 14, column)
    assert flaw.nearest == nearest


def test_unknown_terrain(files: StudyFiles) -> None:
    flaw = files.put("study.toml", "speed_m_s = 1.25", 'terrain = "tredmill"').flaw()
    assert where(flaw) == ("study.toml", 16, "task.terrain")
    assert flaw.nearest == "treadmill"


@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        ("format = 1\n", "format = 1\nsolve = 3\n", "3"),
        ("[[rules]]", "[rules]", "a table of keys"),
        ("[limits]\ndevice_mass_g = 3000\n\n[limits.segment_mass_g]", "[[limits]]", "a list"),
    ],
)
def test_table_of_the_wrong_shape(files: StudyFiles, old: str, new: str, found: str) -> None:
    assert found in [f.found for f in files.put("study.toml", old, new).flaws()]


def test_lines_of_keys_are_found_in_every_spelling() -> None:
    from optimizer.study.keylines import key_lines

    text = """\
a = 1
[one]
b = 2  # comment
"c d" = 3
e.f = 4
[ two . three ]
g=5
[[four]]
h = 6
[[four]]
h = 7
[[four.five]]
i = 8
"""
    lines = key_lines(text)
    assert lines["a"] == 1
    assert (lines["one"], lines["one.b"], lines["one.c d"], lines["one.e.f"]) == (2, 3, 4, 5)
    assert (lines["two.three"], lines["two.three.g"]) == (6, 7)
    assert (lines["four.1.h"], lines["four.2"], lines["four.2.h"]) == (9, 10, 11)


def test_every_limit_key_gives_a_limit_of_its_kind(files: StudyFiles) -> None:
    from optimizer.problem.limits import LIMITS
    from optimizer.study.limits import LIMIT_KEYS

    assert {limit.kind for limit in LIMIT_KEYS.values()} <= set(LIMITS)
    for key, limit in LIMIT_KEYS.items():
        for subject in limit.subjects or ("",):
            path = f"limits.{key}" + (f".{subject}" if subject else "")
            found = files.load({path: 7}).limits
            assert [x.value for x in found if (x.kind, x.subject) == (limit.kind, subject)] == [
                7 / limit.per_si
            ]
