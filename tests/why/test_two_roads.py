"""Questions asked of the search, of the program with links and of plain enumeration agree."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import count

import numpy as np
import pytest

from optimizer.assess.result import Infeasible
from optimizer.setting import build_setting
from optimizer.solve.demands import RowDemand, SiteDemand
from optimizer.solve.narrowing import narrowed
from optimizer.solve.questions import Questions
from optimizer.solve.why import why
from optimizer.study.model import Study
from tests.depth import some
from tests.instances import random_study
from tests.lazily import Lazily
from tests.solve.comparing import answerable
from tests.solve.oracle import Enumeration
from tests.solve.small import part, small

STUDIES = answerable(4000)


def _with_copies() -> Iterator[tuple[Study, Enumeration]]:
    for seed in count(4500):
        study = random_study(seed)
        if any(part.count > 1 for part in study.parts):
            truth = Enumeration(build_setting(study))
            if len(truth.scores) >= 5:
                yield study, truth


WITH_COPIES = Lazily(_with_copies())


def copies_at(truth: Enumeration, part: str, sites: set[str]) -> np.ndarray:
    """How many copies of a part each layout of the table has at some sites."""
    names = [site.name for site in truth.study.sites]
    counts = np.zeros(len(truth.rows), dtype=int)
    for u, unit in enumerate(truth.units):
        if unit.part.name == part:
            where = np.array([names[s] in sites for _, s in unit.choices])
            counts += where[truth.chosen[truth.rows, u]]
    return counts


def same(found: float | None, wanted: np.ndarray) -> bool:
    """Whether a score is the least of some, or none where there are none."""
    if found is None or not len(wanted):
        return found is None and not len(wanted)
    return abs(found - float(wanted.min())) < 1e-6


@pytest.mark.parametrize("number", some(range(24), 8))
def test_what_is_demanded_of_copies_is_what_enumeration_finds(number: int) -> None:
    study, truth = WITH_COPIES[number]
    questions = Questions(truth.setting, 0.1)
    assert questions.searched and questions.solution is not None
    problem, asked = questions.problem, 0
    for own_part in study.parts:
        slots = frozenset(p for p, slot in enumerate(problem.slots) if slot.part == own_part.name)
        here = {int(problem.choice_site[questions.solution.chosen[p]]) for p in slots}
        there = {int(s) for p in slots for s in problem.choice_site[problem.choices_of(p)]} - here
        own, others = ({problem.site_names[s] for s in each} for each in (here, there))
        for n in range(len(slots) + 1):
            less = SiteDemand(slots, frozenset(here), 0.0, float(n))
            for m in range(len(slots) + 1):
                more = SiteDemand(slots, frozenset(there), float(m), float("inf"))
                asked += len(slots) > 1
                found = questions.ask([more, less]).solution
                kept = copies_at(truth, own_part.name, own) <= n
                kept &= copies_at(truth, own_part.name, others) >= m
                assert same(None if found is None else found.score, truth.scores[kept])
    assert asked >= 4
    assert "program" not in vars(questions)  # all of it was asked of the search


@pytest.mark.parametrize("number", some(range(16), 6))
def test_the_search_and_the_program_tell_the_same_reasons(
    number: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    by_search = why(STUDIES[number])
    monkeypatch.setattr("optimizer.solve.questions.can_search", lambda *_: False)
    by_program = why(STUDIES[number])
    assert by_search is not None and not isinstance(by_search, Infeasible)
    assert by_program is not None and not isinstance(by_program, Infeasible)
    assert by_search.complete and by_program.complete
    assert by_search.best.score == pytest.approx(by_program.best.score, abs=1e-6)
    for one, other in zip(by_search.parts, by_program.parts, strict=True):
        assert (one.units, one.site, one.settled) == (other.units, other.site, other.settled)
        assert (one.next_best is None) == (other.next_best is None)
        if one.next_best is not None and other.next_best is not None:
            assert one.next_best.score == pytest.approx(other.next_best.score, abs=1e-6)
        assert [each.sites for each in one.others] == [each.sites for each in other.others]
    worths = [
        {(limit.kind, limit.subject): limit.alternative.score for limit in report.limits}
        for report in (by_search, by_program)
    ]
    assert worths[0] == pytest.approx(worths[1], abs=1e-6)
    assert by_search.worthless == by_program.worthless


def test_of_equally_good_layouts_the_nearest_to_the_best_is_told() -> None:
    """Three cells on two thighs alike, without holders: only the one asked about is moved."""
    cells = [part(f"cell{i}", 0.2, "thigh_left", "thigh_right") for i in range(3)]
    bare = {name: {"holder_mass_kg": 0.0} for name in ("thigh_left", "thigh_right")}
    setting = build_setting(small(*cells, sites=bare))
    assert np.ptp(Enumeration(setting).scores) < 1e-9  # whichever way, it costs the same
    # of eight that are equally good, one that no order of names or sites would come to first
    near = {(f"cell{i}", "m", f"thigh_{side}") for i, side in enumerate(("right", "left", "right"))}
    questions = Questions(setting, 0.1, near=near)
    assert questions.solution is not None
    chosen, problem = questions.solution.chosen, questions.problem
    assert {problem.named(choice) for choice in chosen} == near
    for cell in range(3):
        site = frozenset((int(problem.choice_site[chosen[cell]]),))
        found = questions.ask([SiteDemand(frozenset((cell,)), site, 0.0, 0.0)]).solution
        assert found is not None
        assert [p for p in range(3) if found.chosen[p] != chosen[p]] == [cell]


def test_what_closing_choices_does_not_say_is_refused() -> None:
    setting = build_setting(small(part("cell", 0.2, "back"), part("lid", 0.1, "back")))
    questions = Questions(setting, 0.1)
    back = frozenset((questions.problem.site_names.index("back"),))
    both = SiteDemand(frozenset((0, 1)), back, 0.0, 1.0)
    twice = SiteDemand(frozenset((0,)), back, 1.0, 0.0)
    row = RowDemand(np.zeros(1), np.ones(1), 1.0, 1.0)
    for demand in (both, twice, row):
        with pytest.raises(ValueError, match="closing choices"):
            narrowed(questions.reduced, [demand])
