"""Pieces of work that do not depend on each other, done side by side in threads.

The compiled parts let go of Python's lock, so two of them take as long as one. What comes out is
told in the order in which it was asked for, whoever is done first.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache
from typing import TypeVar

Piece = TypeVar("Piece")
Result = TypeVar("Result")
#: Pieces done at a time.
HANDS = 2


@lru_cache(maxsize=1)
def _pool() -> ThreadPoolExecutor:
    # the one who asks has a hand in it too
    return ThreadPoolExecutor(HANDS - 1, thread_name_prefix="hand")


if hasattr(os, "register_at_fork"):
    # a process made from this one has none of its threads
    os.register_at_fork(after_in_child=_pool.cache_clear)


def side_by_side(work: Callable[[Piece], Result], pieces: Iterable[Piece]) -> list[Result]:
    """What `work` makes of every piece.

    `work` must not ask for anything side by side itself.
    """
    waiting = list(pieces)
    if len(waiting) < 2:
        return [work(piece) for piece in waiting]
    found: dict[int, Result] = {}
    left = iter(range(len(waiting)))

    def hand() -> None:
        try:
            # next() of one iterator is atomic under Python's lock
            for n in left:
                found[n] = work(waiting[n])
        except BaseException:
            for _ in left:  # broken off: nobody begins another
                pass
            raise

    helped = [_pool().submit(hand) for _ in range(HANDS - 1)]
    try:
        hand()
    finally:
        for each in helped:
            # one that has not begun waits behind someone else's work, and has nothing left to do
            if not each.cancel():
                each.result()
    return [found[n] for n in range(len(waiting))]
