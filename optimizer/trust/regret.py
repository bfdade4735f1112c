"""The layout of least worst regret over some draws: min over layouts of max over draws of
(score - best score of the draw). Its own mixed-integer program, proven.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

import numpy as np

from optimizer.joint.program import Joint, JointProgram
from optimizer.joint.world import Plan, World
from optimizer.trust.costs import points_of
from optimizer.trust.draws import Draws
from optimizer.trust.scenario import Forms


@dataclass(frozen=True)
class LeastRegret:
    """The layout whose regret, at its worst, is least.

    `regret` and its proven lower `bound` are in score points, over draws solved exactly; `worst`
    is the draw at which it occurs. `plan` None: no layout fits every body (`status` says).
    """

    plan: Plan | None
    regret: float
    bound: float
    proven: bool
    status: str
    worst: int | None
    seconds: float


def least_regret(
    worlds: Sequence[World],
    draws: Draws,
    rows: Sequence[int],
    best: Sequence[float],
    *,
    candidates: Sequence[Plan] = (),
    seed: int = 0,
    threads: int = 1,
    time_limit_s: float = inf,
) -> LeastRegret:
    """Solve for the least worst regret.

    Parameters
    ----------
    worlds : bodies by number, as the draws number them
    rows, best : the draws that count, and the best score of each, exact
    candidates : known layouts; the best of them is where the search starts
    """
    numbers = sorted({int(draws.world[row]) for row in rows})
    if any(worlds[w].emptied for w in numbers):
        return LeastRegret(None, inf, inf, True, "infeasible", None, 0.0)
    program = JointProgram([worlds[w] for w in numbers], seed=seed, threads=threads)
    made = {w: Forms(program, i, points_of(worlds[w].setting)) for i, w in enumerate(numbers)}
    forms = [
        made[int(draws.world[row])].form(draws, row, less=float(value))
        for row, value in zip(rows, best, strict=True)
    ]
    start = None
    least = inf
    for plan in candidates:
        if all(worlds[w].fits(plan) for w in numbers):
            try:
                x = program.columns_of(plan)
            except KeyError:
                continue
            worst = max(form.value(x) for form in forms)
            if worst < least:
                least, start = worst, x
    answer: Joint = program.least_worst(forms, start=start, time_limit_s=time_limit_s)
    if answer.plan is None:
        return LeastRegret(None, inf, answer.bound, True, answer.status, None, answer.seconds)
    worst_row = rows[int(np.argmax(answer.forms))]
    return LeastRegret(
        answer.plan,
        answer.value,
        answer.bound,
        answer.proven,
        answer.status,
        int(worst_row),
        answer.seconds,
    )
