"""Models chosen together with places: walking time, price, response budgets."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from pathlib import Path

import pytest

from optimizer._bundle import bundled
from optimizer.assess.assessment import assess
from optimizer.assess.result import Infeasible
from optimizer.setting import build_setting
from optimizer.solve.figures import FIGURES, models_of, price_of, walking_hours
from optimizer.solve.front import Front, front
from optimizer.solve.front_points import RESPONSE_MS
from optimizer.solve.place import place
from optimizer.solve.sweep_bisect import best_layout
from optimizer.study.load import load_study
from optimizer.study.model import LimitSpec, Study
from optimizer.views.alternatives import alternatives_view
from tests.depth import some
from tests.instances import random_study
from tests.solve.oracle import Enumeration
from tests.tradeoffs.small import small

AIR_ANKLE = bundled("studies") / "air_ankle.toml"
S_PER_H = 3600.0


def powered(study: Study) -> Study:
    """Every part but the first takes power; every model of the first is a battery."""
    parts = []
    for i, part in enumerate(study.parts):
        models = part.models
        if i == 0:
            light = models[0]
            heavy = replace(light, name="more", mass_kg=light.mass_kg * 1.5)
            models = tuple(
                replace(m, power_w=0.0, physics=replace(m.physics, battery_j=joules))
                for m, joules in ((light, 30.0 * S_PER_H), (heavy, 50.0 * S_PER_H))
            )
        else:
            models = tuple(replace(m, power_w=4.0 + 2.0 * k + i) for k, m in enumerate(models))
        parts.append(replace(part, models=models))
    return replace(study, parts=tuple(parts))


def hours(truth: Enumeration, row: int) -> float:
    """Walking time of a layout of the enumeration, added up here."""
    joules = watts = 0.0
    for unit, c in zip(truth.units, truth.chosen[truth.rows[row]], strict=True):
        model = unit.part.models[unit.choices[int(c)][0]]
        joules += model.physics.battery_j or 0.0
        watts += model.power_w
    return joules / watts / S_PER_H


@pytest.mark.parametrize("seed", some(range(10), 5))
def test_the_best_layout_that_walks_long_enough_is_found(seed: int) -> None:
    study = powered(random_study(seed))
    truth = Enumeration(build_setting(study))
    if not truth.feasible:
        return
    told = [hours(truth, row) for row in range(len(truth.scores))]
    for wanted in (0.5 * (min(told) + max(told)), 0.999 * max(told), 1.01 * max(told)):
        limit = LimitSpec("walking_time", "", wanted * S_PER_H, study.origin)
        found = place(replace(study, limits=(*study.limits, limit)), top=1)
        allowed = [s for s, h in zip(truth.scores.tolist(), told, strict=True) if h >= wanted]
        if not allowed:
            assert isinstance(found, Infeasible)
            obstacles = [o for o in found.obstacles if o.kind == "walking_time"]
            assert obstacles and obstacles[0].needed_value == pytest.approx(max(told), rel=1e-3)
            continue
        assert not isinstance(found, Infeasible)
        best = found.layouts[0].assessment
        assert best.score == pytest.approx(min(allowed), rel=1e-7)
        (report,) = (m for m in best.limits if m.kind == "walking_time")
        assert report.value == pytest.approx(walking_hours(study, best))
        assert report.met and report.value >= wanted - 1e-6


def test_a_larger_battery_is_bought_only_when_the_time_asks_for_it(tmp_path: Path) -> None:
    file = small(tmp_path)
    # 31.5 W in all: 40 Wh last 1.27 h, 75 Wh 2.38 h
    for hours_, model in ((1.2, "small"), (1.26, "small"), (1.28, "large"), (2.38, "large")):
        found = place(load_study(file, {"limits.walking_time_h": hours_}), top=1)
        assert not isinstance(found, Infeasible)
        best = found.layouts[0].assessment
        assert {p.model for p in best.parts if p.part == "battery"} == {model}
    nothing = place(load_study(file, {"limits.walking_time_h": 2.39}), top=1)
    assert isinstance(nothing, Infeasible)


def test_price_as_a_goal_lists_what_each_euro_buys(tmp_path: Path) -> None:
    setting = build_setting(load_study(small(tmp_path)))
    dearer = replace(
        setting.study,
        parts=tuple(
            replace(
                part,
                models=tuple(
                    replace(m, price=1.0 if m.name == "large" else m.price) for m in part.models
                ),
            )
            for part in setting.study.parts
        ),
    )
    found = front(dearer, ("metabolic", "price"))
    assert isinstance(found, Front)
    assert len(found.points) == 2
    cheap = min(found.points, key=lambda p: p.values[1])
    light = min(found.points, key=lambda p: p.values[0])
    assert {m.name for u, m in models_of(dearer, cheap.assessment).items() if u == "battery"} == {
        "large"
    }
    assert price_of(dearer, cheap.assessment) == cheap.values[1] == light.values[1] - 59.0


def test_the_table_of_models_marks_what_was_bought(tmp_path: Path) -> None:
    from tests.tradeoffs.shown import shown

    study = load_study(small(tmp_path))
    best = place(study, top=1).layouts[0].assessment  # type: ignore[union-attr]
    view = alternatives_view(study, best)
    assert view is not None
    text = shown(view)
    (small_row,) = (line for line in text.splitlines() if " small " in line)
    (large_row,) = (line for line in text.splitlines() if " large " in line)
    assert small_row.split() == ["battery", "small", "300", "60", "0.0", "yes"]
    assert large_row.split() == ["large", "520", "95", "0.0"]
    assert "31.5 W and cost 410, 1 part without a price not counted" in " ".join(text.split())
    one = replace(study, parts=tuple(replace(p, models=p.models[:1]) for p in study.parts))
    assert alternatives_view(one, best) is None


def test_response_as_a_goal_misses_no_budget_on_a_grid() -> None:
    """At any time asked for, the best layout is no better than a point that keeps to it."""
    study = load_study(AIR_ANKLE)
    found = front(study, ("metabolic",), third="response")
    assert isinstance(found, Front) and found.complete
    slowest = [point.values[1] for point in found.points]
    assert slowest == sorted(slowest, reverse=True) and len(slowest) >= 3
    setting = build_setting(study)
    for point in found.points:
        again = assess(setting, point.assessment.layout)
        assert FIGURES["response_ms"].value(study, again) == pytest.approx(point.values[1])
        assert again.feasible
    weighed = replace(study, weights=replace(study.weights, swing_inertia=0.0))
    for ms in (150.0, 134.5, 121.0, 100.0):
        budgeted = build_setting(within(weighed, ms))
        best, _ = best_layout(budgeted)
        keeping = [p.values[0] for p in found.points if p.values[1] <= ms + RESPONSE_MS]
        if best is None:
            assert not keeping
        else:
            least = assess(budgeted, best).metabolic_pct
            # routes are chosen by the score, which counts swing inertia in the front only
            assert min(keeping) == pytest.approx(least, rel=2e-3)


def within(study: Study, ms: float) -> Study:
    """The study with its one chamber to be filled within a time."""
    lines = []
    for line in study.lines:
        options = []
        for option in line.options:
            p = option.physics
            if line.name == "fill_tube":
                least = min(ms / 1e3, p.response_s or ms / 1e3)
                option = replace(option, physics=replace(p, response_s=least))  # noqa: PLW2901
            options.append(option)
        lines.append(replace(line, options=tuple(options)))
    return replace(study, lines=tuple(lines))


def test_every_combination_of_models_is_looked_at() -> None:
    """Alternatives of several parts against trying each combination by itself."""
    for seed in range(8):
        study = powered(random_study(seed))
        found = place(study, top=1)
        scores = []
        for pick in product(*(range(len(part.models)) for part in study.parts)):
            single = replace(
                study,
                parts=tuple(
                    replace(part, models=(part.models[k],))
                    for part, k in zip(study.parts, pick, strict=True)
                ),
            )
            if any(part.count > 1 and len(part.models) > 1 for part in study.parts):
                break
            try:
                alone = Enumeration(build_setting(single))
            except ValueError:  # nothing fits one part
                continue
            if alone.feasible:
                scores.append(alone.best_score)
        else:
            if scores:
                assert not isinstance(found, Infeasible)
                assert found.layouts[0].assessment.score == pytest.approx(min(scores), rel=1e-6)
