"""How long all switch points of one part's mass take, in single solves.

For each study and part: every value of the mass at which the best layout changes, from a fifth of
what the catalog says to three times that, against the mean time of one `place` at three values
within every piece (how hard a solve is depends on the value). The target is at most
3 x (pieces + 1) single solves, in number and in time, assessing every layout included. Run:
python studies/benchmarks/switch_points.py
"""

from __future__ import annotations

import statistics
import sys
import time
from pathlib import Path

from optimizer.assess.result import Infeasible
from optimizer.solve.place import place
from optimizer.solve.sweep import sweep
from optimizer.solve.sweep_dial import dial
from optimizer.solve.sweep_result import Sweep

STUDIES = Path(__file__).resolve().parents[1]
#: Study and the path of one part's mass.
CASES = (
    ("cable_hip_ankle", "parts.controller.mass_g"),
    ("cable_hip_ankle", "parts.power_board.mass_g"),
    ("cable_hip_ankle", "parts.radio.mass_g"),
    ("air_ankle", "parts.controller.mass_g"),
    ("air_ankle", "parts.leg_node_right.mass_g"),
    ("knee_motor", "parts.brake_resistor.mass_g"),
)
FROM, TO = 0.2, 3.0


def single_solve_s(study: Path, path: str, found: Sweep) -> float:
    """Mean seconds of one `place` within the pieces of a sweep, reading the study not counted."""
    seconds = []
    turned = dial(study, path)
    for piece in found.pieces:
        for share in (0.01, 0.5, 0.99):
            setting = turned.setting_at(piece.low + share * (piece.high - piece.low))
            started = time.perf_counter()
            layout = place(setting, top=1)
            if not isinstance(layout, Infeasible):
                seconds.append(time.perf_counter() - started)
    return statistics.fmean(seconds)


def main() -> int:
    """Print a line per case; 1 if any misses the target."""
    missed = False
    print(
        "study            path                           parts pieces solves   sweep  single  ratio"
    )
    for name, path in CASES:
        study = STUDIES / f"{name}.toml"
        turned = dial(study, path)
        assert turned.now is not None
        low, high = FROM * turned.now, TO * turned.now
        found = sweep(turned, low, high)
        single = single_solve_s(study, path, found)
        pieces = len(found.pieces)
        allowed = 3 * (pieces + 1)
        parts = sum(part.count for part in turned.setting_at(low).study.parts)
        ratio = found.seconds / single
        met = found.solves <= allowed and ratio <= allowed and found.method == "exact"
        missed = missed or not met
        print(
            f"{name:16} {path:30} {parts:5} {pieces:6} {found.solves:6} {found.seconds:6.2f}s "
            f"{single:6.2f}s {ratio:6.1f} {'of' if met else 'OVER'} {allowed} allowed"
        )
    return int(missed)


if __name__ == "__main__":
    sys.exit(main())
