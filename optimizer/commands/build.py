"""`limbtrim build`: the build sheet, and the tables for what is measured of the prototype."""

from __future__ import annotations

from pathlib import Path

from optimizer.commands._beside import require_beside
from optimizer.commands._plan import Request, measured_beside, planned, prototype
from optimizer.commands._run import INFEASIBLE, OK, Answer
from optimizer.errors import Flaw, InputError, Origin
from optimizer.views.console import Consoles


def build(
    consoles: Consoles,
    request: Request,
    out: Path,
    measured: str | None = None,
    measured_lines: str | None = None,
) -> Answer:
    """Write the sheet as HTML or Markdown, and beside it the tables that `weigh` reads."""
    from optimizer.report.folder import write_beside
    from optimizer.report.measured import measured_lines as lines_table
    from optimizer.report.measured import measured_parts as parts_table
    from optimizer.report.sections import lead, lead_words
    from optimizer.report.sheet import build_sheet
    from optimizer.report.sheet_html import sheet_page
    from optimizer.report.sheet_md import sheet_markdown
    from optimizer.study.files import display
    from optimizer.views.header import title_words
    from optimizer.views.paper import written_page, written_paper
    from optimizer.views.ranking import standing_words

    form = out.suffix.casefold()
    if form not in (".html", ".md"):
        flaw = Flaw(Origin("--out"), str(out), "a file that ends in .html or .md")
        raise InputError([flaw])
    require_beside([request.lines_beside(), measured_beside(measured, measured_lines)])
    found = planned(consoles, request)
    if isinstance(found, Answer):
        return found
    built, _ = prototype(found.setting, measured, measured_lines)
    study = found.setting.study
    standing = standing_words(found.ranking, found.plan, found.proof)
    sheet = build_sheet(found.setting, found.plan, built, title_words(study), standing)
    parts = out.with_name(f"{out.stem}_parts.csv")
    lines = out.with_name(f"{out.stem}_lines.csv")
    names = (parts.name, lines.name)
    text = (
        sheet_page(sheet, lead(study), names)
        if form == ".html"
        else sheet_markdown(sheet, lead_words(study), names)
    )
    files = {parts: parts_table(found.plan), lines: lines_table(found.plan), out: text}
    write_beside(files, filled=(parts, lines))
    written = [display(path) for path in (out, parts, lines)]
    return Answer(
        lambda: written_paper(written, found.plan, built),
        lambda: written_page(written, found.plan, built),
        OK if all(each.feasible for each in (found.plan, built) if each) else INFEASIBLE,
    )
