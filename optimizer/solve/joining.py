"""Lists of layouts of regions put together: which of each go with which of the others."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.pairwise import Pairwise
from optimizer.solve.bounds import Key

Mask = NDArray[np.bool_]
#: Pairs of layouts compared at once, and in all.
AT_ONCE, MOST_PAIRS = 100_000, 40_000_000
#: Layouts put together at most.
MOST_JOINED = 100_000


@dataclass(frozen=True)
class Listed:
    """Layouts of some slots: choices (n, n_slots), and what each costs beyond the cheapest, sorted.

    `slots` are those that have a choice; elsewhere is -1.
    """

    slots: IntArray
    chosen: IntArray
    beyond: Array
    known: Mask
    """(n,) those that shorter lists had."""


def joined(
    model: Pairwise, lists: Sequence[Listed], between: Mapping[Key, Array], room: float
) -> Listed | None:
    """What of several lists goes together and costs no more than `room` beyond the cheapest.

    Parameters
    ----------
    between : per pair of slots in no list together, what pairs of choices cost (inf: barred)

    Returns
    -------
    None where that would be too many to look at.
    """
    found = lists[0]
    for other in lists[1:]:
        # layouts that others of `other` go with are the first ones: both are sorted
        until = np.searchsorted(other.beyond, room - found.beyond, side="right")
        if int(until.sum()) > MOST_PAIRS:
            return None
        parts = []
        n = 0
        for rows in np.split(np.arange(len(until)), _steps(until)):
            part = _pairs(model, found, other, rows, until[rows], between, room)
            parts.append(part)
            n += len(part[1])
            if n > MOST_JOINED:
                return None
        chosen, beyond, known = (np.concatenate(each) for each in zip(*parts, strict=True))
        order = np.argsort(beyond, kind="stable")
        slots = np.union1d(found.slots, other.slots)
        found = Listed(slots, chosen[order], beyond[order], known[order])
    return found


def _steps(counts: IntArray) -> IntArray:
    """Where to divide rows so that each part has about `AT_ONCE` of what they count."""
    part = np.cumsum(counts) // AT_ONCE
    return np.flatnonzero(np.diff(part)) + 1


def _pairs(
    model: Pairwise,
    found: Listed,
    other: Listed,
    rows: IntArray,
    until: IntArray,
    between: Mapping[Key, Array],
    room: float,
) -> tuple[IntArray, Array, Mask]:
    """Some of `found`, each with the first `until` of `other`: what of it goes together."""
    first = np.repeat(rows, until)
    second = np.arange(len(first)) - np.repeat(np.cumsum(until) - until, until)
    beyond = found.beyond[first] + other.beyond[second]
    kept = beyond <= room
    for slot in np.intersect1d(found.slots, other.slots).tolist():
        kept &= found.chosen[first, slot] == other.chosen[second, slot]
    first, second, beyond = first[kept], second[kept], beyond[kept]
    mine, theirs = (np.isin(np.arange(model.n_slots), each.slots) for each in (found, other))
    chosen = np.where(mine, found.chosen[first], other.chosen[second])
    for (a, b), table in between.items():
        if any(has[a] and has[b] for has in (mine, theirs)):
            continue  # counted already
        if (mine | theirs)[[a, b]].all():
            beyond = beyond + table[chosen[:, a] - model.first[a], chosen[:, b] - model.first[b]]
    known = found.known[first] & other.known[second]
    kept = beyond <= room
    return chosen[kept], beyond[kept], known[kept]
