"""Two roads to each number: a layout on which they part is refused."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest

from optimizer.assess.agree import AGREEMENT, require_agreement
from optimizer.assess.assessment import assess
from optimizer.assess.result import Assessment
from optimizer.errors import DisagreementError
from optimizer.problem.build import build_problem
from optimizer.problem.presolve import reduce
from optimizer.problem.quantities import DISCOMFORT, INDEX, INERTIA, LEG_W, MASS
from optimizer.setting import build_setting
from optimizer.solve.layouts import layout_of
from optimizer.solve.program import Solution
from optimizer.solve.rank import best_of
from tests.solve.comparing import answerable

QUANTITIES = ("score", LEG_W, DISCOMFORT, *MASS.values(), *INERTIA.values())


def solved(seed: int) -> tuple[Solution, Assessment]:
    setting = build_setting(answerable(seed)[0])
    problem = build_problem(setting)
    solution = best_of(reduce(problem))[1]
    assert solution is not None
    return solution, assess(setting, layout_of(setting, problem, solution))


@cache
def both() -> tuple[Solution, Assessment]:
    """What the two roads make of one layout."""
    solution, assessment = solved(830)
    require_agreement(solution, assessment)
    return solution, assessment


def spoilt(name: str, share: float) -> Solution:
    """The solution with one number larger by a share of it; what is nothing by 1e-9 of it."""
    solution, _ = both()
    if name == "score":
        return replace(solution, score=solution.score * (1.0 + share))
    q = solution.quantities.copy()
    own = q[INDEX[name]]
    q[INDEX[name]] = own * (1.0 + share) if own else share * 1e-9 / AGREEMENT
    return replace(solution, quantities=q)


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize("name", QUANTITIES)
def test_one_number_that_differs_by_more_than_a_millionth_is_a_fault(
    name: str, sign: float
) -> None:
    _, assessment = both()
    require_agreement(spoilt(name, sign * 0.9e-6), assessment)
    with pytest.raises(DisagreementError, match=f"disagree about {name}: "):
        require_agreement(spoilt(name, sign * 1.1e-6), assessment)


def test_a_layout_that_breaks_a_limit_is_a_fault() -> None:
    solution, assessment = both()
    limits = assessment.limits
    assert limits
    first = limits[0]
    broken = replace(first, limit=first.value - 1.0, slack=-1.0)
    spoilt_one = replace(assessment, limits=(broken, *limits[1:]))
    assert not spoilt_one.feasible
    with pytest.raises(DisagreementError, match="feasible that breaks: "):
        require_agreement(solution, spoilt_one)
