"""The complete front: every trade-off between two or three goals that nothing beats."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import inf

import numpy as np

from optimizer.assess.result import Assessment, Infeasible
from optimizer.problem.presolve import Switches
from optimizer.setting import Setting, build_setting
from optimizer.solve.epsilon import Vector
from optimizer.solve.front_points import RESPONSE, find_points, find_points_with_response
from optimizer.solve.goals import Goal, goals_of
from optimizer.solve.place import place
from optimizer.study.model import Study, Weights

DEFAULT_GOALS = ("metabolic", "swing_inertia")
#: Scores closer than this are equal when it is asked which point wins at which weights.
TIE = 1e-9


@dataclass(frozen=True, slots=True)
class FrontPoint:
    """One layout of the front.

    `values` are in the order of the goals. `supported` says whether some weights make it the
    best. For two goals `weights` is the interval of the second goal's weight, the first's being
    1, in which it wins; for three it is None and `example` gives weights at which it wins.
    """

    values: Vector
    assessment: Assessment
    supported: bool
    weights: tuple[float, float] | None
    example: Vector | None


@dataclass(frozen=True, slots=True)
class Front:
    """All non-dominated layouts, by the first goal ascending.

    `complete`: whether the list is proven to miss none; if not, `stopped` says why it ended.
    `picked`: the number of the point that `place` would pick, None if the study's own score
    counts what the goals do not; `pick` is `place`'s layout either way (None if unknown).
    """

    study_name: str
    goals: tuple[Goal, ...]
    points: tuple[FrontPoint, ...]
    complete: bool
    stopped: str | None
    picked: int | None
    pick: Assessment | None
    seconds: float
    solves: int
    warnings: tuple[str, ...]


def front(
    study: Study | Setting,
    objectives: Sequence[str] = DEFAULT_GOALS,
    third: str | None = None,
    *,
    time_limit_s: float | None = None,
    on_point: Callable[[int], None] | None = None,
    switches: Switches = Switches(),  # noqa: B008 - frozen
) -> Front | Infeasible:
    """Every non-dominated layout of a study in two goals, or in three with `third`.

    Names are those of `optimizer.solve.goals.GOALS`. Lines run as the study's own score leads
    them, whatever the goals. Layouts that differ by less than a goal's resolution in every goal
    count once. Ctrl-C or the time limit end the search; what was found by then is returned.

    Raises
    ------
    InputError
        For unknown or repeated goals.
    DisagreementError
        If the program and the assessment disagree about a layout.
    """
    started = time.perf_counter()
    setting = study if isinstance(study, Setting) else build_setting(study)
    names = (*objectives, *((third,) if third is not None else ()))
    goals = goals_of(setting, names)
    spec = setting.study.solve
    budget = spec.time_limit_s if time_limit_s is None else time_limit_s
    deadline = inf if budget == inf else started + budget
    sums = [goal for goal in goals if goal.name != RESPONSE]
    if len(sums) < len(goals):
        found = find_points_with_response(
            setting,
            sums,
            names.index(RESPONSE),
            deadline=deadline,
            on_point=on_point,
            switches=switches,
        )
    else:
        found = find_points(setting, goals, deadline=deadline, on_point=on_point, switches=switches)
    if found.infeasible is not None:
        return found.infeasible
    wins = winning_weights(found.vectors) if len(goals) == 2 else None
    examples = None if len(goals) == 2 else example_weights(found.vectors)
    listed = []
    for i, (vector, assessment) in enumerate(zip(found.vectors, found.assessments, strict=True)):
        weights = None if wins is None else wins[i]
        example = None if examples is None else examples[i]
        supported = weights is not None or example is not None
        listed.append(FrontPoint(vector, assessment, supported, weights, example))
    picked, pick = None, None
    if found.stopped is None:
        left = inf if budget == inf else budget - (time.perf_counter() - started)
        picked, pick = _pick(setting, goals, found.assessments, left)
    return Front(
        setting.study.name,
        tuple(goals),
        tuple(listed),
        found.stopped is None,
        found.stopped,
        picked,
        pick,
        time.perf_counter() - started,
        found.solves,
        setting.warnings,
    )


def weighed_by(goals: Sequence[Goal], weights: Weights) -> bool:
    """Whether the study's score counts nothing but these goals."""
    own = {
        "metabolic": weights.metabolic,
        "swing_inertia": weights.swing_inertia,
        "comfort": weights.comfort,
    }
    names = {goal.name for goal in goals}
    return all(name in names or weight == 0.0 for name, weight in own.items())


def _pick(
    setting: Setting, goals: Sequence[Goal], judged: Sequence[Assessment], left_s: float
) -> tuple[int | None, Assessment | None]:
    """Which point of a complete front `place` picks: the best score, if the goals decide it."""
    if weighed_by(goals, setting.study.weights):
        best = min(range(len(judged)), key=lambda i: judged[i].score)
        return best, judged[best]
    found = place(setting, top=1, time_limit_s=left_s)
    if isinstance(found, Infeasible) or not found.layouts:
        return None, None
    pick = found.layouts[0].assessment
    for i, assessment in enumerate(judged):
        if abs(assessment.score - pick.score) <= TIE * max(1.0, abs(pick.score)):
            return i, assessment
    return None, pick


def winning_weights(vectors: Sequence[Vector]) -> list[tuple[float, float] | None]:
    """For two goals: the interval of the second one's weight (first's 1) in which each wins.

    None for a vector that wins nowhere (not supported). Ties count as winning, so neighbouring
    intervals touch.
    """
    intervals: list[tuple[float, float] | None] = []
    for i, (a, b) in enumerate(vectors):
        low, high = 0.0, inf
        for j, (c, d) in enumerate(vectors):
            if i == j:
                continue
            # a + w b <= c + w d
            if b > d:
                high = min(high, (c - a) / (b - d))
            elif b < d:
                low = max(low, (a - c) / (d - b))
        intervals.append((low, high) if low <= high + TIE else None)
    return intervals


def example_weights(vectors: Sequence[Vector]) -> list[Vector | None]:
    """For any number of goals: weights (they sum to 1) at which each wins by most, or None.

    A linear program per vector: the greatest margin by which some weights prefer it to all others.
    """
    from scipy.optimize import linprog

    values = np.array(vectors, dtype=float)
    n, k = values.shape
    span = np.maximum(values.max(axis=0) - values.min(axis=0), 1e-12)
    found: list[Vector | None] = []
    for i in range(n):
        ahead = (values[i] - np.delete(values, i, axis=0)) / span
        # maximise t with ahead . v + t <= 0, v >= 0, sum v = 1; v are weights per span
        outcome = linprog(
            np.append(np.zeros(k), -1.0),
            A_ub=np.column_stack([ahead, np.ones(n - 1)]) if n > 1 else None,
            b_ub=np.zeros(n - 1) if n > 1 else None,
            A_eq=np.append(np.ones(k), 0.0)[None, :],
            b_eq=[1.0],
            bounds=[(0.0, None)] * k + [(None, 1.0)],
        )
        if not outcome.success or outcome.x[-1] < -TIE:
            found.append(None)
            continue
        weights = outcome.x[:k] / span
        found.append(tuple(float(w) for w in weights / weights.sum()))
    return found
