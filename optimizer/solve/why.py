"""Why the best layout is as it is: every part's next-best site, every limit's worth."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import inf

from optimizer.assess.result import Infeasible
from optimizer.assess.why import LimitWorth, PartWhy, WhyReport
from optimizer.errors import Flaw, InputError, Origin
from optimizer.interrupts import stoppable
from optimizer.parallel import Progress
from optimizer.setting import Setting, build_setting
from optimizer.solve.infeasible import explain
from optimizer.solve.place import proof_of
from optimizer.solve.questions import Questions
from optimizer.solve.why_limits import worth, worthwhile
from optimizer.solve.why_parts import PartReasons, Spot, spots
from optimizer.study.model import Study
from optimizer.study.words import choice_of, nearest, quoted

#: By how much limits are loosened.
SHARE = 0.1
#: What the part asked for by name is called where it is wrong.
ARGUMENT = "PART"


ProgressSink = Callable[[Progress], None]


def why(
    study: Study | Setting,
    part: str | None = None,
    on_progress: ProgressSink | None = None,
    time_limit_s: float = inf,
    share: float = SHARE,
) -> WhyReport | Infeasible | None:
    """Why each part sits where it does and what each limit costs.

    Parameters
    ----------
    part : a part's name, or that of one of its copies; its sites are then looked at one by one,
        and limits are left out
    share : by how much limits are loosened

    Every answer is the optimum of the program under one more demand, proven and assessed.
    Ctrl-C or the time limit end the work early; what is known by then is returned. None if no
    layout was found by then; an explanation where there is none at all.

    Raises
    ------
    InputError
        If the study has no such part.
    DisagreementError
        If the program and the assessment disagree about a layout.
    """
    started = time.perf_counter()
    setting = study if isinstance(study, Setting) else build_setting(study)
    named = None if part is None else _part_named(setting.study, part)
    work = _Work(started, on_progress)
    work.tell("the best layout")
    try:
        with stoppable():
            questions = Questions(
                setting, share, deadline=started + time_limit_s, on_tick=lambda _: work.tell()
            )
    except KeyboardInterrupt:
        return None
    if questions.solution is None:
        if questions.outcome.status == "infeasible":
            return explain(
                setting,
                questions.reduced,
                time.perf_counter() - started,
                deadline=started + time_limit_s,
            )
        return None
    try:
        with stoppable():
            asked = [spot for spot in spots(questions) if named in (None, spot.part)]
            work.total = len(asked) + (len(questions.easing.limits) if named is None else 0)
            _ask_parts(questions, asked, work, every_site=named is not None)
            if named is None:
                _ask_limits(questions, work)
    except (KeyboardInterrupt, _OutOfTimeError):
        pass
    assert questions.best is not None
    limits = sorted(work.limits, key=lambda each: each.alternative.score)
    return WhyReport(
        setting.study.name,
        named,
        questions.best,
        proof_of(questions.outcome, questions.solution),
        tuple(_in_order(questions, work.parts)),
        tuple(limits),
        share,
        work.worthless,
        0 if named else len(questions.easing.limits) - len(limits) - work.worthless,
        time.perf_counter() - started,
        work.done == work.total and all(each.settled for each in work.parts),
        questions.best.warnings,
    )


class _OutOfTimeError(Exception):
    """The time limit ended the work."""


@dataclass
class _Work:
    """What is done, and what is known by now."""

    started: float
    on_progress: ProgressSink | None
    total: int = 1
    done: int = 0
    doing: str = ""

    def __post_init__(self) -> None:
        self.parts: list[PartWhy] = []
        self.limits: list[LimitWorth] = []
        self.worthless = 0

    def tell(self, doing: str | None = None) -> None:
        """Say what is being asked."""
        self.doing = self.doing if doing is None else doing
        if self.on_progress is not None:
            seconds = time.perf_counter() - self.started
            self.on_progress(Progress(self.doing, self.done, self.total, seconds, None))


def _ask_parts(
    questions: Questions, asked: Sequence[Spot], work: _Work, *, every_site: bool
) -> None:
    reasons = PartReasons(questions)
    for spot in asked:
        work.tell(f"where else {spot.part} could be")
        _in_time(questions)
        work.parts.append(reasons.why(spot, every_site=every_site))
        work.done += 1


def _ask_limits(questions: Questions, work: _Work) -> None:
    candidates = []
    for limit in range(len(questions.easing.limits)):
        work.tell("which limits matter")
        _in_time(questions)
        candidate = worthwhile(questions, limit)
        if candidate is None:
            work.worthless += 1
            work.done += 1
        else:
            candidates.append(candidate)
    for candidate in sorted(candidates, key=lambda each: each.bound):
        work.tell(f"what {questions.easing.limits[candidate.limit].subject or 'a limit'} costs")
        _in_time(questions)
        found, settled = worth(questions, candidate)
        if found is not None:
            work.limits.append(found)
        elif settled:
            work.worthless += 1
        work.done += int(settled)


def _in_time(questions: Questions) -> None:
    if questions.out_of_time:
        raise _OutOfTimeError


def _in_order(questions: Questions, parts: Sequence[PartWhy]) -> list[PartWhy]:
    """Vest first, foot last, as layouts are listed."""
    assert questions.best is not None
    place = {report.unit: i for i, report in enumerate(questions.best.parts)}
    return sorted(parts, key=lambda each: place[each.units[0]])


def _part_named(study: Study, name: str) -> str:
    names = [part.name for part in study.parts]
    plain = name if name in names else name.split("#", maxsplit=1)[0]
    if plain in names:
        return plain
    found = f"an unknown part {quoted(name)}"
    expected = f"a part of the study: {choice_of(names)}"
    raise InputError([Flaw(Origin(ARGUMENT), found, expected, nearest(name, names))])
