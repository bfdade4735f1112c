"""Bars are as long as the numbers they stand for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from svg_reading import Drawing

from optimizer.report.charts import budgets, lines_picture, segments_picture
from optimizer.report.tradeoff_charts import (
    SweepCurve,
    SweepPiece,
    front_picture,
    sweep_picture,
    trust_picture,
)
from optimizer.trust.result import Missing, Trust, Trusted
from optimizer.views.bars import segment_rows


def length(drawing: Drawing, name: str) -> float:
    return float(np.ptp(drawing.path(name)[:, 0]))


def test_segment_bars_go_with_mass_and_watts(results):
    drawing = Drawing(segments_picture(results.plan).svg)
    rows = segment_rows(results.plan)
    assert len(rows) >= 3
    for kind, value in (("mass", "mass_kg"), ("watts", "metabolic_w")):
        drawn = [length(drawing, f"segments:{kind}:{row.name}") for row in rows]
        true = [getattr(row, value) for row in rows]
        assert np.array(drawn) / max(drawn) == pytest.approx(np.array(true) / max(true), abs=1e-4)


def test_watts_by_segment_add_up_to_the_whole(results):
    rows = segment_rows(results.plan)
    assert sum(r.metabolic_w for r in rows) == pytest.approx(results.plan.metabolic_w, rel=1e-12)
    assert sum(r.mass_kg for r in rows) == pytest.approx(results.plan.total_mass_kg, rel=1e-12)


def test_line_bars_go_with_the_share_of_the_budget_and_an_overrun_is_said(results):
    lines = results.plan.lines
    long = replace(lines[0], max_length_m=lines[0].length_m / 1.25, physics={})
    plan = replace(results.plan, lines=(long, *lines[1:]))
    found = budgets(plan.lines)
    assert found[0].line == long.line and found[0].used == pytest.approx(1.25)
    picture = lines_picture(plan)
    assert picture is not None
    drawing = Drawing(picture.svg)
    drawn = [length(drawing, f"lines:{b.what.replace(' ', '_')}:{b.line}") for b in found]
    true = np.array([b.used for b in found])
    assert np.array(drawn) / drawn[0] == pytest.approx(true / true[0], abs=1e-4)
    budget = drawing.path("lines:budget")[0, 0]
    start = drawing.path(f"lines:length:{long.line}")[:, 0].min()
    assert (budget - start) / drawn[0] == pytest.approx(1 / 1.25, abs=1e-3)


def test_every_judged_figure_of_a_line_is_shown_against_its_budget(results):
    line = replace(results.plan.lines[0], physics={"fill_ms": 96.0, "fill_budget_ms": 120.0})
    found = budgets((line,))
    assert [(b.what, b.told) for b in found] == [("fill time", "96 of 120 ms")]
    assert found[0].used == pytest.approx(0.8)


def test_no_line_with_a_budget_makes_no_chart(results):
    bare = tuple(replace(n, max_length_m=None, physics={}) for n in results.plan.lines)
    assert lines_picture(replace(results.plan, lines=bare)) is None


def test_front_points_stand_in_proportion_and_the_chosen_one_is_ringed(solved):
    from optimizer.solve.front import front

    found = front(solved.setting)
    picture = front_picture(found)
    assert picture is not None
    drawing = Drawing(picture.svg)
    ring = drawing.marker("front:picked")
    chosen = drawing.marker(f"front:point:{found.picked + 1}")
    assert ring == pytest.approx(chosen)
    point = found.points[0]
    spread = [(8.0, 3.0), (9.0, 2.5), (11.0, 1.0)]
    wide = replace(found, points=tuple(replace(point, values=v) for v in spread), picked=1)
    drawing = Drawing(front_picture(wide).svg)
    at = np.array([drawing.marker(f"front:point:{i}") for i in (1, 2, 3)])
    true = np.array(spread)
    for axis in (0, 1):
        drawn = (at[:, axis] - at[0, axis]) / (at[2, axis] - at[0, axis])
        expected = (true[:, axis] - true[0, axis]) / (true[2, axis] - true[0, axis])
        assert drawn == pytest.approx(expected, abs=1e-4)


def test_switch_points_stand_where_they_are():
    curve = SweepCurve(
        "parts.pump.mass_g",
        "g",
        (
            SweepPiece("A", 100.0, 250.0, ((100.0, 4.0), (250.0, 5.0))),
            SweepPiece("B", 250.0, 500.0, ((250.0, 5.0), (500.0, 5.8))),
            SweepPiece("C", 500.0, 600.0, ()),
        ),
        450.0,
    )
    assert curve.switches == (250.0, 500.0)
    drawing = Drawing(sweep_picture(curve).svg)
    first, second = (drawing.path(f"sweep:switch:{i}")[0, 0] for i in (1, 2))
    a, b = (drawing.path(f"sweep:piece:{i}") for i in (1, 2))
    assert a[-1, 0] == pytest.approx(first) and b[0, 0] == pytest.approx(first)
    assert b[-1, 0] == pytest.approx(second)
    assert (first - a[0, 0]) / (second - a[0, 0]) == pytest.approx(150 / 400, abs=1e-4)
    assert (a[-1, 1] - a[0, 1]) / (b[-1, 1] - a[0, 1]) == pytest.approx(1.0 / 1.8, abs=1e-4)


def test_trust_is_ranked_by_share_of_wins(results):
    def one(name: str, share: float, worst: float, rank: int | None) -> Trusted:
        return Trusted(name, None, None, rank, share, 0.01, 0.1, worst, worst, 1.0)  # type: ignore[arg-type]

    found = Trust(
        "mine",
        (one("B", 0.25, 0.4, None), one("A", 0.75, 0.2, 1)),
        2000, 0, 60, 60, 0, 0, None, None, Missing(30, 0, 0.1), None, None, (), True, 1.0, (),
    )  # type: ignore[arg-type]  # fmt: skip
    picture = trust_picture(found)
    drawing = Drawing(picture.svg)
    shares = [length(drawing, f"trust:wins:{i}") for i in (1, 2)]
    assert shares[1] / shares[0] == pytest.approx(1 / 3, abs=1e-4)
    regrets = [length(drawing, f"trust:regret:{i}") for i in (1, 2)]
    assert regrets[1] / regrets[0] == pytest.approx(2.0, abs=1e-3)
    assert picture.words.startswith("A best in 75 %")
