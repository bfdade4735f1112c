"""The least change to one limit that makes everything fit, all else as written; re-solved.

A limit's ease is a column of the program, so the least is a minimum, not a search. Limits on a
quotient (an offset) are not linear in their value: there the minimum is found by Dinkelbach's
iteration, each layout telling the value it needs.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf

import numpy as np

from optimizer.assess.assessment import assess
from optimizer.assess.result import Layout
from optimizer.problem.arrays import Array, LimitRow
from optimizer.problem.build import build_problem
from optimizer.problem.limits import LIMITS
from optimizer.problem.presolve import reduce
from optimizer.setting import Setting
from optimizer.solve.conflicts import NOTHING, Oracle
from optimizer.solve.easing import make_easing
from optimizer.solve.gates import SAME_SITE
from optimizer.solve.layouts import layout_of
from optimizer.solve.line_easing import HOPELESS
from optimizer.solve.link_program import LinkProgram
from optimizer.solve.rank import best_of, can_search
from optimizer.study.relax import (
    LINE_LIMITS,
    StudyLimit,
    budget,
    rounded_up,
    with_value,
    without,
)

#: An ease smaller than this share is rounding.
_LEAST = 1e-9
#: How exactly the least value of a limit on a quotient is found, as a share of it.
_QUOTIENT = 1e-6
#: Iterations that are far more than any needs.
_ITERATIONS = 40


@dataclass(frozen=True)
class LeastChange:
    """What one limit would have to be.

    `value` [SI] is exact, `typed` the next looser one a designer would write; both None if the
    limit has to go altogether. `options` are the options of a line that would have to be longer.
    `layout` fits then: the changed study was solved anew, and assessed.
    """

    value: float | None
    typed: float | None
    options: tuple[str, ...]
    layout: Layout


def least_change(
    oracle: Oracle, m: int, lifted: frozenset[int] = frozenset()
) -> LeastChange | None:
    """The least change of limit `m` with which a layout meets all other limits but those
    `lifted`; None if no change of it is enough."""
    limit = oracle.limits[m]
    others = lifted - {m}
    oracle.program.ease(dict.fromkeys((m, *others), inf), any_route=frozenset((m, *others)))
    if not oracle.easing.exact[m]:
        return _of_quotient(oracle, m, others)
    column = oracle.columns.ease[m]
    outcome = oracle.minimise(_only(oracle, column))
    if outcome.x is None:
        return None
    ease = float(outcome.x[column])
    if limit.kind in LINE_LIMITS:
        return _of_line(oracle, m, others, ease)
    if limit.value is None or (limit.falls and ease >= SAME_SITE * (1.0 - 1e-6)):
        return _checked(oracle, m, others, None)
    ease = max(ease, _LEAST)
    return _checked(oracle, m, others, limit.value * (1.0 - ease if limit.falls else 1.0 + ease))


def _only(oracle: Oracle, column: int) -> Array:
    costs = np.zeros(oracle.n_columns)
    costs[column] = 1.0
    return costs


def _checked(
    oracle: Oracle,
    m: int,
    others: frozenset[int],
    value: float | None,
    options: tuple[str, ...] = (),
) -> LeastChange | None:
    """Solve the study with the limit changed anew, and assess what comes out; None if nothing."""
    limit, setting = oracle.limits[m], oracle.easing.setting
    typed = None if value is None else rounded_up(limit, value)
    study = setting.study
    gone = [oracle.limits[other] for other in sorted(others)]
    if typed is None:
        gone.append(limit)
    else:
        study = with_value(study, limit, typed, options)
    study = without(study, gone)
    changed = setting.changed(study)
    layout = _any_layout(changed, oracle.left_s)
    if layout is None:
        oracle.require_time()
    if layout is None or not assess(changed, layout).feasible:
        return None
    return LeastChange(value, typed, options, layout)


def _any_layout(setting: Setting, time_limit_s: float) -> Layout | None:
    """A layout of a study, by the search where it knows all that the study has."""
    reduced = reduce(build_problem(setting))
    if can_search(reduced):
        seed = setting.study.solve.seed
        solution = best_of(reduced, gap=inf, seed=seed, time_limit_s=time_limit_s)[1]
        return None if solution is None else layout_of(setting, reduced.problem, solution)
    program = LinkProgram(make_easing(setting, 0.0), NOTHING)
    outcome = program.live.solve(gap=inf, time_limit_s=time_limit_s)
    if outcome.x is None:
        return None
    return layout_of(setting, program.problem, program.read(outcome.x))


def _of_line(oracle: Oracle, m: int, others: frozenset[int], ease: float) -> LeastChange | None:
    """Of a line the next longer lengths are tried too: a longer limit may change its route."""
    shares = {
        share
        for number in oracle.program.lines_of(m)
        for link in oracle.program.links[number]
        for limit, share in link.needs
        if limit == m and share >= ease * (1.0 - 1e-9) - 1e-12
    }
    needs = sorted(share for share in shares if share < HOPELESS)
    # farther and farther until it fits, then back to the least that does
    found = None
    low, high, step = -1, 0, 1
    while high < len(needs):
        found = _at_ease(oracle, m, others, needs[high])
        if found is not None:
            break
        last = len(needs) - 1
        low, high, step = high, last + 1 if high == last else min(high + step, last), 2 * step
    if found is None:
        return _checked(oracle, m, others, None)
    while high - low > 1:
        middle = (low + high) // 2
        nearer = _at_ease(oracle, m, others, needs[middle])
        if nearer is None:
            low = middle
        else:
            found, high = nearer, middle
    return found


def _at_ease(oracle: Oracle, m: int, others: frozenset[int], ease: float) -> LeastChange | None:
    """What a line needs to be with its limit eased by a share; None if nothing fits then."""
    limit, setting = oracle.limits[m], oracle.easing.setting
    oracle.program.ease({**dict.fromkeys(others, inf), m: ease * (1.0 + 1e-9)}, any_route=others)
    outcome = oracle.run()
    if outcome.x is None:
        return None
    line = next(line for line in setting.study.lines if line.name == limit.subject)
    loosest = min if limit.falls else max
    needed: dict[str, float] = {}
    for n in oracle.program.lines_of(m):
        for i, link in enumerate(oracle.program.links[n]):
            share = dict(link.needs).get(m)
            if share is None or outcome.x[oracle.columns.link[n, i]] < 0.5:
                continue
            option = line.options[link.option]
            own = budget(option, limit.kind)
            assert own is not None
            value = own * (1.0 - share if limit.falls else 1.0 + share)
            needed[option.name] = loosest(needed.get(option.name, value), value)
    if not needed:
        return None
    return _checked(oracle, m, others, loosest(needed.values()), tuple(sorted(needed)))


def _of_quotient(oracle: Oracle, m: int, others: frozenset[int]) -> LeastChange | None:
    """Every layout found tells a value it needs; the next must do with less than that value."""
    limit, program = oracle.limits[m], oracle.program
    outcome = oracle.run()
    if outcome.x is None:
        return None
    needed = _needed(oracle, limit, outcome.x)
    own = [
        number
        for number, key in enumerate(program.rows)
        if oracle.easing.rows.get(key, (-1, None))[0] == m
    ]
    column = oracle.columns.ease[m]
    first = program.live.shape[0]
    for number in own:
        program.live.set_row_bounds(number, -inf, inf)
    program.live.set_col_bounds(column, -inf, inf)
    for _ in range(_ITERATIONS):
        for row in _rows(oracle, limit, needed):
            size = abs(row.upper) or 1.0
            weights = program.formulation.quantities @ row.coefficients / size
            index = np.flatnonzero(weights)
            program.live.add_row(
                -inf, row.upper / size, np.append(index, column), np.append(weights[index], -1.0)
            )
        outcome = oracle.minimise(_only(oracle, column))
        program.live.delete_rows_from(first)
        if outcome.x is None:
            break
        better = _needed(oracle, limit, outcome.x)
        if _no_looser(limit, better, needed):
            break
        needed = better
    for number in own:
        program.live.set_row_bounds(number, program.row_lower[number], program.row_upper[number])
    program.live.set_col_bounds(column, 0.0, inf)
    return _checked(oracle, m, others, needed)


def _no_looser(limit: StudyLimit, better: float, needed: float) -> bool:
    """Whether a value is hardly an easier one to meet than that found before."""
    if limit.falls:
        return better <= needed * (1.0 + _QUOTIENT)
    return better >= needed * (1.0 - _QUOTIENT)


def _rows(oracle: Oracle, limit: StudyLimit, value: float) -> list[LimitRow]:
    setting = oracle.easing.setting
    spec = replace(setting.study.limits[limit.number], value=value)
    return LIMITS[spec.kind](spec, setting)


def _needed(oracle: Oracle, limit: StudyLimit, x: Array) -> float:
    """The value nearest the limit's with which a solution meets it, by bisection on its rows."""
    assert limit.value is not None
    quantities = x @ oracle.program.formulation.quantities

    def met(value: float) -> bool:
        return all(
            float(row.coefficients @ quantities) <= row.upper + 1e-9 * max(1.0, abs(row.upper))
            for row in _rows(oracle, limit, value)
        )

    if limit.falls:
        least, most = 0.0, limit.value
        while most - least > 1e-9 * limit.value:
            middle = 0.5 * (least + most)
            least, most = (middle, most) if met(middle) else (least, middle)
        return least
    low, high = limit.value, max(limit.value, 1e-6)
    while not met(high):
        low, high = high, 2.0 * high
    while high - low > 1e-9 * high:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if met(middle) else (middle, high)
    return high
