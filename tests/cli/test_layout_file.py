"""A layout somebody wrote, read against a study: every name looked up, every flaw told at once."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from optimizer.assess.assessment import assess
from optimizer.assess.layout_file import copies, read_given_layout, read_layout
from optimizer.errors import InputError
from optimizer.setting import Setting, build_setting
from optimizer.solve.place import place
from optimizer.study.load import load_study
from optimizer.study.template import new_study
from optimizer.views.json import assessment_document, encode, ranking_document

PLACES = {
    "battery": "vest_back",
    "pump": "vest_back",
    "controller": "belt_right",
    "valve": "shank_right_outer",
    "ankle_cylinder": "shank_right_ankle",
    "heel_switch": "foot_right_sole",
}


@pytest.fixture(scope="module")
def study_path(tmp_path_factory) -> Path:
    return new_study("mine", tmp_path_factory.mktemp("study"))[0]


@pytest.fixture(scope="module")
def setting(study_path) -> Setting:
    return build_setting(load_study(study_path))


@pytest.fixture(scope="module")
def ranking(setting):
    return place(setting, top=3)


@pytest.fixture
def write(tmp_path):
    def make(text: str, name: str = "layout.csv") -> Path:
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return path

    return make


def table(header: str = "part,model,site", **changes: str) -> str:
    """The layout above as CSV; `changes` replace whole rows, None drops one."""
    rows = {
        part: f"{part},{'flat' if part == 'battery' else ''},{site}"
        for part, site in PLACES.items()
    }
    rows.update(changes)
    return "\n".join([header, *filter(None, rows.values())]) + "\n"


def flaws_of(call) -> list[str]:
    with pytest.raises(InputError) as caught:
        call()
    return [
        f"{Path(f.origin.file).name}:{f.origin.row}:{f.origin.column} {f.found} | {f.expected}"
        f" | {f.nearest}"
        for f in caught.value.flaws
    ]


def test_a_plain_table_makes_a_whole_layout(setting, write):
    given = read_given_layout(write(table()), setting)
    layout = given.layout
    assert {p.unit: p.site for p in layout.placements} == PLACES
    assert {p.unit: p.model for p in layout.placements}["battery"] == "flat"
    assert [r.line for r in layout.routings] == [line.name for line in setting.study.lines]
    assert all(p.measured_mass_kg is None for p in layout.placements)


def test_lines_that_were_not_given_run_the_shortest_way_and_this_is_told(setting, write):
    given = read_given_layout(write(table()), setting)
    graph = setting.graph
    shortest = graph.shortest_lengths()
    sites = [site.name for site in setting.study.sites]
    slack = {line.name: line.slack_m for line in setting.study.lines}
    at = {p.unit: sites.index(p.site) for p in given.layout.placements}
    assessed = {n.line: n for n in assess(setting, given.layout).lines}
    for routing in given.layout.routings:
        a, b = at[routing.unit_a], at[routing.unit_b]
        expected = shortest[a, b] + slack[routing.line]
        assert assessed[routing.line].length_m == pytest.approx(expected, rel=1e-12)
        (told,) = [text for text in given.assumed if text.startswith("no route was given for")]
        names = told.removeprefix("no route was given for ").partition(":")[0].split(", ")
        assert (routing.line in names) == (a != b)


def test_lines_whose_option_was_not_given_get_the_lightest_that_reaches(setting, write):
    given = read_given_layout(write(table()), setting)
    (supply,) = [r for r in given.layout.routings if r.line == "supply"]
    options = next(line.options for line in setting.study.lines if line.name == "supply")
    (length,) = [n.length_m for n in assess(setting, given.layout).lines if n.line == "supply"]
    reaching = [o for o in options if o.max_length_m >= length]
    assert supply.option == min(reaching, key=lambda o: o.mass_kg_per_m).name
    assert any(f"supply ({supply.option} was taken)" in text for text in given.assumed)


@pytest.mark.parametrize("rank", [1, 2, 3])
def test_a_ranking_is_read_back_as_it_was_written(setting, ranking, write, rank):
    path = write(encode(ranking_document(setting.study, ranking)), "out.json")
    given = read_given_layout(path, setting, rank=rank)
    best = ranking.layouts[rank - 1].assessment
    assert given.layout == best.layout and given.assumed == ()
    assert assess(setting, given.layout).score == best.score


def test_an_assessment_is_read_back_with_what_was_measured(setting, write):
    text = table("part,model,site,measured_mass_g", pump="pump,,vest_back,462.5")
    first = assess(setting, read_layout(write(text), setting))
    path = write(encode(assessment_document(setting.study, first)), "weighed.json")
    again = read_layout(path, setting)
    assert {p.unit: p.measured_mass_kg for p in again.placements}["pump"] == 0.4625
    assert assess(setting, again).total_mass_kg == first.total_mass_kg


def test_measured_masses_and_lengths_are_taken(setting, write):
    parts = table("part,model,site,measured_mass_g", valve="valve,,shank_right_outer,40")
    lines = write("line,measured_length_mm\nsupply,1300\n", "lines.csv")
    found = assess(setting, read_layout(write(parts), setting, lines_path=lines))
    assert {p.unit: p.mass_kg for p in found.parts}["valve"] == 0.040
    assert {n.line: n.length_m for n in found.lines}["supply"] == 1.3


def test_misspelt_column_is_told_among_what_was_assumed(setting, write):
    parts = table("part,model,site,mesured_mass_g", pump="pump,,vest_back,462.5")
    lines = write("line,measured_lenght_mm\nsupply,1300\n", "lines.csv")
    assumed = read_given_layout(write(parts), setting, lines_path=lines).assumed
    assert "is measured_mass_g meant?" in assumed[0] and "row 1" in assumed[0]
    assert "is measured_length_mm meant?" in assumed[1]


@pytest.mark.parametrize("text", ["anchors", "ends", "backwards", "blanks"])
def test_a_route_may_be_written_with_or_without_its_ends_and_from_either(setting, write, text):
    nodes = ["waist_back", "waist_back_right", "hip_outer_right"]
    whole = ["vest_back", *nodes, "belt_right"]
    written = {
        "anchors": " > ".join(nodes),
        "ends": ">".join(whole),
        "backwards": " > ".join(reversed(whole)),
        "blanks": " ".join(nodes),
    }[text]
    lines = write(f"line,route\ncontroller_power,{written}\n", "lines.csv")
    layout = read_layout(write(table()), setting, lines_path=lines)
    routing = next(r for r in layout.routings if r.line == "controller_power")
    assert routing.nodes == tuple(whole if routing.unit_a == "battery" else reversed(whole))


def test_every_flaw_is_told_at_once_with_row_column_and_nearest(setting, write):
    text = (
        "part,model,site,measured_mass_g\n"
        'pmup,,vest_back,"12,5"\n'
        "battery,blokc,vest_bakc,\n"
        "valve,,shank_right_outer,-3\n"
        "valve,,shank_right_outer,\n"
        "controller,,,\n"
        "ankle_cylinder,,shank_right_ankle,nan\n"
    )
    told = flaws_of(lambda: read_layout(write(text), setting))
    for row, column, near in (
        (2, "part", "pump"), (2, "measured_mass_g", ""), (3, "model", "block"),
        (3, "site", "vest_back"), (4, "measured_mass_g", ""), (5, "part", ""), (6, "site", ""),
        (7, "measured_mass_g", ""),
    ):  # fmt: skip
        assert any(t.startswith(f"layout.csv:{row}:{column} ") and t.endswith(near) for t in told)
    assert [int(t.split(":")[1]) for t in told] == sorted(int(t.split(":")[1]) for t in told)


def test_missing_parts_are_named(setting, write):
    (told,) = flaws_of(lambda: read_layout(write(table(valve="", heel_switch="")), setting))
    assert "no place for valve, heel_switch" in told


def test_a_misspelt_part_is_not_told_as_missing_too(setting, write):
    (told,) = flaws_of(lambda: read_layout(write(table(battery="batery,flat,vest_back")), setting))
    assert told.startswith("layout.csv:2:part ") and told.endswith("battery")
    text = table(battery="batery,flat,vest_back", valve="")
    misspelt, missing = sorted(
        flaws_of(lambda: read_layout(write(text), setting)), key=lambda t: "no place" in t
    )
    assert '"batery"' in misspelt and "no place for valve |" in missing


def test_a_part_with_several_models_needs_one(setting, write):
    (told,) = flaws_of(lambda: read_layout(write(table(battery="battery,,vest_back")), setting))
    assert "a model of battery: block or flat" in told


@pytest.mark.parametrize(
    ("row", "found", "near"),
    [("suply,", "suply", "supply"),
     ("supply,waist_bakc waist_back_right", "waist_bakc", "waist_back"),
     ("supply,waist_back foot_top_right", "which are not joined", ""),
     ("supply,vest_chest > waist_back > belt_right", "an end at vest_chest", "")],
)  # fmt: skip
def test_flaws_of_lines_are_told_where_they_stand(setting, write, row, found, near):
    lines = write(f"line,route\n{row}\n", "lines.csv")
    told = flaws_of(lambda: read_layout(write(table()), setting, lines_path=lines))
    assert all(t.startswith("lines.csv:2:") for t in told)
    assert any(found in t and near in t for t in told)


def test_a_rank_that_is_not_there_is_told(setting, ranking, write):
    path = write(encode(ranking_document(setting.study, ranking)), "out.json")
    (told,) = flaws_of(lambda: read_layout(path, setting, rank=9))
    assert told.startswith("--rank:") and "a rank from 1 to 3" in told


@pytest.mark.parametrize(
    ("name", "text", "found"),
    [("a.json", "{", "no valid JSON"),
     ("a.json", "[]", "JSON without layouts"),
     ("a.json", '{"schema": "limbtrim.study/1"}', "limbtrim.study/1"),
     ("a.json", '{"layouts": [{"parts": [{"unit": 3, "site": "vest_back"}]}]}', "3"),
     ("a.json", '{"layouts": [{"parts": [{"unit": "pump"}]}]}', "nothing"),
     ("a.json", '{"layout": {"parts": [{"unit": "pump", "site": "x", "measured_mass_kg": -1}]}}',
      "-1"),
     ("a.json", '{"layouts": [3]}', "a.json:None:layouts[0] 3 | a layout"),
     ("a.json", '{"layouts": [{"rank": "x", "parts": []}]}', "a.json:None:layouts[0].rank "),
     ("a.json", '{"layouts": [{"parts": [3]}]}', "parts[0] 3 | keys and values"),
     ("a.json", '{"layouts": [{"parts": 3}]}', "parts 3 | a list"),
     ("a.json", "[" * 100_000, "no valid JSON"),
     ("a.csv", "", "an empty file"),
     ("a.csv", "hello\nworld\n", "hello")],
)  # fmt: skip
def test_files_that_are_no_layout_are_refused_in_a_sentence(setting, write, name, text, found):
    told = flaws_of(lambda: read_layout(write(text, name), setting))
    assert any(found in t for t in told)
    assert not any("--rank" in t or "dictionary" in t or "_Json" in t for t in told)


def test_a_file_that_does_not_exist_is_told(setting, tmp_path):
    (told,) = flaws_of(lambda: read_layout(tmp_path / "nix.csv", setting))
    assert "which does not exist" in told


def test_semicolons_byte_order_marks_and_further_columns_are_taken(setting, write):
    text = "\ufeff" + table().replace(",", ";").replace("model;site", "model;site;seen by")
    assert read_layout(write(text), setting) == read_layout(write(table()), setting)


def test_a_bare_name_stands_for_its_copies_one_after_the_other(tmp_path, write):
    study = load_study(new_study("two", tmp_path)[0], {"parts.valve.quantity": "2"})
    setting = build_setting(study)
    assert copies("valve", 2) == ("valve#1", "valve#2")
    text = table() + "valve,,vest_back\n"
    layout = read_layout(write(text), setting)
    at = {p.unit: p.site for p in layout.placements}
    assert (at["valve#1"], at["valve#2"]) == ("shank_right_outer", "vest_back")
    supply = [r for r in layout.routings if r.line.startswith("supply")]
    assert {r.line for r in supply} == {"supply#1", "supply#2"}
    assert len({r.unit_a for r in supply} | {r.unit_b for r in supply}) == 3
    (told,) = flaws_of(lambda: read_layout(write(text + "valve,,vest_back\n"), setting))
    assert "it at most 2 times" in told
    (told,) = flaws_of(lambda: read_layout(write(table()), setting))
    assert "no place for valve#2" in told


def test_two_layouts_of_a_ranking_may_be_read_after_json_round_trip(setting, ranking, write):
    document = json.loads(encode(ranking_document(setting.study, ranking)))
    document["layouts"] = document["layouts"][::-1]
    path = write(json.dumps(document), "shuffled.json")
    assert read_layout(path, setting, rank=1) == ranking.layouts[0].assessment.layout
