"""Questions put the other way round: at which values of a number is something so.

"How light must the ankle unit be for the penalty to stay under 5 % of walking power", "which
valve mass makes it worth moving to the vest": the sweep says which layout is best where, a figure
of that layout is followed along each piece, and every end of the answer is solved anew.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from math import inf

from optimizer.assess.assessment import assess
from optimizer.assess.result import Assessment
from optimizer.solve.relay import relay
from optimizer.solve.sweep import sweep
from optimizer.solve.sweep_bisect import best_layout
from optimizer.solve.sweep_dial import Dial
from optimizer.solve.sweep_result import Sweep, SweepPiece
from optimizer.solve.wish import Wish, parts_at, require_known

#: Points of a piece at which a figure is looked at for crossing the wanted value.
LOOKS = 9
#: How exactly a figure meets the wanted value at the end of an answer, relative to it or 1.
MEETS = 1e-6


@dataclass(frozen=True, slots=True)
class Checked:
    """An end of an answer, solved anew: the best layout there, and whether it is as said."""

    value: float
    assessment: Assessment | None
    met: bool


@dataclass(frozen=True, slots=True)
class Met:
    """From `low` to `high` the wish is met, by the pieces numbered; the ends are `checked`.

    An end that is not an end of the range is where the wish stops being met: at `checked` values
    just inside. `at_low`, `at_high` are the best layouts there.
    """

    low: float
    high: float
    pieces: tuple[int, ...]
    at_low: Assessment
    at_high: Assessment
    checked: tuple[Checked, ...]


@dataclass(frozen=True, slots=True)
class TargetAnswer:
    """Where along a number a wish is met by the best layout."""

    wish: Wish
    sweep: Sweep
    met: tuple[Met, ...]
    verified: bool
    """Whether solving anew at every end gave what the sweep says."""
    solves: int
    seconds: float
    nearest: tuple[float, float] | None
    """Where no layout's figure meets its bound: the value at which one comes nearest, and it."""


def target(
    dial: Dial,
    low: float,
    high: float,
    wish: Wish,
    *,
    time_limit_s: float = inf,
    on_solve: Callable[[int], None] | None = None,
) -> TargetAnswer:
    """Where from low to high the best layout meets a wish.

    The best layout is the one of the study's own score; to look for the least of a figure itself,
    weigh nothing else.

    Raises
    ------
    InputError
        For a wish that names no figure, part or place of the study.
    SearchStoppedError
        If the time was up while an end was solved anew.
    """
    started = time.perf_counter()
    require_known(dial.study_at(low), wish)
    found = sweep(dial, low, high, time_limit_s=time_limit_s, on_solve=on_solve)
    stretches: list[Stretch] = []
    looked: dict[float, float] = {}
    for number, piece in enumerate(found.pieces):
        stretches += [(a, b, number) for a, b in _where_met(dial, piece, wish, looked)]
    met, verified, solves = [], True, 0
    for together in _joined(stretches, found):
        answer = _answer(dial, found, together, wish, time_limit_s - _since(started))
        met.append(answer)
        solves += len(answer.checked)
        verified = verified and all(check.met for check in answer.checked)
    return TargetAnswer(
        wish,
        found,
        tuple(met),
        verified,
        found.solves + solves,
        time.perf_counter() - started,
        None if met else _nearest(wish, looked),
    )


def _nearest(wish: Wish, looked: dict[float, float]) -> tuple[float, float] | None:
    """The value with the least excess of those looked at, and the figure there."""
    if not looked:
        return None
    at = min(looked, key=lambda value: looked[value])
    if wish.at_most is not None:
        return at, wish.at_most + looked[at]
    assert wish.at_least is not None
    return at, wish.at_least - looked[at]


def _since(started: float) -> float:
    return time.perf_counter() - started


def _at(dial: Dial, piece: SweepPiece, value: float) -> Assessment:
    """A piece's layout assessed at a value."""
    assert piece.layout is not None
    if value == piece.low and piece.at_low is not None:
        return piece.at_low
    if value == piece.high and piece.at_high is not None:
        return piece.at_high
    setting = dial.setting_at(value)
    there = relay(setting, piece.layout)
    assert there is not None
    return assess(setting, there)


def _where_met(
    dial: Dial, piece: SweepPiece, wish: Wish, looked: dict[float, float]
) -> list[tuple[float, float]]:
    """The stretches of a piece in which its layout meets the wish.

    Of a figure, by how much it misses its bound at every value looked at goes to `looked`.
    """
    if piece.at_low is None or piece.layout is None:
        return []
    if wish.figure is None:
        study = dial.setting_at(piece.low).study
        assert wish.part is not None and wish.where is not None
        met = parts_at(study, piece.at_low, wish.part, wish.where)
        return [(piece.low, piece.high)] if met else []
    if dial.whole:
        looks = [float(v) for v in range(round(piece.low), round(piece.high) + 1)]
    else:
        step = (piece.high - piece.low) / (LOOKS - 1)
        looks = [piece.low + i * step for i in range(LOOKS - 1)] + [piece.high]

    def excess(value: float) -> float:
        return wish.excess(dial.setting_at(value).study, _at(dial, piece, value))

    over = [excess(value) for value in looks]
    looked.update(zip(looks, over, strict=True))
    found: list[tuple[float, float]] = []
    start: float | None = None
    for i, value in enumerate(looks):
        if over[i] <= 0.0:
            if start is None:
                start = value
                if i > 0 and not dial.whole:
                    start = _root(excess, looks[i - 1], value)
            if i == len(looks) - 1:
                found.append((start, value))
        elif start is not None:
            end = looks[i - 1] if dial.whole else _root(excess, looks[i - 1], value)
            found.append((start, end))
            start = None
    return found


def _root(excess: Callable[[float], float], a: float, b: float) -> float:
    from scipy.optimize import brentq

    at_a, at_b = excess(a), excess(b)
    if at_a == 0.0:
        return a
    if at_b == 0.0:
        return b
    return float(brentq(excess, a, b, xtol=1e-12 * max(1.0, abs(b)), rtol=1e-13))


Stretch = tuple[float, float, int]


def _joined(stretches: list[Stretch], found: Sweep) -> list[list[Stretch]]:
    """Stretches that touch, together."""
    groups: list[list[Stretch]] = []
    for stretch in stretches:
        touching = groups and (
            groups[-1][-1][1] == stretch[0]
            if not found.dial.whole
            else stretch[0] - groups[-1][-1][1] <= 1.0
        )
        if touching:
            groups[-1].append(stretch)
        else:
            groups.append([stretch])
    return groups


def _answer(
    dial: Dial, found: Sweep, together: list[Stretch], wish: Wish, time_limit_s: float
) -> Met:
    low, high = together[0][0], together[-1][1]
    numbers = tuple(dict.fromkeys(number for _, _, number in together))
    first, last = found.pieces[numbers[0]], found.pieces[numbers[-1]]
    at_low, at_high = _at(dial, first, low), _at(dial, last, high)
    span = found.high - found.low
    inside = 0.0 if dial.whole else min(0.5 * (high - low), 1e-5 * span)
    checked: list[Checked] = []
    for value, piece in ((low + inside, first), (high - inside, last)):
        if value in (check.value for check in checked):
            continue
        checked.append(_check(dial, value, _at(dial, piece, value), wish, time_limit_s))
    return Met(low, high, numbers, at_low, at_high, tuple(checked))


def _check(
    dial: Dial, value: float, expected: Assessment, wish: Wish, time_limit_s: float
) -> Checked:
    """Solve anew at a value: the score must be the sweep's, and the wish met."""
    setting = dial.setting_at(value)
    layout, score = best_layout(setting, max(time_limit_s, 0.0))
    if layout is None:
        return Checked(value, None, False)
    best = assess(setting, layout)
    same = abs(score - expected.score) <= MEETS * max(1.0, abs(expected.score))
    # of layouts that score the same, the sweep's may be another one
    judged = expected if same else best
    if wish.figure is None:
        assert wish.part is not None and wish.where is not None
        met = parts_at(setting.study, judged, wish.part, wish.where)
    else:
        size = max(1.0, abs(wish.at_most if wish.at_most is not None else wish.at_least or 0.0))
        met = wish.excess(setting.study, judged) <= MEETS * size
    return Checked(value, judged, same and met)
