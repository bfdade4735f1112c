"""Work done side by side: told in order, once each, whoever was first; and nothing is swallowed."""

from __future__ import annotations

import multiprocessing
import threading
import time

import pytest

from optimizer.solve.hands import side_by_side


def test_results_come_in_the_order_asked_for() -> None:
    def slow_at_first(n: int) -> int:
        time.sleep(0.02 if n == 0 else 0.0)
        return n * n

    assert side_by_side(slow_at_first, range(20)) == [n * n for n in range(20)]
    assert side_by_side(slow_at_first, []) == []


def test_two_are_at_it() -> None:
    """Each waits for the other: alone it would wait for ever."""
    both = threading.Barrier(2, timeout=10)
    assert side_by_side(lambda n: both.wait() >= 0, range(2)) == [True, True]


def test_what_goes_wrong_is_told_and_nothing_further_begun() -> None:
    begun: list[int] = []

    def wrong(n: int) -> None:
        begun.append(n)
        if n == 3:
            raise ValueError("three")
        time.sleep(0.001)

    with pytest.raises(ValueError, match="three"):
        side_by_side(wrong, range(500))
    assert len(begun) < 500
    assert side_by_side(abs, [-1, 2]) == [1, 2]


@pytest.mark.skipif(
    "fork" not in multiprocessing.get_all_start_methods(), reason="processes are not copied here"
)
def test_a_copied_process_has_hands_of_its_own() -> None:
    assert side_by_side(abs, [-1, 2, -3]) == [1, 2, 3]
    with multiprocessing.get_context("fork").Pool(1) as pool:
        found = pool.apply_async(side_by_side, (abs, [-4, 5, -6])).get(timeout=30)
    assert found == [4, 5, 6]
