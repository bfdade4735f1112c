"""Questions: what trials tell of their answers, which is asked, and that asking loses nothing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import inf

import numpy as np
import pytest

from optimizer.problem.arrays import IntArray
from optimizer.problem.pairwise import Pairwise
from optimizer.problem.presolve import Switches
from optimizer.solve.branching import Branching
from optimizer.solve.compiled_enumeration import enumerator
from optimizer.solve.relaxation import Relaxation
from optimizer.solve.scoring import Scorer
from optimizer.solve.search import Search
from optimizer.solve.trials import Question, Trial, Trials
from optimizer.solve.usage import Usage
from optimizer.solve.visiting import Errand, Haul, Node
from tests.depth import some
from tests.instances import random_study
from tests.solve.every import layouts, scored, visitor_of


def solved_with_layouts() -> Iterator[tuple[Pairwise, Relaxation, IntArray]]:
    for seed in range(8100, 8160):
        made = layouts(random_study(seed, parts=6, sites=6, lines=5))
        if made is not None:
            relaxation = Relaxation(made[1])
            assert relaxation.solve() == "optimal"
            yield made[1], relaxation, made[2]


def solved_ones() -> Iterator[tuple[Pairwise, Relaxation]]:
    return ((model, relaxation) for model, relaxation, _ in solved_with_layouts())


def test_what_is_known_to_be_worth_asking_is_asked_however_far_back_it_is(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("optimizer.solve.branching.MOST", 1)
    asked = 0
    for model, relaxation in solved_ones():
        branching = Branching(model, relaxation)
        open_ = np.ones(len(model.choice), dtype=bool)
        candidates = branching._candidates(relaxation.value, open_)
        if len(candidates) < 3:
            continue
        last: Question = candidates[-1][1]
        branching.take_in([Trial(last.key, 1e6, 1e6, long=True)])
        found = branching.ask(open_, Usage.free(model), 1e9)
        if found.ruled_out:
            continue
        assert found.question is not None and found.question.key == last.key
        again = Branching(model, relaxation)
        again.know_as(branching)
        found = again.ask(open_, Usage.free(model), 1e9)
        if found.ruled_out:
            continue
        assert found.question is not None and found.question.key == last.key
        asked += 1
    assert asked > 3


def test_the_same_question_is_not_tried_twice() -> None:
    """Of two answers that are all a slot has, asking for one is asking for the other."""
    seen = 0
    for model, relaxation in solved_ones():
        open_ = np.ones(len(model.choice), dtype=bool)
        found = Branching(model, relaxation)._candidates(relaxation.value, open_)
        told: set[frozenset[int]] = set()
        for _, question in found:
            if not len(question.choices):
                continue
            slot = int(model.slot[question.choices[0]])
            own = frozenset(range(model.first[slot], model.first[slot + 1]))
            mine = frozenset(question.choices.tolist())
            assert mine not in told and own - mine not in told
            told.add(mine)
            seen += 1
    assert seen > 20


def answered(relaxation: Relaxation, question: Question, answer: bool) -> float:
    """The optimum with an answer, of a relaxation made for it."""
    m = relaxation.model
    other, usage = Relaxation(m), Usage.free(m)
    open_ = np.ones(len(m.choice), dtype=bool)
    usages = question.usages(usage)
    if usages is not None:
        usage = usages[0 if answer else 1]
    else:
        slot = m.slot[question.choices[0]]
        kept = np.isin(np.arange(len(open_)), question.choices)
        open_ &= (m.slot != slot) | (kept if answer else ~kept)
    other.set_open(open_, usage)
    return other.lp.objective if other.solve() == "optimal" else inf


def test_a_long_trial_tells_what_the_answers_bring(monkeypatch: pytest.MonkeyPatch) -> None:
    """As relaxations solved from nothing do; a short one tells no more, neither leaves a trace."""
    monkeypatch.setattr("optimizer.solve.trials.SHORT", 2)
    told = less = ruled_out = 0
    for model, relaxation in solved_ones():
        open_, usage = np.ones(len(model.choice), dtype=bool), Usage.free(model)
        before, room = relaxation.lp.objective, 0.5
        for _, question in Branching(model, relaxation)._candidates(relaxation.value, open_):
            trials = Trials(relaxation, open_, usage, room)
            short, long = trials.of(question), trials.of(question, long=True)
            rises = [answered(relaxation, question, answer) - before for answer in (False, True)]
            units = question.value, 1.0 - question.value
            for rise, unit, most, least in zip(
                rises, units, (long.down, long.up), (short.down, short.up), strict=True
            ):
                assert most * unit == pytest.approx(min(rise, room), abs=1e-6)
                assert least <= most + 1e-6
                told += 1
                less += least < most - 1e-6
            over = {(question.key, bool(n)) for n in (0, 1) if rises[n] > room + 1e-5}
            assert over <= {(each.key, answer) for each, answer in trials.ruled_out}
            for each, answer in trials.ruled_out:
                assert each.key == question.key
                assert rises[answer] > room
            assert trials.over == (len(over) == 2)
            ruled_out += len(over)
            started = relaxation.lp.iterations
            assert relaxation.solve() == "optimal"
            assert relaxation.lp.iterations == started
            assert relaxation.lp.objective == pytest.approx(before, abs=1e-9)
    assert told > 40
    assert less > 5
    assert ruled_out > 5


def test_what_long_trials_told_is_not_tried_again(monkeypatch: pytest.MonkeyPatch) -> None:
    tried: list[tuple[bytes, bool]] = []
    of = Trials.of

    def noted(self: Trials, question: Question, *, long: bool = False) -> Trial:
        tried.append((repr(question.key).encode(), long))
        return of(self, question, long=long)

    monkeypatch.setattr(Trials, "of", noted)
    asked = longer = 0
    for model, relaxation in solved_ones():
        branching = Branching(model, relaxation)
        open_, usage = np.ones(len(model.choice), dtype=bool), Usage.free(model)
        tried.clear()
        first = branching.ask(open_, usage, 1e9)
        if first.question is None:
            continue
        assert len(set(tried)) == len(tried)
        longer += sum(long for _, long in tried)
        n = len(tried)
        if n == 0:
            continue
        known = {key for key, long in tried if long}
        assert branching.ask(open_, usage, 1e9).question is not None
        assert not known & {key for key, _ in tried[n:]}
        asked += 1
        short = Branching(model, relaxation, long_trials=False)
        tried.clear()
        short.ask(open_, usage, 1e9)
        assert not any(long for _, long in tried)
    assert asked > 5
    assert longer > 10


def test_long_trials_count_alone() -> None:
    """However many short ones there are, before or after."""
    for model, relaxation in solved_ones():
        branching = Branching(model, relaxation)
        about = (0, None, 0, b"")
        few = [Trial(about, 1.0, 1.0, long=False)] * 3
        branching.take_in([*few, Trial(about, 8.0, 4.0, long=True), *few])
        assert branching._known[about].merit(0.5, 1e9) == pytest.approx(4.0 * 2.0)
        branching.take_in([Trial(about, 4.0, 4.0, long=True)])
        assert branching._known[about].merit(0.5, 1e9) == pytest.approx(3.0 * 2.0)
        return


@pytest.mark.parametrize("top", [1, 4])
def test_long_trials_change_no_answer(top: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Against every layout there is, in trees that are spared nothing."""
    monkeypatch.setattr("optimizer.solve.trials.SHORT", 1)
    bare = replace(
        Switches(), enumeration=False, hull_cuts=False, cover_cuts=False, first_layouts=False
    )
    branched = 0
    for reduced, wanted in scored(some(range(8400, 8440), 20)):
        told = []
        for long in (True, False):
            found = Search(reduced, top=top, switches=replace(bare, long_trials=long)).run()
            assert found.status == "optimal"
            told.append([entry.score for entry in found.entries])
            branched += found.nodes > 1
        assert told[0] == pytest.approx(told[1], abs=1e-9)
        # layouts that differ in nothing that shows count once
        assert told[0][0] == pytest.approx(wanted[0], abs=1e-9)
    assert branched > 10


def test_layouts_of_what_a_relaxation_has_are_found() -> None:
    """All of them that are wanted, and no others."""
    seen = 0
    for model, relaxation, made in solved_with_layouts():
        listing = enumerator(model, Switches())
        if not listing.compiled:
            pytest.skip("no compiled parts")
        visitor = visitor_of(model, relaxation, top=1000)
        open_, usage = np.ones(len(model.choice), dtype=bool), Usage.free(model)
        some_of = relaxation.value[: len(model.choice)] > 1e-6
        scores = Scorer(model).scores(made, np.inf)[0]
        threshold = float(np.quantile(scores, 0.3))
        wanted = made[some_of[made].all(axis=1) & (scores <= threshold)]
        haul = Haul()
        errand = Errand(threshold, cutting=False, long=False, most_nodes=1, work=1)
        visitor._look_near(Node(open_, usage), relaxation.bound(usage), errand, haul)
        rows = np.concatenate(haul.found)
        # what is listed is offered to a shortlist, which scores it
        good = rows[Scorer(model).scores(rows, np.inf)[0] <= threshold]
        assert {row.tobytes() for row in good} == {row.tobytes() for row in wanted}
        assert some_of[rows].all()
        seen += len(good)
        without = replace(Switches(), local_search=False)
        visitor._switches = without
        visitor._look_near(Node(open_, usage), relaxation.bound(usage), errand, none := Haul())
        assert not none.found
    assert seen > 5
