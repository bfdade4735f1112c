"""How a layout's lines stand against what is asked of them: typed lengths, times, drops, losses."""

from __future__ import annotations

from collections.abc import Sequence
from math import inf

from optimizer.assess.figures import JUDGED
from optimizer.assess.report import report
from optimizer.assess.result import LimitReport, LineReport
from optimizer.errors import Origin
from optimizer.study.model import Study


def line_limits(study: Study, lines: Sequence[LineReport]) -> list[LimitReport]:
    """Typed longest lengths in mm, and each budget in its own unit, judged by the figure itself."""
    options = {(ln.name, o.name): o for ln in study.lines for o in ln.options}
    found = []
    for line in lines:
        option = options[line.line.split("#")[0], line.option]
        at = option.origin
        if option.max_length_m < inf:
            label = f"length of {line.line}"
            found.append(
                report(
                    "line_length", line.line, label, line.length_m, option.max_length_m, "mm", 1e3,
                    Origin(at.file, at.row, "max_length_mm" if at.row else at.column),
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
    return found


def _joint(kind: str) -> str:
    return "of" if kind in ("fill_time", "vent_time") else "in"
