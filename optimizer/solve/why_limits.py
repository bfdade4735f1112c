"""What loosening each limit is worth: the best layout then, or the proof that it is no better.

Every layout that a looser limit adds breaks that limit as written. So the search asks for those
only: the limit's row, turned round, is a demand, and the best score so far a cutoff. The linear
relaxation under that demand settles most limits at once.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import inf

import numpy as np

from optimizer.assess.why import Alternative, LimitWorth
from optimizer.solve.demands import Demand, RowDemand
from optimizer.solve.limit_words import limit_text, unit_of
from optimizer.solve.line_easing import outlet_names
from optimizer.solve.questions import EQUAL, Answer, Questions
from optimizer.study.relax import LINE, StudyLimit, eased

#: How far a row, scaled to 1, is overstepped at least where a limit counts as broken; the
#: solver's own tolerance is 1e-6.
_BEYOND = 3e-6


@dataclass(frozen=True)
class Candidate:
    """A limit whose loosening may be worth something, the demands that may show it, best first."""

    limit: int
    bound: float
    demands: tuple[Demand, ...]


def worthwhile(questions: Questions, limit: int) -> Candidate | None:
    """What of a loosened limit is still to be searched; None if it is proven worth nothing."""
    program = questions.program
    if is_entangled(questions, limit):
        return Candidate(limit, -inf, ())
    program.ease({limit: questions.easing.most[limit]})
    try:
        open_demands = []
        for demand in new_layouts(questions, limit):
            bound = questions.least([demand])
            if bound < questions.score - EQUAL:
                open_demands.append((bound, demand))
    finally:
        program.ease({})
    if not open_demands:
        return None
    open_demands.sort(key=lambda pair: pair[0])
    return Candidate(limit, open_demands[0][0], tuple(d for _, d in open_demands))


def worth(questions: Questions, candidate: Candidate) -> tuple[LimitWorth | None, bool]:
    """What loosening a limit is worth, None for nothing; and whether that is proven."""
    limit = questions.easing.limits[candidate.limit]
    if questions.searched or not candidate.demands:
        return _worth_anew(questions, candidate.limit)
    best: Answer | None = None
    cutoff, settled = questions.score - EQUAL, True
    program = questions.program
    program.ease({candidate.limit: questions.easing.most[candidate.limit]})
    try:
        for demand in candidate.demands:
            answer = questions.ask([demand], cutoff)
            settled = settled and answer.settled
            if answer.solution is not None and answer.solution.score < cutoff:
                best, cutoff = answer, answer.solution.score
        if best is None:
            return None, settled
        alternative = questions.alternative(best)
    finally:
        program.ease({})
    return _told(questions, limit, alternative), settled


def is_entangled(questions: Questions, limit: int) -> bool:
    """Whether loosening a limit changes what others come to, so that all must be solved anew."""
    own = questions.easing.limits[limit]
    return own.kind == LINE and own.subject in outlet_names(questions.setting.study)


def _worth_anew(questions: Questions, limit: int) -> tuple[LimitWorth | None, bool]:
    """The same by solving the changed study from scratch."""
    own = questions.easing.limits[limit]
    study = eased(questions.setting.study, own, questions.share)
    changed = questions.of_study(study)
    if changed.solution is None or changed.score >= questions.score - EQUAL:
        return None, changed.settled
    return _told(questions, own, changed.against(questions)), changed.settled


def _told(questions: Questions, limit: StudyLimit, alternative: Alternative) -> LimitWorth:
    setting, loosened = questions.setting, limit.eased(questions.share)
    return LimitWorth(
        limit.kind,
        limit.subject,
        limit_text(setting, limit),
        limit.origin,
        limit.shown(),
        None if loosened is None else limit.shown(loosened),
        unit_of(setting, limit),
        alternative,
    )


def new_layouts(questions: Questions, limit: int) -> Iterator[Demand]:
    """Demands of which every layout that breaks the limit as written meets one."""
    program = questions.program
    single: list[int] = []
    for index, coefficients, upper in program.rows_of(limit):
        if len(index) == 0:
            continue
        if upper == 0.0 and (coefficients > 0.0).all() and program.are_choices(index):
            single += [int(c) for c in index]  # any of these choices breaks it by itself
        else:
            yield RowDemand(index.astype(float), coefficients, upper + _BEYOND, inf)
    if single:
        columns = np.array(sorted(set(single)), dtype=float)
        yield RowDemand(columns, np.ones(len(columns)), 1.0, inf)
    links = program.links_gained(limit)
    if links:
        yield RowDemand(np.array(links, dtype=float), np.ones(len(links)), 1.0, inf)
