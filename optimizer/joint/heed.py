"""Warnings of many bodies or circumstances in a few sentences."""

from __future__ import annotations

import re
from collections.abc import Sequence

#: Bodies named one by one, at most.
NAMED = 4
_NUMBER = re.compile(r"\d+(?:\.\d+)?")


def summed_up(told: Sequence[tuple[str, Sequence[str]]], what: str) -> tuple[str, ...]:
    """Each kind of warning once, with how many of those listed it is about.

    Parameters
    ----------
    told : the name of each body (or other circumstance) and what is to be said of it
    what : what these are, in the plural

    Warnings that differ in their numbers only are of one kind, and the first speaks for all. One
    that is the same for everybody is told as it is.
    """
    kinds: dict[str, dict[str, str]] = {}
    for name, warnings in told:
        for text in warnings:
            kinds.setdefault(_NUMBER.sub("#", text), {}).setdefault(name, text)
    found = []
    for about in kinds.values():
        first, *others = about.values()
        if len(about) == len(told) and all(text == first for text in others):
            found.append(first)
            continue
        names = ", ".join([*about][:NAMED]) + (", ..." if len(about) > NAMED else "")
        alike = "" if all(text == first for text in others) else "first of them: "
        found.append(f"{len(about)} of {len(told)} {what} ({names}): {alike}{first}")
    return tuple(found)
