"""The build sheet: nothing forgotten, nothing too short, and read back by `weigh`."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from math import ceil

import pytest
from rich.console import Console

from optimizer.assess.assessment import assess
from optimizer.assess.layout_file import read_given_layout
from optimizer.report.measured import measured_lines, measured_parts
from optimizer.report.sheet import build_sheet, faces_words, where_words
from optimizer.report.sheet_html import sheet_page
from optimizer.report.sheet_md import sheet_markdown
from optimizer.views.cautions import CAUTIONS
from optimizer.views.console import THEME
from optimizer.views.layout import lines_section


@pytest.fixture(scope="module")
def sheet(results):
    return build_sheet(results.setting, results.plan)


def test_every_part_is_in_one_pocket_and_masses_add_up(results, sheet):
    units = [p.unit for pocket in sheet.pockets for p in pocket.parts]
    assert sorted(units) == sorted(p.unit for p in results.plan.parts)
    pockets = sum(pocket.mass_g for pocket in sheet.pockets)
    lines = sum(cut.mass_g for cut in sheet.cuts)
    assert pockets + lines == pytest.approx(results.plan.total_mass_kg * 1e3, rel=1e-9)
    whole = next(w for w in sheet.scale if w.what == "everything worn")
    assert whole.mass_g == pytest.approx(results.plan.total_mass_kg * 1e3)


def test_a_line_is_never_cut_shorter_and_never_longer_than_it_may_be(results, sheet):
    by_name = {n.line: n for n in results.plan.lines}
    assert [c.line for c in sheet.cuts] == list(by_name)
    for cut in sheet.cuts:
        line = by_name[cut.line]
        assert 0 <= cut.length_mm - line.length_m * 1e3 < 1
        if line.max_length_m is not None:
            assert cut.length_mm + cut.longer_mm <= line.max_length_m * 1e3 + 1e-6


def test_a_line_at_its_longest_has_no_room_for_tolerance(results):
    line = results.plan.lines[0]
    tight = replace(line, max_length_m=(line.length_m * 1e3 // 1 + 3) / 1e3)
    plan = replace(results.plan, lines=(tight, *results.plan.lines[1:]))
    assert build_sheet(results.setting, plan).cuts[0].longer_mm <= 3


def test_dressing_puts_on_every_piece_once_and_joins_every_line_across_pieces_once(results, sheet):
    text = "\n".join(sheet.donning)
    for site in results.plan.holder_mass_kg:
        assert text.count(site) == 1
    across = [n.line for n in results.plan.lines if n.site_a != n.site_b]
    joined = [name.strip(". ") for step in sheet.donning if "join " in step
              for name in step.partition("join ")[2].split(",")]  # fmt: skip
    assert sorted(joined) == sorted(across)
    assert text.index("vest_back") < text.index("foot_right_sole")


def test_a_piece_of_the_garment_is_put_on_with_all_its_places(results):
    sites = tuple(
        replace(s, piece="vest") if s.segment == "trunk" else s for s in results.setting.study.sites
    )
    setting = replace(results.setting, study=replace(results.setting.study, sites=sites))
    steps = build_sheet(setting, results.plan).donning
    assert steps[0].startswith("Put on vest (vest (trunk)) with vest_back")


def test_places_are_told_in_words(results):
    sites = {s.name: s for s in results.setting.study.sites}
    ankle = sites["shank_right_ankle"]
    assert where_words(ankle) == (
        "right shank, 94 % of the way from knee to ankle, 10 mm in front of the axis, "
        "55 mm outside it"
    )
    assert faces_words(ankle) == "outwards"
    assert faces_words(sites["vest_back"]) == "back"
    assert faces_words(sites["foot_right_sole"]) == "down"
    assert faces_words(sites["foot_right_top"]) == "up"
    left = replace(sites["vest_chest"], side="left")
    assert "80 mm to the left of it" in where_words(left)
    assert "80 mm to the right of it" in where_words(replace(left, outside_m=-0.08))


def fill(text: str, column: str, values: dict[str, float]) -> str:
    rows = list(csv.DictReader(io.StringIO(text)))
    for row in rows:
        name = row.get("unit") or row["line"]
        if name in values:
            row[column] = str(values[name])
    out = io.StringIO()
    writer = csv.DictWriter(out, list(rows[0]))
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def weighed(results, folder, parts: str, lines: str):
    for name, text in (("p.csv", parts), ("l.csv", lines)):
        (folder / name).write_text(text, encoding="utf-8")
    given = read_given_layout(folder / "p.csv", results.setting, 1, folder / "l.csv")
    return given, assess(results.setting, given.layout)


def test_blank_tables_are_read_back_as_the_plan_itself(results, tmp_path):
    plan = results.plan
    given, again = weighed(results, tmp_path, measured_parts(plan), measured_lines(plan))
    assert set(given.layout.placements) == set(plan.layout.placements)
    assert {(r.line, r.option, r.nodes) for r in given.layout.routings} == {
        (r.line, r.option, r.nodes) for r in plan.layout.routings
    }
    assert again.score == pytest.approx(plan.score, rel=1e-12)


def test_filled_in_tables_make_plan_and_prototype_comparable(results, tmp_path):
    parts = fill(measured_parts(results.plan), "measured_mass_g", {"pump": 478.0})
    lines = fill(measured_lines(results.plan), "measured_length_mm", {"fill": 350.0})
    _, built = weighed(results, tmp_path, parts, lines)
    sheet = build_sheet(results.setting, results.plan, built)
    rows = {(c.what, c.unit): c for c in sheet.compared}
    assert rows["pump", "g"].change == pytest.approx(28.0)
    plan_mm = next(n.length_m for n in results.plan.lines if n.line == "fill") * 1e3
    # what was asked for is the length to cut, which is rounded up
    assert rows["fill", "mm"].change == pytest.approx(350.0 - ceil(plan_mm))
    extra_g = 28.0 + (350.0 - plan_mm) / 1e3 * 9.2  # 9.2 g/m, the table's
    assert rows["worn mass", "g"].change == pytest.approx(extra_g, rel=1e-6)
    assert rows["score", ""].change > 0
    left = {note.partition(": ")[0]: note.partition(": ")[2].split(", ") for note in
            sheet.compared_notes}  # fmt: skip
    unweighed = left["not weighed, so counted as planned"]
    assert "battery" in unweighed and "pump" not in unweighed
    assert "fill" not in left["not measured, so counted as planned"]


def test_a_prototype_built_otherwise_is_said_to_be(results, tmp_path):
    parts = measured_parts(results.plan).replace(
        "controller,standard,vest_back", "controller,standard,vest_chest"
    )
    _, built = weighed(results, tmp_path, parts, "line\n")
    notes = build_sheet(results.setting, results.plan, built).compared_notes
    assert any("built otherwise than planned: controller: vest_back -> vest_chest" in n
               for n in notes)  # fmt: skip


@pytest.mark.parametrize("make", [sheet_page, sheet_markdown])
def test_both_forms_name_everything_and_carry_the_cautions(sheet, make):
    text = make(sheet, "lead", ("p.csv", "l.csv")).replace("<wbr>", "").replace("\\", "")
    for pocket in sheet.pockets:
        assert pocket.site in text and pocket.orientation in text
        assert all(p.unit in text for p in pocket.parts)
    for cut in sheet.cuts:
        assert cut.line in text and str(cut.length_mm) in text and f"-0/+{cut.longer_mm}" in text
    for caution in CAUTIONS:
        assert caution in text
    for said in ("p.csv", "l.csv", "judgement", "common practice", "left to the maker"):
        assert said in text


def test_two_sheets_of_one_layout_are_the_same_bytes(results, sheet):
    again = build_sheet(results.setting, results.plan)
    assert again == sheet
    assert sheet_markdown(again, "x", ("a", "b")) == sheet_markdown(sheet, "x", ("a", "b"))


def test_a_length_to_cut_is_the_same_wherever_it_is_told(results):
    cuts = {cut.line: cut.length_mm for cut in build_sheet(results.setting, results.plan).cuts}
    report = next(n for n in results.plan.lines if 0.0 < n.length_m * 1e3 % 1.0 < 0.5)
    length_mm = cuts[report.line]
    assert length_mm > report.length_m * 1e3
    # weighed before anything is measured: every line is as planned
    compared = build_sheet(results.setting, results.plan, results.plan).compared
    row = next(c for c in compared if c.what == report.line)
    assert (row.planned, row.built, row.change) == (length_mm, length_mm, 0)
    console = Console(file=io.StringIO(), width=120, theme=THEME)
    console.print(lines_section(results.plan, True))
    shown = next(t for t in console.file.getvalue().splitlines() if report.line in t)
    assert str(length_mm) in shown.split()
    table = {row["line"]: row for row in csv.DictReader(io.StringIO(measured_lines(results.plan)))}
    assert table[report.line]["planned_length_mm"] == str(length_mm)


def test_a_measured_length_is_told_as_it_was_measured(results):
    name = results.plan.lines[0].line
    layout = results.plan.layout
    routings = [
        replace(r, measured_length_m=0.4004) if r.line == name else r for r in layout.routings
    ]
    built = assess(results.setting, replace(layout, routings=tuple(routings)))
    compared = build_sheet(results.setting, results.plan, built).compared
    assert next(c for c in compared if c.what == name).built == pytest.approx(400.4)
