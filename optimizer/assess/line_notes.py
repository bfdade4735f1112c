"""What is worth saying of a layout's lines together, in a sentence."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from optimizer.assess.result import LineReport
from optimizer.lines.wire import bundled_rating_a, wire_size
from optimizer.study.model import LineOption

#: Less than this is cut off, or on, by any workshop.
_WORTH_SAYING_MM = 1.0


def warm_wire(option: LineOption, line: LineReport) -> str:
    """Name and figures of a wire that gets warm in a bundle, empty if it does not."""
    current = option.physics.current_a
    if line.kind != "wire" or current is None or not option.size:
        return ""
    size = wire_size(option.size)
    rated = np.asarray(bundled_rating_a(size.area_m2)).item()
    if current <= rated:
        return ""
    return f"{line.line} ({current:.2g} A RMS in {size.name}, {rated:.2g} A)"


def warm_words(wires: Sequence[str]) -> tuple[str, ...]:
    """A warning of the wires that get warm in a bundle (`warm_wire` of each), if any does."""
    warm = [wire for wire in wires if wire]
    if not warm:
        return ()
    return (
        "above the rule of 700 circular mil per ampere for wires in a bundle: "
        f"{', '.join(warm)}; keep them out of bundles and off the skin, or measure how warm they "
        "get",
    )


def sitting_words(lines: Sequence[LineReport]) -> tuple[str, ...]:
    """Which lines are too short to sit with, if any is."""
    short = {
        line.line: line.physics["sitting_extra_mm"]
        for line in lines
        if line.physics.get("sitting_extra_mm", 0.0) >= _WORTH_SAYING_MM
    }
    if not short:
        return ()
    needs = ", ".join(f"{name} {extra:.0f} mm" for name, extra in short.items())
    return (
        f"lines are cut for walking; to sit down some need more length than that: {needs} "
        '(joint_range = "sit" in [routes] cuts all lines for it)',
    )
