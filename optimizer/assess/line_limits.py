"""How a line stands against what is asked of it: typed length, times, drops, losses."""

from __future__ import annotations

from math import inf

from optimizer.assess.figures import JUDGED
from optimizer.assess.report import report
from optimizer.assess.result import LimitReport, LineReport
from optimizer.errors import Origin
from optimizer.study.model import LineOption


def line_limits(option: LineOption, line: LineReport) -> tuple[LimitReport, ...]:
    """Typed longest length in mm, and each budget in its own unit, judged by the figure itself.

    A built line must besides be as long as the straight way between its ends.
    """
    found = []
    at = option.origin
    if option.max_length_m < inf:
        found.append(
            report(
                "line_length", line.line, f"length of {line.line}", line.length_m,
                option.max_length_m, "mm", 1e3,
                Origin(at.file, at.row, "max_length_mm" if at.row else at.column),
            )
        )  # fmt: skip
    if "straight_mm" in line.physics:
        found.append(
            report(
                "line_reach", line.line, f"straight way of {line.line}",
                line.physics["straight_mm"], line.length_m * 1e3, "mm", 1.0, at,
            )
        )  # fmt: skip
    for judged in JUDGED:
        budget = judged.budget(line.physics)
        if budget is not None:
            where = Origin(at.file, at.row, judged.column)
            found.append(
                report(
                    judged.kind, line.line, f"{judged.words} {_joint(judged.kind)} {line.line}",
                    judged.value(line.physics), budget, judged.unit, 1.0, where,
                )
            )  # fmt: skip
    return tuple(found)


def _joint(kind: str) -> str:
    return "of" if kind in ("fill_time", "vent_time") else "in"
