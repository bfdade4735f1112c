"""The front: every trade-off that nothing beats, and at which weights each wins."""

from __future__ import annotations

from itertools import pairwise
from math import isfinite

from rich.console import Console, Group, RenderableType
from rich.text import Text

from optimizer.assess.result import Proof
from optimizer.solve.front import Front, FrontPoint
from optimizer.study.model import Study
from optimizer.views.cautions import BASIS, CAUTIONS, all_warnings, cautions_view, warnings_view
from optimizer.views.differences import differences_in_short
from optimizer.views.header import solved_line
from optimizer.views.json import head
from optimizer.views.json_records import Document, layout_record, study_record
from optimizer.views.quantity import column, distinct_column, number
from optimizer.views.table import Cell, Column, is_wide, section, table
from optimizer.views.words import Words, counted, listing

FRONT = "limbtrim.front/1"

#: Goal -> the head of its column, and SI -> shown.
_HEADS: dict[str, tuple[str, str, float]] = {
    "metabolic": ("penalty", "% walking", 1.0),
    "swing_inertia": ("swing", "added %", 1.0),
    "comfort": ("discomfort", "points", 1.0),
    "device_mass": ("worn", "g", 1e3),
    "sites_in_use": ("sites", "in use", 1.0),
    "price": ("price", "", 1.0),
    "response": ("slowest fill", "ms", 1.0),
}


def front_warnings(front: Front) -> list[str]:
    """What is to be said of a front and of each of its layouts."""
    return all_warnings(front.warnings, *(p.assessment.warnings for p in front.points))


def front_page(study: Study, front: Front, console: Console) -> Group:
    """The answer of `front`."""
    blocks: list[RenderableType | None] = [
        solved_line(study),
        Text(""),
        front_view(front, console),
        warnings_view(study.warnings, front_warnings(front)),
        cautions_view(),
    ]
    return Group(*(block for block in blocks if block is not None))


def front_view(front: Front, console: Console) -> Group:
    """The table of points, with what is known of the whole under it."""
    points, wide = front.points, is_wide(console)
    columns = [Column("point")]
    cells: list[list[Cell]] = [[str(i + 1) for i in range(len(points))]]
    for g, goal in enumerate(front.goals):
        name, unit, scale = _HEADS[goal.name]
        columns.append(Column(name, unit))
        cells.append([*distinct_column([p.values[g] * scale for p in points], 2, 6)])
    columns.append(Column("score"))
    cells.append([*distinct_column([p.assessment.score for p in points], 3, 6)])
    if wide:
        columns.append(Column("penalty", "W"))
        cells.append([*column([p.assessment.metabolic_w for p in points], 2, 4)])
        if all(goal.name != "device_mass" for goal in front.goals):
            columns.append(Column("worn", "g"))
            cells.append([number(p.assessment.total_mass_kg * 1e3, 0) for p in points])
    columns.append(Column("wins", words=True))
    cells.append([Words(text) for text in wins_words(front)])
    against, changes = _changes(front)
    differs = Column(f"differs from {against}", words=True)
    beside: list[RenderableType] = []
    below: list[list[Cell]]
    if len(points) > 1:
        told = [Group(*(Words(phrase, hang=2) for phrase in phrases)) for phrases in changes]
        if wide:
            columns.append(differs)
            cells.append([*told])
        else:
            below = [[str(i + 1), told[i]] for i in range(len(points)) if changes[i] != ["-"]]
            beside = [Text(""), table([Column("point"), differs], below)]
    rows = [[values[i] for values in cells] for i in range(len(points))]
    title = f"{counted(len(points), 'layout')} that no other beats"
    return section(title, table(columns, rows), *beside, Text(""), *_told(front))


def _changes(front: Front) -> tuple[str, list[list[str]]]:
    """What each point is compared with, and how it differs from that: "-" for the first.

    Along two goals neighbours are alike; of three goals they need not be, so each point is set
    against the one that `place` picks.
    """
    layouts = [point.assessment.layout for point in front.points]
    if len(front.goals) == 2:
        pairs = [(layouts[i - 1], layouts[i]) if i else None for i in range(len(layouts))]
        against = "the point above"
    else:
        base = front.picked or 0
        pairs = [None if i == base else (layouts[base], layouts[i]) for i in range(len(layouts))]
        against = f"point {base + 1}"
    same = ["the pairing of like parts"]
    return against, [
        ["-"] if pair is None else [*differences_in_short(*pair)] or same for pair in pairs
    ]


def wins_words(front: Front) -> list[str]:
    """At which weights each point is the best."""
    points = front.points
    if len(front.goals) != 2:
        return [_example_words(point) for point in points]
    intervals = [point.weights for point in points]
    bounds = [v for pair in intervals if pair is not None for v in pair if isfinite(v)]
    digits = _digits(bounds)
    return [
        "at no weights" if pair is None else _interval_words(*pair, digits) for pair in intervals
    ]


def _digits(bounds: list[float]) -> int:
    """As many significant digits, from three on, as tell different bounds apart."""
    apart = [(a, b) for a, b in pairwise(sorted(bounds)) if not _touch(a, b)]
    return next((n for n in range(3, 9) if all(f"{a:.{n}g}" != f"{b:.{n}g}" for a, b in apart)), 9)


def _touch(low: float, high: float) -> bool:
    """Whether two weights are the same but for rounding."""
    return high - low <= 1e-6 * max(abs(low), abs(high), 1e-6)


def _interval_words(low: float, high: float, digits: int) -> str:
    if low <= 0.0 and not isfinite(high):
        return "at all weights"
    if isfinite(high) and _touch(low, high):
        return f"only at {high:.{digits}g}"
    if low <= 0.0:
        return f"to {high:.{digits}g}"
    if not isfinite(high):
        return f"from {low:.{digits}g}"
    return f"{low:.{digits}g} to {high:.{digits}g}"


def _example_words(point: FrontPoint) -> str:
    if point.example is None:
        return "at no weights"
    scale = next((w for w in point.example if w > 0.0), 1.0)
    return " : ".join(f"{w / scale:.3g}" for w in point.example)


def _told(front: Front) -> list[Words]:
    lines: list[Words] = []
    heads = [_HEADS[goal.name][0] for goal in front.goals]
    names = listing(heads)
    if front.complete:
        lines.append(
            Words(f"Proven complete: no layout is missing that nothing beats in {names}.", "good")
        )
    else:
        why = {"time_limit": "at the time limit", "interrupted": "by hand"}.get(
            front.stopped or "", front.stopped or ""
        )
        lines.append(
            Words(
                f"Stopped {why}: each of these is proven, others may be missing, and those may "
                "narrow the weights at which these win.",
                "tight",
            )
        )
    if picked := picked_words(front):
        lines.append(Words(picked))
    if front.points:
        lines += _weighing(front, heads)
    steps = listing(
        [
            f"{goal.resolution:g} {goal.unit} of {head}".replace("  ", " ")
            for goal, head in zip(front.goals, heads, strict=True)
        ]
    )
    lines.append(Words(f"Layouts nearer to each other than {steps} count as one.", "quiet"))
    return lines


def _weighing(front: Front, heads: list[str]) -> list[Words]:
    """What the column of weights means."""
    if len(front.goals) == 2:
        one, two = heads
        text = f"Wins: at these weights of {two} where {one} has weight 1 and nothing else counts."
    else:
        text = (
            f"Wins: at these weights of {listing(heads)}, in this order, for example, where "
            "nothing else counts."
        )
    if any(not point.supported for point in front.points):
        text += " At no weights: others win wherever the weights are put, though none beats it."
    return [Words(text)]


def picked_words(front: Front) -> str:
    """Which of the points `place` picks, or that it picks another layout; "" where unknown."""
    if front.picked is not None:
        return f"`limbtrim place` picks point {front.picked + 1}."
    if front.pick is None:
        return ""
    return (
        f"`limbtrim place` picks none of these but a layout of score "
        f"{number(front.pick.score, 3)}: the study's score also counts something else."
    )


def front_document(study: Study, front: Front) -> Document:
    """The answer of `front` as JSON.

    "goals" with their units; "points" by the first goal, each with its "values" by goal's name,
    "supported", "weights" ("low" and "high" of the second goal's weight, the first's being 1; null
    high: no bound), "example_weights" for three goals, "layout"; "complete", "stopped" (null,
    "time_limit", "interrupted"), "picked_by_place" (number of a point, or null).
    """
    return {
        **head(FRONT),
        "study": study_record(study),
        "goals": [
            {"name": g.name, "title": g.title, "unit": g.unit, "resolution": g.resolution}
            for g in front.goals
        ],
        "complete": front.complete,
        "stopped": front.stopped,
        "points": [_point(front, point) for point in front.points],
        "picked_by_place": None if front.picked is None else front.picked + 1,
        "warnings": all_warnings(study.warnings, front_warnings(front)),
        "cautions": [*CAUTIONS, *BASIS],
    }


def _point(front: Front, point: FrontPoint) -> Document:
    names = [goal.name for goal in front.goals]
    weights = point.weights
    proof = Proof("optimal", point.assessment.score, float("nan"), float("nan"), 0.0, 0)
    return {
        "values": dict(zip(names, point.values, strict=True)),
        "supported": point.supported,
        "weights": None if weights is None else {"low": weights[0], "high": weights[1]},
        "example_weights": None
        if point.example is None
        else dict(zip(names, point.example, strict=True)),
        "layout": layout_record(point.assessment, proof),
    }
