"""How fast many draws and many wearers go.

    python studies/benchmarks/trust_speed.py [draws|crowd] [WEARERS] [WORKERS]

`draws`: 2,000 coefficient draws x 50 layouts of the demo study, best of five. `crowd`: that many
invented wearers (statures and masses spread about the survey's means) x a study of 16 parts.
"""

from __future__ import annotations

import resource
import sys
import time
from dataclasses import replace

import numpy as np

from optimizer.body.anthropometry import ansur
from optimizer.crowd.crowd import crowd
from optimizer.crowd.wearers import Person
from optimizer.joint.world import make_world
from optimizer.study.load import demo_path, load_study
from optimizer.study.model import Study, WearerSpec
from optimizer.trust.draws import draw
from optimizer.trust.evaluate import evaluate, sheet_of
from optimizer.trust.search import ranked_plans
from optimizer.trust.spread import make_spread

PARTS = 16


def draws_x_layouts() -> None:
    """2,000 draws x 50 layouts."""
    study = load_study(demo_path())
    world = make_world(study)
    plans = ranked_plans(world, 50)
    spread = make_spread(study.energy)
    best = {"draw": np.inf, "evaluate": np.inf}
    started = time.perf_counter()
    sheet = sheet_of(world, plans)
    once = time.perf_counter() - started
    for _ in range(5):
        started = time.perf_counter()
        draws = draw(study, world.setting, spread, 2000, 0)
        drawn = time.perf_counter()
        evaluate([sheet], draws)
        done = time.perf_counter()
        best["draw"] = min(best["draw"], drawn - started)
        best["evaluate"] = min(best["evaluate"], done - drawn)
    print(
        f"{len(plans)} layouts added up once in {once:.3f} s; 2,000 draws drawn in "
        f"{best['draw']:.3f} s, evaluated in {best['evaluate']:.3f} s"
    )


def sixteen_parts() -> Study:
    """The demo with as many of its parts as make 16, and the lines between them."""
    study = load_study(demo_path())
    kept, count = [], 0
    for part in study.parts:
        if count + part.count <= PARTS:
            kept.append(part)
            count += part.count
    names = {part.name for part in kept}
    return replace(
        study,
        parts=tuple(kept),
        lines=tuple(n for n in study.lines if {n.part_a, n.part_b} <= names),
        rules=tuple(r for r in study.rules if {r.part_a, r.part_b} <= names),
    )


def people(n: int) -> list[Person]:
    """Invented wearers: statures and body mass indices drawn apart, about the survey's means."""
    rng = np.random.default_rng(0)
    made = []
    for i in range(n):
        sex = ("female", "male")[i % 2]
        table = ansur(sex)
        stature = float(np.clip(rng.normal(table["stature_mean"], table["stature_sd"]), 1.45, 1.95))
        index = table["mass_mean"] / table["stature_mean"] ** 2 * rng.lognormal(0.0, 0.12)
        spec = WearerSpec(sex, stature, float(index * stature**2), affected_side="right")
        made.append(Person(f"w{i}", "SML"[min(2, int((stature - 1.45) / 0.17))], spec))
    return made


def wearers_x_study(n: int, workers: int | None) -> None:
    """Many wearers x a study of 16 parts."""
    study = sixteen_parts()
    started = time.perf_counter()
    found = crowd(study, people(n), workers=workers, on_progress=None)
    gone = time.perf_counter() - started
    served = 0 if found.mean is None else found.mean.served
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
    print(
        f"{n} wearers x {PARTS} parts, {len(study.lines)} lines: {gone:.1f} s, "
        f"{served} served by one layout, all: {found.everyone}; {memory:.0f} MB"
    )


if __name__ == "__main__":
    what = sys.argv[1] if len(sys.argv) > 1 else "draws"
    if what == "draws":
        draws_x_layouts()
    else:
        wearers_x_study(
            int(sys.argv[2]) if len(sys.argv) > 2 else 200,
            int(sys.argv[3]) if len(sys.argv) > 3 else None,
        )
