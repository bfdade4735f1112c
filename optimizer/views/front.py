"""The front: every trade-off that nothing beats, and at which weights each wins."""

from __future__ import annotations

from math import isfinite

from rich.console import Console, Group, RenderableType
from rich.text import Text

from optimizer.assess.result import Proof
from optimizer.solve.front import Front, FrontPoint
from optimizer.solve.goals import Goal
from optimizer.study.model import Study
from optimizer.views.cautions import BASIS, CAUTIONS, cautions_view, warnings_view
from optimizer.views.differences import differences
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


def front_page(study: Study, front: Front, console: Console) -> Group:
    """The answer of `front`."""
    blocks: list[RenderableType | None] = [
        solved_line(study),
        Text(""),
        front_view(front, console),
        warnings_view(
            study.warnings, front.warnings, *(p.assessment.warnings for p in front.points)
        ),
        cautions_view(),
    ]
    return Group(*(block for block in blocks if block is not None))


def front_view(front: Front, console: Console) -> Group:
    """The table of points, with what is known of the whole under it."""
    points = front.points
    columns = [Column("point")]
    cells: list[list[Cell]] = [[str(i + 1) for i in range(len(points))]]
    for g, goal in enumerate(front.goals):
        name, unit, scale = _HEADS[goal.name]
        columns.append(Column(name, unit))
        cells.append([*distinct_column([p.values[g] * scale for p in points], 2, 6)])
    columns.append(Column("score"))
    cells.append([*distinct_column([p.assessment.score for p in points], 3, 6)])
    if is_wide(console):
        columns += [Column("penalty", "W"), Column("worn", "g")]
        cells += [
            [*column([p.assessment.metabolic_w for p in points], 2, 4)],
            [number(p.assessment.total_mass_kg * 1e3, 0) for p in points],
        ]
    columns += [Column("wins", words=True), Column("differs from the point above", words=True)]
    rows: list[list[Cell]] = []
    for i, point in enumerate(points):
        before = points[i - 1].assessment.layout if i else None
        changes = [] if before is None else differences(before, point.assessment.layout)
        rows.append(
            [
                *(values[i] for values in cells),
                Words(wins_words(front.goals, point)),
                Group(*(Words(phrase, hang=2) for phrase in changes or ["-"])),
            ]
        )
    title = f"{counted(len(points), 'layout')} that no other beats"
    return section(title, table(columns, rows), Text(""), *_told(front))


def wins_words(goals: tuple[Goal, ...], point: FrontPoint) -> str:
    """At which weights a point is the best."""
    if not point.supported:
        return "at no weights"
    if point.weights is not None:
        low, high = point.weights
        if low == 0.0 and not isfinite(high):
            return "at all weights"
        if low == 0.0:
            return f"to {high:.3g}"
        return f"from {low:.3g}" if not isfinite(high) else f"{low:.3g} to {high:.3g}"
    assert point.example is not None
    first = point.example[0]
    if first > 0.0:
        return f"e.g. {' : '.join(f'{w / first:.3g}' for w in point.example)}"
    return f"e.g. {' : '.join(f'{w:.3g}' for w in point.example)}"


def _told(front: Front) -> list[Words]:
    lines: list[Words] = []
    names = listing([_HEADS[goal.name][0] for goal in front.goals])
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
    if front.picked is not None:
        lines.append(Words(f"`limbtrim place` picks point {front.picked + 1}."))
    elif front.pick is not None:
        lines.append(
            Words(
                f"`limbtrim place` picks none of these but a layout of score "
                f"{number(front.pick.score, 3)}: the study's score also counts something else."
            )
        )
    if len(front.goals) == 2:
        one, two = (_HEADS[goal.name][0] for goal in front.goals)
        lines.append(
            Words(
                f"Wins: at these weights of {two} where {one} has weight 1 and nothing else "
                "counts. A point that wins at no weights lies between two others that do."
            )
        )
    else:
        lines.append(
            Words(
                f"Wins: at weights of {names} such as these, in this order, nothing else counted."
            )
        )
    steps = listing(
        [f"{goal.resolution:g} {goal.unit}".rstrip() + f" of {goal.name}" for goal in front.goals]
    )
    lines.append(Words(f"Layouts nearer to each other than {steps} count as one.", "quiet"))
    return lines


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
        "warnings": list(dict.fromkeys((*study.warnings, *front.warnings))),
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
