"""What `sweep` and `target` share: a number to turn, and from where to where."""

from __future__ import annotations

from collections.abc import Sequence
from math import inf
from typing import TYPE_CHECKING

from optimizer.commands._run import INFEASIBLE, OK, STOPPED, overrides
from optimizer.errors import Flaw, InputError, Origin

if TYPE_CHECKING:
    from optimizer.solve.sweep_dial import Dial
    from optimizer.solve.sweep_result import Sweep

#: The range where none is given, as shares of what the study says.
FROM, TO = 0.2, 3.0
RANGE = Origin("--from, --to")


def turned(
    study_path: str,
    paths: Sequence[str],
    low: float | None,
    high: float | None,
    settings: Sequence[str],
) -> tuple[Dial, float, float]:
    """The dial and its range, of a study that is sound as it stands.

    Raises
    ------
    InputError
        If a path cannot be turned, or the range is neither given nor follows from the study.
    """
    from optimizer.solve.sweep_dial import dial

    found = dial(study_path, paths, overrides(settings))
    if (low is None or high is None) and not found.now:
        _require_numbers(study_path, found, settings)
        expected = f"both, as the study says no single number for {found.label}"
        raise InputError([Flaw(RANGE, "no range", expected)])
    now = found.now or 0.0
    if low is None:
        low = FROM * now
        _require_usable(found, low, "a fifth of")
    if high is None:
        high = TO * now
        _require_usable(found, high, "three times")
    return found, low, high


def _require_numbers(study_path: str, found: Dial, settings: Sequence[str]) -> None:
    """Raise InputError if a path leads nowhere, or to something other than a number."""
    from optimizer.study.load import load_study
    from optimizer.study.overrides import Scale

    steps = {**(overrides(settings) or {}), **dict.fromkeys(found.paths, Scale(1.0))}
    try:
        load_study(study_path, steps, overrides_from="turned number")
    except InputError as error:
        # a number that is not written may still be turned, once it is said from where to where
        flaws = [flaw for flaw in error.flaws if flaw.found != "no number"]
        if flaws:
            raise InputError(flaws) from None


def _require_usable(found: Dial, value: float, share: str) -> None:
    """Raise InputError if an end that nobody asked for is one the study cannot have."""
    try:
        found.study_at(value)
    except InputError as error:
        said = f"no range, and {share} {found.now:g}, {value:g}, is no end for one"
        expected = dict.fromkeys(f"both, each {flaw.expected}" for flaw in error.flaws)
        raise InputError([Flaw(RANGE, said, text) for text in expected]) from None


def swept(over: tuple[Dial, float, float], time_limit_s: float | None) -> Sweep:
    """Where the best layout changes over a range."""
    from optimizer.solve.sweep import sweep

    return sweep(*over, time_limit_s=inf if time_limit_s is None else time_limit_s)


def swept_code(found: Sweep) -> int:
    """The exit code of a sweep: whether anything is known, and any layout fits anywhere."""
    if not found.pieces:
        return STOPPED
    fits = any(piece.layout is not None for piece in found.pieces)
    return OK if fits or not found.complete else INFEASIBLE
