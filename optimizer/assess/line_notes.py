"""What is worth saying of a layout's lines together, in a sentence each."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from optimizer.assess.result import LineReport
from optimizer.lines.wire import bundled_rating_a, wire_size
from optimizer.study.model import Study

#: Less than this is cut off, or on, by any workshop.
_WORTH_SAYING_MM = 1.0


def line_notes(study: Study, lines: Sequence[LineReport]) -> tuple[str, ...]:
    """Wires that get warm in a bundle, and lines cut too short to sit down with."""
    return tuple(note for note in (_warm(study, lines), _sitting(lines)) if note)


def _warm(study: Study, lines: Sequence[LineReport]) -> str:
    options = {(ln.name, o.name): o for ln in study.lines for o in ln.options}
    warm = []
    for line in lines:
        option = options[line.line.split("#")[0], line.option]
        current = option.physics.current_a
        if line.kind != "wire" or current is None or not option.size:
            continue
        size = wire_size(option.size)
        rated = np.asarray(bundled_rating_a(size.area_m2)).item()
        if current > rated:
            warm.append(f"{line.line} ({current:.2g} A RMS in {size.name}, {rated:.2g} A)")
    if not warm:
        return ""
    return (
        "above the rule of 700 circular mil per ampere for wires in a bundle: "
        f"{', '.join(warm)}; keep them out of bundles and off the skin, or measure how warm they "
        "get"
    )


def _sitting(lines: Sequence[LineReport]) -> str:
    short = {
        line.line: line.physics["sitting_extra_mm"]
        for line in lines
        if line.physics.get("sitting_extra_mm", 0.0) >= _WORTH_SAYING_MM
    }
    if not short:
        return ""
    needs = ", ".join(f"{name} {extra:.0f} mm" for name, extra in short.items())
    return (
        f"lines are cut for walking; to sit down some need more length than that: {needs} "
        '(joint_range = "sit" in [routes] cuts all lines for it)'
    )
