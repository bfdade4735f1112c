"""What each way of buying a line allows: its longest length and most bend.

A typed `max_length_mm` and the limits that follow from what is asked of the line (time to
pressure, time to vent, voltage, pressure drop, efficiency) hold together: the tightest counts.
"""

from __future__ import annotations

from optimizer.problem.arrays import LineCase
from optimizer.problem.routing import TOLERANCE
from optimizer.setting import Setting
from optimizer.study.model import Line


def line_cases(setting: Setting, line: Line) -> tuple[LineCase, ...]:
    """The cases of one line: one per option, or per option and models of its ends.

    Models are None where they make no difference. A combination that misses a budget at any
    length, or by its service slack alone, is left out; a line of which none is left cannot be
    built, and has no case.
    """
    return tuple(
        LineCase(limit.option, limit.model_a, limit.model_b, limit.max_length_m, limit.max_bend_rad)
        for limit in setting.line_limits[line.name]
        if limit.max_length_m >= line.slack_m * (1 - TOLERANCE)
    )
