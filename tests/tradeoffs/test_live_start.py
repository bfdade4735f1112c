"""A start offered to the solver never changes the answer."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.solve.highs import LiveModel, Matrix, Outcome


def knapsack() -> Matrix:
    """Choose at least two of four, the cheapest."""
    return Matrix(
        cost=np.array([3.0, 1.0, 2.0, 5.0]),
        col_lower=np.zeros(4),
        col_upper=np.ones(4),
        integer=np.ones(4, dtype=bool),
        start=np.array([0, 4], dtype=np.int32),
        index=np.arange(4, dtype=np.int32),
        value=np.ones(4),
        row_lower=np.array([2.0]),
        row_upper=np.array([np.inf]),
    )


@pytest.mark.parametrize("start", [[1, 1, 1, 1], [1, 0, 0, 1], [0, 1, 1, 0], [0, 0, 0, 0]])
def test_any_start_leads_to_the_optimum(start: list[int]) -> None:
    live = LiveModel(knapsack())
    live.set_start(np.array(start, dtype=float))
    outcome = live.solve()
    assert outcome.status == "optimal" and outcome.x is not None
    assert outcome.objective == pytest.approx(3.0)
    assert outcome.x.tolist() == [0.0, 1.0, 1.0, 0.0]


def test_a_vector_that_is_not_the_one_of_the_objective_is_not_believed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """As HiGHS was seen to do: the optimum's value told, the start handed back."""
    live = LiveModel(knapsack())
    start = np.array([1.0, 0.0, 0.0, 1.0])
    live.set_start(start)
    honest = live._outcome
    calls = []

    def wrong_at_first(seconds: float, interrupted: bool) -> Outcome:
        calls.append(seconds)
        outcome = honest(seconds, interrupted)
        return replace(outcome, x=start) if len(calls) == 1 else outcome

    monkeypatch.setattr(live, "_outcome", wrong_at_first)
    outcome = live.solve()
    assert len(calls) == 2
    assert outcome.x is not None and outcome.x.tolist() == [0.0, 1.0, 1.0, 0.0]


def test_costs_changed_in_place_are_the_ones_the_answer_is_held_against() -> None:
    live = LiveModel(knapsack())
    live.solve()
    live.set_costs(np.array([1.0, 5.0, 5.0, 1.0]))
    live.set_start(np.array([0.0, 1.0, 1.0, 0.0]))
    outcome = live.solve()
    assert outcome.x is not None and outcome.x.tolist() == [1.0, 0.0, 0.0, 1.0]
    assert outcome.objective == pytest.approx(2.0)
