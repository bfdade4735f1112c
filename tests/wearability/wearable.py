"""Small random studies with something to say about wearing, and every layout of them assessed.

The truth is told by the assessment of every layout there is; the program must find its best.
Invented data throughout.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import product

import numpy as np

from optimizer.assess.assessment import assess
from optimizer.assess.result import Assessment, Layout, Placement
from optimizer.setting import Setting, build_setting
from optimizer.study.model import LimitSpec, Part, Site, Study, WearerSpec, Weights
from tests.instances import HERE, model, site, study

#: Name, segment, side, along, front_m, outside_m, tags, piece.
PLACES = (
    ("belt_back", "trunk", "centre", 0.15, -0.12, 0.0, ("belt",), "belt"),
    ("belt_right", "trunk", "right", 0.16, 0.02, 0.17, ("pelvis",), "belt"),
    ("back", "trunk", "left", 0.6, -0.14, 0.06, (), "vest"),
    ("chest", "trunk", "right", 0.7, 0.12, 0.08, (), "vest"),
    ("thigh_out", "thigh", "right", 0.5, 0.02, 0.09, (), "cuff"),
    ("thigh_in", "thigh", "right", 0.4, 0.02, -0.08, (), "cuff"),
    ("thigh_left", "thigh", "left", 0.5, 0.09, 0.01, (), ""),
    ("shank_out", "shank", "right", 0.4, 0.01, 0.06, (), ""),
    ("shank_left", "shank", "left", 0.5, 0.0, 0.06, ("bone",), ""),
    ("foot_top", "foot", "right", 0.5, 0.05, 0.0, (), "shoe"),
)
#: A limit no layout comes near, in SI.
HUGE = 1e9


def base_study(seed: int, *, parts: int = 3, sites: int = 4) -> Study:
    """A few parts with two models now and then, a few places, and no limits."""
    rng = np.random.default_rng(seed)
    # one place of the trunk and one of a leg at least, so that there is something to choose
    rows = [int(rng.integers(4)), 4 + int(rng.integers(6))]
    others = [i for i in range(len(PLACES)) if i not in rows]
    rows += [int(i) for i in rng.choice(others, size=sites - 2, replace=False)]
    garment = tuple(_site(rng, PLACES[i]) for i in sorted(rows))
    names = tuple(s.name for s in garment)
    catalog = []
    for i in range(parts):
        models = tuple(
            model(
                f"m{k}",
                float(rng.uniform(0.2, 0.7)),
                names,
                size_m=(0.08, 0.05, float(rng.uniform(0.02, 0.06))),
            )
            for k in range(1 + int(rng.random() < 0.15))
        )
        catalog.append(Part(f"p{i}", models, 1, HERE))
    return study(
        parts=tuple(catalog),
        sites=garment,
        wearer=WearerSpec(
            "female" if rng.random() < 0.5 else "male",
            float(rng.uniform(1.55, 1.9)),
            float(rng.uniform(55, 95)),
            affected_side=str(rng.choice(["left", "right", "none"])),
        ),
        weights=Weights(1.0, 0.1, 0.2),
    )


def _site(
    rng: np.random.Generator,
    place: tuple[str, str, str, float, float, float, tuple[str, ...], str],
) -> Site:
    name, segment, side, along, front, outside, tags, piece = place
    return site(
        name,
        (segment, side, along, front, outside),
        tags=frozenset(tags),
        piece=piece,
        holder_mass_kg=float(rng.choice([0.0, 0.04])),
        max_mass_kg=float(rng.uniform(0.8, 1.1)),
        contact_m2=float(rng.uniform(40e-4, 120e-4)),
        comfort=float(rng.integers(3, 11)),
        standoff_m=float(rng.choice([0.0, 0.02])),
    )


def all_layouts(setting: Setting) -> Iterator[Layout]:
    """Every part as every model at every place, limits or not."""
    free = setting.study
    options = [[(p.name, m.name, s.name) for m in p.models for s in free.sites] for p in free.parts]
    for chosen in product(*options):
        yield Layout(tuple(Placement(part, part, m, s) for part, m, s in chosen), ())


def truth(setting: Setting) -> list[Assessment]:
    """All feasible layouts, best first."""
    found = [assess(setting, layout) for layout in all_layouts(setting)]
    return sorted((a for a in found if a.feasible), key=lambda a: a.score)


def limited(seed: int, kind: str, subject: str = "", room: float | None = None) -> Study:
    """The study of a seed with one limit just above what a random layout, the witness, takes."""
    free = base_study(seed)
    rng = np.random.default_rng(10_000 + seed)
    asked = replace(free, limits=(LimitSpec(kind, subject, HUGE, HERE),))
    setting = build_setting(asked)
    layouts = list(all_layouts(setting))
    for i in rng.permutation(len(layouts)):
        seen = assess(setting, layouts[int(i)])
        values = [m.value * HUGE / m.limit for m in seen.limits if m.kind == kind]
        if seen.feasible and values and max(values) > 0:
            most = max(values)
            room = float(rng.uniform(1.002, 1.1)) if room is None else room
            value = round(most) if kind == "donning_steps" else most * room
            return replace(free, limits=(LimitSpec(kind, subject, value, HERE),))
    return free
