"""Options that say nothing by themselves: each needs another one beside it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from optimizer.errors import Flaw, InputError, Origin


@dataclass(frozen=True, slots=True)
class Beside:
    """An option with what was given for it, None for nothing, and whether it has its `needed`."""

    option: str
    given: object
    needed: str
    there: bool


def require_beside(options: Iterable[Beside]) -> None:
    """Refuse every option that would be ignored, before any file is read.

    Raises
    ------
    InputError
        With every option that was given without the one it needs.
    """
    flaws = [
        Flaw(Origin(each.option), str(each.given), f"{each.needed} beside it")
        for each in options
        if each.given is not None and not each.there
    ]
    if flaws:
        raise InputError(flaws)
