"""How long all maximum lengths of a study with 30 air lines take, import included.

Every line may be built with 3 bores, 3 valve models and 3 actuators (27 combinations, 810 in
all), each with a filling and a venting budget, half of them from a finite reservoir. The target
is 0.5 s on an idle machine. Run, with the package installed or its folder on the path:
python studies/benchmarks/line_limits.py
"""

from __future__ import annotations

import time

_BEGIN = time.perf_counter()

import numpy as np  # noqa: E402  (the import is part of what is timed)

from optimizer.lines.air_chamber import Chamber  # noqa: E402
from optimizer.lines.air_line import (  # noqa: E402
    AirLine,
    max_length_to_pressure,
    max_length_to_vent,
)
from optimizer.lines.air_path import Restriction  # noqa: E402

_IMPORTED = time.perf_counter()


def main() -> None:
    """Print the seconds taken by import, filling limits and venting limits."""
    lines = np.arange(30).reshape(30, 1, 1, 1)
    bore_m = np.array([2.0e-3, 2.5e-3, 4.0e-3]).reshape(1, 3, 1, 1)
    valve_c = np.array([0.15, 0.3, 0.6]).reshape(1, 1, 3, 1)
    stroke_m3 = np.array([8e-6, 16e-6, 30e-6]).reshape(1, 1, 1, 3)
    chamber = Chamber(3e-6, stroke_m3, 0.15e6 + 1e3 * lines, 0.35e6 + 1e3 * lines)
    line = AirLine(
        bore_m=bore_m,
        chamber=chamber,
        supply_pa=0.6e6 + 2e3 * lines,
        upstream=(Restriction.from_catalogue(valve_c, 0.3),),
        downstream=(Restriction.from_catalogue(1.5, 0.4),),
        exhaust=(
            Restriction.from_catalogue(valve_c * 0.9, 0.25),
            Restriction.from_catalogue(1.0, 0.3),
        ),
        reservoir_m3=np.where(lines % 2, 0.5e-3, np.inf),
        switch_s=0.01,
    )
    start = time.perf_counter()
    fill = max_length_to_pressure(line, 0.45e6, 0.12 + 0.002 * lines)
    filled = time.perf_counter()
    vent = max_length_to_vent(line, 0.12e6, 0.35 + 0.002 * lines, start_pa=0.45e6)
    vented = time.perf_counter()
    print(f"{fill.size} combinations of 30 lines, {int(np.isnan(fill).sum())} cannot fill in "
          f"time at any length, {int(np.isnan(vent).sum())} cannot vent in time")
    print(f"import           {_IMPORTED - _BEGIN:6.3f} s")
    print(f"filling limits   {filled - start:6.3f} s")
    print(f"venting limits   {vented - filled:6.3f} s")
    print(f"together         {vented - _BEGIN:6.3f} s  (target 0.5 s)")
    print(f"processor time   {time.process_time():6.3f} s  (Python's own start included)")


if __name__ == "__main__":
    main()
