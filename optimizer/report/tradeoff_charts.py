"""Charts beyond one layout: the front, the switch points of a sweep, trust in the ranking."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from optimizer.report.style import (
    ACCENT,
    FAINT,
    INK,
    PAGE_MM,
    PART,
    PART_LIGHT,
    QUIET,
    Picture,
    look,
    mark,
    new_figure,
    picture,
)
from optimizer.views.quantity import number
from optimizer.views.words import clean

if TYPE_CHECKING:
    from optimizer.solve.front import Front
    from optimizer.trust.result import Trust

_PANEL_MM = 100.0
_ROW_MM = 6.4
#: Layouts shown in a chart of trust.
MOST_SHOWN = 25


def front_picture(front: Front) -> Picture | None:
    """The first two goals of every point; the chosen one ringed, unsupported ones hollow."""
    if not front.points:
        return None
    first, second = front.goals[:2]
    xs = [point.values[0] for point in front.points]
    ys = [point.values[1] for point in front.points]
    words = f"{len(xs)} layouts that nothing beats in {first.title} and {second.title}"
    with look():
        figure = new_figure(PAGE_MM, _PANEL_MM)
        axes = figure.add_axes((0.1, 0.13, 0.86, 0.8))
        if len(front.goals) == 2:
            axes.step(xs, ys, where="post", color=FAINT, lw=1.0, zorder=1)
        for i, (point, x, y) in enumerate(zip(front.points, xs, ys, strict=True)):
            axes.plot(
                [x], [y], "o", ms=5.5, mec=PART, mew=1.1, zorder=3,
                mfc=PART if point.supported else "white", gid=mark("front", "point", str(i + 1)),
            )  # fmt: skip
            if len(xs) <= 15:
                axes.annotate(str(i + 1), (x, y), xytext=(4, 4), textcoords="offset points",
                              size=6.5)  # fmt: skip
        if front.picked is not None:
            at = front.picked
            axes.plot([xs[at]], [ys[at]], "o", ms=13, mfc="none", mec=ACCENT, mew=1.8, zorder=4,
                      gid=mark("front", "picked"))  # fmt: skip
            axes.annotate(
                "chosen", (xs[at], ys[at]), xytext=(9, 11), textcoords="offset points",
                color=ACCENT, weight="bold",
            )  # fmt: skip
        axes.set_xlabel(clean(first.title))
        axes.set_ylabel(clean(second.title))
        axes.margins(0.08)
        figure.text(0.96, 0.95, "filled: some weights make it the best; hollow: none do",
                    ha="right", color=QUIET, size=6.5)  # fmt: skip
        return picture("front", "The trade-off, with the chosen point", words, figure)


@dataclass(frozen=True, slots=True)
class SweepPiece:
    """A stretch of the swept number over which one layout is best; `name` tells it apart.

    `points` are (number, score) along it; empty where nothing meets every limit.
    """

    name: str
    low: float
    high: float
    points: tuple[tuple[float, float], ...]
    changes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SweepCurve:
    """The best score over a range of one number, piece by piece; `now` is the study's own."""

    label: str
    unit: str
    pieces: tuple[SweepPiece, ...]
    now: float | None = None
    notes: tuple[str, ...] = ()

    @property
    def switches(self) -> tuple[float, ...]:
        """Where the best layout changes."""
        return tuple(piece.low for piece in self.pieces[1:])


def sweep_picture(curve: SweepCurve) -> Picture | None:
    """Best score against the swept number, each switch point a line with its value."""
    if not curve.pieces:
        return None
    at = ", ".join(f"{x:.4g}" for x in curve.switches) or "nowhere"
    words = f"{curve.label}: the best layout changes at {at} {curve.unit}".strip()
    span = curve.pieces[-1].high - curve.pieces[0].low
    last = -float("inf")
    with look():
        figure = new_figure(PAGE_MM, 92.0)
        axes = figure.add_axes((0.1, 0.15, 0.86, 0.68))
        for i, piece in enumerate(curve.pieces):
            if not piece.points:
                axes.axvspan(piece.low, piece.high, color=FAINT, alpha=0.4, lw=0)
            else:
                axes.plot(
                    *zip(*piece.points, strict=True), color=PART if i % 2 == 0 else PART_LIGHT,
                    lw=2.2, gid=mark("sweep", "piece", str(i + 1)),
                )  # fmt: skip
            if piece.high - piece.low >= 0.02 * span:
                axes.annotate(
                clean(piece.name), ((piece.low + piece.high) / 2, 1.02),
                xycoords=("data", "axes fraction"), ha="center", size=6, color=QUIET,
                )  # fmt: skip
        for i, x in enumerate(curve.switches):
            axes.axvline(x, color=ACCENT, lw=0.9, ls=(0, (4, 2)),
                         gid=mark("sweep", "switch", str(i + 1)))  # fmt: skip
            if x - last < 0.05 * span:
                continue  # the table tells it
            last = x
            axes.annotate(f"{x:.4g}", (x, 1.10), xycoords=("data", "axes fraction"), ha="center",
                          color=ACCENT, weight="bold", size=6.5)  # fmt: skip
        if curve.now is not None and curve.pieces[0].low <= curve.now <= curve.pieces[-1].high:
            axes.axvline(curve.now, color=INK, lw=0.8, ls=":")
            axes.annotate("now", (curve.now, 0.02), xycoords=("data", "axes fraction"),
                          xytext=(3, 0), textcoords="offset points", size=6.5)  # fmt: skip
        axes.set_xlim(curve.pieces[0].low, curve.pieces[-1].high)
        axes.set_xlabel(f"{clean(curve.label)}{', ' + curve.unit if curve.unit else ''}")
        axes.set_ylabel("score of the best layout")
        return picture("sweep", "Where the best layout changes", words, figure)


def trust_picture(found: Trust) -> Picture | None:
    """Layouts by how often they are best, with the Monte Carlo error and the worst regret."""
    ranked = sorted(found.layouts, key=lambda t: (-t.win_share, t.name))[:MOST_SHOWN]
    if not ranked:
        return None
    words = "; ".join(f"{t.name} best in {100 * t.win_share:.0f} %" for t in ranked)
    with look():
        height = 22.0 + _ROW_MM * len(ranked)
        figure = new_figure(PAGE_MM, height)
        top, low = 1.0 - 10.0 / height, 12.0 / height
        wins = figure.add_axes((0.16, low, 0.46, top - low))
        worst = figure.add_axes((0.70, low, 0.24, top - low))
        _bars(
            wins,
            [100 * t.win_share for t in ranked],
            [196 * t.win_se for t in ranked],
            "trust:wins",
        )
        _bars(worst, [t.worst_regret for t in ranked], None, "trust:regret")
        for i, t in enumerate(ranked):
            own = "" if t.rank is None else f" (rank {t.rank})"
            wins.text(-0.02, i, clean(t.name) + own, transform=wins.get_yaxis_transform(),
                      ha="right", va="center")  # fmt: skip
        wins.set_xlim(0, max(1.0, *(100 * t.win_share + 196 * t.win_se for t in ranked)) * 1.16)
        wins.set_xlabel(f"best in % of {found.draws} draws (whiskers: 95 %)")
        worst.set_xlabel("worst regret, score points")
        return picture("trust", "How often each layout is best", words, figure)


def _bars(axes: object, values: Sequence[float], errors: Sequence[float] | None, kind: str) -> None:
    from matplotlib.axes import Axes

    assert isinstance(axes, Axes)
    for i, value in enumerate(values):
        axes.barh(i, value, color=PART if errors else PART_LIGHT, height=0.6,
                  gid=mark(*kind.split(":"), str(i + 1)))  # fmt: skip
        reach = errors[i] if errors else 0.0
        if errors:
            axes.plot([max(0.0, value - reach), value + reach], [i, i], color=ACCENT, lw=1.2)
        axes.annotate(number(value, 1 if errors else 2), (value + reach, i), xytext=(3, 0),
                      textcoords="offset points", va="center", size=6.5)  # fmt: skip
    axes.set_ylim(len(values) - 0.4, -0.6)
    axes.set_yticks([])
