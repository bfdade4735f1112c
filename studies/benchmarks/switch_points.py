"""How long all switch points of one part's mass take, in single solves.

For each study and part: every value of the mass at which the best layout changes, from a fifth of
what the catalog says to three times that, against the mean time of one `place` at three values
within every piece (how hard a solve is depends on the value). The target is at most
3 x (pieces + 1) single solves, in number and in time, assessing every layout included.

The model is built at a few samples of the range before the search begins and then turned in place:
the columns "built before" and "built after" count how often it was built from the study before
the first solve of the search and from then on; "build" and "turn" are what one of each takes. Run:

    python studies/benchmarks/switch_points.py

`--write` puts what it prints into SWITCH_POINTS.md beside it.
"""

from __future__ import annotations

import argparse
import os
import platform
import statistics
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from importlib.metadata import version
from pathlib import Path
from typing import Any

from optimizer.assess.result import Infeasible
from optimizer.solve import sweep_assess, sweep_sample
from optimizer.solve.place import place
from optimizer.solve.sweep import sweep
from optimizer.solve.sweep_arrays import SweptArrays
from optimizer.solve.sweep_dial import dial
from optimizer.solve.sweep_exact import ExactSweep
from optimizer.solve.sweep_result import Sweep

HERE = Path(__file__).resolve().parent
STUDIES = HERE.parent
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
LIBRARIES = ("numpy", "scipy", "highspy")
HEAD = (
    "study",
    "turned",
    "parts",
    "pieces",
    "solves",
    "allowed",
    "built before",
    "built after",
    "build ms",
    "turn ms",
    "sweep s",
    "single s",
    "single solves",
)


@dataclass
class Counted:
    """Counts and times calls of what builds a model and what turns it, while it is in place."""

    builds: list[float] = field(default_factory=list)
    turns: list[float] = field(default_factory=list)
    before: int = 0
    _kept: list[tuple[Any, str, Any]] = field(default_factory=list)

    def __enter__(self) -> Counted:
        self._wrap(sweep_sample, "sample", self.builds)
        self._wrap(sweep_assess, "build_problem", self.builds)
        self._wrap(SweptArrays, "at", self.turns)
        run = ExactSweep.run

        def begun(search: ExactSweep) -> None:
            self.before = len(self.builds)
            run(search)

        self._kept.append((ExactSweep, "run", run))
        setattr(ExactSweep, "run", begun)  # noqa: B010 - a method put aside for a while
        return self

    def __exit__(self, *_: object) -> None:
        for owner, name, original in self._kept:
            setattr(owner, name, original)

    def _wrap(self, owner: Any, name: str, seconds: list[float]) -> None:
        original: Callable[..., Any] = getattr(owner, name)

        def timed(*arguments: Any, **options: Any) -> Any:
            started = time.perf_counter()
            found = original(*arguments, **options)
            seconds.append(time.perf_counter() - started)
            return found

        for module in [owner] if owner is not sweep_sample else _users_of_sample():
            self._kept.append((module, name, original))
            setattr(module, name, timed)


def _users_of_sample() -> list[Any]:
    """Modules that hold the function which builds the program at a value."""
    return [m for m in sys.modules.values() if getattr(m, "sample", None) is sweep_sample.sample]


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


def row(name: str, path: str) -> tuple[list[str], bool]:
    """One case: its cells, and whether it meets the target."""
    study = STUDIES / f"{name}.toml"
    turned = dial(study, path)
    assert turned.now is not None
    low, high = FROM * turned.now, TO * turned.now
    with Counted() as counted:
        found = sweep(turned, low, high)
    single = single_solve_s(study, path, found)
    allowed = 3 * (len(found.pieces) + 1)
    ratio = found.seconds / single
    met = found.solves <= allowed and ratio <= allowed and found.method == "exact"
    return [
        name,
        path,
        str(sum(part.count for part in turned.setting_at(low).study.parts)),
        str(len(found.pieces)),
        str(found.solves),
        f"{allowed}{'' if met else ' MISSED'}",
        str(counted.before),
        str(len(counted.builds) - counted.before),
        f"{1e3 * statistics.fmean(counted.builds):.0f}",
        f"{1e3 * statistics.fmean(counted.turns):.1f}" if counted.turns else "-",
        f"{found.seconds:.2f}",
        f"{single:.2f}",
        f"{ratio:.1f}",
    ], met


def processor() -> str:
    """The processor's model, as far as the system tells it."""
    known = Path("/proc/cpuinfo")
    if known.exists():
        for line in known.read_text(encoding="utf-8").splitlines():
            if line.startswith("model name"):
                return line.partition(":")[2].strip()
    return platform.processor() or platform.machine()


def machine() -> str:
    """What it was run on."""
    libraries = ", ".join(f"{name} {version(name)}" for name in LIBRARIES)
    return (
        f"{processor()}, {os.cpu_count()} cores, {platform.system()}; "
        f"Python {platform.python_version()}, {libraries}."
    )


def table(rows: list[list[str]]) -> str:
    """Rows as a Markdown table, padded so that it also reads as plain text."""
    everything = [list(HEAD), *rows]
    widths = [max(len(cells[i]) for cells in everything) for i in range(len(HEAD))]

    def line(cells: list[str]) -> str:
        padded = [
            cell.ljust(width) if i < 2 else cell.rjust(width)
            for i, (cell, width) in enumerate(zip(cells, widths, strict=True))
        ]
        return f"| {' | '.join(padded)} |"

    rule = [f"{'-' * (w - (i > 1))}{':' if i > 1 else ''}" for i, w in enumerate(widths)]
    return "\n".join([line(list(HEAD)), line(rule), *(line(cells) for cells in rows)])


TEXT = """\
# All switch points of one mass, in single solves

    python studies/benchmarks/switch_points.py --write

From a fifth of what the catalog says to three times that, every mass at which the best layout
changes. "allowed" is the target, 3 x (pieces + 1), which both the number of solves and the time
("single solves": "sweep s" over "single s", the mean time of one `place` along the range) must keep
to. A sweep's seconds count everything: reading the study, building, solving, assessing each layout.

"built before" is how often the model was built from the study before the search began (both ends of
the range and probes between, nearer ones where a capacity rules out places towards one end), "built
after" how often from then on: never. Each solve turns the one model in place ("turn ms", against
"build ms" for building it).

{table}

{machine}
"""


def main() -> int:
    """Print a line per case; 1 if any misses the target."""
    parser = argparse.ArgumentParser(description="switch points in single solves")
    parser.add_argument("--write", action="store_true", help="write SWITCH_POINTS.md too")
    write = parser.parse_args().write
    rows, missed = [], False
    for name, path in CASES:
        cells, met = row(name, path)
        rows.append(cells)
        missed = missed or not met
    print(f"{table(rows)}\n\n{machine()}")
    if write:
        text = TEXT.format(table=table(rows), machine=machine())
        (HERE / "SWITCH_POINTS.md").write_text(text, encoding="utf-8")
    return int(missed)


if __name__ == "__main__":
    sys.exit(main())
