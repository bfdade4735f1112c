"""What is exported reads back equal."""

from __future__ import annotations

import csv
import io
import re
from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.report.frames import (
    front_frame,
    segments_frame,
    sweep_frame,
    trust_frame,
    with_unit,
)
from optimizer.report.tradeoff_charts import SweepCurve, SweepPiece
from optimizer.views.export import escape_latex, escape_markdown, export
from optimizer.views.frames import limits_frame, lines_frame, parts_frame, ranking_frame

ALL = 17


@pytest.fixture(scope="module")
def frames(results):
    return {
        "parts": parts_frame(results.plan),
        "lines": lines_frame(results.plan),
        "limits": limits_frame(results.plan),
        "ranking": ranking_frame(results.ranking),
        "segments": segments_frame(results.plan),
        "front": front_frame(results.front),
    }


NAMES = ["parts", "lines", "limits", "ranking", "segments", "front"]


@pytest.mark.parametrize("name", NAMES)
def test_csv_reads_back_equal_to_the_last_bit(frames, name):
    frame = frames[name]
    whole = frame.reset_index() if frame.index.name else frame
    head, *read = csv.reader(io.StringIO(export(frame, "csv")))
    assert head == list(whole.columns) and len(read) == len(whole)
    for row, true in zip(read, whole.itertuples(index=False), strict=True):
        for said, value in zip(row, true, strict=True):
            if value is None or (isinstance(value, float) and np.isnan(value)):
                assert said == ""
            elif isinstance(value, float):
                assert float(said) == value
            else:
                assert said == str(value)


def cells_of_markdown(text: str) -> list[list[str]]:
    rows = [line for line in text.splitlines() if line.startswith("|")]
    split = [re.split(r"(?<!\\)\|", row)[1:-1] for row in rows]
    return [[re.sub(r"\\(.)", r"\1", c.strip()) for c in row] for row in split]


def cells_of_latex(text: str) -> list[list[str]]:
    body = [line.strip() for line in text.splitlines() if line.rstrip().endswith(r"\\")]
    rows = [re.split(r"(?<!\\)&", line.removesuffix(r"\\").removeprefix("{}")) for line in body]
    names = {"textbackslash": "\\", "textasciitilde": "~", "textasciicircum": "^",
             "textless": "<", "textgreater": ">", "textbar": "|"}  # fmt: skip

    def plain(cell: str) -> str:
        cell = re.sub(r"\\(text\w+)\{\}", lambda m: "\0" + m[1] + "\0", cell.strip())
        cell = re.sub(r"\\(.)", r"\1", cell)
        return re.sub("\0(\\w+)\0", lambda m: names[m[1]], cell)

    return [[plain(c) for c in row] for row in rows]


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(("form", "cells"), [("md", cells_of_markdown), ("tex", cells_of_latex)])
def test_markdown_and_latex_read_back_equal_at_all_digits(frames, name, form, cells):
    frame = frames[name]
    whole = frame.reset_index() if frame.index.name else frame
    read = cells(export(frame, form, ALL))
    rows = read[2:] if form == "md" else read[1:]
    assert read[0] == list(whole.columns) and len(rows) == len(whole)
    for row, true in zip(rows, whole.itertuples(index=False), strict=True):
        for said, value in zip(row, true, strict=True):
            if isinstance(value, float) and not np.isnan(value):
                assert float(said) == value
            elif isinstance(value, str):
                assert said == " ".join(value.split(" ")).strip()


def test_papers_get_few_digits_booktabs_and_a_caption_with_its_caution(run, solved):
    code, out, _ = run("export", str(solved.path), "--table", "parts", "--format", "tex", "-q")
    assert code == 0
    for said in (r"\toprule", r"\midrule", r"\bottomrule", r"\caption{", "not a prescription",
                 r"ankle\_cylinder", r"mass\_kg"):  # fmt: skip
        assert said in out
    assert "\\hline" not in out
    assert not re.search(r"\d\.\d{7,}", out)
    depth = 0
    for brace in re.findall(r"(?<!\\)[{}]", out):
        depth += 1 if brace == "{" else -1
        assert depth >= 0
    assert depth == 0


TEXTS = st.text(st.characters(exclude_categories=["Cs", "Cc", "Zl", "Zp"]), max_size=30)


@given(TEXTS)
def test_any_name_survives_latex_and_markdown(name):
    frame = pd.DataFrame({"name": [name], "n": [1.5]})
    for form, cells in (("md", cells_of_markdown), ("tex", cells_of_latex)):
        row = cells(export(frame, form))[-1]
        shown = "".join(c if c.isprintable() else "\ufffd" for c in name)
        assert row == [shown.strip(), "1.5"]


def test_escapes():
    assert escape_latex("a_b & 50 % {x}") == r"a\_b \& 50 \% \{x\}"
    assert escape_markdown("a|b_c") == r"a\|b\_c"


def test_missing_infinite_and_yes_or_no_are_told_apart():
    frame = pd.DataFrame({"a": [float("nan"), float("inf")], "b": [True, False], "c": [None, 3]})
    assert export(frame, "md").splitlines()[2:] == ["|  | yes |  |", "| infinite | no | 3 |"]
    with pytest.raises(ValueError, match="csv, md, tex"):
        export(frame, "xls")


@pytest.mark.parametrize("table", ["parts", "lines", "limits", "segments", "front", "ranking"])
def test_every_table_can_be_asked_for(run, solved, table, tmp_path):
    out = tmp_path / "t.csv"
    code, said, _ = run(
        "export", str(solved.path), "--table", table, "--out", str(out), "--top", "1", "-q"
    )
    assert code == 0 and "t.csv" in said and "not a prescription" in said
    assert len(out.read_text().splitlines()) >= 2


def test_a_sweep_can_be_exported(run, solved):
    code, out, err = run(
        "export", str(solved.path), "--table", "sweep", "--sweep", "parts.pump.mass_g",
        "--from", "300", "--to", "500", "-q",
    )  # fmt: skip
    assert code == 0, err
    rows = list(pd.read_csv(io.StringIO(out)).itertuples())
    assert rows[0].low_g == 300 and rows[-1].high_g == 500
    for a, b in pairwise(rows):
        assert a.high_g == b.low_g


@pytest.mark.parametrize(
    "more",
    [("--table", "sweep"), ("--table", "ranking", "--layout", "given.csv"), ("--table", "colours"),
     ("--table", "parts", "--format", "xls"), ("--table", "parts", "--out", "no/such/x.csv")],
)  # fmt: skip
def test_what_cannot_be_exported_is_said_in_a_sentence(run, solved, more, tmp_path, results):
    from optimizer.report.measured import measured_parts

    given = tmp_path / "given.csv"
    given.write_text(measured_parts(results.plan))
    more = tuple(str(given) if m == "given.csv" else m for m in more)
    code, out, err = run("export", str(solved.path), *more, "-q")
    assert code == 2 and out == "" and err.strip() and "Traceback" not in err


def test_every_column_has_its_unit_and_a_rank_is_a_whole_number(run, solved, frames):
    columns = list(frames["front"].columns)
    assert columns[:2] == ["metabolic_pct", "swing_inertia_pct"] and "worn_kg" in columns
    ends = ["--from", "440", "--to", "460", "-q"]
    command = ["export", str(solved.path), "--table", "sweep", "--sweep"]
    code, out, err = run(*command, "parts.pump.mass_g", *ends)
    assert code == 0, err
    head, first = list(csv.reader(io.StringIO(out)))[:2]
    assert head[:3] == ["layout", "low_g", "high_g"] and float(first[1]) == 440
    assert with_unit("low", "m/s") == "low_m_s" and with_unit("low", "x") == "low"
    assert with_unit("low", "g/m") == "low_g_per_m" and with_unit("low", "cm3") == "low_cm3"


def test_ranks_in_the_table_of_trust_are_whole_numbers_or_missing():
    found = SimpleNamespace(
        layouts=[
            SimpleNamespace(
                name=name, rank=rank, win_share=0.5, win_se=0.1, mean_regret=0.0,
                worst_regret=0.0, exact_worst=0.0, fits=1.0,
            )
            for name, rank in (("L1", 2), ("L2", None))
        ]
    )  # fmt: skip
    rows = list(csv.reader(io.StringIO(export(trust_frame(found), "csv"))))
    assert [row[:2] for row in rows] == [["layout", "rank"], ["L1", "2"], ["L2", ""]]


def test_the_ranking_has_as_many_rows_as_the_study_asks_for(run, solved, tmp_path):
    top = solved.setting.study.solve.top
    assert top > 2
    command = ["export", str(solved.path), "--table", "ranking", "-q"]
    for more, rows in (([], top), (["--top", "2"], 2)):
        code, out, err = run(*command, *more)
        assert code == 0, err
        assert len(out.splitlines()) == rows + 1


def test_a_sweep_in_which_nothing_fits_anywhere_writes_nothing(run, solved, tmp_path):
    out = tmp_path / "sweep.csv"
    code, said, _ = run(
        "export", str(solved.path), "--table", "sweep", "--sweep", "parts.pump.mass_g",
        "--from", "440", "--to", "460", "--set", "limits.device_mass_g=100", "--out", str(out),
        "-q",
    )  # fmt: skip
    assert code == 3 and not out.exists()
    assert "nothing" in said.lower()


def test_a_stretch_in_which_nothing_fits_names_no_layout():
    nothing = SweepPiece("A", 1.0, 2.0, (), ())
    fits = SweepPiece("B", 2.0, 3.0, ((2.0, 9.0), (3.0, 9.5)), ())
    frame = sweep_frame(SweepCurve("n", "g", (nothing, fits), None, ()))
    assert list(frame.index) == ["", "B"]
