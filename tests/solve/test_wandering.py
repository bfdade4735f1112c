"""Neighbourhoods drawn by lot: what they find is there, is no worse, and is often the best."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import count

import numpy as np
import pytest

from optimizer.solve.compiled_enumeration import CompiledEnumerator
from optimizer.solve.polishing import wander
from optimizer.solve.shortlist import Shortlist
from tests.lazily import Lazily
from tests.native import NEEDS_COMPILED
from tests.solve.test_compiled_enumeration import SEEDS, Written, made_of

pytestmark = NEEDS_COMPILED
MANY = 22


def _made() -> Iterator[Written]:
    return (made for seed in count(SEEDS[0]) if (made := made_of(seed)) is not None)


STUDIES = Lazily(_made())


def from_worst(made: Written, *, top: int = 1, open_=None, trips: int = 1, seed: int = 0):
    """The shortlist after wandering from the worst `top` layouts, and the worst score of these."""
    worst = np.argsort(made.scores)[-top:]
    shortlist = Shortlist(made.model, top)
    shortlist.offer(made.rows[worst])
    wander(
        made.model,
        made.bound,
        made.open if open_ is None else open_,
        made.relaxation.value,
        CompiledEnumerator(made.model),
        shortlist,
        trips=trips,
        seed=seed,
    )
    return shortlist, made.scores[worst]


@pytest.mark.parametrize("number", range(MANY))
@pytest.mark.parametrize("top", [1, 3])
def test_nothing_is_made_up_and_nothing_gets_worse(number: int, top: int) -> None:
    made = STUDIES[number]
    if len(made.rows) < top:
        pytest.skip("fewer layouts than that")
    shortlist, before = from_worst(made, top=top)
    found = [entry.score for entry in shortlist.ranked()]
    assert found[0] <= before.min() + 1e-9
    assert found[-1] <= before.max() + 1e-9
    for score in found:
        assert np.abs(made.scores - score).min() < 1e-9


def test_the_best_is_found_from_the_worst_of_most_small_studies() -> None:
    made = STUDIES.first(3 * MANY)
    moved = [each for each in made if each.scores.max() > each.best(0) + 1e-6]
    reached = sum(from_worst(each)[0].best < each.best(0) + 1e-9 for each in moved)
    assert len(moved) >= 8
    assert reached >= 0.6 * len(moved)


def test_the_lot_follows_the_seed() -> None:
    for made in STUDIES.first(6):
        first, again = (from_worst(made, seed=5, trips=2)[0].ranked() for _ in range(2))
        assert first == again


def test_closed_choices_are_not_taken() -> None:
    """With all but the start's own choices closed there is nothing to find."""
    for made in STUDIES.first(6):
        shortlist, before = from_worst(made, open_=np.zeros_like(made.open), trips=3)
        assert shortlist.best == pytest.approx(before.min(), abs=1e-12)
