"""Lists whose members are found only when a test asks for them, each once."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Generic, TypeVar

Member = TypeVar("Member")


class Lazily(Generic[Member]):
    """The first members of an endless run; what is not asked for is not found.

    Cases of a test are drawn while tests are collected, in every worker and whichever tests are
    wanted: what takes long to draw is better numbered there and drawn in the test.
    """

    def __init__(self, run: Iterator[Member]):
        self._run, self._found = run, list[Member]()

    def __getitem__(self, number: int) -> Member:
        while len(self._found) <= number:
            self._found.append(next(self._run))
        return self._found[number]

    def first(self, n: int) -> tuple[Member, ...]:
        """The first n members."""
        return tuple(self[number] for number in range(n))
