"""The tables of a study: found, read, overridden and made into parts, sites and lines."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from optimizer.body.places import BY_HAND
from optimizer.errors import Flaw
from optimizer.study.addressing import is_table_path, override_table
from optimizer.study.document import Files
from optimizer.study.files import display, read_text
from optimizer.study.lines import LINES, make_lines
from optimizer.study.model import Line, Part, Site
from optimizer.study.overrides import Override
from optimizer.study.parts import PARTS, check_needs, make_parts
from optimizer.study.sites import SITES, make_sites, offered_words, site_cards
from optimizer.study.tables import Table, TableFormat, read_table
from optimizer.study.toml_file import TomlFile
from optimizer.study.words import quoted

_FORMATS: Mapping[str, TableFormat] = {"parts": PARTS, "sites": SITES, "lines": LINES}


def read_tables(
    path: Path,
    written: TomlFile,
    files: Files | None,
    steps: list[Override],
    flaws: list[Flaw],
) -> dict[str, Table | None]:
    """The tables by kind with overrides put in; None for one not given or not readable."""
    tables: dict[str, Table | None] = dict.fromkeys(_FORMATS)
    for kind, fmt in _FORMATS.items():
        given = getattr(files, kind) if files else ""
        if not given:
            continue
        where = path.parent / given
        text = read_text(where, written.locate(f"files.{kind}"), f"a {kind} table (CSV)", flaws)
        table = None if text is None else read_table(text, display(where), fmt, flaws)
        tables[kind] = table
    for step in steps:
        if is_table_path(step.path):
            kind = step.path.partition(".")[0]
            table = tables[kind]
            if table is not None:
                override_table(table, kind, step, flaws)
            elif kind == "lines" and files and not files.lines:
                flaws.append(Flaw(step.origin, quoted(step.path), "a path: the study has no lines"))
    return tables


@dataclass
class Catalog:
    """What the tables hold, as far as sound; `counts` is None where parts are not all known."""

    parts: tuple[Part, ...] = ()
    sites: tuple[Site, ...] = ()
    lines: tuple[Line, ...] = ()
    fixed: Mapping[str, str] = field(default_factory=dict)
    counts: Mapping[str, int | None] | None = None


def make_catalog(tables: Mapping[str, Table | None], flaws: list[Flaw]) -> Catalog:
    """Parts, sites and lines of the sound rows, checked against each other."""
    catalog = Catalog()
    site_table, part_table, line_table = tables["sites"], tables["parts"], tables["lines"]
    cards = None
    if site_table is not None:
        catalog.sites = make_sites(site_table, flaws)
        cards = site_cards(site_table) if site_table.complete else None
    if part_table is not None:
        catalog.parts, catalog.fixed = make_parts(part_table, cards, flaws)
        if part_table.complete:
            named: dict[str, int | None] = {
                row.get("name"): None for row in part_table.rows if row.get("name")
            }
            catalog.counts = named | {part.name: part.count for part in catalog.parts}
        if site_table is not None and site_table.complete:
            check_needs(part_table, offered_words(site_table) | {BY_HAND}, flaws)
    if line_table is not None:
        catalog.lines = make_lines(line_table, catalog.counts, flaws)
    return catalog
