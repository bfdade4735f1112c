"""The documentation is run: every command line, every Python block, every claim of completeness."""

from __future__ import annotations

import re
from pathlib import Path
from pkgutil import resolve_name

import pytest
from doc_reading import DOCS, ROOT, Document, blocks, commands, matches, refreshed

from optimizer.commands.export import TABLES
from optimizer.energy import catalogue
from optimizer.energy.tables import sources
from optimizer.study.addressing import key_paths
from optimizer.study.document import (
    SECTIONS,
    TOP_LEVEL,
    AddedArcSection,
    Head,
    RuleSection,
    ScenarioSection,
    keys,
)
from optimizer.study.lines import LINES, LineRow
from optimizer.study.model import LINE_KINDS
from optimizer.study.parts import PARTS, PartRow
from optimizer.study.sites import SITES, SiteRow
from optimizer.study.toml_file import TomlFile

PAGES = sorted(DOCS.glob("*.md"))
README = ROOT / "README.md"


@pytest.fixture(autouse=True)
def no_width(monkeypatch):
    for name in ("COLUMNS", "NO_COLOR", "FORCE_COLOR"):
        monkeypatch.delenv(name, raising=False)


@pytest.mark.parametrize("path", PAGES, ids=lambda p: p.stem)
def test_every_command_and_block_of_a_page_does_what_it_says(path, tmp_path):
    assert Document(path).run(tmp_path) == []


def test_the_readme_shows_what_a_fresh_run_prints(tmp_path):
    assert Document(README).run(tmp_path) == []


def test_no_command_line_escapes_being_run():
    for path in (*PAGES, README):
        for block in blocks(path.read_text(encoding="utf-8")):
            lines = [line for line in block.body.splitlines() if re.match(r"(\$ )?limbtrim ", line)]
            if block.language == "console":
                assert len(lines) == len(commands(block.body)), path.name
            else:
                assert lines == [], f"{path.name}: {lines}"


def help_text(run_help: str) -> list[str]:
    listed = run_help.partition("Commands:\n")[2].partition("\n\n")[0]
    return re.findall(r"^  ([a-z-]+) ", listed, re.MULTILINE)


def test_every_command_has_a_how_to():
    from doc_reading import run

    names = help_text(run("limbtrim --help")[1])
    assert {"place", "report", "export"} <= set(names)
    text = (DOCS / "commands.md").read_text(encoding="utf-8")
    headed = set(re.findall(r"^## `limbtrim ([a-z-]+)`", text, re.MULTILINE))
    assert headed == set(names)
    for name in names:
        assert f"$ limbtrim {name}" in text, name


def rows_of(section: str) -> dict[str, list[str]]:
    """First cell -> cells of every table row under a heading of files.md."""
    text = (DOCS / "files.md").read_text(encoding="utf-8")
    body = text.partition(f"\n## {section}\n")[2].partition("\n## ")[0]
    assert body, section
    rows = [
        [cell.strip() for cell in line.strip("|").split(" | ")]
        for line in body.splitlines()
        if line.startswith("| `")
    ]
    return {row[0].strip("` |"): row for row in rows}


@pytest.mark.parametrize(
    ("section", "form", "schema"),
    [("Parts table", PARTS, PartRow), ("Sites table", SITES, SiteRow),
     ("Lines table", LINES, LineRow)],
)  # fmt: skip
def test_every_column_is_documented_with_its_unit_and_default(section, form, schema):
    rows = rows_of(section)
    assert set(rows) == set(form.columns)
    fields = {(f.alias or n): f for n, f in schema.model_fields.items()}
    for column, row in rows.items():
        assert len(row) == 4, row
        default = row[2]
        if column in form.required:
            assert default == "needed", column
        for mark in fields[column].metadata:
            unit = getattr(mark, "unit", "")
            if unit:
                assert unit in row[1], (column, unit, row[1])
            blank = getattr(mark, "blank", None)
            if isinstance(blank, float | int) and not isinstance(blank, bool):
                assert float(default) == blank, column


def test_every_key_of_a_study_is_documented(tmp_path):
    rows: dict[str, list[str]] = {}
    for section in ("Study file", "Limits"):
        rows |= rows_of(section)
    study = TomlFile.__new__(TomlFile)
    study.keys = {}
    wanted = {p for p in key_paths(study) if not p.startswith("wearer.measured.")}
    wanted |= {"format", "wearer.measured", "routes.add"}
    wanted |= {f"rules.{k}" for k in keys(RuleSection)}
    wanted |= {f"routes.add.{k}" for k in keys(AddedArcSection)}
    wanted |= {f"scenarios.{k}" for k in keys(ScenarioSection)}
    assert {path.partition(".")[0] for path in rows} == set(TOP_LEVEL)
    assert set(rows) == wanted
    for name, schema in {"": Head, **SECTIONS}.items():
        for key, field in schema.model_fields.items():
            path = f"{name}.{field.alias or key}" if name else key
            default = field.default
            if path in rows and isinstance(default, int | float) and not isinstance(default, bool):
                shown = rows[path][2]
                assert shown == "none" if default == float("inf") else float(shown) == default
            if path in rows and field.is_required():
                assert rows[path][2] == "needed", path


def test_every_measurement_is_named():
    from optimizer.study.downstream import measurement_keys

    text = (DOCS / "files.md").read_text(encoding="utf-8")
    for key in measurement_keys():
        assert f"`{key}`" in text, key


def test_the_method_names_every_energy_model_and_numbered_source():
    text = (DOCS / "method.md").read_text(encoding="utf-8")
    for model in catalogue():
        assert f"`{model.name}`" in text, model.name
    for source in sources().values():
        family = source.citation.split(",")[0].split()[0]
        assert re.search(rf"^\[{source.number}\] .*{re.escape(family)}", text, re.MULTILINE)


def test_extending_names_every_line_kind_and_files_that_exist():
    text = (DOCS / "extending.md").read_text(encoding="utf-8")
    for kind in LINE_KINDS:
        assert f"`{kind}`" in text
    for name in re.findall(r"`((?:optimizer|tests)/[\w/.]+\.\w+)`", text):
        assert (ROOT / name).is_file(), name


def test_modules_named_by_the_guide_and_by_docstrings_exist():
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for name in re.findall(r"`((?:\w+/)+\w+\.\w+)`", guide):
        if name.endswith((".py", ".md", ".csv", ".json")):
            assert (ROOT / name).is_file() or (ROOT / "optimizer" / name).is_file(), name
        else:
            resolve_name(f"optimizer.{name.replace('/', '.')}")
    for path in (ROOT / "optimizer").rglob("*.py"):
        for name in re.findall(r"`(optimizer(?:\.\w+)+)", path.read_text(encoding="utf-8")):
            resolve_name(name)


def test_every_exported_table_is_named():
    text = (DOCS / "commands.md").read_text(encoding="utf-8")
    assert all(f"`{table}`" in text for table in TABLES)


def test_links_between_pages_lead_somewhere():
    for path in (*PAGES, README):
        text = path.read_text(encoding="utf-8")
        for target in re.findall(r"\]\(([^)#]+?)(?:#[\w-]*)?\)", text):
            if not target.startswith("http"):
                assert (path.parent / target).exists(), (path.name, target)


def test_cautions_stand_in_the_readme_the_tutorial_and_the_limits():
    for path in (README, DOCS / "tutorial.md", DOCS / "limits.md"):
        text = " ".join(path.read_text(encoding="utf-8").split())
        for said in ("not a prescription", "bench", "orthotists and clinicians"):
            assert said in text, (path.name, said)


def test_a_page_that_lies_is_found_out(tmp_path, monkeypatch):
    monkeypatch.delenv("LIMBTRIM_REFRESH", raising=False)
    page = tmp_path / "page.md"
    page.write_text("```console\n$ limbtrim models\nnothing like it\n[...]\n```\n", "utf-8")
    wrong = Document(page).run(tmp_path)
    assert len(wrong) == 1 and "limbtrim models" in wrong[0]
    page.write_text("```console\n$ limbtrim check no.toml\n```\n", "utf-8")
    assert Document(page).run(tmp_path)[0].startswith("exit code 2")
    page.write_text("```python\nprint(1 + 1)\n```\n\n```text\n3\n```\n", "utf-8")
    assert Document(page).run(tmp_path) == ["printed:\n2\n"]


def test_gaps_match_any_lines_and_are_kept_when_refreshed():
    found = "a\nb\nc\nd\n"
    assert matches("a\n[...]\nd\n", found) and not matches("a\n[...]\nc\n", found)
    assert matches("a\nb\n[...]\n", found) and not matches("a\nb\n", found)
    assert refreshed("x\n[...]\nz\n", found) == "a\n[...]\nd\n"
    assert refreshed("x\n", found) == found


def test_docs_ship_beside_the_package():
    named = {"index.md", "tutorial.md", "commands.md", "files.md", "method.md", "limits.md",
             "extending.md", "worked_study.md"}  # fmt: skip
    assert Path(DOCS).is_dir() and named <= {p.name for p in PAGES}


def test_the_index_leads_to_every_page():
    text = (DOCS / "index.md").read_text(encoding="utf-8")
    for path in PAGES:
        assert path.name == "index.md" or f"({path.name})" in text
