"""Which rows of the program each limit of a study is, so that any of them can be eased in place.

Every limit gets one number, its ease: the share of itself it is loosened by, 0 as written, 1 for
a limit without amount that is dropped. One program holds all states: choices that only an eased
limit allows are in it, held back by a row until that limit is eased.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import inf
from typing import Any

from optimizer.problem.arrays import LimitRow, Problem
from optimizer.problem.build import build_problem
from optimizer.problem.limits import LIMITS
from optimizer.setting import Setting
from optimizer.solve.gates import OPENED, Gate, choices_at, gates_of, pair_eases
from optimizer.solve.line_easing import LineLimit, line_limits_of
from optimizer.study.model import Part, Study
from optimizer.study.relax import (
    LINE_LIMITS,
    NEEDS,
    SITE_LIMITS,
    StudyLimit,
    eased,
    study_limits,
)

#: Group and subject of a row of the program.
Key = tuple[str, object]
#: How far an amount is raised where a problem without it is wanted, but with its row.
_FAR = 1e6


@dataclass(frozen=True)
class Easing:
    """A setting's limits and where each acts in the program of `problem`.

    `rows` maps the key of a row of the program to (limit, coefficient of its ease; None where
    any ease drops the row); `lines` gives the limits of every line of the problem; `exact[i]`
    tells whether limit i at ease e is the limit with its value times 1 + e (1 - e where it
    falls), whatever e.
    """

    setting: Setting
    limits: tuple[StudyLimit, ...]
    most: tuple[float, ...]
    problem: Problem
    rows: Mapping[Key, tuple[int, float | None]]
    gates: tuple[Gate, ...]
    lines: tuple[tuple[LineLimit, ...], ...]
    exact: tuple[bool, ...]


def make_easing(setting: Setting, share: float = inf) -> Easing:
    """The limits of a setting's study, each to be eased by up to `share` of itself.

    What has no amount can be dropped; what counts can be raised by 1 at least; with an infinite
    share everything can be lifted.
    """
    limits = study_limits(setting.study)
    most = tuple(_most(limit, share) for limit in limits)
    problem = build_problem(replace(setting, study=_opened(setting.study, limits, most)))
    rows: dict[Key, tuple[int, float | None]] = {}
    index = {(limit.kind, limit.subject): i for i, limit in enumerate(limits) if limit.number < 0}
    caps = []
    for cap in problem.caps:
        known = index.get((cap.kind, problem.site_names[cap.site]), -1)
        value = limits[known].value if known >= 0 else None
        if value:
            rows[cap.kind, cap.site] = (known, -1.0)
            caps.append(replace(cap, cap=value))
        else:
            caps.append(cap)
    exact = [True] * len(limits)
    looser: list[LimitRow] = []
    by_entry = {limit.number: i for i, limit in enumerate(limits) if limit.family == "limit"}
    for number, (row, entry) in enumerate(zip(problem.limits, _entries(setting), strict=True)):
        limit = by_entry[entry]
        if row.value is None and row.upper > 0.0:
            rows["limit", number] = (limit, -1.0)
            continue
        exact[limit] = False
        rows["limit", number] = (limit, -1.0 if share == inf else None)
    if share < inf:
        for own, is_exact in zip(limits, exact, strict=True):
            if not is_exact:
                spec = eased(setting.study, own, share).limits[own.number]
                looser += LIMITS[spec.kind](spec, setting)
    by_rule = {limit.number: i for i, limit in enumerate(limits) if limit.family == "rule"}
    of_lines = line_limits_of(setting, limits, share)
    gates = list(gates_of(setting, problem, limits))
    gates += _rule_gates(setting, problem, limits, by_rule, rows)
    return Easing(
        setting,
        limits,
        most,
        replace(problem, caps=tuple(caps), limits=problem.limits + tuple(looser)),
        rows,
        tuple(gates),
        tuple(tuple(of_lines.get(line.line, ())) for line in problem.lines),
        tuple(exact),
    )


def _most(limit: StudyLimit, share: float) -> float:
    """The most a limit is eased by when limits are eased by a share."""
    if share == inf:
        return inf
    if limit.kind in LINE_LIMITS:
        return share
    if limit.value is None:
        return 1.0
    if not limit.value:
        return share
    loose = limit.eased(share)
    assert loose is not None
    return abs(loose / limit.value - 1.0)


def _opened(study: Study, limits: Sequence[StudyLimit], most: Sequence[float]) -> Study:
    """The study whose sites take, and whose parts accept, all that eased limits could allow."""
    room: dict[str, dict[str, Any]] = {}
    dropped: set[str] = set()
    for limit, ease in zip(limits, most, strict=True):
        if limit.kind in SITE_LIMITS and limit.value:
            value = limit.value * (1.0 + min(ease, _FAR)) * (1.0 + 1e-9)
            room.setdefault(limit.subject, {})[SITE_LIMITS[limit.kind][0]] = value
        elif limit.kind == NEEDS:
            dropped.add(limit.subject)

    def needing_less(part: Part) -> Part:
        models = tuple(
            replace(m, needs=frozenset(w for w in m.needs if f"{part.name}:{w}" not in dropped))
            for m in part.models
        )
        return replace(part, models=models)

    return replace(
        study,
        sites=tuple(replace(site, **room.get(site.name, {})) for site in study.sites),
        parts=tuple(needing_less(part) for part in study.parts),
        limits=tuple(spec for spec in study.limits if spec.kind not in OPENED),
    )


def _entries(setting: Setting) -> Iterator[int]:
    """The place among the study's limits that every row of `Problem.limits` comes from."""
    for i, spec in enumerate(setting.study.limits):
        for _ in LIMITS[spec.kind](spec, setting):
            yield i


def _rule_gates(
    setting: Setting,
    problem: Problem,
    limits: Sequence[StudyLimit],
    by_rule: Mapping[int, int],
    rows: dict[Key, tuple[int, float | None]],
) -> Iterator[Gate]:
    """Gates of the rules on two parts; their rows of the program are put into `rows`."""
    counts = {part.name: part.count for part in setting.study.parts}
    number = 0
    for i, rule in enumerate(setting.study.rules):
        copies = counts[rule.part_a] * counts[rule.part_b]
        if rule.part_a == rule.part_b:
            copies = counts[rule.part_a] * (counts[rule.part_a] - 1) // 2
        for pair in range(number, number + copies):
            limit = by_rule[i]
            own = problem.pairs[pair]
            eases = pair_eases(setting, problem, pair, limits[limit])
            for s in {here for here, _ in eases}:
                least = min(need for (here, _), need in eases.items() if here == s)
                rows[own.kind, (pair, s)] = (limit, -1.0 / least)
            for (s, t), need in eases.items():
                terms = tuple(("x", c, need) for c in choices_at(problem, own.slot_a, s))
                terms += tuple(("x", c, need) for c in choices_at(problem, own.slot_b, t))
                yield Gate(own.kind, (pair, s, t), limit, terms, need)
        number += copies
