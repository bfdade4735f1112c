"""Charts of one layout: mass against penalty by segment, and every line against its budgets."""

from __future__ import annotations

from dataclasses import dataclass

from optimizer.assess.figures import JUDGED
from optimizer.assess.result import Assessment, LineReport
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
from optimizer.views.bars import segment_rows
from optimizer.views.quantity import cut_mm, number
from optimizer.views.words import clean

_ROW_MM = 6.2
_HEAD_MM = 16.0
_TALLEST_MM = 220.0


def segments_picture(assessment: Assessment) -> Picture:
    """Mass by segment to the left, what it costs to the right, vest on top."""
    rows = segment_rows(assessment)
    words = "; ".join(
        f"{row.words}: {number(row.mass_kg * 1e3, 0)} g, {number(row.metabolic_w, 2)} W"
        for row in rows
    )
    with look():
        figure = new_figure(PAGE_MM, _HEAD_MM + 8.0 * max(1, len(rows)))
        left = figure.add_axes((0.04, 0.10, 0.38, 0.70))
        right = figure.add_axes((0.58, 0.10, 0.38, 0.70))
        most_kg = max((r.mass_kg for r in rows), default=0.0) or 1.0
        most_w = max((abs(r.metabolic_w) for r in rows), default=0.0) or 1.0
        for i, row in enumerate(rows):
            left.barh(i, row.mass_kg * 1e3, color=PART_LIGHT, height=0.62,
                      gid=mark("segments", "mass", row.name))  # fmt: skip
            right.barh(i, row.metabolic_w, color=PART, height=0.62,
                       gid=mark("segments", "watts", row.name))  # fmt: skip
            left.text(row.mass_kg * 1e3 + 0.015 * most_kg * 1e3, i,
                      f"{number(row.mass_kg * 1e3, 0)} g", ha="right", va="center")  # fmt: skip
            right.text(row.metabolic_w + 0.015 * most_w, i, f"{number(row.metabolic_w, 2)} W",
                       ha="left", va="center")  # fmt: skip
            figure.text(0.5, 0.10 + 0.70 * (len(rows) - i - 0.5) / len(rows), row.words,
                        ha="center", va="center", weight="bold")  # fmt: skip
        left.set_xlim(1.18 * most_kg * 1e3, 0)
        right.set_xlim(0, 1.18 * most_w)
        for axes in (left, right):
            axes.set_ylim(len(rows) - 0.5, -0.5)
            axes.set_axis_off()
        figure.text(0.42, 0.88, "worn mass, g", ha="right", color=QUIET)
        figure.text(0.58, 0.88, "metabolic penalty, W", ha="left", color=QUIET)
        return picture("segments", "Where the mass is, and what it costs", words, figure)


@dataclass(frozen=True, slots=True)
class Budget:
    """One figure of a line against what was asked: `used` is a share, 1 the whole budget."""

    line: str
    what: str
    used: float
    told: str


def budgets(lines: tuple[LineReport, ...]) -> tuple[Budget, ...]:
    """Every figure of every line that a budget judges, the nearest to its budget first.

    Of a line that nothing else judges, its length.
    """
    found: list[Budget] = []
    for line in lines:
        before = len(found)
        for judged in JUDGED:
            budget = judged.budget(line.physics)
            name = f"{judged.name}_{judged.suffix}"
            if budget is None or budget <= 0.0 or name not in line.physics:
                continue
            value = judged.value(line.physics)
            told = f"{value:.3g} of {budget:.3g} {judged.unit}"
            found.append(Budget(line.line, judged.words, value / budget, told))
        if line.max_length_m and len(found) == before:
            told = f"{cut_mm(line.length_m)} of {number(line.max_length_m * 1e3, 0)} mm"
            share = line.length_m / line.max_length_m
            found.append(Budget(line.line, "length", share, told))
    return tuple(sorted(found, key=lambda b: (-b.used, b.line, b.what)))


def lines_picture(assessment: Assessment) -> Picture | None:
    """Each line's response, drop, loss or length as a share of its budget; None without any."""
    found = budgets(assessment.lines)
    if not found:
        return None
    words = "; ".join(f"{b.what} of {b.line}: {b.told}" for b in found)
    with look():
        height = _HEAD_MM + 3.0 + min(_ROW_MM * len(found), _TALLEST_MM)
        figure = new_figure(PAGE_MM, height)
        axes = figure.add_axes((0.34, 11.0 / height, 0.48, 1.0 - 18.0 / height))
        longest = max(1.0, *(b.used for b in found))
        for i, b in enumerate(found):
            over = b.used > 1.0 + 2e-6
            plain = PART_LIGHT if b.what == "length" else PART
            axes.barh(i, b.used * 100, height=0.62, color="white" if over else plain,
                      edgecolor=ACCENT if over else plain, hatch="////" if over else None,
                      gid=mark("lines", b.what, b.line))  # fmt: skip
            axes.text(-1.5, i, f"{clean(b.line)}: {b.what}", ha="right", va="center")
            axes.text(longest * 100 + 3, i, b.told + (", OVER" if over else ""), ha="left",
                      va="center", color=ACCENT if over else INK)  # fmt: skip
        axes.axvline(100, color=ACCENT, lw=1.2, gid=mark("lines", "budget"))
        axes.set_xlim(0, longest * 100)
        axes.set_ylim(len(found) - 0.4, -0.6)
        axes.set_yticks([])
        axes.spines["left"].set_color(FAINT)
        axes.set_xlabel("share of the budget used, %")
        figure.text(0.34, 1.0 - 4.5 / height, "dark: response, drop or loss; light: length",
                    color=QUIET, va="center")  # fmt: skip
        return picture("lines", "Every line against its budget", words, figure)
