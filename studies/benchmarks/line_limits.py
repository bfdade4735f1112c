"""How long all maximum lengths of a study with 30 lines take.

First the bare physics, import included: 30 air lines that may be built with 3 bores, 3 valve
models and 3 actuators (27 combinations, 810 in all), each with a filling and a venting budget,
half of them from a finite reservoir. Then a whole `Study` of 30 lines: 10 filling and 10 venting
tubes of 27 combinations each, 4 supply tubes, 4 wires and 2 cables, as `place` works them out. The
target is 0.5 s for either on an idle machine. Run, with the package installed or its folder on the
path: python studies/benchmarks/line_limits.py
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
    print(
        f"{fill.size} combinations of 30 lines, {int(np.isnan(fill).sum())} cannot fill in "
        f"time at any length, {int(np.isnan(vent).sum())} cannot vent in time"
    )
    print(f"import           {_IMPORTED - _BEGIN:6.3f} s")
    print(f"filling limits   {filled - start:6.3f} s")
    print(f"venting limits   {vented - filled:6.3f} s")
    print(f"together         {vented - _BEGIN:6.3f} s  (target 0.5 s)")
    print(f"processor time   {time.process_time():6.3f} s  (Python's own start included)")


def whole_study() -> None:
    """Print the seconds that the limits of a study of 30 lines take."""
    from math import inf

    from optimizer.errors import Origin
    from optimizer.lines.line_limits import LineLimits
    from optimizer.study.model import Line, LineOption, Part, PartModel
    from optimizer.study.physics import LinePhysics, PartPhysics

    here = Origin("benchmark")

    def part(name: str, *physics: PartPhysics) -> Part:
        models = tuple(
            PartModel(
                f"m{k}", 0.1, 1e-4, (0.06, 0.04, 0.02), (), frozenset(), 0.0, None, here, {}, p
            )
            for k, p in enumerate(physics)
        )
        return Part(name, models, 1, here)

    def line(name: str, kind: str, a: str, b: str, physics: LinePhysics, *sizes: str) -> Line:
        options = tuple(
            LineOption(
                size, size, float(size.split("x")[-1]) * 1e-3 if kind == "air_tube" else 1.5e-3,
                0.01, 0.0, inf, here, {}, physics,
            )
            for size in sizes
        )  # fmt: skip
        return Line(name, kind, a, b, 0.0, options, here)

    valves = [
        PartPhysics(valve_c=c * 1e-8, valve_b=0.3, valve_delay_s=0.01) for c in (0.1, 0.2, 0.4)
    ]
    rooms = [
        PartPhysics(chamber_m3=v, stroke_m=0.04, piston_m=0.018, load_n=30.0, spring_n_m=1e3)
        for v in (12e-6, 16e-6, 20e-6)
    ]
    tubes = ("3x2", "4x2.5", "6x4")
    parts, lines = [part("box", PartPhysics())], []
    for k in range(10):
        parts += [part(f"fill{k}", *valves), part(f"vent{k}", *valves), part(f"room{k}", *rooms)]
        budget = 0.12 + 0.01 * k
        fills = LinePhysics(
            supply_pa=6e5, target_pa=4.5e5, response_s=budget, fitting_c=0.5e-8, extra_m3=3e-6
        )
        vents = LinePhysics(target_pa=4.5e5, vent_pa=1.15e5, vent_s=2 * budget, fitting_c=0.5e-8)
        lines.append(line(f"in{k}", "air_tube", f"fill{k}", f"room{k}", fills, *tubes))
        lines.append(line(f"out{k}", "air_tube", f"room{k}", f"vent{k}", vents, *tubes))
    feeds = LinePhysics(supply_pa=6.5e5, max_drop_pa=5e4, fitting_c=0.6e-8)
    wires = LinePhysics(current_a=2.0, peak_current_a=5.0, voltage_v=14.4, max_drop_share=0.01)
    cables = LinePhysics(friction_mu=0.08, min_efficiency=0.75)
    for k in range(4):
        lines.append(line(f"feed{k}", "air_tube", "box", f"fill{k}", feeds, *tubes))
        lines.append(line(f"wire{k}", "wire", "box", f"fill{k}", wires, "AWG 18", "AWG 20"))
    for k in range(2):
        lines.append(line(f"cable{k}", "pull_cable", "box", f"room{k}", cables, "1.5 mm"))
    start = time.perf_counter()
    limits = LineLimits(parts, lines).limits
    seconds = time.perf_counter() - start
    print(f"a study of {len(lines)} lines, {sum(map(len, limits.values()))} ways to make them")
    print(f"all limits       {seconds:6.3f} s  (target 0.5 s)")


if __name__ == "__main__":
    main()
    whole_study()
