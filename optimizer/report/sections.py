"""The report's sections, each made only of a result that is there."""

from __future__ import annotations

from collections.abc import Sequence
from math import inf
from typing import TYPE_CHECKING

from optimizer.assess.result import Assessment, LineReport, Proof, Ranking
from optimizer.report import html
from optimizer.study.model import Study
from optimizer.views.front import picked_words
from optimizer.views.header import (
    energy_words,
    score_words,
    task_words,
    wearer_words,
)
from optimizer.views.limits import origin_words, standing, tightest
from optimizer.views.line_physics import air_words, crossing_words
from optimizer.views.quantity import column, distinct_column, grams, number, shown
from optimizer.views.ranking import proof_lines, proof_words
from optimizer.views.words import segment_words

if TYPE_CHECKING:
    from optimizer.report.style import Picture
    from optimizer.report.tradeoff_charts import SweepCurve
    from optimizer.solve.front import Front
    from optimizer.trust.result import Trust


def lead(study: Study) -> str:
    """What was solved, under the title."""
    return html.paragraph(lead_words(study), "quiet")


def lead_words(study: Study) -> str:
    """What was solved, in one sentence."""
    invented = "An invented example, no real device. " if study.invented else ""
    return (
        f"{invented}{wearer_words(study.wearer)}; {task_words(study.task)}; energy models "
        f"{energy_words(study.energy)}; score = {score_words(study.weights)}, lower is better."
    )


def summary_section(plan: Assessment, proof: Proof) -> str:
    """The figures that matter most, and what was proven."""
    facts = (
        ("score", number(plan.score, 3)),
        ("metabolic penalty", f"{number(plan.metabolic_w, 2)} W"),
        ("of net walking power", f"{number(plan.metabolic_pct, 2)} %"),
        ("added swing inertia", f"{number(plan.swing_inertia_pct, 2)} %"),
        ("worn mass", f"{number(plan.total_mass_kg * 1e3, 0)} g"),
        ("assist that pays it back", f"{number(plan.assist_w, 2)} W"),
    )
    shown_facts = "".join(
        f"<div><dt>{html.text(name)}</dt><dd>{html.text(value)}</dd></div>" for name, value in facts
    )
    broken = [m.label for m in plan.limits if not m.met]
    verdict = html.paragraph(
        f"Limits BROKEN, this layout may not be built so: {'; '.join(broken)}", "bad"
    )
    return html.section(
        "The layout in figures",
        f'<dl class="figures">{shown_facts}</dl>\n',
        html.paragraph(f"This layout is {proof_words(proof)}."),
        verdict if broken else html.paragraph(f"All {len(plan.limits)} limits are met."),
        html.caution(),
        identity="summary",
    )


def ranking_section(ranking: Ranking) -> str:
    """The ranked layouts with what was proven of each."""
    from optimizer.views.differences import differences_in_short
    from optimizer.views.ranking import short_proof

    found = [ranked.assessment for ranked in ranking.layouts]
    scores = distinct_column([a.score for a in found], 3, 7)
    rows = [
        (
            ranked.rank,
            scores[i],
            number(found[i].metabolic_w, 2),
            number(found[i].swing_inertia_pct, 2),
            number(found[i].total_mass_kg * 1e3, 0),
            short_proof(ranked.proof),
            "; ".join(differences_in_short(found[0].layout, found[i].layout)) or "-",
        )
        for i, ranked in enumerate(ranking.layouts)
    ]
    columns = (
        ("rank", "", True), ("score", "", True), ("penalty", "W", True),
        ("swing", "added %", True), ("worn", "g", True), ("proof", "", False),
        ("differs from rank 1 by", "", False),
    )  # fmt: skip
    said = " ".join(line for line, _ in proof_lines(ranking))
    return html.section(
        "Ranked layouts", html.table(columns, rows), html.paragraph(said), identity="ranking"
    )


def parts_section(plan: Assessment) -> str:
    """Part by part, vest first."""
    mass = grams((p.mass_kg for p in plan.parts), light_g=inf)
    watts = column([p.metabolic_w for p in plan.parts], 2, 4)
    rows = [
        (
            p.unit,
            p.model,
            p.site,
            "vest" if p.segment == "trunk" else segment_words(p.segment, p.side),
            mass[i],
            watts[i],
            number(p.metabolic_pct, 2),
            number(p.swing_inertia_kg_m2, 4) if p.swing_inertia_kg_m2 else "-",
        )
        for i, p in enumerate(plan.parts)
    ]
    columns = (
        ("part", "", False), ("model", "", False), ("site", "", False), ("on the", "", False),
        ("mass", "g", True), ("costs", "W", True), ("walking", "%", True),
        ("swing", "kg m2", True),
    )  # fmt: skip
    return html.section("Part by part", html.table(columns, rows), identity="parts")


def lines_section(plan: Assessment, chart: Picture | None) -> str:
    """Every line against its budgets, and what it really does."""
    notes = [f"{n.line}: {figures_words(n)}" for n in plan.lines if n.physics]
    crossed = plan.joint_crossings
    heed = [f"{n.line}: {c}" for n in plan.lines for c in n.cautions]
    return html.section(
        "Tubes, cables and wires",
        html.figure(chart) if chart is not None else "",
        html.items(notes),
        html.items(plan.line_notes),
        html.paragraph(crossing_words(plan.joint_crossings), "quiet") if crossed else "",
        "" if plan.air is None else "".join(html.paragraph(w.text) for w in air_words(plan.air)),
        html.caution(heed) if heed else "",
        identity="lines",
    )


def figures_words(line: LineReport) -> str:
    """Every figure of a line with the unit its name ends in: "fill 96 ms"."""
    phrases = []
    for name, value in line.physics.items():
        *words, unit = name.split("_")
        said = {"pct": "%", "kpa": "kPa", "v": "V", "w": "W", "n": "N"}.get(unit, unit)
        phrases.append(f"{' '.join(words)} {value:.3g} {said}")
    return ", ".join(phrases)


def limits_section(plan: Assessment) -> str:
    """The tightest limits."""
    rows = []
    for limit in tightest(plan.limits, 12):
        (value, allowed, slack), unit = shown((limit.value, limit.limit, limit.slack), limit.unit)
        rows.append((limit.label, value, allowed, slack, unit, standing(limit)[0] or "met",
                     origin_words(limit)))  # fmt: skip
    columns = (
        ("what", "", False), ("is at", "", True), ("limit", "", True), ("slack", "", True),
        ("unit", "", False), ("stands", "", False), ("written in", "", False),
    )  # fmt: skip
    return html.section("Limits, tightest first", html.table(columns, rows), identity="limits")


def front_section(front: Front, chart: Picture) -> str:
    """Every layout that nothing beats in both goals."""
    rows = [
        (
            i,
            *(number(v, 3) for v in point.values),
            number(point.assessment.score, 3),
            "chosen" if front.picked == i - 1 else "",
        )
        for i, point in enumerate(front.points, start=1)
    ]
    columns = (
        ("point", "", True), *((g.title, g.unit, True) for g in front.goals), ("score", "", True),
        ("", "", False),
    )  # fmt: skip
    said = (
        "Complete: nothing that these leave out is better in one goal and no worse in the other."
        if front.complete
        else f"Not complete: {front.stopped}."
    )
    picked = picked_words(front)
    return html.section(
        "The trade-off", html.figure(chart), html.table(columns, rows), html.paragraph(said),
        html.paragraph(picked) if picked else "", html.caution(), identity="front",
    )  # fmt: skip


def sweep_section(curve: SweepCurve, chart: Picture) -> str:
    """Where the best layout changes, and into what."""
    rows = [
        (piece.name, f"{piece.low:.6g}", f"{piece.high:.6g}",
         number(piece.points[0][1], 3) if piece.points else "nothing fits",
         number(piece.points[-1][1], 3) if piece.points else "nothing fits",
         "; ".join(piece.changes) or "-")
        for piece in curve.pieces
    ]  # fmt: skip
    columns = (
        ("layout", "", False), ("from", curve.unit, True), ("to", curve.unit, True),
        ("score there", "", True), ("and there", "", True),
        ("differs from the one before by", "", False),
    )  # fmt: skip
    return html.section(
        f"What if: {curve.label}", html.figure(chart), html.table(columns, rows),
        html.items(curve.notes), html.caution(), identity="sweep",
    )  # fmt: skip


def trust_section(found: Trust, chart: Picture, plan: Assessment) -> str:
    """How far the ranking may be trusted, and what the layouts compared are."""
    from optimizer.views.differences import differences_in_short

    said = f"{found.draws} draws of the uncertain numbers within their published spread."
    if found.least_worst is not None and found.least_worst.name is not None:
        said += f" Least worst regret: {found.least_worst.name}."
    rows = [
        (
            t.name,
            number(100.0 * t.win_share, 1),
            number(t.mean_regret, 3),
            number(t.worst_regret, 2),
            "-"
            if t.assessment is None
            else "; ".join(differences_in_short(plan.layout, t.assessment.layout))
            or "it is that one",
        )
        for t in sorted(found.layouts, key=lambda t: (-t.win_share, t.name))
        if t.win_share > 0.0 or t.rank == 1
    ]
    columns = (
        ("layout", "", False), ("best in", "% of draws", True), ("mean regret", "points", True),
        ("worst regret", "points", True), ("differs from the layout reported by", "", False),
    )  # fmt: skip
    return html.section(
        "How far to trust the ranking", html.figure(chart), html.paragraph(said),
        html.table(columns, rows), html.items(found.warnings), html.caution(), identity="trust",
    )  # fmt: skip


def warnings_section(*sources: Sequence[str]) -> str:
    """All warnings, each once."""
    every = tuple(dict.fromkeys(w for source in sources for w in source))
    return html.section("Warnings", html.items(every), identity="warnings") if every else ""
