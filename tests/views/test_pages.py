"""Every page at every width: it fits, it uses what room there is, and it is plain when piped."""

from __future__ import annotations

import io
import re
from dataclasses import replace

import pytest
import view_samples as samples
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rich.cells import cell_len
from rich.console import RenderableType

from optimizer.assess.result import Proof
from optimizer.views.cautions import CAUTIONS
from optimizer.views.console import Consoles, make_console, show, wanted_width
from optimizer.views.header import study_view, title_words, written_view
from optimizer.views.limits import tightest
from optimizer.views.page import assessment_page, infeasible_page, ranking_page, stopped_page
from optimizer.views.ranking import proof_words

RANKING = samples.ranking()
STUDY = samples.study()


class Terminal(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        return True


def printed(width: int | None = 80, stream=None, environment=None, ranking=RANKING) -> str:
    stream = stream or io.StringIO()
    console = make_console(stream, width, environment or {"TERM": "xterm-256color"})
    show(console, ranking_page(STUDY, ranking, console))
    return stream.getvalue()


def page(make, width: int = 80) -> str:
    console = make_console(io.StringIO(), width, {})
    made: RenderableType = make(console)
    show(console, made)
    return console.file.getvalue()


def squeezed(text: str) -> str:
    return "".join(text.split())


@pytest.mark.parametrize("width", [40, 60, 80, 100, 120, 200])
def test_no_line_is_wider_than_asked_for(width):
    assert max(cell_len(line) for line in printed(width).splitlines()) <= width


NAMES = st.one_of(
    st.from_regex(r"[A-Za-z0-9][A-Za-z0-9_.+/-]{0,59}", fullmatch=True),
    st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=40),
    st.sampled_from(
        ["袋" * 30, "\x1b[31mred\x1b[0m", "two\nlines", "x" * 60, "é" * 50, "\u202eabc"]
    ),
)
#: Everything in the sample ranking that carries a name somebody chose.
OLD = sorted(
    {n for u, m, s, *_ in samples.PARTS for n in (u, u.split("#")[0], m, s)}
    | {n for line in samples.LINES for n in (line[0], line[2], *line[6])}
)


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(NAMES, min_size=len(OLD), max_size=len(OLD)), st.sampled_from([80, 120]))
def test_whatever_things_are_called_the_tables_fit_and_hold_no_control_codes(names, width):
    ranking = samples.renamed(RANKING, dict(zip(OLD, names, strict=True)))
    text = printed(width, ranking=ranking)
    assert max(cell_len(line) for line in text.split("\n")) <= width
    assert all(c.isprintable() or c == "\n" for c in text)


def test_long_names_are_wrapped_not_cut():
    long = "cylinder_pressure_sensor_of_the_right_ankle_unit_upper_port"
    ranking = samples.renamed(RANKING, {"vent_valve": long, "shank_left_outer": long[::-1]})
    for width in (80, 120):
        text = printed(width, ranking=ranking)
        assert "…" not in text and "..." not in text
        table = text[text.index("\npart ") :]
        edge = table.index("model" if width >= 110 else "site") - 1
        assert long in "".join(line[:edge].strip() for line in table.splitlines())


def test_wide_terminals_get_further_columns():
    narrow, wide = printed(80), printed(120)
    for head in ("from hip", "in score", "above best", "proof", "holders in use", "written in"):
        assert head in wide and head not in narrow
    assert "hip_outer_left" in wide and "hip_outer_left" not in narrow
    assert "left back > hip outer" in " ".join(narrow.split())
    assert "fill time" in wide and "fill time" in narrow


def test_every_part_stands_under_its_segment_from_the_vest_to_the_foot():
    text = printed(80)
    spots = [text.index(f"\n{name}\n") for name in
             ("vest (trunk)", "left thigh", "right thigh", "left shank", "left foot")]  # fmt: skip
    assert spots == sorted(spots)
    body = text[spots[0] :]
    for unit, _, site, *_ in samples.PARTS:
        assert re.search(rf"  {re.escape(unit)}\b.* {site}", body)


def test_every_column_of_numbers_names_its_unit():
    text = printed(120)
    units = {"W", "%", "added %", "g", "mm", "kg m2", "score", "bare kg m2", "added kg m2"}
    heads = {
        cell
        for line in text.splitlines()
        for cell in re.split(r"\s{2,}", line.strip())
        if cell in units | {"% of bare"}
    }
    assert heads == units | {"% of bare"}


def test_differences_from_the_best_are_said_in_words():
    text = " ".join(printed(120).split())
    assert "vent_valve: shank_left_outer -> shank_left_front" in text
    assert "controller: vest_right -> vest_back_low" in text


def test_copies_that_move_alike_are_told_once():
    copies = ("imu_thigh#1", "imu_thigh#2")
    spots = [samples.layout(dict.fromkeys(copies, site)) for site in ("vest_left", "vest_right")]
    layouts = [
        replace(ranked, assessment=replace(ranked.assessment, layout=spot))
        for ranked, spot in zip(RANKING.layouts, spots, strict=False)
    ]
    text = squeezed(printed(120, ranking=replace(RANKING, layouts=tuple(layouts))))
    assert text.count("imu_thigh:vest_left->vest_right") == 1
    assert "2ximu_thigh:vest_left->vest_right" in text


@pytest.mark.parametrize(
    ("status", "gap", "words"),
    [("optimal", 0.0, "Rank 1 is proven best: nothing scores lower, gap 0."),
     ("optimal", 0.01, "best to the gap asked for: at most 1.0 % better possible"),
     ("time_limit", 0.0312, "stopped at the time limit, not proven: at most 3.2 % better possible"),
     ("interrupted", 0.5, "stopped by hand, not proven: at most 50 % better possible")],
)  # fmt: skip
def test_the_proof_is_said_in_words(status, gap, words):
    text = " ".join(printed(120, ranking=samples.ranking(status, gap)).split())
    assert words in text
    assert ("proven best" in text) == (status == "optimal" and gap == 0)


def test_a_given_layout_is_never_called_proven():
    assert "nothing is proven" in proof_words(Proof("given", 9.0, 0.0, 0.0, 0.0, 0))


def test_a_list_cut_short_says_so():
    console = make_console(io.StringIO(), 80, {})
    show(console, ranking_page(STUDY, RANKING, console, asked_for=9))
    assert "stopped with 3 of the 9 layouts" in console.file.getvalue()
    whole = replace(RANKING, exhausted=True)
    console = make_console(io.StringIO(), 80, {})
    show(console, ranking_page(STUDY, whole, console, asked_for=9))
    text = " ".join(console.file.getvalue().split())
    assert "No layout besides these 3 meets every limit." in text and "stopped" not in text


def test_layouts_that_score_the_same_are_said_to():
    twin = replace(RANKING.layouts[0], rank=2)
    text = printed(80, ranking=replace(RANKING, layouts=(RANKING.layouts[0], twin)))
    assert "Ranks 1 and 2 score the same." in text


def test_binding_and_broken_limits_are_said_in_words():
    limits = list(samples.limits())
    limits[0] = replace(limits[0], value=512.0, slack=-12.0)
    found = replace(samples.assessment(), limits=tuple(limits))
    assert not found.feasible
    text = page(lambda console: assessment_page(STUDY, found, console))
    lines = text.splitlines()
    (broken,) = [line for line in lines if "mass at foot_left_heel" in line]
    (binding,) = [line for line in lines if "volume in vest_left" in line]
    assert broken.split()[-5:] == ["512", "500", "-12", "g", "BROKEN"]
    assert binding.split()[-1] == "binding"
    assert "it breaks a limit" in " ".join(text.split())
    assert "1 limit of 12 BROKEN" in text


def test_rules_that_are_kept_do_not_crowd_out_limits_with_slack():
    kept = replace(samples.limits()[0], kind="apart", label="a and b stay apart", value=0.0,
                   limit=0.0, slack=0.0, binding=True)  # fmt: skip
    crowd = [replace(kept, subject=str(i)) for i in range(30)]
    assert all(m.kind != "apart" for m in tightest([*crowd, *samples.limits()]))
    broken = replace(kept, value=1.0, slack=-1.0)
    assert broken in tightest([*crowd, broken, *samples.limits()])


def test_everything_that_binds_is_shown_however_much_it_is():
    many = [replace(samples.limits()[1], subject=str(i)) for i in range(20)]
    assert len(tightest(many)) == 20


def test_cautions_close_every_page_somebody_could_act_on():
    for make in (
        lambda console: ranking_page(STUDY, RANKING, console),
        lambda console: assessment_page(STUDY, samples.assessment(), console),
    ):
        text = squeezed(page(make))
        assert all(squeezed(caution) in text for caution in CAUTIONS)


def test_what_was_assumed_of_a_given_layout_is_told():
    said = ("no route was given for air_main: the shortest was taken",)
    text = page(lambda console: assessment_page(STUDY, samples.assessment(), console, said))
    assert said[0] in " ".join(text.split())


def test_a_measured_part_is_marked_so():
    found = samples.assessment()
    first, *rest = found.layout.placements
    built = replace(
        found,
        layout=replace(found.layout, placements=(replace(first, measured_mass_kg=0.62), *rest)),
    )
    text = page(lambda console: assessment_page(STUDY, built, console))
    assert "battery (measured)" in text and text.count("measured)") == 1


def test_nothing_fits_is_told_with_where_each_limit_was_written():
    text = " ".join(page(lambda console: infeasible_page(STUDY, samples.infeasible())).split())
    assert "No layout of air_ankle meets every limit." in text
    assert "ankle_unit weighs 486 g (vest_and_leg.csv row 7 mass_limit_g)" in text


def test_a_search_stopped_too_early_claims_nothing():
    empty = replace(RANKING, layouts=(), warnings=("stopped before any layout was found",))
    text = " ".join(page(lambda console: stopped_page(STUDY, empty)).split())
    assert "nothing is known of whether one exists" in text


def test_check_counts_what_was_read():
    text = " ".join(page(lambda console: study_view(STUDY)).split())
    assert "8 parts to place (7 different)" in text
    assert "3: 2 air tubes and 1 wire" in text
    assert "4 on the vest (trunk), 2 on the thighs (1 left and 1 right)" in text
    assert "nothing wrong was found" in text


def test_an_invented_study_is_called_so():
    assert title_words(STUDY).endswith("(an invented example)")
    assert "invented" not in title_words(replace(STUDY, invented=False))
    assert title_words(replace(STUDY, title="air_ankle: mine", invented=False)) == "air_ankle: mine"


def test_a_new_study_says_what_to_do_next():
    text = page(lambda console: written_view(["mine.toml", "mine_parts.csv"]))
    assert "limbtrim check mine.toml" in text and "limbtrim place mine.toml" in text


ESCAPE = "\x1b"


def test_piped_output_is_plain_and_ends_no_line_in_spaces():
    text = printed(None)
    assert ESCAPE not in text
    assert all(line == line.rstrip() for line in text.splitlines())
    assert max(map(cell_len, text.splitlines())) == 80


def test_a_terminal_gets_colour_and_the_same_words():
    coloured = printed(80, Terminal())
    assert ESCAPE in coloured
    bare = re.sub(r"\x1b\[[0-9;]*m", "", coloured)
    assert [line.rstrip() for line in bare.splitlines()] == printed(80).splitlines()


@pytest.mark.parametrize(
    "environment", [{"NO_COLOR": "1", "TERM": "xterm"}, {"TERM": "dumb"}, {"TERM": "unknown"}]
)
def test_a_terminal_that_wants_no_colour_gets_no_codes_at_all(environment):
    assert ESCAPE not in printed(80, Terminal(), environment)


def test_an_empty_no_color_asks_for_nothing():
    assert ESCAPE in printed(80, Terminal(), {"NO_COLOR": "", "TERM": "xterm"})


@pytest.mark.parametrize(
    ("option", "columns", "width"),
    [(100, "132", 100), (None, "132", 132), (None, "7", 40), (None, "wide", None),
     (None, "0", None), (None, "", None)],
)  # fmt: skip
def test_the_width_is_the_options_then_the_environments(option, columns, width):
    assert wanted_width(option, {"COLUMNS": columns}) == width


def test_a_terminal_without_line_drawing_gets_plain_characters():
    raw = io.BytesIO()
    stream = io.TextIOWrapper(raw, encoding="ascii")
    console = make_console(stream, 120, {})
    ranking = samples.renamed(RANKING, {"battery": "Batterie_größe"})
    show(console, ranking_page(STUDY, ranking, console))
    stream.flush()
    text = raw.getvalue().decode("ascii")
    assert "-" * 60 in text and "########" in text and "Batterie_gr??e" in text


def test_consoles_hold_results_and_complaints_apart():
    out, err = io.StringIO(), io.StringIO()
    both = Consoles(make_console(out, 80, {}), make_console(err, 80, {}))
    show(both.out, "answer")
    both.err.print("complaint")
    assert out.getvalue() == "answer\n" and err.getvalue() == "complaint\n"
