"""One layout: part by part, mass by segment and side, swing inertia, lines."""

from __future__ import annotations

from itertools import groupby
from math import inf

from rich.console import Console, Group
from rich.text import Text

from optimizer.assess.result import Assessment, LineReport, PartReport
from optimizer.study.model import Study
from optimizer.views.line_physics import line_physics_view
from optimizer.views.quantity import column, cut_mm, grams, number
from optimizer.views.routes import route_words
from optimizer.views.table import Bar, Cell, Column, is_wide, section, table
from optimizer.views.words import Words, bullets, listing, segment_words

SEGMENT_ROWS: tuple[str, ...] = ("trunk", "thigh", "shank", "foot")


def layout_view(study: Study, assessment: Assessment, console: Console, title: str) -> Group:
    """Everything true of one layout but its limits and warnings."""
    wide = is_wide(console)
    chosen = frozenset(part.name for part in study.parts if len(part.models) > 1)
    parts = [
        section(title, parts_table(assessment, wide, chosen)),
        section("Worn mass by segment, with holders and lines", mass_table(assessment, wide)),
        section("Swing inertia added to each leg", inertia_table(assessment, wide)),
    ]
    if assessment.lines:
        parts.insert(1, lines_section(assessment, wide))
        physics = line_physics_view(assessment, wide)
        parts += [] if physics is None else [physics]
    return Group(*parts)


def parts_table(assessment: Assessment, wide: bool, chosen: frozenset[str]) -> Group:
    """Part by part, vest first and foot last, with what each costs where it is.

    `chosen` are the parts whose model was a choice: it is named beside them where there is no
    room for a column of models.
    """
    reports = assessment.parts
    measured = {p.unit for p in assessment.layout.placements if p.measured_mass_kg is not None}
    columns = [Column("part", words=True)]
    columns += [Column("model", words=True)] if wide else []
    columns += [Column("site", words=True), Column("mass", "g")]
    columns += [Column("from hip", "mm")] if wide else []
    columns += [Column("costs", "W"), Column("walking", "%"), Column("swing", "kg m2")]
    columns += [Column("in score"), Column("", words=True)] if wide else []
    hip = sum(s.added_kg_m2 for s in assessment.swing_inertia if s.joint == "hip")
    mass = grams((p.mass_kg for p in reports), [assessment.total_mass_kg], light_g=inf)
    watts = column([*(p.metabolic_w for p in reports), assessment.metabolic_w], 2, 4)
    share = column([*(p.metabolic_pct for p in reports), assessment.metabolic_pct], 2, 4)
    swing = column([*(p.swing_inertia_kg_m2 for p in reports), hip], 4, 6)
    score = column([*(p.score for p in reports), assessment.score], 3, 5)
    most = max((p.score for p in reports), default=0.0) or 1.0
    rows: list[list[Cell] | None] = []
    numbered = sorted(enumerate(reports), key=lambda item: _SIDE_ORDER.index(_side(item[1])))
    numbered.sort(key=lambda item: _order(item[1].segment))  # stable: left before right in each
    for key, group in groupby(numbered, key=lambda item: (item[1].segment, _side(item[1]))):
        rows.append([Text(segment_words(*key), "group"), *[""] * (len(columns) - 1)])
        for i, report in group:
            row: list[Cell] = [
                _part_words(report, not wide and report.part in chosen, report.unit in measured)
            ]
            row += [Words(report.model)] if wide else []
            row += [Words(report.site), mass[i]]
            if wide:
                row.append(number(report.distance_m * 1e3, 0) if _side(report) != "centre" else "-")
            row += [watts[i], share[i], swing[i] if report.swing_inertia_kg_m2 else "-"]
            row += [score[i], Bar(report.score / most)] if wide else []
            rows.append(row)
    rows.append(None)
    total: list[Cell] = [Words("all worn", "head")]
    total += ["", "", mass[-1]] if wide else ["", mass[-1]]
    total += [""] if wide else []
    total += [watts[-1], share[-1], swing[-1]]
    total += [score[-1], ""] if wide else []
    rows.append(total)
    return Group(table(columns, rows), *_parts_notes(assessment))


_SIDE_ORDER = ("centre", "left", "right")


def _side(part: PartReport) -> str:
    """The side of the leg a part is on; the trunk is one whatever side of it."""
    return part.side if part.segment in SEGMENT_ROWS[1:] else "centre"


def _order(segment: str) -> int:
    return SEGMENT_ROWS.index(segment) if segment in SEGMENT_ROWS else len(SEGMENT_ROWS)


def _part_words(report: PartReport, with_model: bool, measured: bool) -> Words:
    beside = [report.model] if with_model else []
    beside += ["measured"] if measured else []
    return Words(report.unit + (f" ({', '.join(beside)})" if beside else ""), hang=4, indent=2)


def _parts_notes(assessment: Assessment) -> list[Words]:
    notes = [
        "All worn counts holders and lines too: "
        f"{number(assessment.leg_w, 2)} W of it on the legs, {number(assessment.trunk_w, 2)} W on "
        "the trunk. "
        f"100 % is this wearer's own net walking power, {number(assessment.walking_w, 1)} W. "
        f"Paying the added cost back takes {number(assessment.assist_w, 2)} W of mean positive "
        "assist power."
    ]
    if assessment.off_body_mass_kg > 0:
        notes.append(f"Off the body: {number(assessment.off_body_mass_kg * 1e3, 0)} g, not worn.")
    return [Words(note, "quiet") for note in notes]


def mass_table(assessment: Assessment, wide: bool) -> Group:
    """Worn mass laid out like the body: vest on top, foot at the bottom, left and right."""
    mass = assessment.mass_kg
    columns = [
        Column("segment", words=True),
        Column("left", "g"),
        Column("middle", "g"),
        Column("right", "g"),
    ]
    columns += [Column("holders in use", words=True)] if wide else []
    used: dict[str, dict[str, float]] = {}
    for part in assessment.parts:
        if part.site in assessment.holder_mass_kg:
            sites = used.setdefault(part.segment, {})
            sites[part.site] = assessment.holder_mass_kg[part.site]
    rows: list[list[Cell] | None] = []
    for segment in SEGMENT_ROWS:
        keys = [f"{segment}.left", segment, f"{segment}.right"]
        row: list[Cell] = [Words(segment_words(segment))]
        row += [number(mass[k] * 1e3, 0) if k in mass else "" for k in keys]
        if wide:
            holders = [f"{s} {number(m * 1e3, 0)} g" for s, m in used.get(segment, {}).items()]
            row.append(Words(", ".join(holders) or "-"))
        rows.append(row)
    return Group(table(columns, rows))


def inertia_table(assessment: Assessment, wide: bool) -> Group:
    """Added moment of inertia about each joint's mediolateral axis, per side."""
    by = {(s.joint, s.side): s for s in assessment.swing_inertia}
    sides = [side for side in ("left", "right") if any(s == side for _, s in by)]
    joints = [joint for joint in ("hip", "knee", "ankle") if any(j == joint for j, _ in by)]
    columns = [Column("about the", words=True)]
    for side in sides:
        columns += [Column(side, "bare kg m2")] if wide else []
        columns += [Column(side, "added kg m2"), Column(side, "% of bare")]
    rows: list[list[Cell] | None] = []
    for joint in joints:
        row: list[Cell] = [Words(joint)]
        for side in sides:
            found = by.get((joint, side))
            if found is None:
                row += [""] * (3 if wide else 2)
                continue
            row += [number(found.bare_kg_m2, 4)] if wide else []
            row += [number(found.added_kg_m2, 4), number(found.added_pct, 2)]
        rows.append(row)
    note = (
        "About the hip, both legs summed: "
        f"{number(assessment.swing_inertia_pct, 2)} % of one bare leg."
    )
    return Group(table(columns, rows), Words(note, "quiet"))


def lines_section(assessment: Assessment, wide: bool) -> Group:
    """Every line: what it is made of, which way it runs, how long it is cut, or was."""
    lines = assessment.lines
    measured = {r.line for r in assessment.layout.routings if r.measured_length_m is not None}
    columns = [Column("line", words=True), Column("option", words=True)]
    columns += [Column("cut", "mm"), Column("longest", "mm"), Column("margin", "mm")]
    columns += [Column("mass", "g")]
    columns += [Column("costs", "W")] if wide else []
    columns += [Column("route", words=True)]
    mass = grams([line.mass_kg for line in lines])
    watts = column([line.metabolic_w for line in lines], 2, 4)
    rows: list[list[Cell] | None] = []
    for i, line in enumerate(lines):
        limit = line.max_length_m
        row: list[Cell] = [Words(_line_name(line, wide)), Words(_option(line, wide))]
        row += [
            number(line.length_m * 1e3, 0) if line.line in measured else str(cut_mm(line.length_m)),
            "-" if limit is None else number(limit * 1e3, 0),
            "-" if limit is None else number((limit - line.length_m) * 1e3, 0),
            mass[i],
        ]
        row += [watts[i]] if wide else []
        row.append(Words(route_words(line, full=wide), hang=2))
        rows.append(row)
    passing: dict[str, list[str]] = {}
    for line in lines:
        for caution in line.cautions:
            passing.setdefault(caution, []).append(line.line)
    remarks = [f"{listing(names)}: {caution}" for caution, names in passing.items()]
    return section("Lines", table(columns, rows), *bullets(remarks))


def _line_name(line: LineReport, wide: bool) -> str:
    return f"{line.line} ({line.kind.replace('_', ' ')})" if wide else line.line


def _option(line: LineReport, wide: bool) -> str:
    if line.size and line.size != line.option and wide:
        return f"{line.option} ({line.size})"
    return line.option
