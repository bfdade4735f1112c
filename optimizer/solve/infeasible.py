"""Why nothing fits: limits that clash, the parts they are about, and what would mend it."""

from __future__ import annotations

import time
from math import inf
from typing import TYPE_CHECKING

from optimizer.assess.result import Clash, Infeasible, Obstacle
from optimizer.interrupts import stoppable
from optimizer.problem.presolve import Reduced
from optimizer.setting import Setting

if TYPE_CHECKING:
    from collections.abc import Callable

    from optimizer.solve.conflicts import Clash as ClashingLimits
    from optimizer.solve.conflicts import Oracle
    from optimizer.solve.least_change import LeastChange
    from optimizer.solve.program import Program

#: Clashes told of: who mended three asks again.
MOST_CLASHES = 3
#: Limits on the whole device, which every part has a share in: no use to list the parts.
_OVERALL = (
    "device_mass",
    "sites_in_use",
    "donning_steps",
    "left_right_mass",
    "left_right_swing_inertia",
    "trunk_offset",
    "com_shift",
)
#: More parts than this are not told: the clash is not about parts then.
_MOST_PARTS = 8


def explain(
    setting: Setting,
    reduced: Reduced,
    seconds: float,
    program: Program | None = None,
    on_call: Callable[[], None] | None = None,
    deadline: float = inf,
) -> Infeasible:
    """A smallest set of limits that clash, each with the least change that makes all fit.

    Parameters
    ----------
    reduced : the problem, for the parts that no allowed site takes
    seconds : what the search took before; the explanation's own time is added
    on_call : called before every solve
    deadline : by `time.perf_counter`

    Ctrl-C and the deadline end it with what is known by then.
    """
    from optimizer.solve.conflicts import OutOfTimeError

    started = time.perf_counter()
    problem = reduced.problem
    alone = tuple(
        slot.unit for p, slot in enumerate(problem.slots) if not problem.choices_of(p).size
    )
    clashes: list[Clash] = []
    complete = True
    try:
        with stoppable():
            _find_clashes(setting, clashes, on_call, deadline)
    except (KeyboardInterrupt, OutOfTimeError):
        complete = False
    first = clashes[0] if clashes else Clash(())
    return Infeasible(
        setting.study.name,
        first.obstacles,
        alone,
        seconds + time.perf_counter() - started,
        setting.warnings,
        first.parts,
        first.smallest,
        first.whole,
        tuple(clashes[1:]),
        complete,
    )


def _find_clashes(
    setting: Setting,
    clashes: list[Clash],
    on_call: Callable[[], None] | None,
    deadline: float,
) -> None:
    """Fill `clashes` one by one, each with the limits of those before it lifted."""
    from optimizer.solve.clash_parts import clashing_parts
    from optimizer.solve.conflicts import EFFORT, Oracle, OutOfTimeError, find_clash, keeps_out
    from optimizer.solve.obstacles import obstacles_of

    if time.perf_counter() >= deadline:
        raise OutOfTimeError  # before anything is built
    oracle = Oracle(setting, on_call, deadline)
    if not oracle.fits(()):
        clashes.append(_not_about_limits(oracle))
        return
    found: list[tuple[ClashingLimits, list[int] | None]] = []
    gone: frozenset[int] = frozenset()
    by_part: dict[str, list[int]] = {}
    for p, slot in enumerate(oracle.easing.problem.slots):
        by_part.setdefault(slot.part, []).append(p)
    for slots in by_part.values():
        barred = keeps_out(oracle, slots[0])
        if barred is not None and len(found) < MOST_CLASHES and not gone & set(barred.limits):
            found.append((barred, slots))
            gone |= set(barred.limits)
    while len(found) < MOST_CLASHES:
        clash = find_clash(oracle, gone, effort=EFFORT)
        if clash is None:
            break
        found.append((clash, None))
        gone |= set(clash.limits)
        if not clash.whole:
            break
    for clash, slots_of in found:
        parts = slots_of or []
        changes: dict[int, tuple[LeastChange | None, bool]] = {}
        try:
            if slots_of is None and clash.whole and not _is_overall(oracle, clash):
                parts = clashing_parts(oracle, frozenset(clash.limits))
            _find_changes(oracle, frozenset(clash.limits), changes, alone=len(found) == 1)
        finally:
            # stopped by hand, a clash is told with as many of its changes as are known
            obstacles = obstacles_of(oracle, clash.limits, parts, changes)
            units = tuple(oracle.easing.problem.slots[p].unit for p in parts)
            told = units if len(units) <= _MOST_PARTS else ()
            clashes.append(Clash(obstacles, told, clash.smallest, clash.whole))


def _is_overall(oracle: Oracle, clash: ClashingLimits) -> bool:
    return any(oracle.limits[m].kind in _OVERALL for m in clash.limits)


def _find_changes(
    oracle: Oracle,
    limits: frozenset[int],
    changes: dict[int, tuple[LeastChange | None, bool]],
    *,
    alone: bool,
) -> None:
    """Fill in the least change of each limit of a clash, and whether everything fits then."""
    from optimizer.solve.least_change import least_change

    for m in sorted(limits):
        change = least_change(oracle, m) if alone else None
        enough = change is not None
        if change is None:
            # other limits stand in the way as well: what would at least mend this clash
            change = least_change(oracle, m, oracle.all - limits)
        changes[m] = (change, enough)


def _not_about_limits(oracle: Oracle) -> Clash:
    """Parts whose allowed sites no line can join, whatever its length, or that are closed."""
    from optimizer.solve.clash_parts import unjoinable_parts

    problem, study = oracle.easing.problem, oracle.easing.setting.study
    slots = unjoinable_parts(problem)
    obstacles = []
    for p in slots:
        slot = problem.slots[p]
        part = next(part for part in study.parts if part.name == slot.part)
        names = sorted({name for model in part.models for name in model.sites})
        closed = [
            site.name
            for site in study.sites
            if site.name in names
            and 0.0 in (site.volume_m3, site.max_mass_kg, site.max_thickness_m)
        ]
        where = ", ".join(names) if len(names) <= 3 else f"{len(names)} sites"
        text = f"{slot.unit} is allowed at {where} only"
        if len(closed) == len(names):
            text += ", closed by a 0 in the garment"
        else:
            lines = [
                line.name
                for line in problem.lines
                if {line.slot_a, line.slot_b} <= {*slots} and p in (line.slot_a, line.slot_b)
            ]
            if lines:
                text += f", and no route joins that by {', '.join(lines)} to where it has to go"
        obstacles.append(Obstacle(text, part.models[0].origin, "allowed_sites", slot.unit))
    return Clash(tuple(obstacles), tuple(problem.slots[p].unit for p in slots))
