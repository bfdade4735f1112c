"""Why nothing fits, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from optimizer.assess.result import Infeasible, Obstacle
from optimizer.problem.presolve import Reduced
from optimizer.setting import Setting

if TYPE_CHECKING:
    from optimizer.solve.program import Program


def explain(
    setting: Setting, reduced: Reduced, seconds: float, program: Program | None = None
) -> Infeasible:
    """Name the parts that cannot be placed, or a smallest set of limits that clash."""
    problem = reduced.problem
    obstacles: list[Obstacle] = []
    unplaceable: list[str] = []
    for p in reduced.emptied:
        slot = problem.slots[p]
        unplaceable.append(slot.unit)
        line = reduced.emptied_by.get(p)
        if line is not None:
            origin = next(row.origin for row in problem.lines if row.name == line)
            text = f"{slot.unit} has no place within reach of line {line}"
            obstacles.append(Obstacle(text, origin, "line_length", line))
        for exclusion in problem.exclusions:
            if exclusion.slot == p:
                model = slot.models[exclusion.model]
                text = f"{slot.unit} ({model}): {exclusion.reason}"
                obstacles.append(Obstacle(text, exclusion.origin, exclusion.kind, slot.unit))
    if not obstacles and program is not None:
        from optimizer.solve.conflicts import clashing_limits

        obstacles += clashing_limits(setting, problem)
    return Infeasible(
        setting.study.name,
        tuple(obstacles),
        tuple(unplaceable),
        seconds,
        setting.study.warnings,
    )
