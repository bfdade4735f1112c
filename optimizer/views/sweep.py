"""A sweep: which layout is best from where to where, and why it ends there."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console, Group, RenderableType
from rich.text import Text

from optimizer.assess.result import Assessment, LimitReport, Proof
from optimizer.solve.sweep_result import EXACT, Sweep, SweepPiece
from optimizer.study.model import Study
from optimizer.views.cautions import BASIS, CAUTIONS, all_warnings, cautions_view, warnings_view
from optimizer.views.differences import differences, differences_in_short
from optimizer.views.header import solved_line
from optimizer.views.json import head
from optimizer.views.json_records import Document, layout_record, study_record
from optimizer.views.quantity import column, distinct_column
from optimizer.views.table import Cell, Column, is_wide, section, table
from optimizer.views.words import Words, counted, listing

SWEEP = "limbtrim.sweep/1"


def sweep_page(study: Study, sweep: Sweep, console: Console) -> Group:
    """The answer of `sweep`."""
    blocks: list[RenderableType | None] = [
        solved_line(study),
        Text(""),
        sweep_view(sweep, console),
        warnings_view(study.warnings, sweep_warnings(sweep)),
        cautions_view(),
    ]
    return Group(*(block for block in blocks if block is not None))


def sweep_warnings(sweep: Sweep) -> list[str]:
    """What is to be said of a range and of every layout that is best in it."""
    layouts = [piece.at_low for piece in sweep.pieces]
    layouts += [piece.at_high for piece in sweep.pieces[-1:]]
    return all_warnings(sweep.warnings, *(found.warnings for found in layouts if found))


def values(numbers: Sequence[float]) -> list[str]:
    """Values of the number turned, with as many digits as tell them apart."""
    if all(abs(v - round(v)) < 1e-9 for v in numbers):
        return [f"{v:.0f}" for v in numbers]
    return distinct_column(numbers, 3, 9)


def turned_words(sweep: Sweep) -> str:
    """What was turned, with its unit and what the study says."""
    unit = {"": "", "x": " (factor)"}.get(sweep.dial.unit, f" ({sweep.dial.unit})")
    now = "" if sweep.dial.now is None or sweep.dial.unit == "x" else f", now {sweep.dial.now:g}"
    return f"{sweep.dial.label}{unit}{now}"


def sweep_view(sweep: Sweep, console: Console) -> Group:
    """The pieces, with how they were found under them."""
    pieces, wide = sweep.pieces, is_wide(console)
    shown = values([*(p.low for p in pieces), *(p.high for p in pieces)])
    unit = sweep.dial.unit
    columns = [Column("piece"), Column("from", unit), Column("to", unit)]
    ends = [(p.at_low, p.at_high) for p in pieces]
    cells: list[list[str]] = [
        [str(i + 1) for i in range(len(pieces))],
        shown[: len(pieces)],
        shown[len(pieces) :],
    ]
    columns += [Column("score", "from"), Column("score", "to")]
    cells += [
        column([a.score if a else None for a, _ in ends], 3, 4),
        column([b.score if b else None for _, b in ends], 3, 4),
    ]
    if wide:
        columns += [Column("penalty", "W, from"), Column("penalty", "W, to")]
        cells += [
            column([a.metabolic_w if a else None for a, _ in ends], 2, 4),
            column([b.metabolic_w if b else None for _, b in ends], 2, 4),
        ]
    rows: list[list[Cell]] = [[values_[i] for values_ in cells] for i in range(len(pieces))]
    phrases = [changes(pieces[i - 1] if i else None, piece) for i, piece in enumerate(pieces)]
    told = [Group(*(Words(phrase, hang=2) for phrase in each)) for each in phrases]
    starts = Column("what changes at its start", words=True)
    beside: list[RenderableType] = []
    below: list[list[Cell]]
    if wide:
        columns.append(starts)
        rows = [[*row, each] for row, each in zip(rows, told, strict=True)]
    elif any(each != ["-"] for each in phrases):
        below = [[str(i + 1), told[i]] for i in range(len(pieces)) if phrases[i] != ["-"]]
        beside = [Text(""), table([Column("piece"), starts], below)]
    return section(_title(sweep), table(columns, rows), *beside, Text(""), *method_lines(sweep))


def _title(sweep: Sweep) -> str:
    """What was turned and how often the answer changes."""
    turned, n = turned_words(sweep), len(sweep.pieces) - 1
    if n == 0 and sweep.complete:
        if sweep.pieces[0].layout is None:
            return f"{turned}: no layout meets every limit at any value"
        return f"{turned}: one answer all the way"
    return f"{turned}: the best layout changes at {counted(max(n, 0), 'value')}"


def changes(before: SweepPiece | None, piece: SweepPiece) -> list[str]:
    """What changes from one piece to the next, and because of what."""
    if before is None:
        return ["nothing meets every limit"] if piece.layout is None else ["-"]
    phrases: list[str] = []
    if piece.layout is None:
        phrases.append("nothing meets every limit any more")
    elif before.layout is None:
        phrases.append("from here on a layout meets every limit")
    else:
        phrases += differences_in_short(before.layout, piece.layout) or [
            "the pairing of like parts"
        ]
    if before.ended_by:
        phrases.append(f"because of {_named(before.ended_by)}")
    elif piece.begun_by:
        phrases.append(f"made possible by {_named(piece.begun_by)}")
    return phrases


def _named(limits: Sequence[LimitReport]) -> str:
    return listing(list(dict.fromkeys(limit.label for limit in limits)))


def method_lines(sweep: Sweep) -> list[Words]:
    """How the pieces were found, and what could have been missed."""
    lines: list[Words] = []
    limited = any(piece.ended_by or piece.begun_by for piece in sweep.pieces)
    if sweep.method == EXACT:
        lines.append(Words(_exact_words(sweep, limited=limited), "good"))
        if limited:
            lines.append(
                Words(
                    f"A stretch in which a limit changes by less than {sweep.resolution:g} of "
                    "itself is not looked into.",
                    "quiet",
                )
            )
    elif sweep.dial.whole:
        lines.append(Words("Every whole number was solved.", "good"))
    else:
        grid = f" every {sweep.grid:g}" if sweep.grid is not None else ""
        lines.append(
            Words(
                f"Bracketed and bisected, as {sweep.reason}: solved{grid} {sweep.dial.unit} and on "
                "both sides of every switch point. A layout that wins only between two of "
                "these with equal answers would be missed.".replace("  ", " "),
                "tight",
            )
        )
    if not sweep.complete:
        why = {"time_limit": "at the time limit", "interrupted": "by hand"}.get(
            sweep.stopped or "", sweep.stopped or ""
        )
        lines.append(Words(f"Stopped {why}: nothing is known beyond the last piece.", "tight"))
    return lines


def _exact_words(sweep: Sweep, *, limited: bool) -> str:
    """What an exact sweep has proven."""
    if len(sweep.pieces) == 1:
        only = "no other layout is best" if sweep.pieces[0].layout else "nothing meets every limit"
        return f"Exact: it is proven that {only} anywhere in it, not only where it was solved."
    return (
        "Exact: every switch point is a crossing of two scores"
        f"{' or the point where a limit is met' if limited else ''}, and it is proven that no "
        "other layout is best anywhere between."
    )


def piece_record(piece: SweepPiece, before: SweepPiece | None) -> Document:
    """One piece as JSON."""
    moved: list[str] = []
    if before is not None and before.layout is not None and piece.layout is not None:
        moved += differences(before.layout, piece.layout)
    return {
        "low": piece.low,
        "high": piece.high,
        "differs_from_piece_before": moved,
        "begun_by": [limit.label for limit in piece.begun_by],
        "ended_by": [limit.label for limit in piece.ended_by],
        "at_low": proven_record(piece.at_low),
        "at_high": proven_record(piece.at_high),
    }


def proven_record(found: Assessment | None) -> Document | None:
    """A layout that is proven best, as JSON."""
    if found is None:
        return None
    return layout_record(found, Proof("optimal", found.score, found.score, 0.0, 0.0, 0))


def sweep_record(sweep: Sweep) -> Document:
    """A sweep as JSON, without the study."""
    pieces = sweep.pieces
    return {
        "turned": {
            "label": sweep.dial.label,
            "paths": list(sweep.dial.paths),
            "unit": sweep.dial.unit,
            "now": sweep.dial.now,
            "low": sweep.low,
            "high": sweep.high,
        },
        "method": sweep.method,
        "reason_not_exact": sweep.reason,
        "resolution": sweep.resolution,
        "grid": sweep.grid,
        "complete": sweep.complete,
        "stopped": sweep.stopped,
        "switch_points": list(sweep.switch_points),
        "pieces": [piece_record(p, pieces[i - 1] if i else None) for i, p in enumerate(pieces)],
    }


def sweep_document(study: Study, sweep: Sweep) -> Document:
    """The answer of `sweep` as JSON.

    "turned": what, from where to where; "method" ("exact" or "bisection"), "reason_not_exact";
    "switch_points"; "pieces" with the layout assessed at both ends ("at_low", "at_high", null
    where nothing fits) and the limits that begin and end it.
    """
    return {
        **head(SWEEP),
        "study": study_record(study),
        **sweep_record(sweep),
        "warnings": all_warnings(study.warnings, sweep_warnings(sweep)),
        "cautions": [*CAUTIONS, *BASIS],
    }
