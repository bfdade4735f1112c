"""The ranked list of a problem under any switches, and how two such lists differ."""

from __future__ import annotations

import time
from collections.abc import Hashable
from dataclasses import dataclass
from math import inf

from optimizer.problem.arrays import Problem
from optimizer.problem.presolve import Switches, reduce
from optimizer.solve.layouts import Identity, identity
from optimizer.solve.program import Program
from optimizer.solve.rank import can_search, rank
from speed.switches import names, without

#: Scores this close are equal. The program solved rank by rank stops its tangents of a curved
#: trunk model at 1e-7 of the score, so its ranks are only so far in order.
SAME, SAME_CURVED = 1e-7, 2e-6


@dataclass(frozen=True)
class Listed:
    """Scores in order of rank with what tells the layouts apart; `finished`: all was proven."""

    scores: tuple[float, ...]
    layouts: tuple[Hashable, ...]
    finished: bool
    nodes: int = 0
    chosen: tuple[tuple[int, ...], ...] = ()
    """The problem's choice of every slot, of each layout."""


def listed(problem: Problem, switches: Switches, top: int, limit_s: float = inf) -> Listed:
    """The `top` best different layouts of a problem."""
    reduced = reduce(problem, switches)
    if reduced.emptied:
        return Listed((), (), True)
    if switches.search and can_search(reduced):
        ranked = rank(reduced, top=top, time_limit_s=limit_s, switches=switches)
        nodes = max((outcome.nodes for outcome, _ in ranked.found), default=0)
        found = [(s.score, s.chosen) for _, s in ranked.found]
        return _of(problem, found, ranked.status == "optimal", nodes)
    program = Program(reduced, switches=switches)
    deadline = time.perf_counter() + limit_s
    best: dict[Identity, tuple[float, tuple[int, ...]]] = {}
    finished = True
    while len(best) < top:
        outcome, solution = program.solve(time_limit_s=deadline - time.perf_counter())
        if solution is None or outcome.status != "optimal":
            finished = outcome.status == "infeasible"
            break
        key = identity(problem, solution.chosen)
        best.setdefault(key, (solution.score, solution.chosen))
        program.exclude(solution.chosen)
    return _of(problem, sorted(best.values()), finished)


def _of(
    problem: Problem, found: list[tuple[float, tuple[int, ...]]], finished: bool, nodes: int = 0
) -> Listed:
    keys = tuple(identity(problem, chosen) for _, chosen in found)
    scores = tuple(score for score, _ in found)
    return Listed(scores, keys, finished, nodes, tuple(chosen for _, chosen in found))


def difference(one: Listed, other: Listed, same: float) -> str:
    """How two lists of the same length asked for differ, in words; "" if they do not.

    Scores are compared rank by rank; layouts as a set, those equal to the last rank's left out:
    which of them are listed is anybody's choice.
    """
    if len(one.scores) != len(other.scores):
        return f"{len(one.scores)} layouts against {len(other.scores)}"
    for n, (a, b) in enumerate(zip(one.scores, other.scores, strict=True), 1):
        if abs(a - b) > same * max(1.0, abs(a)):
            return f"rank {n} scores {a!r} against {b!r}"
    if not one.scores:
        return ""
    clear = 2.0 * same * max(1.0, abs(one.scores[-1]))
    mine, theirs = (
        {key for score, key in zip(x.scores, x.layouts, strict=True)
         if score < one.scores[-1] - clear}
        for x in (one, other)
    )  # fmt: skip
    # a layout close to that edge may fall on either side of it
    missing = [key for key in mine - theirs if key not in other.layouts]
    added = [key for key in theirs - mine if key not in one.layouts]
    if missing or added:
        return f"{len(missing)} layouts missing, {len(added)} added"
    return ""


def tolerance(problem: Problem, switches: Switches) -> float:
    """How close scores of equal rank must be."""
    return SAME_CURVED if problem.objective.curve is not None and not switches.search else SAME


def variants() -> dict[str, Switches]:
    """What is held against the default: each switch turned over, alone and where the tree must
    branch because nothing is enumerated; all speed-ups of the search off; all off.

    Made from the fields of `Switches`: a switch added later is tried as well.
    """
    every = names()
    found = {f"{name} off": without(name) for name in every}
    if "enumeration" in every:
        others = [name for name in every if name not in ("enumeration", "search")]
        found |= {f"enumeration, {n} off": without("enumeration", n) for n in others}
    found["all but search off"] = without(*(name for name in every if name != "search"))
    found["all off"] = without(*every)
    return found
