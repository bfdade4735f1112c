"""What each way of buying a line allows: its longest length and most bend."""

from __future__ import annotations

from optimizer.problem.arrays import LineCase
from optimizer.setting import Setting
from optimizer.study.model import Line


def line_cases(setting: Setting, line: Line) -> tuple[LineCase, ...]:
    """The cases of one line, one per option; the typed-in maximum length is the limit."""
    return tuple(
        LineCase(i, None, None, max_length_m=option.max_length_m)
        for i, option in enumerate(line.options)
    )
