"""A report put together: one self-contained page, the figures, the tables to fill in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from optimizer.assess.result import Assessment, Proof, Ranking
from optimizer.report import html, sections
from optimizer.report.body_figure import body_picture
from optimizer.report.charts import lines_picture, segments_picture
from optimizer.report.measured import measured_lines, measured_parts
from optimizer.report.need import require_matplotlib
from optimizer.report.sheet import build_sheet
from optimizer.report.sheet_html import sheet_sections
from optimizer.report.style import Picture
from optimizer.report.tradeoff_charts import (
    SweepCurve,
    front_picture,
    sweep_picture,
    trust_picture,
)
from optimizer.setting import Setting
from optimizer.views.cautions import BASIS, CAUTIONS
from optimizer.views.header import title_words
from optimizer.views.ranking import standing_words

if TYPE_CHECKING:
    from optimizer.solve.front import Front
    from optimizer.trust.result import Trust

PAGE = "report.html"
FIGURES = "figures"
MEASURED_PARTS = "measured_parts.csv"
MEASURED_LINES = "measured_lines.csv"


@dataclass(frozen=True, slots=True)
class Results:
    """What a report is made of; what is None leaves its section out.

    `plan` is the layout reported, `proof` what is known of it, `built` the weighed prototype.
    """

    setting: Setting
    plan: Assessment
    proof: Proof
    ranking: Ranking | None = None
    built: Assessment | None = None
    assumed: tuple[str, ...] = ()
    front: Front | None = None
    sweep: SweepCurve | None = None
    trust: Trust | None = None


def pictures(results: Results) -> tuple[Picture, ...]:
    """Every figure there is something to draw for.

    Raises
    ------
    InputError
        If matplotlib is missing.
    """
    require_matplotlib()
    drawn = (
        body_picture(results.setting, results.plan),
        segments_picture(results.plan),
        lines_picture(results.plan),
        None if results.front is None else front_picture(results.front),
        None if results.sweep is None else sweep_picture(results.sweep),
        None if results.trust is None else trust_picture(results.trust),
    )
    return tuple(p for p in drawn if p is not None)


def report_files(results: Results) -> Mapping[str, str | bytes]:
    """Every file of a report by its path in the folder; the same results give the same bytes."""
    drawn = pictures(results)
    files: dict[str, str | bytes] = {PAGE: report_page(results, drawn)}
    for shown in drawn:
        files[f"{FIGURES}/{shown.name}.svg"] = shown.svg
        files[f"{FIGURES}/{shown.name}.png"] = shown.png
    files[MEASURED_PARTS] = measured_parts(results.plan)
    files[MEASURED_LINES] = measured_lines(results.plan)
    return files


def report_page(results: Results, drawn: tuple[Picture, ...]) -> str:
    """The page, its pictures inside it."""
    study, plan = results.setting.study, results.plan
    by_name = {p.name: p for p in drawn}
    title = title_words(study)
    body = [
        sections.summary_section(plan, results.proof),
        html.section(
            by_name["segments"].title, html.figure(by_name["segments"]), identity="segments"
        ),
        html.section(
            by_name["body"].title, html.figure(by_name["body"]), identity="body", new_page=True
        ),
    ]
    if results.ranking is not None and len(results.ranking.layouts) > 1:
        body.append(sections.ranking_section(results.ranking))
    body.append(sections.parts_section(plan))
    if plan.lines:
        body.append(sections.lines_section(plan, by_name.get("lines")))
    if plan.limits:
        body.append(sections.limits_section(plan))
    if results.front is not None and "front" in by_name:
        body.append(sections.front_section(results.front, by_name["front"]))
    if results.sweep is not None and "sweep" in by_name:
        body.append(sections.sweep_section(results.sweep, by_name["sweep"]))
    if results.trust is not None and "trust" in by_name:
        body.append(sections.trust_section(results.trust, by_name["trust"], plan))
    sheet = build_sheet(
        results.setting,
        plan,
        results.built,
        title,
        standing_words(results.ranking, plan, results.proof),
    )
    body.append(sheet_sections(sheet, (MEASURED_PARTS, MEASURED_LINES)))
    built = () if results.built is None else results.built.warnings
    ranked = () if results.ranking is None else results.ranking.warnings
    body.append(
        sections.warnings_section(results.assumed, study.warnings, ranked, plan.warnings, built)
    )
    body.append(
        html.section(
            "Before anyone acts on this", html.caution((*CAUTIONS, *BASIS)), identity="cautions"
        )
    )
    return html.page(title, sections.lead(study), *body)
