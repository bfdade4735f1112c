"""Along one number: every value at which the best layout changes, and what is best between.

Two ways. Where the number moves costs and limits evenly (a mass, a weight, a limit, and what
scales with the wearer's walking power) the switch points are exact and none is missed
(`optimizer.solve.sweep_exact`); the program is built once and changed in place. Otherwise the
study is solved on a grid and switch points are bracketed (`optimizer.solve.sweep_bisect`). Which
it was, and why, is part of the answer.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from math import inf

from optimizer.assess.result import Layout
from optimizer.errors import Flaw, InputError, Origin
from optimizer.interrupts import stoppable
from optimizer.solve.epsilon import WITHOUT_BALLAST, SearchStoppedError
from optimizer.solve.layouts import layout_of
from optimizer.solve.relay import layout_key
from optimizer.solve.sweep_assess import SweepAssessor
from optimizer.solve.sweep_bisect import ALL_WHOLE, BisectSweep, Held
from optimizer.solve.sweep_dial import Dial
from optimizer.solve.sweep_exact import PAST, ExactSweep
from optimizer.solve.sweep_family import Family
from optimizer.solve.sweep_program import EQUAL
from optimizer.solve.sweep_result import BISECTION, EXACT, Sweep, SweepPiece
from optimizer.solve.sweep_sample import NotSteadyError
from optimizer.solve.sweep_split import steady_families


def sweep(
    dial: Dial,
    low: float,
    high: float,
    *,
    method: str | None = None,
    time_limit_s: float = inf,
    on_solve: Callable[[int], None] | None = None,
) -> Sweep:
    """The best layouts from low to high, and the switch points between.

    Parameters
    ----------
    method : "exact" or "bisection" to insist on one; None for the exact one where it can be
    on_solve : told the number of solves so far

    Raises
    ------
    InputError
        If the range is empty, the study cannot be used at a value in it, or "exact" is asked for
        where it cannot be.
    """
    started = time.perf_counter()
    if not low < high:
        flaw = Flaw(Origin("range"), f"from {low:g} to {high:g}", "a range from low to high")
        raise InputError([flaw])
    ends = [dial.setting_at(value) for value in (low, high)]
    for setting in ends:
        if setting.study.counterweight is not None:
            said = "a counterweight allowed: its mass may be anything at each value of the number"
            raise InputError([Flaw(setting.study.counterweight.origin, said, WITHOUT_BALLAST)])
    deadline = inf if time_limit_s == inf else started + time_limit_s
    whole = _is_whole(dial, low, high)
    families: list[Family] = []
    reason: str | None = None
    if whole:
        reason = "it can only be a whole number: every one was solved"
    elif method != BISECTION:
        try:
            families = steady_families(dial, low, high)
        except NotSteadyError as why:
            reason = str(why)
    else:
        reason = "it was asked for"
    if method == EXACT and not families:
        flaw = Flaw(Origin("method"), EXACT, f"{BISECTION}: {reason}")
        raise InputError([flaw])
    assessor = SweepAssessor(dial, families)
    if families:
        found = _exact(assessor, families, deadline, on_solve)
    else:
        dial.whole = whole
        found = _bisect(dial, low, high, deadline, on_solve)
    held, solves, stopped, grid = found
    pieces = _pieces(assessor, held, high - low)
    return Sweep(
        ends[0].study.name,
        dial,
        low,
        high,
        EXACT if families else BISECTION,
        reason,
        PAST if families else 1e-6,
        grid,
        pieces,
        stopped is None,
        stopped,
        solves,
        time.perf_counter() - started,
        tuple(dict.fromkeys((*ends[0].warnings, *ends[-1].warnings))),
    )


Found = tuple[list[Held], int, str | None, float | None]


def _exact(
    assessor: SweepAssessor,
    families: list[Family],
    deadline: float,
    on_solve: Callable[[int], None] | None,
) -> Found:
    held: list[Held] = []
    solves, stopped = 0, None
    for family in families:
        spec = family.base.setting.study.solve
        before = solves

        def tell(n: int, before: int = before) -> None:
            if on_solve is not None:
                on_solve(before + n)

        search = ExactSweep(
            family, seed=spec.seed, threads=spec.threads, deadline=deadline, on_solve=tell
        )
        try:
            with stoppable():
                search.run()
        except SearchStoppedError as stop:
            stopped = stop.why
        except KeyboardInterrupt:  # between two solves
            stopped = "interrupted"
        solves += search.solves
        base = family.base
        for stretch in search.stretches:
            layout = None
            if stretch.winner is not None:
                layout = layout_of(base.setting, base.problem, stretch.winner.solution)
            a, b = family.value_of(stretch.low), family.value_of(stretch.high)
            if stretch.winner is not None and layout is not None:
                for s, value in ((stretch.low, a), (stretch.high, b)):
                    assessor.require(layout, value, family.arrays.score(stretch.winner, s))
            new = Held(layout, a, b)
            if held and stretch is search.stretches[0] and _as_good(assessor, held[-1].layout, new):
                new = Held(held[-1].layout, a, b)
            _join(held, new)
        if stopped is not None:
            break
    return held, solves, stopped, None


def _as_good(assessor: SweepAssessor, layout: Layout | None, new: Held) -> bool:
    """Whether a layout is as good as a stretch's own at both its ends, and allowed there."""
    if layout is None or new.layout is None:
        return False
    for value in (new.low, new.high):
        old, best = assessor.at(layout, value), assessor.surely(new.layout, value)
        if old is None or not old.feasible:
            return False
        if old.score > best.score + EQUAL * max(1.0, abs(best.score)):
            return False
    return True


def _join(held: list[Held], new: Held) -> None:
    """Add a stretch, joined to the one before if the layout is the same."""
    if held:
        before = held[-1]
        if (before.layout is None) == (new.layout is None) and (
            before.layout is None
            or new.layout is None
            or layout_key(before.layout) == layout_key(new.layout)
        ):
            held[-1] = Held(before.layout, before.low, new.high)
            return
    held.append(new)


def _bisect(
    dial: Dial,
    low: float,
    high: float,
    deadline: float,
    on_solve: Callable[[int], None] | None,
) -> Found:
    search = BisectSweep(dial, low, high, deadline=deadline, on_solve=on_solve)
    stopped = None
    try:
        with stoppable():
            search.run()
    except SearchStoppedError as stop:
        stopped = stop.why
    except KeyboardInterrupt:  # between two solves
        stopped = "interrupted"
    points = search.points
    grid = None if dial.whole else points[1] - points[0]
    return search.held, search.solves, stopped, grid


def _is_whole(dial: Dial, low: float, high: float) -> bool:
    """Whether the number can only be whole: a half is refused where the neighbours are not."""
    if dial.whole:
        return True
    if not (float(low).is_integer() and float(high).is_integer()):
        return False
    try:
        dial.study_at(low + 0.5)
    except InputError:
        dial.study_at(low + 1.0)
        if high - low > ALL_WHOLE:
            expected = f"at most {ALL_WHOLE} whole numbers"
            flaw = Flaw(Origin("range"), f"from {low:g} to {high:g}", expected)
            raise InputError([flaw]) from None
        return True
    return False


def _pieces(assessor: SweepAssessor, held: list[Held], span: float) -> tuple[SweepPiece, ...]:
    pieces = []
    whole = assessor.dial.whole
    for i, here in enumerate(held):
        if here.layout is None:
            pieces.append(SweepPiece(here.low, here.high, None, None))
            continue
        before = _into(held[i - 1] if i else None, span, whole=whole, at_end=True)
        after = _into(held[i + 1] if i + 1 < len(held) else None, span, whole=whole, at_end=False)
        pieces.append(
            SweepPiece(
                here.low,
                here.high,
                assessor.surely(here.layout, here.low),
                assessor.surely(here.layout, here.high),
                () if before is None else assessor.broken(here.layout, before),
                () if after is None else assessor.broken(here.layout, after),
            )
        )
    return tuple(pieces)


def _into(neighbour: Held | None, span: float, *, whole: bool, at_end: bool) -> float | None:
    """A value a little way into a neighbouring stretch."""
    if neighbour is None:
        return None
    if whole:
        return neighbour.high if at_end else neighbour.low
    inside = min(0.5 * (neighbour.high - neighbour.low), 1e-3 * span)
    return neighbour.high - inside if at_end else neighbour.low + inside
