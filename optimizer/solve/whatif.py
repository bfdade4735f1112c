"""Scenarios beside the study as written: what moves, what that saves, which limits then bind."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import inf

from optimizer.assess.result import Assessment, Infeasible, LimitReport, Ranking
from optimizer.interrupts import stoppable
from optimizer.setting import build_setting
from optimizer.solve.place import place
from optimizer.solve.relay import assess_there
from optimizer.study.model import Study

#: What the study as written is called among the scenarios.
AS_WRITTEN = "as written"


@dataclass(frozen=True, slots=True)
class Case:
    """One scenario: a name, what it sets (as text, "path = value"), and the study it makes."""

    name: str
    settings: tuple[str, ...]
    study: Study


@dataclass(frozen=True, slots=True)
class CaseResult:
    """One scenario solved.

    `best` is its best layout, None if nothing fits (`infeasible` says why) or the search was
    stopped before any was found. `kept` is the layout that is best as written, taken over into
    this scenario; it may break limits, and is None where the scenario has no such parts or places.
    """

    case: Case
    best: Assessment | None
    proven: bool
    kept: Assessment | None
    infeasible: Infeasible | None

    @property
    def saved_by_moving(self) -> float | None:
        """Score that the new layout saves against keeping the old one; None if that is not
        allowed."""
        if self.best is None or self.kept is None or not self.kept.feasible:
            return None
        return max(self.kept.score - self.best.score, 0.0)


@dataclass(frozen=True, slots=True)
class WhatIf:
    """The study as written, first, and its scenarios; `left_out` are those not begun."""

    study_name: str
    results: tuple[CaseResult, ...]
    complete: bool
    seconds: float
    left_out: tuple[str, ...] = ()

    @property
    def base(self) -> CaseResult:
        """The study as written."""
        return self.results[0]


def whatif(
    base: Study,
    cases: Sequence[Case],
    *,
    time_limit_s: float = inf,
    on_case: Callable[[int, str], None] | None = None,
) -> WhatIf:
    """Solve the study as written and every scenario; Ctrl-C ends it with those known by then.

    Parameters
    ----------
    time_limit_s : for all of them together; those not begun by then are left out
    on_case : told the number and name of each as it begins
    """
    started = time.perf_counter()
    results: list[CaseResult] = []
    everything = (Case(AS_WRITTEN, (), base), *cases)
    for number, case in enumerate(everything):
        left = time_limit_s - (time.perf_counter() - started)
        if left <= 0.0 and results:
            break
        if on_case is not None:
            on_case(number, case.name)
        try:
            with stoppable():
                setting = build_setting(case.study)
                found = place(setting, top=1, time_limit_s=left)
        except KeyboardInterrupt:  # before or after its search
            if not results:
                raise
            break
        best, proven = _best(found)
        old = results[0].best if results else best
        kept = None if old is None else assess_there(setting, old.layout)
        infeasible = found if isinstance(found, Infeasible) else None
        results.append(CaseResult(case, best, proven, kept, infeasible))
        if isinstance(found, Ranking) and not proven and _interrupted(found):
            break
    return WhatIf(
        base.name,
        tuple(results),
        len(results) == len(everything) and all(r.proven or r.infeasible for r in results),
        time.perf_counter() - started,
        tuple(case.name for case in everything[len(results) :]),
    )


def _best(found: Ranking | Infeasible) -> tuple[Assessment | None, bool]:
    if isinstance(found, Infeasible) or not found.layouts:
        return None, False
    first = found.layouts[0]
    return first.assessment, first.proof.status == "optimal"


def _interrupted(found: Ranking) -> bool:
    return not found.layouts or found.layouts[0].proof.status == "interrupted"


def binding(found: Assessment | None) -> dict[tuple[str, str], LimitReport]:
    """The limits that bind a layout, by kind and subject."""
    if found is None:
        return {}
    return {(m.kind, m.subject): m for m in found.limits if m.binding and m.limit != 0.0}


def newly_binding(base: Assessment | None, other: Assessment | None) -> tuple[LimitReport, ...]:
    """Limits that bind the other layout but not the first."""
    before = binding(base)
    return tuple(m for key, m in binding(other).items() if key not in before)
