"""The build sheet as sections of HTML."""

from __future__ import annotations

from optimizer.report import html
from optimizer.report.sections import warnings_section
from optimizer.report.sheet import FASTENER_WORDS, TOLERANCE_WORDS, BuildSheet, Pocket, of_words
from optimizer.views.cautions import BASIS, CAUTIONS
from optimizer.views.quantity import number
from optimizer.views.words import counted

BALLAST_NOTE = (
    "A counterweight has no row in the measured-values tables; to weigh a prototype with one, give "
    "`limbtrim weigh` the JSON of `limbtrim place` instead."
)


def sheet_sections(sheet: BuildSheet, files: tuple[str, str] | None) -> str:
    """The whole build sheet; `files` are the names of the measured-values tables."""
    return "".join(
        (
            html.section(
                "Build sheet: what goes where",
                html.caution(),
                html.paragraph(sheet.standing) if sheet.standing else "",
                _broken(sheet),
                html.paragraph(FASTENER_WORDS, "quiet"),
                *(_pocket(pocket) for pocket in sheet.pockets),
                identity="build",
                new_page=True,
            ),
            _cuts(sheet),
            _scale(sheet),
            html.section(
                "Build sheet: dressing", html.items(sheet.donning, ordered=True),
                html.paragraph("The order is common practice, without a source.", "quiet"),
                html.caution(),
                identity="donning",
            ),
            _compared(sheet),
            _measured(sheet, files),
        )
    )  # fmt: skip


def sheet_page(sheet: BuildSheet, lead: str, files: tuple[str, str]) -> str:
    """The build sheet as a page of its own."""
    said = warnings_section(sheet.warnings)
    end = html.section("Before anyone acts on this", html.caution((*CAUTIONS, *BASIS)))
    return html.page(f"Build sheet: {sheet.title}", lead, said, sheet_sections(sheet, files), end)


def size_words(size_mm: tuple[float, float, float] | None) -> str:
    """ "110 x 60 x 45"."""
    return "-" if size_mm is None else " x ".join(f"{v:g}" for v in size_mm)


def _broken(sheet: BuildSheet) -> str:
    if not sheet.broken:
        return ""
    said = f"{counted(len(sheet.broken), 'limit')} BROKEN, do not build: {'; '.join(sheet.broken)}"
    return html.paragraph(said, "bad")


def _pocket(pocket: Pocket) -> str:
    rows = [(p.unit, p.model, number(p.mass_g, 1), size_words(p.size_mm)) for p in pocket.parts]
    columns = (("part", "", False), ("model", "", False), ("mass", "g", True),
               ("length x width x thickness", "mm", True))  # fmt: skip
    return (
        f"<h3>{html.text(pocket.site)}</h3>\n"
        + html.paragraph(
            f"{pocket.where}; faces {pocket.faces}; {pocket.orientation}; holder "
            f"{number(pocket.holder_g, 1)} g, with contents {number(pocket.mass_g, 1)} g.",
            "quiet",
        )
        + html.table(columns, rows)
    )


def _cuts(sheet: BuildSheet) -> str:
    if not sheet.cuts:
        return ""
    columns = (
        ("line", "", False), ("of", "", False), ("cut", "mm", True),
        ("tolerance", "mm", True), ("of it slack", "mm", True), ("mass", "g", True),
        ("from, to, route", "", False),
    )  # fmt: skip
    rows = [
        (
            f"{c.line} ({c.kind.replace('_', ' ')})",
            of_words(c),
            c.length_mm,
            f"-0/+{c.longer_mm}",
            number(c.slack_mm, 0),
            number(c.mass_g, 1),
            f"{c.start} to {c.end}: {c.route}",
        )
        for c in sheet.cuts
    ]
    notes = html.items(f"{c.line}: {note}" for c in sheet.cuts for note in c.cautions)
    return html.section(
        "Build sheet: cut list",
        html.paragraph(
            "Lengths are along the route with all slack: what the joints ask for and the service "
            "slack, half at each end. " + TOLERANCE_WORDS, "quiet",
        ),
        html.table(columns, rows),
        notes,
        html.caution(),
        identity="cuts",
    )  # fmt: skip


def _scale(sheet: BuildSheet) -> str:
    rows = [(w.what, number(w.mass_g, 1), f"+-{number(w.within_g, 0)}", None) for w in sheet.scale]
    columns = (("on the scale", "", False), ("plan", "g", True), ("may be off", "g", True),
               ("weighed", "g", False))  # fmt: skip
    return html.section("Build sheet: on the scale", html.table(columns, rows), identity="scale")


def _compared(sheet: BuildSheet) -> str:
    if not sheet.compared:
        return ""
    rows = [
        (
            c.what,
            c.unit,
            number(c.planned, c.decimals),
            number(c.built, c.decimals),
            f"{'+' if c.change > 0 else ''}{number(c.change, c.decimals)}",
        )
        for c in sheet.compared
    ]
    columns = (("what", "", False), ("unit", "", False), ("plan", "", True),
               ("prototype", "", True), ("change", "", True))  # fmt: skip
    return html.section(
        "Plan against prototype",
        html.table(columns, rows),
        html.items(sheet.compared_notes),
        html.caution(),
        identity="compared",
    )


def _measured(sheet: BuildSheet, files: tuple[str, str] | None) -> str:
    parts = [(p.unit, pocket.site, number(p.mass_g, 1), None)
             for pocket in sheet.pockets for p in pocket.parts]  # fmt: skip
    lines = [(c.line, c.option, c.length_mm, None) for c in sheet.cuts]
    said = "Weigh every part and measure every line as built."
    if files is not None:
        said += (
            f" Put the values into {files[0]} and {files[1]} and weigh the prototype: "
            f"limbtrim weigh STUDY --layout {files[0]} --lines {files[1]}."
        )
    ballast = any(p.unit == "counterweight" for pocket in sheet.pockets for p in pocket.parts)
    return html.section(
        "Measured values",
        html.paragraph(said, "quiet"),
        html.paragraph(BALLAST_NOTE, "quiet") if ballast else "",
        html.table((("part", "", False), ("site", "", False), ("plan", "g", True),
                    ("measured", "g", False)), parts),
        "<p></p>",
        html.table((("line", "", False), ("option", "", False), ("plan", "mm", True),
                    ("measured", "mm", False)), lines) if lines else "",
        identity="measured",
        new_page=True,
    )  # fmt: skip
