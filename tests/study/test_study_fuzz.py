"""Whatever is in the files: a study, or an InputError that can be told. Nothing else."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from study_files import LINES, PARTS, SITES, STUDY, StudyFiles

from optimizer.errors import InputError
from optimizer.study.load import load_study
from optimizer.study.numerals import advice, is_number
from optimizer.study.overrides import parse_override
from optimizer.study.words import nearest, quoted
from optimizer.views.errors import error_text

FILES = {"study.toml": STUDY, "parts.csv": PARTS, "sites.csv": SITES, "lines.csv": LINES}
quick = settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
#: What cells hold when they do not hold what they should.
nasty = st.one_of(
    st.text(max_size=30),
    st.sampled_from(
        ["", "nan", "-inf", "1e400", "1,5", "1 200", "#vest", "!*", "*", "[", "[!", "=1", '"',
         "\ufeff", "x" * 500, "\u202e12", "1e-320",
         "off_body", "left", "0", "-0", "99999999999999999999",
         "pump", "shank_right", "a.b", "trunk", "\n", "1\n2", "#", "!", "!#", "**", "a,b;c"]
    ),
    st.integers().map(str),
    st.floats().map(repr),
)  # fmt: skip


def loads_or_tells(files: StudyFiles, overrides: dict[str, object] | None = None) -> None:
    path = files.write()
    try:
        load_study(path, overrides)
    except InputError as error:
        assert error.flaws
        text = error_text(error, 80)
        assert all(line.isprintable() for line in text.splitlines())
        assert len(text.splitlines()[-1]) > 0


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("fuzz")


@quick
@given(file=st.sampled_from(list(FILES)), data=st.binary(max_size=400))
def test_random_bytes(folder: Path, file: str, data: bytes) -> None:
    loads_or_tells(StudyFiles(folder, {**FILES, file: data}))


@quick
@given(
    file=st.sampled_from(list(FILES)),
    place=st.floats(0, 1),
    cut=st.integers(0, 40),
    put=st.one_of(st.binary(max_size=20), nasty.map(lambda t: t.encode("utf-8", "replace"))),
)
def test_sound_file_with_a_piece_replaced(
    folder: Path, file: str, place: float, cut: int, put: bytes
) -> None:
    data = FILES[file].encode()
    at = int(place * len(data))
    loads_or_tells(StudyFiles(folder, {**FILES, file: data[:at] + put + data[at + cut :]}))


@quick
@given(
    file=st.sampled_from(["parts.csv", "sites.csv", "lines.csv"]),
    cells=st.lists(st.tuples(st.integers(0, 9), st.integers(0, 20), nasty), max_size=6),
)
def test_cells_replaced(folder: Path, file: str, cells: list[tuple[int, int, str]]) -> None:
    files = StudyFiles(folder, dict(FILES))
    header, *rows = FILES[file].splitlines()
    columns = header.split(",")
    for row, column, text in cells:
        files.cell(file, 2 + row % len(rows), columns[column % len(columns)], text)
    loads_or_tells(files)


values = st.recursive(
    st.one_of(nasty, st.floats(), st.integers(), st.booleans(), st.none()),
    lambda inner: st.lists(inner, max_size=3),
    max_leaves=4,
)
paths = st.sampled_from(
    ["parts.pump.mass_g", "parts.*.sites", "parts.controller.fast.price", "sites.vest_back.side",
     "sites.*.along_pct", "lines.supply.from", "lines.supply.wide.max_length_mm", "wearer.mass_kg",
     "wearer.measured.thigh_length_mm", "limits.segment_mass_g.foot", "limits.segment_mass_g",
     "rules.1.parts", "rules.1.kind", "routes.forbid", "routes.forbid_anchors", "routes.add",
     "energy.leg", "task.terrain", "files.parts", "solve.time_limit_s", "title", "format"]
)  # fmt: skip


@quick
@given(st.dictionaries(st.one_of(paths, nasty), values, max_size=4))
def test_overrides(folder: Path, overrides: dict[str, object]) -> None:
    loads_or_tells(StudyFiles(folder, dict(FILES)), overrides)


@given(st.text())
def test_text_of_an_override(text: str) -> None:
    try:
        path, _ = parse_override(text)
    except InputError:
        return
    assert path


@given(nasty)
def test_number_is_a_number_or_has_advice(text: str) -> None:
    if is_number(text):
        float(text)
    elif text.strip():
        assert advice(text.strip(), "a number", "g", optional=True)[0]


@given(st.text(max_size=300))
def test_quoted_text_is_short_and_printable(text: str) -> None:
    shown = quoted(text)
    assert shown.isprintable()
    assert len(shown) <= 62


@given(st.text(max_size=20), st.lists(st.text(max_size=10), max_size=8))
def test_nearest_is_one_of_the_candidates(word: str, names: list[str]) -> None:
    found = nearest(word, names)
    assert found is None or found in names


@given(st.lists(st.text("abcxyz_", min_size=3, max_size=12), min_size=1, max_size=8, unique=True))
def test_nearest_to_a_candidate_is_itself(names: list[str]) -> None:
    for name in names:
        assert nearest(name, names) == name
