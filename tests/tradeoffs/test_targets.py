"""Questions put backwards: answers verified by solving anew, on both sides of every end."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from optimizer.assess.assessment import assess
from optimizer.errors import InputError
from optimizer.solve.figures import FIGURES
from optimizer.solve.sweep import sweep
from optimizer.solve.sweep_bisect import best_layout
from optimizer.solve.targets import TargetAnswer, target
from optimizer.solve.wish import Wish, parts_at, wish_of
from tests.instances import random_study
from tests.tradeoffs.dials import mass_dial, stature_dial

LOW, HIGH = 0.3, 3.0


def reached(answer: TargetAnswer, value: float) -> bool:
    return any(met.low <= value <= met.high for met in answer.met)


@cache
def middle_value(seed: int, figure: str) -> float | None:
    """A value of the figure that its range along the sweep straddles."""
    study = random_study(seed)
    found = sweep(mass_dial(study, "p0"), LOW, HIGH)
    told = [
        FIGURES[figure].value(study, a)
        for piece in found.pieces
        for a in (piece.at_low, piece.at_high)
        if a is not None
    ]
    if not told or max(told) - min(told) < 1e-3:
        return None
    return 0.55 * min(told) + 0.45 * max(told)


@cache
def instances() -> list[int]:
    """Seeds whose penalty grows with the mass of p0."""
    return [s for s in range(14) if middle_value(s, "metabolic_pct") is not None][:4]


@pytest.mark.parametrize("figure", ["metabolic_pct", "swing_inertia_pct", "assist_w", "worn_g"])
@pytest.mark.parametrize("number", range(3))
def test_a_bound_is_met_where_told_and_nowhere_else(number: int, figure: str) -> None:
    seed = instances()[number]
    bound = middle_value(seed, figure)
    if bound is None:
        return
    dial = mass_dial(random_study(seed), "p0")
    answer = target(dial, LOW, HIGH, wish_of(figure, at_most=bound))
    assert answer.verified and answer.sweep.complete
    ends = [v for met in answer.met for v in (met.low, met.high)]
    grid = [float(v) for v in np.linspace(LOW, HIGH, 10)]
    grid += [v + d for v in ends for d in (-2e-4, 2e-4)]
    for value in grid:
        if not LOW <= value <= HIGH or any(abs(value - end) < 1e-4 for end in ends):
            continue
        setting = dial.setting_at(value)
        layout, _ = best_layout(setting)
        if layout is None:
            assert not reached(answer, value)
            continue
        best = assess(setting, layout)
        met = FIGURES[figure].value(setting.study, best) <= bound + 1e-9
        assert met == reached(answer, value), value


@pytest.mark.parametrize("number", range(4))
def test_where_a_figure_crosses_its_bound_it_equals_it(number: int) -> None:
    seed = instances()[number]
    bound = middle_value(seed, "metabolic_pct")
    assert bound is not None
    wish = wish_of("metabolic_pct", at_most=bound)
    answer = target(mass_dial(random_study(seed), "p0"), LOW, HIGH, wish)
    switches = answer.sweep.switch_points
    for met in answer.met:
        for value, found in ((met.low, met.at_low), (met.high, met.at_high)):
            assert found.metabolic_pct <= bound * (1 + 1e-9)
            if value not in (LOW, HIGH) and all(abs(value - at) > 1e-6 for at in switches):
                assert found.metabolic_pct == pytest.approx(bound, rel=1e-9)


def test_at_least_is_the_other_side_of_at_most() -> None:
    seed = instances()[0]
    bound = middle_value(seed, "metabolic_pct")
    assert bound is not None
    dial = mass_dial(random_study(seed), "p0")
    below = target(dial, LOW, HIGH, wish_of("metabolic_pct", at_most=bound))
    above = target(dial, LOW, HIGH, wish_of("metabolic_pct", at_least=bound))
    for value in np.linspace(LOW, HIGH, 41):
        pieces = [p for p in below.sweep.pieces if p.low <= value <= p.high]
        if all(p.layout is not None for p in pieces):
            assert reached(below, float(value)) or reached(above, float(value))


def test_a_bound_out_of_reach_is_met_nowhere() -> None:
    dial = mass_dial(random_study(instances()[0]), "p0")
    answer = target(dial, LOW, HIGH, wish_of("metabolic_pct", at_most=1e-6))
    assert answer.met == () and answer.verified


@pytest.mark.parametrize("number", range(4))
def test_a_part_sits_where_wanted_exactly_where_told(number: int) -> None:
    study = random_study(instances()[number])
    dial = mass_dial(study, "p0")
    plain = sweep(dial, LOW, HIGH)
    first = next(p.at_low for p in plain.pieces if p.at_low is not None)
    segment = next(p.segment for p in first.parts if p.part == "p0")
    answer = target(dial, LOW, HIGH, Wish(part="p0", where=segment))
    assert answer.verified
    for piece in plain.pieces:
        if piece.at_low is not None:
            there = parts_at(study, piece.at_low, "p0", segment)
            assert reached(answer, 0.5 * (piece.low + piece.high)) == there


def test_a_place_may_be_a_site_a_pattern_a_side_or_a_tag() -> None:
    study = random_study(instances()[0])
    tagged = tuple(replace(s, tags=frozenset({s.segment})) for s in study.sites)
    study = replace(study, sites=tagged)
    dial = mass_dial(study, "p0")
    found = next(p.at_low for p in sweep(dial, LOW, HIGH).pieces if p.at_low is not None)
    p0 = next(p for p in found.parts if p.part == "p0")
    for where in (p0.site, f"{p0.site[:-1]}?", f"{p0.segment}.{p0.side}", f"#{p0.segment}", "s*"):
        assert parts_at(study, found, "p0", where), where
    assert not parts_at(study, found, "p0", "nowhere")


def test_a_target_along_a_bracketed_number_is_verified_too() -> None:
    dial = stature_dial(random_study(instances()[0]))
    ends = []
    for value in (1.55, 1.85):
        layout, _ = best_layout(dial.setting_at(value))
        assert layout is not None
        ends.append(assess(dial.setting_at(value), layout).metabolic_pct)
    answer = target(dial, 1.55, 1.85, wish_of("metabolic_pct", at_most=0.5 * sum(ends)))
    assert answer.met and answer.verified


@pytest.mark.parametrize(
    "wish",
    [
        {"figure": "metabolic"},
        {"figure": "metabolic_pct"},
        {"figure": "metabolic_pct", "at_most": 1.0, "at_least": 2.0},
        {"part": "p0"},
        {},
        {"figure": "score", "at_most": 1.0, "part": "p0", "where": "trunk"},
        {"figure": "metabolic_pct", "at_most": float("inf")},
        {"figure": "metabolic_pct", "at_least": float("nan")},
        {"part": "p9", "where": "trunk"},
        {"part": "p0", "where": "head"},
    ],
)
def test_wishes_that_cannot_be_are_refused(wish: dict[str, object]) -> None:
    with pytest.raises(InputError):
        target(mass_dial(random_study(0), "p0"), LOW, HIGH, wish_of(**wish))  # type: ignore[arg-type]
