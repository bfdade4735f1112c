"""How many of its cases a test is tried on.

The suite has to be done in minutes wherever it runs, so random studies are few there. All of them
are tried with `LIMBTRIM_TESTS=full` in the environment: before a release, and after a change to
the models, the formulation or the search.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import TypeVar

Case = TypeVar("Case")

FULL = os.environ.get("LIMBTRIM_TESTS") == "full"


def some(cases: Sequence[Case], n: int) -> list[Case]:
    """All the cases in a full run, else n of them spread evenly, the first among them."""
    if FULL or n >= len(cases):
        return list(cases)
    return [cases[number * len(cases) // n] for number in range(n)]
