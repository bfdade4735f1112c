"""The page: whole, self-contained, honest, the same bytes every time."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from optimizer.report.make import FIGURES, PAGE, pictures, report_files, report_page
from optimizer.report.sections import front_section
from optimizer.report.style import look
from optimizer.report.tradeoff_charts import SweepCurve, SweepPiece, front_picture
from optimizer.views.cautions import BASIS, CAUTIONS

pytestmark = pytest.mark.xdist_group("report page")

VOID = {"meta", "link", "br", "wbr", "img", "hr"}


class Page(HTMLParser):
    """Ids, sections, references and text; complains of tags that do not match."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: list[str] = []
        self.sections: list[str | None] = []
        self.references: list[str] = []
        self.said: list[str] = []
        self.scripts = 0
        self.feed(text)
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        values = dict(attrs)
        if tag not in VOID:
            self.open.append(tag)
        if "id" in values:
            self.ids.append(values["id"] or "")
        if tag == "section":
            self.sections.append(values.get("id"))
        self.scripts += tag == "script"
        for name in ("src", "href", "xlink:href", "data", "action"):
            if name in values:
                self.references.append(values[name] or "")

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.handle_endtag(tag)

    def handle_endtag(self, tag):
        assert self.open and self.open[-1] == tag, (tag, self.open[-3:])
        self.open.pop()

    def handle_data(self, data):
        if self.open and self.open[-1] != "style":
            self.said.append(data)

    @property
    def text(self) -> str:
        return " ".join("".join(self.said).split())


@pytest.fixture(scope="module")
def files(results):
    return report_files(results)


@pytest.fixture(scope="module")
def page(files) -> Page:
    return Page(files[PAGE])


def test_the_page_is_well_formed_with_every_id_once(page):
    assert len(page.ids) == len(set(page.ids))
    assert page.scripts == 0


def test_nothing_is_fetched_from_outside_and_every_reference_is_met(files, page):
    for reference in page.references:
        assert reference.startswith("#") or reference == "data:,"
        if reference.startswith("#"):
            assert reference[1:] in page.ids
    assert "@import" not in files[PAGE]
    for target in re.findall(r"url\(([^)]*)\)", files[PAGE]):
        assert target.startswith("#") and target[1:] in page.ids


def test_figures_lie_beside_the_page_as_svg_and_png(files, results):
    names = [p.name for p in pictures(results)]
    assert names == ["body", "segments", "lines", "front"]
    for name in names:
        assert files[f"{FIGURES}/{name}.svg"].startswith("<?xml")
        assert files[f"{FIGURES}/{name}.png"].startswith(b"\x89PNG")


def test_a_section_is_there_only_if_its_result_is(results, page):
    assert {"summary", "body", "segments", "ranking", "parts", "lines", "limits", "front", "build",
            "cuts", "scale", "donning", "measured", "cautions"} <= set(page.sections)  # fmt: skip
    assert not {"sweep", "trust", "compared"} & set(page.sections)
    curve = SweepCurve("x", "g", (SweepPiece("A", 0.0, 1.0, ((0.0, 1.0), (1.0, 2.0))),))
    more = replace(results, front=None, sweep=curve, built=results.plan)
    other = Page(report_page(more, pictures(more)))
    assert {"sweep", "compared"} <= set(other.sections) and "front" not in other.sections


def test_the_numbers_are_those_of_the_assessment(results, page):
    plan = results.plan
    for said in (
        f"{plan.score:.3f}",
        f"{plan.metabolic_w:.2f} W",
        f"{plan.swing_inertia_pct:.2f} %",
        f"{plan.total_mass_kg * 1e3:.0f} g",
        "proven best: nothing scores lower, gap 0",
    ):
        assert said in page.text


def test_every_part_site_and_line_is_named(results, page):
    for part in results.plan.parts:
        assert part.unit in page.text and part.site in page.text
    for line in results.plan.lines:
        assert line.line in page.text


def test_cautions_are_on_the_page_in_full_and_in_short_on_every_sheet(files, page):
    for caution in (*CAUTIONS, *BASIS):
        assert caution in page.text
    assert "@bottom-left" in files[PAGE]
    assert page.text.count("Caution.") >= 5


def test_an_invented_study_is_called_so(page):
    assert "invented example" in page.text


def test_the_same_results_give_the_same_bytes_whatever_matplotlib_is_set_to(results, files):
    import matplotlib

    matplotlib.rcParams["font.size"] = 30
    matplotlib.rcParams["svg.fonttype"] = "none"
    try:
        again = report_files(results)
    finally:
        matplotlib.rcdefaults()
    assert again == files
    with look():
        assert matplotlib.rcParams["text.parse_math"] is False
    assert matplotlib.rcParams["text.parse_math"] is True


def test_names_cannot_become_markup_or_control_codes(results):
    evil = '<script>alert("1")</script>\x1b[31m $x_1$'
    parts = tuple(replace(p, unit=evil) if p.unit == "pump" else p for p in results.plan.parts)
    lines = tuple(replace(n, cautions=(evil,)) for n in results.plan.lines)
    named = replace(results, plan=replace(results.plan, parts=parts, lines=lines), ranking=None)
    text = report_page(named, pictures(named))
    page = Page(text)
    assert page.scripts == 0 and "\x1b" not in text
    assert '<script>alert("1")</script>' in page.text


def test_a_broken_limit_is_said_on_the_first_page_and_the_build_sheet(results):
    limits = results.plan.limits
    broken = replace(limits[0], slack=-5.0, value=limits[0].limit + 5.0)
    plan = replace(results.plan, limits=(broken, *limits[1:]))
    changed = replace(results, plan=plan)
    page = Page(report_page(changed, pictures(changed)))
    assert "may not be built so" in page.text and "1 limit BROKEN, do not build" in page.text


def test_pictures_say_in_words_what_they_show(files, results):
    for picture in pictures(results):
        assert len(picture.words) > 20
    assert files[PAGE].count('role="img"') == 4


def test_the_trade_off_says_which_point_place_picks_or_that_it_picks_none(results):
    front = results.front
    drawn = front_picture(front)
    assert "`limbtrim place` picks point" in front_section(front, drawn)
    other = replace(front, picked=None, pick=results.plan)
    said = front_section(other, drawn)
    assert "picks none of these" in said and "also counts something else" in said
    unknown = replace(front, picked=None, pick=None)
    assert "picks" not in front_section(unknown, drawn)
