"""Reading a study: the study file, its tables, overrides; everything checked, in SI.

All flaws of all files are collected, as far as they can be judged, before any is raised.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from optimizer._bundle import bundled, demo_path
from optimizer.errors import Flaw, InputError, Origin
from optimizer.study import cautions
from optimizer.study.addressing import is_table_path, override_study
from optimizer.study.catalog import Catalog, make_catalog, read_tables
from optimizer.study.document import Files
from optimizer.study.downstream import check_setting
from optimizer.study.files import display, read_text
from optimizer.study.model import Study, WearerSpec
from optimizer.study.overrides import OVERRIDE_FILE, Override, as_list
from optimizer.study.physics_flaws import physics_flaws
from optimizer.study.sections import check_table, check_top_level, other_format
from optimizer.study.spec import make_spec
from optimizer.study.tables import Table
from optimizer.study.toml_file import TomlFile, parse_toml

__all__ = ["bundled", "demo_path", "load_study"]


def load_study(
    path: str | Path,
    overrides: Mapping[str, object] | None = None,
    *,
    overrides_from: str = OVERRIDE_FILE,
) -> Study:
    """Read and check a study with its parts, sites and lines.

    Parameters
    ----------
    path : the study file (TOML)
    overrides : dotted path -> value as it would be typed, or a `Scale`; see
        `optimizer.study.addressing`
    overrides_from : what flaws of overrides name as their file

    Raises
    ------
    InputError
        With every flaw found in any of the files and overrides.
    """
    path = Path(path)
    flaws: list[Flaw] = []
    steps = as_list(overrides, overrides_from)
    written = _read_study_file(path, steps, flaws)
    head = check_top_level(written, flaws) if written else None
    if written is None or other_format(written):
        raise InputError(flaws)
    files = check_table(written, "files", Files, flaws)
    tables = read_tables(path, written, files, steps, flaws)
    catalog = make_catalog(tables, flaws)
    spec = make_spec(written, catalog, flaws)
    later = check_setting(
        spec.wearer, spec.task, spec.energy, spec.routes, catalog.sites if tables["sites"] else None
    )
    later += physics_flaws(catalog.parts, catalog.lines)
    flaws += (_relocated(flaw, written, tables) for flaw in later)
    if flaws:
        raise InputError(_in_order(flaws, written, tables))
    assert head is not None and files is not None
    assert spec.wearer and spec.task and spec.energy and spec.weights and spec.routes and spec.solve
    return Study(
        name=path.stem,
        title=head.title or path.stem,
        invented=head.invented,
        parts=catalog.parts,
        sites=catalog.sites,
        lines=catalog.lines,
        wearer=spec.wearer,
        task=spec.task,
        energy=spec.energy,
        weights=spec.weights,
        limits=spec.limits,
        rules=spec.rules,
        routes=spec.routes,
        solve=spec.solve,
        inertia_pose=spec.pose,
        origin=Origin(written.file),
        files={"study": written.file, **{k: t.file for k, t in tables.items() if t is not None}},
        warnings=_warnings(catalog, spec.wearer, written, tables),
        counterweight=spec.counterweight,
        scenarios=spec.scenarios,
    )


def _read_study_file(path: Path, steps: list[Override], flaws: list[Flaw]) -> TomlFile | None:
    shown = display(path)
    text = read_text(path, Origin(shown), "a study file (TOML)", flaws)
    written = None if text is None else parse_toml(text, shown, flaws)
    if written is not None:
        for step in steps:
            if not is_table_path(step.path):
                override_study(written, step, flaws)
    return written


def _warnings(
    catalog: Catalog,
    wearer: WearerSpec,
    written: TomlFile,
    tables: Mapping[str, Table | None],
) -> tuple[str, ...]:
    given = [table for table in tables.values() if table is not None]
    return (
        *cautions.wearer_cautions(wearer, written.locate("wearer.stature_mm")),
        *(text for table in given for text in cautions.column_cautions(table)),
        *cautions.part_cautions(catalog.parts),
        *cautions.needs_cautions(catalog.parts, catalog.sites),
        *cautions.site_cautions(catalog.sites),
        *cautions.line_cautions(catalog.lines),
    )


def _relocated(flaw: Flaw, written: TomlFile, tables: Mapping[str, Table | None]) -> Flaw:
    """A later step's flaw with the line of its key, or the override it came from."""
    at = flaw.origin
    if at.file == written.file and at.column:
        keys = (at.column, at.column.removesuffix("_m") + "_mm")
        known = next((k for k in keys if k in written.lines or k in written.overridden), keys[0])
        return replace(flaw, origin=written.locate(known))
    for table in tables.values():
        if table is not None and table.file == at.file and at.column:
            for row in table.rows:
                if row.line == at.row:
                    return replace(flaw, origin=table.origin(row, at.column))
    return flaw


def _in_order(
    flaws: list[Flaw], written: TomlFile, tables: Mapping[str, Table | None]
) -> list[Flaw]:
    """By file, the study's own first, then by row; each flaw once."""
    files = [written.file, *(table.file for table in tables.values() if table is not None)]
    rank = {file: i for i, file in enumerate(files)}
    return sorted(
        dict.fromkeys(flaws),
        key=lambda flaw: (rank.get(flaw.origin.file, len(files)), flaw.origin.row or 0),
    )
