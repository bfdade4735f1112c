"""A relaxation that its solver gives up on costs time, never an answer; visitors do not matter."""

from __future__ import annotations

import pytest

from optimizer.problem.build import build_problem
from optimizer.problem.presolve import Switches, reduce
from optimizer.setting import build_setting
from optimizer.solve.place import place
from optimizer.solve.relaxation import Relaxation
from optimizer.solve.search import Search
from tests.depth import some
from tests.instances import random_study
from tests.solve.comparing import answerable, scores, switches_of


@pytest.mark.parametrize("every", [2, 3])
def test_nodes_whose_relaxation_fails_are_still_answered(
    every: int, monkeypatch: pytest.MonkeyPatch
):
    solved, calls, lost = Relaxation.solve, 0, 0

    def unsure(
        self: Relaxation, time_limit_s: float = float("inf"), most: float = float("inf")
    ) -> str:
        nonlocal calls, lost
        calls += 1
        if self.dual.any() and calls % every == 0:
            lost += 1
            return "error"
        return solved(self, time_limit_s, most)

    monkeypatch.setattr(Relaxation, "solve", unsure)
    for seed, study in enumerate(answerable(300).first(len(some(range(8), 6)))):
        switches = switches_of("branching", seed, monkeypatch)
        answer = place(study, top=5, switches=switches)
        wanted = scores(place(study, top=5, switches=Switches(search=False)))
        assert scores(answer) == pytest.approx(wanted, abs=1e-6)
    assert lost > 50


def test_threads_do_not_change_what_is_visited(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("optimizer.solve.visiting.BUDGET", 1)
    monkeypatch.setattr("optimizer.solve.search.ALONE", 0)
    for seed in (3, 17, 178):
        reduced = reduce(build_problem(build_setting(random_study(seed))))
        if reduced.emptied:
            continue
        once, again = (Search(reduced, top=8).run() for _ in range(2))
        assert once.nodes == again.nodes
        assert once.entries == again.entries
