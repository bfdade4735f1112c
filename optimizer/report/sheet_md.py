"""The build sheet as Markdown."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from optimizer.report.sheet import FASTENER_WORDS, TOLERANCE_WORDS, BuildSheet, of_words
from optimizer.report.sheet_html import BALLAST_NOTE, size_words
from optimizer.views.cautions import BASIS, CAUTIONS
from optimizer.views.export import escape_markdown
from optimizer.views.quantity import number


def sheet_markdown(sheet: BuildSheet, lead: str, files: tuple[str, str]) -> str:
    """The whole build sheet; `files` are the names of the measured-values tables."""
    out = [f"# Build sheet: {_say(sheet.title)}", _say(lead)]
    out += [_say(sheet.standing)] if sheet.standing else []
    out += ["## Before anyone acts on this", _list((*CAUTIONS, *BASIS))]
    if sheet.broken:
        out.append(f"**Limits BROKEN, do not build: {_say('; '.join(sheet.broken))}**")
    out += ["## Warnings", _list(sheet.warnings)] if sheet.warnings else []
    out += ["## What goes where", FASTENER_WORDS]
    for pocket in sheet.pockets:
        out.append(f"### {_say(pocket.site)}")
        out.append(
            _say(
                f"{pocket.where}; faces {pocket.faces}; {pocket.orientation}; holder "
                f"{number(pocket.holder_g, 1)} g, with contents {number(pocket.mass_g, 1)} g."
            )
        )
        out.append(
            _table(
                ("part", "model", "mass, g", "length x width x thickness, mm"),
                [(p.unit, p.model, number(p.mass_g, 1), size_words(p.size_mm))
                 for p in pocket.parts],
            )
        )  # fmt: skip
    if sheet.cuts:
        out += ["## Cut list", TOLERANCE_WORDS]
        out.append(
            _table(
                ("line", "kind", "of", "cut, mm", "tolerance, mm", "of it slack, mm", "mass, g",
                 "from", "to", "route"),
                [(c.line, c.kind.replace("_", " "), of_words(c), str(c.length_mm),
                  f"-0/+{c.longer_mm}", number(c.slack_mm, 0), number(c.mass_g, 1), c.start,
                  c.end, c.route) for c in sheet.cuts],
            )
        )  # fmt: skip
        notes = [f"{c.line}: {note}" for c in sheet.cuts for note in c.cautions]
        out += [_list(notes)] if notes else []
    out.append("## On the scale")
    out.append(
        _table(
            ("what", "plan, g", "may be off, g", "weighed, g"),
            [(w.what, number(w.mass_g, 1), f"+-{number(w.within_g, 0)}", "") for w in sheet.scale],
        )
    )
    out += ["## Dressing", "\n".join(f"{i}. {_say(s)}" for i, s in enumerate(sheet.donning, 1))]
    out.append("The order is common practice, without a source.")
    if sheet.compared:
        out.append("## Plan against prototype")
        out.append(
            _table(
                ("what", "unit", "plan", "prototype", "change"),
                [(c.what, c.unit, number(c.planned, c.decimals), number(c.built, c.decimals),
                  f"{'+' if c.change > 0 else ''}{number(c.change, c.decimals)}")
                 for c in sheet.compared],
            )
        )  # fmt: skip
        out += [_list(sheet.compared_notes)] if sheet.compared_notes else []
    out.append("## Measured values")
    out.append(
        _say(f"Fill in {files[0]} and {files[1]}, then: ")
        + f"`limbtrim weigh STUDY --layout {files[0]} --lines {files[1]}`"
    )
    if any(p.unit == "counterweight" for pocket in sheet.pockets for p in pocket.parts):
        out.append(BALLAST_NOTE)
    out.append(
        _table(
            ("part", "site", "plan, g", "measured, g"),
            [(p.unit, pocket.site, number(p.mass_g, 1), "")
             for pocket in sheet.pockets for p in pocket.parts],
        )
    )  # fmt: skip
    if sheet.cuts:
        out.append(
            _table(
                ("line", "option", "plan, mm", "measured, mm"),
                [(c.line, c.option, str(c.length_mm), "") for c in sheet.cuts],
            )
        )
    return "\n\n".join(out) + "\n"


def _say(said: str) -> str:
    return escape_markdown(said)


def _list(said: Iterable[str]) -> str:
    return "\n".join(f"- {_say(line)}" for line in said)


def _table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    lines = [f"| {' | '.join(head)} |", f"|{'---|' * len(head)}"]
    lines += [f"| {' | '.join(_say(cell) for cell in row)} |" for row in rows]
    return "\n".join(lines)
