"""The form of a CSV table: encodings, separators, headers, quotes, comments."""

from __future__ import annotations

import pytest
from study_files import PARTS, SITES, StudyFiles, where


@pytest.mark.parametrize(
    "spoil",
    [
        lambda text: b"\xef\xbb\xbf" + text.encode(),
        lambda text: text.replace("\n", "\r\n").encode(),
        lambda text: text.replace("\n", "\r").encode(),
        lambda text: text.rstrip("\n").encode(),
        lambda text: text.replace(",", ";").encode(),
        lambda text: text.replace(",", "\t").encode(),
        lambda text: ("sep=;\n" + text.replace(",", ";")).encode().replace(b"\nname", b"\nname"),
        lambda text: text.replace("name,", " Name ,", 1).replace("mass_g", "Mass g", 1).encode(),
    ],
    ids=["bom", "crlf", "cr", "no last newline", "semicolons", "tabs", "sep mark", "header case"],
)
def test_harmless_forms_read_the_same(files: StudyFiles, spoil: object) -> None:
    plain = files.load()
    row_shift = 0
    files.texts["parts.csv"] = spoil(PARTS)  # type: ignore[operator]
    if bytes(files.texts["parts.csv"]).startswith(b"sep="):  # type: ignore[arg-type]
        row_shift = 1
    read = files.load()
    assert [p.name for p in read.parts] == [p.name for p in plain.parts]
    for ours, theirs in zip(read.parts, plain.parts, strict=True):
        for a, b in zip(ours.models, theirs.models, strict=True):
            assert (a.name, a.mass_kg, a.size_m, a.sites) == (b.name, b.mass_kg, b.size_m, b.sites)
            assert a.origin.row == (b.origin.row or 0) + row_shift
            assert dict(a.extra) == dict(b.extra)


def test_comments_and_blank_rows_are_skipped_and_counted(files: StudyFiles) -> None:
    header, *rows = PARTS.splitlines()
    commented = [
        '# a comment with "quotes, and a comma',
        "",
        '"# quoted by a spreadsheet, as it does",,,',
        header,
        ",,,,,,,,,,,,,",
        "  # indented",
        *rows,
        "",
    ]
    files.texts["parts.csv"] = "\n".join(commented)
    assert [p.origin.row for p in files.load().parts] == [7, 8, 10, 11]
    files.put("parts.csv", "pump,,450", "pump,,45x")
    assert where(files.flaw()) == ("parts.csv", 7, "mass_g")


def test_quoted_cells_may_hold_separators_quotes_and_line_ends(files: StudyFiles) -> None:
    files.cell("parts.csv", 2, "notes", 'loud, "very"\nloud').cell("parts.csv", 6, "mass_g", "x")
    assert where(files.flaw()) == ("parts.csv", 7, "mass_g")
    files.cell("parts.csv", 6, "mass_g", "35")
    assert files.load().parts[0].models[0].extra == {"notes": 'loud, "very"\nloud'}


def reshaped(text: str, padding: str = "", cut: bool = False) -> str:
    """A table as an editor writes it that pads every row, or cuts blank cells at its end."""
    header, *rows = text.splitlines()
    rows = [row.rstrip(",") for row in rows] if cut else rows
    return "\n".join(row + padding for row in (header, *rows)) + "\n"


@pytest.mark.parametrize("how", [{"padding": ",,,"}, {"cut": True}], ids=["padded", "cut"])
def test_tables_that_an_editor_padded_or_cut_throughout_read_the_same(
    files: StudyFiles, how: dict[str, object]
) -> None:
    plain = files.load()
    for name in ("parts.csv", "sites.csv", "lines.csv"):
        files.texts[name] = reshaped(str(files.texts[name]), **how)  # type: ignore[arg-type]
    assert files.load() == plain


@pytest.mark.parametrize(
    ("file", "old", "new", "row", "found"),
    [
        ("lines.csv", "4x2.5,2.5,9.2,4,900", "4x2.5,2.5,9.2,4,5,900", 2, 13),
        ("lines.csv", "AWG 28,,5.5", "AWG 28,5.5", 4, 11),
        ("parts.csv", ",,450,", ",,450,5,", 2, 15),
        ("parts.csv", ",,2,,1.5,,", ",,2", 6, 10),
        ("parts.csv", "valve,,35,15,42,22,22,*,,2,,1.5,,", "valve,,35,15", 6, 4),
        ("sites.csv", "1200,60,50", "1200,60.5,0,50", 2, 17),
        ("sites.csv", "cool,4,,,", "cool,4,,", 5, 15),
    ],
)
def test_row_with_a_comma_too_many_or_too_few_is_one_flaw(
    files: StudyFiles, file: str, old: str, new: str, row: int, found: int
) -> None:
    files.put(file, old, new)
    flaw = files.flaw()
    assert where(flaw) == (file, row, None)
    columns = str(files.texts[file]).partition("\n")[0].count(",") + 1
    assert flaw.found == f"{found} cells, the header has {columns}"
    assert ("no comma" in flaw.expected) == (found > columns)


def test_row_cut_before_a_needed_column_is_a_flaw_though_every_row_is_cut(
    files: StudyFiles,
) -> None:
    files.texts["parts.csv"] = reshaped(PARTS, cut=True).replace(
        "valve,,35,15,42,22,22,*,,2,,1.5", "valve,,35,15,42,22"
    )
    assert files.flaw().found == "6 cells, the header has 14"


def test_padded_tables_do_not_hide_a_comma_too_many(files: StudyFiles) -> None:
    files.texts["lines.csv"] = reshaped(str(files.texts["lines.csv"]), ",,").replace(
        "9.2,4,900", "9.2,4,5,900"
    )
    assert where(files.flaw()) == ("lines.csv", 2, None)


@pytest.mark.parametrize("kind", ["parts", "sites", "lines"])
@pytest.mark.parametrize("given", ["parts", "sites", "lines"])
def test_another_table_in_the_place_of_one_is_one_flaw(
    files: StudyFiles, kind: str, given: str
) -> None:
    if kind == given:
        return
    files.texts[f"{kind}.csv"] = files.texts[f"{given}.csv"]
    flaw = files.flaw()
    assert where(flaw) == (f"{kind}.csv", 1, None)
    assert f"the header row of a {kind} table" in flaw.expected


def test_header_in_the_middle_is_told_once(files: StudyFiles) -> None:
    header, *rows = PARTS.splitlines()
    files.texts["parts.csv"] = "\n".join([header, *rows[:2], header.upper(), *rows[2:]])
    flaw = files.flaw()
    assert (where(flaw)[1], flaw.found) == (4, "the header again")


@pytest.mark.parametrize("shown", ["#NAME?", "#REF!", '"#REF!"', "#DIV/0!", "#N/A", " #name?"])
def test_row_whose_name_is_a_spreadsheet_error_is_no_comment(files: StudyFiles, shown: str) -> None:
    files.row("parts.csv", f"{shown},,450,240,110,60,45,#vest,,,,,,")
    flaw = files.flaw()
    assert where(flaw) == ("parts.csv", 7, "name")
    assert "a spreadsheet's error value" in flaw.expected


def test_names_lost_to_a_spreadsheet_error_are_not_missed_elsewhere(files: StudyFiles) -> None:
    files.cell("parts.csv", 3, "name", "#REF!").cell("parts.csv", 4, "name", "#REF!")
    files.cell("sites.csv", 2, "name", "#N/A")
    assert [where(flaw)[1:] for flaw in files.flaws()] == [(3, "name"), (4, "name"), (2, "name")]


@pytest.mark.parametrize("comment", ["#NAME? gave up here", "#NAMES"])
def test_comment_that_only_resembles_a_spreadsheet_error(files: StudyFiles, comment: str) -> None:
    assert len(files.row("parts.csv", comment).load().parts) == 4


@pytest.mark.parametrize(
    ("data", "row", "found"),
    [
        (b"", None, "an empty file"),
        (b"\n\n# nothing\n", None, "no header row"),
        (PARTS.encode().replace(b"loud", b"l\xe4rm"), 2, "byte 0xe4 (byte 156 of the file)"),
        (PARTS.encode("utf-16"), None, "UTF-16 text"),
        (PARTS.encode().replace(b"loud", b"l\0ud"), 2, "a zero byte"),
        (b"PK\x03\x04 a workbook", None, "spreadsheet workbook"),
        (b"pump;450;240\nvalve;3;4\n", 1, 'a first row of "pump;450;240"'),
        (PARTS.replace("loud", '"loud').encode(), 2, "quotes do not pair up"),
        (PARTS.replace("loud", '"loud" x').encode(), 2, "quotes do not pair up"),
    ],
    ids=["empty", "no header", "latin-1", "utf-16", "nul", "workbook", "headless", "open", "tail"],
)
def test_table_that_cannot_be_read(
    files: StudyFiles, data: bytes, row: int | None, found: str
) -> None:
    files.texts["parts.csv"] = data
    flaw = files.flaws()[0]
    assert where(flaw)[:2] == ("parts.csv", row)
    assert found in flaw.found


def test_byte_order_mark_counts_in_the_place_of_a_bad_byte(files: StudyFiles) -> None:
    files.texts["sites.csv"] = b"\xef\xbb\xbf" + SITES.encode().replace(b"vest_back", b"\xffest")
    flaw = files.flaw()
    assert where(flaw)[:2] == ("sites.csv", 2)
    byte = files.texts["sites.csv"].index(b"\xff") + 1  # type: ignore[arg-type]
    assert f"byte {byte} of the file" in flaw.found


def test_decimal_comma_in_a_semicolon_table_is_refused_in_its_cell(files: StudyFiles) -> None:
    files.texts["parts.csv"] = PARTS.replace(",", ";").replace(";450;", ";450,5;")
    flaw = files.flaw()
    assert where(flaw) == ("parts.csv", 2, "mass_g")
    assert flaw.expected == "a number with a decimal point, such as 450.5"


@pytest.mark.parametrize(
    ("file", "old", "new", "column", "nearest"),
    [
        ("parts.csv", "mass_g", "mass", "mass", "mass_g"),
        ("parts.csv", "mass_g", "mass_kg", "mass_kg", "mass_g"),
        ("parts.csv", "volume_cm3", "volum_cm3", "volum_cm3", "volume_cm3"),
        ("parts.csv", "thickness_mm", "depth", "thickness_mm", None),
        ("sites.csv", "max_mass_g", "max_mass_kg", "max_mass_kg", "max_mass_g"),
        ("sites.csv", "front_mm", "front", "front", "front_mm"),
        ("lines.csv", "mass_g_per_m", "mass_g_m", "mass_g_m", "mass_g_per_m"),
        ("lines.csv", "slack_mm", "slack (mm)", "slack (mm)", "slack_mm"),
    ],
)
def test_missing_column_is_said_once_with_the_one_meant(
    files: StudyFiles, file: str, old: str, new: str, column: str, nearest: str | None
) -> None:
    files.put(file, old, new)
    flaw = files.flaw()
    assert where(flaw) == (file, 1, column)
    assert flaw.nearest == nearest
    assert old in f"{flaw.expected} {flaw.nearest}"


def test_parts_need_a_column_that_says_where(files: StudyFiles) -> None:
    files.put("parts.csv", "sites,fixed_site", "places,stuck")
    flaw = files.flaw()
    assert where(flaw) == ("parts.csv", 1, "sites")
    assert flaw.expected == "a column sites or fixed_site"


def test_column_twice(files: StudyFiles) -> None:
    files.put("parts.csv", "price,notes", "price,mass_g")
    flaw = files.flaw()
    assert where(flaw) == ("parts.csv", 1, "mass_g")
    assert flaw.found == "the column twice"


def test_value_under_no_header(files: StudyFiles) -> None:
    files.put("parts.csv", "price,notes", "price,")
    flaw = files.flaw()
    assert where(flaw) == ("parts.csv", 2, None)
    assert flaw.found == '"loud"'


@pytest.mark.parametrize("file", ["parts.csv", "sites.csv"])
def test_table_without_rows(files: StudyFiles, file: str) -> None:
    files.texts[file] = str(files.texts[file]).splitlines()[0] + "\n"
    files.texts["lines.csv"] = str(files.texts["lines.csv"]).splitlines()[0] + "\n"
    flaws = files.flaws()
    assert ("no rows", file) in [(f.found, where(f)[0]) for f in flaws]


@pytest.mark.parametrize(
    ("path", "found"),
    [
        ("part.csv", "which does not exist"),
        (".", "a folder"),
        ("nowhere/parts.csv", "in a folder that does not exist"),
        ("/dev/null", "not a regular file"),
    ],
)
def test_table_path_that_leads_nowhere(files: StudyFiles, path: str, found: str) -> None:
    files.put("study.toml", '"parts.csv"', f'"{path}"')
    flaw = files.flaw()
    assert where(flaw) == ("study.toml", 6, "files.parts")
    assert found in flaw.found
    assert flaw.nearest == ("parts.csv" if path == "part.csv" else None)
