"""Comparing answers of the program where equals may come in any order."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from functools import cache
from itertools import count

import numpy as np
import pytest

from optimizer.assess.result import Infeasible, Layout, Ranking
from optimizer.problem.presolve import Switches
from optimizer.setting import build_setting
from optimizer.study.model import Study
from tests.instances import random_study
from tests.lazily import Lazily
from tests.solve.oracle import TIED, Enumeration, identity_of

Answer = Ranking | Infeasible
#: The ways to an answer: the search tree as it is, made to branch, and the program rank by rank.
ROADS = ("search", "branching", "program")


def switches_of(road: str, seed: int, patch: pytest.MonkeyPatch) -> Switches:
    """How to take a road. Branching: small trees are no longer enumerated at their root.

    Which further speed-ups are off, how thorough the others are, when a second visitor comes in,
    when the relaxation is made anew, when nodes are cut like the root and when regions are looked
    at by themselves, follows from the seed.
    """
    if road == "program":
        return Switches(search=False)
    if road == "search":
        return Switches()
    rng = np.random.default_rng(seed)
    patch.setattr("optimizer.solve.visiting.BUDGET", int(rng.choice([1, 10, 60])))
    patch.setattr("optimizer.solve.search.ALONE", int(rng.choice([0, 2, 30])))
    patch.setattr("optimizer.solve.search.LOOK_UP", int(rng.choice([1, 400])))
    patch.setattr("optimizer.solve.search.LONG", int(rng.choice([1, 8000])))
    patch.setattr("optimizer.solve.search.LONG_AFTER", int(rng.choice([0, 1, 30])))
    patch.setattr("optimizer.solve.visiting.SHRUNK", float(rng.choice([0.75, 1.0])))
    patch.setattr("optimizer.solve.visiting.BUDGET_ANEW", int(rng.choice([1, 60])))
    patch.setattr("optimizer.solve.branching.MOST", int(rng.choice([2, 24])))
    patch.setattr("optimizer.solve.branching.IN_LONG_TREE", int(rng.choice([1, 30])))
    patch.setattr("optimizer.solve.trials.SHORT", int(rng.choice([1, 60])))
    patch.setattr("optimizer.solve.tighten.SHRUNK", float(rng.choice([0.75, 1.0])))
    patch.setattr("optimizer.solve.tighten.FEW", float(rng.choice([-1.0, 8.0])))
    patch.setattr("optimizer.solve.marginals.MOST_CELLS", int(rng.choice([2, 40, 60_000])))
    patch.setattr("optimizer.solve.packing.MOST_SETS", int(rng.choice([20, 3000])))
    patch.setattr("optimizer.solve.limit_hulls.TIGHT", float(rng.choice([0.005, np.inf])))
    patch.setattr("optimizer.solve.search.LIKELY", float(rng.choice([1.0, 12.0])))
    patch.setattr("optimizer.solve.search.APART_AFTER", int(rng.choice([0, 2, 600])))
    patch.setattr("optimizer.solve.by_regions.FIRST", float(rng.choice([0.05, 0.25, 1.0])))
    names = [f.name for f in fields(Switches) if f.name != "search"]
    return Switches(**{name: bool(rng.random() < 0.6) for name in names})


@cache
def answerable(start: int) -> Lazily[Study]:
    """The random studies from a seed on that have at least five layouts."""
    studies = (random_study(seed) for seed in count(start))
    return Lazily(s for s in studies if len(Enumeration(build_setting(s)).scores) >= 5)


def scores(answer: Answer) -> list[float]:
    """Scores in order of rank, none if nothing fits."""
    if isinstance(answer, Infeasible):
        return []
    return [entry.assessment.score for entry in answer.layouts]


def best(answer: Answer) -> float:
    """The best score, infinite if nothing fits."""
    return min(scores(answer), default=float("inf"))


def assert_same_answer(
    study: Study,
    one: Answer,
    other: Answer,
    renamed: Callable[[Layout], Layout] = lambda layout: layout,
) -> None:
    """The same scores, and the same layouts at every rank that no equal contends for.

    `renamed` says a layout of the other answer in the names of the one.
    """
    assert isinstance(one, Infeasible) == isinstance(other, Infeasible)
    mine, theirs = scores(one), scores(other)
    assert len(mine) == len(theirs)
    for a, b in zip(mine, theirs, strict=True):
        assert abs(a - b) <= TIED * max(1.0, abs(a))
    if isinstance(one, Infeasible) or isinstance(other, Infeasible):
        return
    assert one.exhausted == other.exhausted
    for i, (here, entry) in enumerate(zip(one.layouts, other.layouts, strict=True)):
        alone = all(abs(mine[i] - s) > 2e-6 * max(1.0, s) for j, s in enumerate(mine) if j != i)
        if alone and (i + 1 < len(mine) or one.exhausted):
            there = renamed(entry.assessment.layout)
            assert identity_of(study, here.assessment.layout) == identity_of(study, there)
