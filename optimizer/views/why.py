"""Why the best layout is as it is, in tables and plain sentences."""

from __future__ import annotations

import re
from collections import Counter

from rich.console import Console, Group, RenderableType
from rich.text import Text

from optimizer.assess.result import Layout, Obstacle
from optimizer.assess.why import Alternative, LimitWorth, OtherSites, PartWhy, WhyReport
from optimizer.study.model import Study
from optimizer.views.cautions import cautions_view, warnings_view
from optimizer.views.differences import differences, differences_in_short
from optimizer.views.header import solved_line
from optimizer.views.infeasible import obstacle_words
from optimizer.views.quantity import column, number
from optimizer.views.ranking import proof_words
from optimizer.views.table import Cell, Column, is_wide, section, table
from optimizer.views.words import Words, bullets, counted, listing

#: What follows the name in a phrase of `differences`.
_NAME = re.compile(r":| at | \(")
#: Differences below this many score points are told as none.
NOTHING = 5e-6


def why_page(study: Study, found: WhyReport, console: Console) -> Group:
    """The answer of `why`."""
    best = found.best
    blocks: list[RenderableType | None] = [
        solved_line(study),
        Text(""),
        Words(
            f"The best layout scores {number(best.score, 4)}; {proof_words(found.proof)}. Costs "
            "below are what the whole layout would score more, everything else placed anew.",
        ),
        Text(""),
        _parts(found, console),
        *(_sites(found, part, console) for part in found.parts if found.part is not None),
        _better(found) if found.part is None else None,
        _limits(found, console) if found.part is None else None,
        _unfinished(found),
        warnings_view(study.warnings, found.warnings),
        cautions_view(),
    ]
    return Group(*(block for block in blocks if block is not None))


def _unfinished(found: WhyReport) -> Group | None:
    if found.complete:
        return None
    return section(
        "Cut short",
        Words("The work was ended early: what is told is true, but more may be missing.", "tight"),
    )


# -- parts ---------------------------------------------------------------------------------


def _parts(found: WhyReport, console: Console) -> Group:
    """Where each part is, its next-best site and what it would cost."""
    wide = is_wide(console)
    costs = [p.next_best for p in found.parts if p.next_best is not None]
    scores = iter(column([a.score for a in costs], 4, 7))
    watts = iter(column([a.metabolic_w for a in costs], 2, 4))
    percents = iter(column([a.metabolic_pct for a in costs], 2, 4))
    inertias = iter(column([a.swing_inertia_pct for a in costs], 2, 4))
    columns = [
        Column("part", words=True),
        Column("sits at", words=True),
        Column("next-best site", words=True),
        Column("costs", "score"),
        Column("", "W"),
    ]
    if wide:
        columns += [Column("walking", "%"), Column("swing", "%")]
        columns += [Column("changes as well", words=True)]
    rows: list[list[Cell]] = []
    for part in found.parts:
        row: list[Cell] = [Words(units_words(part), hang=2), Words(part.site, hang=2)]
        if part.next_best is None:
            row += [Words(_no_other(part), "quiet", hang=2), "-", "-"]
            row += ["-", "-", Words("-", "quiet")] if wide else []
        else:
            row += [Words(listing(new_sites(found, part)), hang=2), next(scores), next(watts)]
            if wide:
                row += [next(percents), next(inertias)]
                row.append(Words(moved_names(found, part.part, part.next_best), hang=2))
        rows.append(row)
    notes = []
    if not wide:
        notes = [Words("What changes as well is told at 110 columns (--width).", "quiet")]
    title = "Why there" if found.part else "Where else each part could go"
    return section(title, table(columns, rows), *notes)


def units_words(part: PartWhy) -> str:
    """ "valve", or "valve#1 and valve#2" for copies at one site."""
    return listing(part.units)


def _no_other(part: PartWhy) -> str:
    if part.allowed == 1:
        return "none allowed"
    if not part.settled:
        return "not settled in time"
    return "none possible"


def new_sites(found: WhyReport, part: PartWhy) -> list[str]:
    """Where the part goes in its next-best layout."""
    assert part.next_best is not None
    return _new_sites(found.best.layout, part.next_best.assessment.layout, part.part)


def _new_sites(best: Layout, other: Layout, part: str) -> list[str]:
    before, after = (
        Counter(p.site for p in layout.placements if p.part == part) for layout in (best, other)
    )
    return sorted(after - before) or ["the same, another model"]


def _moves(found: WhyReport, part: str, alternative: Alternative) -> Group:
    phrases = differences_in_short(found.best.layout, alternative.assessment.layout, besides=part)
    return Group(*(Words(phrase, hang=2) for phrase in phrases or ["-"]))


def moves_along(found: WhyReport, part: str, alternative: Alternative) -> list[str]:
    """What else differs from the best layout, beside the part's own place."""
    return list(differences(found.best.layout, alternative.assessment.layout, besides=part))


def moved_names(found: WhyReport, part: str, alternative: Alternative, most: int = 4) -> str:
    """Names of the other parts and lines that change, the first few of them."""
    names = [_NAME.split(phrase)[0] for phrase in moves_along(found, part, alternative)]
    names = list(dict.fromkeys(names))
    if len(names) > most + 1:
        names = [*names[:most], f"{len(names) - most} more"]
    return listing(names) or "-"


def _better(found: WhyReport) -> Group | None:
    """What forbids sites that would be better by themselves, in sentences."""
    sentences = [
        sentence
        for part in found.parts
        for sentence in [*_only_words(part), *(other_words(found, part, o) for o in part.others)]
    ]
    if not sentences:
        return section(
            "Better sites", Words("No part has an allowed site that would be better by itself.")
        )
    return section(
        "What forbids better sites",
        *bullets(sentences),
        note="sites where the part by itself, without lines and holder, would cost less",
    )


def _only_words(part: PartWhy) -> list[str]:
    if not part.only:
        return []
    reasons = "; ".join(obstacle_words(o) for o in part.only)
    return [f"{units_words(part)} can only be at {part.site}: {reasons}."]


def other_words(found: WhyReport, part: PartWhy, other: OtherSites) -> str:
    """Why the part is not at some other sites, as a sentence."""
    where = listing(other.sites, "or")
    lead = f"{part.part} at {where} would save {number(other.gain, 4)} by itself"
    if other.gain <= 0.0:
        lead = f"{part.part} at {where}"
    if other.barred:
        reasons = "; ".join(obstacle_words(o) for o in other.barred)
        return f"{lead}, but cannot: {reasons}."
    if other.alternative is None:
        return f"{lead}; not settled in time."
    new = _new_sites(found.best.layout, other.alternative.assessment.layout, part.part)
    at = f" (at {listing(new)})" if len(other.sites) > 1 else ""
    cost = cost_words(other.alternative)
    moved = moves_along(found, part.part, other.alternative)
    along = f", with {listing(moved[:3])}" if moved else ""
    more = f" and {counted(len(moved) - 3, 'more change')}" if len(moved) > 3 else ""
    return f"{lead}, but the whole layout{at} would {cost}{along}{more}."


def cost_words(alternative: Alternative) -> str:
    """ "score 0.1731 more (0.38 W)", "score the same"."""
    if abs(alternative.score) < NOTHING:
        return "score the same"
    way = "more" if alternative.score > 0 else "less"
    proof = "" if alternative.proven else ", not proven"
    return (
        f"score {number(abs(alternative.score), 4)} {way} "
        f"({number(alternative.metabolic_w, 2)} W{proof})"
    )


def _sites(found: WhyReport, part: PartWhy, console: Console) -> Group | None:
    """Every other allowed site of one part, best first."""
    if not part.others:
        return None
    others = sorted(
        part.others,
        key=lambda o: (o.alternative is None, o.alternative.score if o.alternative else -o.gain),
    )
    costs = [o.alternative for o in others if o.alternative is not None]
    scores = iter(column([a.score for a in costs], 4, 7))
    watts = iter(column([a.metabolic_w for a in costs], 2, 4))
    rows: list[list[Cell]] = []
    gains = column([-o.gain for o in others], 4, 7)
    for other, gain in zip(others, gains, strict=True):
        row: list[Cell] = [Words(listing(other.sites), hang=2), gain]
        if other.alternative is None:
            reasons = [obstacle_words(o) for o in other.barred] or ["not settled in time"]
            row += ["-", "-", Group(*(Words(reason, hang=2) for reason in reasons))]
        else:
            row += [next(scores), next(watts), _moves(found, part.part, other.alternative)]
        rows.append(row)
    columns = [
        Column("site", words=True),
        Column("by itself", "score"),
        Column("in all", "score"),
        Column("", "W"),
        Column("moves along, or what forbids it", words=True),
    ]
    return section(
        f"{units_words(part)}: every other allowed site",
        table(columns, rows),
        Words(
            "By itself: the part without its lines and holder, against where it is. In all: the "
            "best layout with it there.",
            "quiet",
        ),
    )


# -- limits --------------------------------------------------------------------------------


def _limits(found: WhyReport, console: Console) -> Group:
    wide = is_wide(console)
    title = f"What limits cost: each loosened by {number(100 * found.share, 0)} %, on its own"
    nothing = counted(found.worthless, "limit is", "limits are") + " worth nothing by as much"
    if found.unsettled:
        nothing += f", and {counted(found.unsettled, 'limit is', 'limits are')} not settled"
    if not found.limits:
        return section(title, Words(f"{nothing}."))
    worth = [limit.alternative for limit in found.limits]
    columns = [Column("limit", words=True), Column("loosened to")]
    columns += [Column("saves", "score"), Column("", "W")]
    cells = [
        [_loosened(limit) for limit in found.limits],
        column([-a.score for a in worth], 4, 7),
        column([-a.metabolic_w for a in worth], 2, 4),
    ]
    if wide:
        columns += [Column("walking", "%"), Column("swing", "%")]
        cells += [
            column([-a.metabolic_pct for a in worth], 2, 4),
            column([-a.swing_inertia_pct for a in worth], 2, 4),
        ]
        columns.append(Column("and then", words=True))
    rows: list[list[Cell]] = []
    for i, limit in enumerate(found.limits):
        row: list[Cell] = [Words(_named(limit), hang=2), *(values[i] for values in cells)]
        if wide:
            phrases = differences_in_short(found.best.layout, limit.alternative.assessment.layout)
            row.append(Group(*(Words(phrase, hang=2) for phrase in phrases)))
        rows.append(row)
    return section(
        title,
        table(columns, rows),
        Words(
            f"{nothing}; proven one by one. Limits without an amount (needs, places to share) "
            "were dropped instead.",
            "quiet",
        ),
    )


def _named(limit: LimitWorth) -> str:
    return obstacle_words(Obstacle(limit.text, limit.origin))


def _loosened(limit: LimitWorth) -> str:
    return "dropped" if limit.loosened is None else f"{limit.loosened:.5g} {limit.unit}"
