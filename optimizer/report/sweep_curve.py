"""A sweep made ready to be drawn: pieces by letter, scores along each, what changes between."""

from __future__ import annotations

from string import ascii_uppercase

from optimizer.assess.assessment import assess
from optimizer.report.tradeoff_charts import SweepCurve
from optimizer.report.tradeoff_charts import SweepPiece as DrawnPiece
from optimizer.solve.relay import relay
from optimizer.solve.sweep import Sweep, SweepPiece
from optimizer.views.differences import differences_in_short

#: Scores told inside each piece, besides those at its ends: a score may bend with the number.
INSIDE = 3


def curve_of(found: Sweep) -> SweepCurve:
    """The sweep as a curve of scores."""
    pieces = []
    for i, piece in enumerate(found.pieces):
        before = found.pieces[i - 1].layout if i else None
        changes: tuple[str, ...] = ()
        if before is not None and piece.layout is not None:
            changes = tuple(differences_in_short(before, piece.layout))
        name = ascii_uppercase[i % 26] + (str(i // 26) if i >= 26 else "")
        pieces.append(DrawnPiece(name, piece.low, piece.high, _points(found, piece), changes))
    notes = [f"switch points: {found.method}" + (f" ({found.reason})" if found.reason else "")]
    if not found.complete:
        notes.append(f"stopped early: {found.stopped}")
    return SweepCurve(
        found.dial.label, found.dial.unit, tuple(pieces), found.dial.now, tuple(notes)
    )


def _points(found: Sweep, piece: SweepPiece) -> tuple[tuple[float, float], ...]:
    if piece.at_low is None or piece.at_high is None:
        return ()
    points = [(piece.low, piece.at_low.score)]
    for i in range(1, INSIDE + 1):
        value = piece.low + (piece.high - piece.low) * i / (INSIDE + 1)
        if found.dial.whole and not value.is_integer():
            continue
        setting = found.dial.setting_at(value)
        there = relay(setting, piece.at_low.layout)
        if there is not None:
            points.append((value, assess(setting, there).score))
    return (*points, (piece.high, piece.at_high.score))
