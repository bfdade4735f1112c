"""Whole answers, put together from the tables: what each command prints."""

from __future__ import annotations

from rich.console import Console, Group, RenderableType
from rich.text import Text

from optimizer.assess.dynamics import SwingReport
from optimizer.assess.result import Assessment, Infeasible, Ranking
from optimizer.study.model import Study
from optimizer.views.alternatives import alternatives_view
from optimizer.views.bars import segment_bars
from optimizer.views.cautions import cautions_view, warnings_view
from optimizer.views.header import solved_line
from optimizer.views.infeasible import infeasible_view
from optimizer.views.layout import layout_view
from optimizer.views.limits import limits_view
from optimizer.views.quantity import number
from optimizer.views.ranking import ranking_view
from optimizer.views.wear import wear_view
from optimizer.views.words import Words


def ranking_page(
    study: Study,
    ranking: Ranking,
    console: Console,
    asked_for: int | None = None,
    swing: SwingReport | None = None,
    sketch: Group | None = None,
) -> Group:
    """The answer of `place`: the ranked list, then the best layout in full.

    `asked_for` is how many layouts were wanted, None for as many as there are in the ranking;
    `swing` and `sketch` are the best layout's.
    """
    best = ranking.layouts[0].assessment
    title = "Rank 1, part by part" if len(ranking.layouts) > 1 else "Part by part"
    warnings = tuple(w for ranked in ranking.layouts for w in ranked.assessment.warnings)
    return _page(
        solved_line(study),
        Text(""),
        ranking_view(ranking, console, asked_for),
        sketch,
        layout_view(study, best, console, title),
        alternatives_view(study, best),
        segment_bars(best),
        wear_view(best.balance, swing, ranking.counterweight),
        limits_view(best, console),
        warnings_view(study.warnings, ranking.warnings, warnings),
        cautions_view(),
    )


def stopped_page(study: Study, ranking: Ranking) -> Group:
    """What `place` says when it was stopped before it met any layout."""
    return _page(
        solved_line(study),
        Text(""),
        Words(
            "Stopped before any layout was found: nothing is known of whether one exists.", "bad"
        ),
        Words("A longer --time-limit, or none, lets the search finish."),
        Text(""),
        warnings_view(study.warnings, ranking.warnings),
    )


def assessment_page(
    study: Study,
    assessment: Assessment,
    console: Console,
    assumed: tuple[str, ...] = (),
    swing: SwingReport | None = None,
    sketch: Group | None = None,
) -> Group:
    """The answer of `weigh`: one given layout in full, with what was assumed of it."""
    verdict = "" if assessment.feasible else ", but it breaks a limit (see Limits)"
    return _page(
        solved_line(study),
        Text(""),
        Words(
            f"This layout scores {number(assessment.score, 4)}{verdict}. It was given, not "
            "searched for: `limbtrim place` says how far it is from the best.",
            "head",
        ),
        Text(""),
        sketch,
        layout_view(study, assessment, console, "Part by part"),
        alternatives_view(study, assessment),
        segment_bars(assessment),
        wear_view(assessment.balance, swing),
        limits_view(assessment, console),
        warnings_view(assumed, study.warnings, assessment.warnings),
        cautions_view(),
    )


def infeasible_page(study: Study, found: Infeasible) -> Group:
    """What `place` says when nothing fits."""
    return _page(
        solved_line(study),
        Text(""),
        infeasible_view(found),
        warnings_view(study.warnings, found.warnings),
    )


def _page(*blocks: RenderableType | None) -> Group:
    return Group(*(block for block in blocks if block is not None))
