"""What `sweep` and `target` share: a number to turn, and from where to where."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from optimizer.commands._run import overrides
from optimizer.errors import Flaw, InputError, Origin

if TYPE_CHECKING:
    from optimizer.solve.sweep_dial import Dial

#: The range where none is given, as shares of what the study says.
FROM, TO = 0.2, 3.0


def turned(
    study_path: str,
    paths: Sequence[str],
    low: float | None,
    high: float | None,
    settings: Sequence[str],
) -> tuple[Dial, float, float]:
    """The dial and its range.

    Raises
    ------
    InputError
        If a path cannot be turned, or the range is neither given nor follows from the study.
    """
    from optimizer.solve.sweep_dial import dial

    found = dial(study_path, paths, overrides(settings))
    if (low is None or high is None) and not found.now:
        origin = Origin("--from, --to")
        expected = f"both, as the study says no single number for {found.label}"
        raise InputError([Flaw(origin, "no range", expected)])
    now = found.now or 0.0
    return found, FROM * now if low is None else low, TO * now if high is None else high
