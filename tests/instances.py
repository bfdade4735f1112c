"""Small random studies for tests, made in SI without any file. Invented data throughout."""

from __future__ import annotations

from dataclasses import replace
from math import inf

import numpy as np

from optimizer.errors import Origin
from optimizer.study.model import (
    EnergySpec,
    LimitSpec,
    Line,
    LineOption,
    PairRule,
    Part,
    PartModel,
    RoutesSpec,
    Site,
    SolveSpec,
    Study,
    Task,
    WearerSpec,
    Weights,
)

HERE = Origin("random")
#: Places a random garment may offer: segment, side, along, front_m, outside_m.
PLACES = [
    ("trunk", "right", 0.35, 0.05, 0.12),
    ("trunk", "left", 0.35, 0.05, 0.12),
    ("trunk", "centre", 0.45, -0.11, 0.0),
    ("thigh", "right", 0.45, 0.02, 0.08),
    ("thigh", "left", 0.45, 0.08, 0.0),
    ("shank", "right", 0.35, 0.01, 0.06),
    ("shank", "left", 0.40, 0.05, 0.0),
    ("foot", "right", 0.60, 0.05, 0.0),
    ("foot", "left", 0.30, 0.03, 0.03),
    ("shank", "right", 0.85, 0.04, 0.0),
]
#: Leaves a graph with few enough simple routes to list them all.
KEPT_PREFIXES = (
    "waist_front",
    "waist_back",
    "hip_outer",
    "hip_front",
    "thigh_outer",
    "knee_outer",
    "shank_outer",
    "ankle_outer",
    "foot_",
)


def study(**changes: object) -> Study:
    """A bare study with nothing in it, to be changed."""
    base = Study(
        name="random",
        title="random",
        invented=True,
        parts=(),
        sites=(),
        lines=(),
        wearer=WearerSpec("male", 1.75, 75.0),
        task=Task(),
        energy=EnergySpec(),
        weights=Weights(),
        limits=(),
        rules=(),
        routes=RoutesSpec(),
        solve=SolveSpec(),
        inertia_pose="straight",
        origin=HERE,
    )
    return replace(base, **changes)  # type: ignore[arg-type]


def site(name: str, place: tuple[str, str, float, float, float], **changes: object) -> Site:
    """A roomy site at a place."""
    segment, side, along, front, outside = place
    base = Site(
        name=name,
        segment=segment,
        side=side,
        along=along,
        front_m=front,
        outside_m=outside,
        volume_m3=inf,
        max_mass_kg=inf,
        max_thickness_m=inf,
        holder_mass_kg=0.0,
        contact_m2=None,
        offers=frozenset(),
        comfort=None,
        tags=frozenset(),
        anchor=None,
        origin=HERE,
    )
    return replace(base, **changes)  # type: ignore[arg-type]


def model(name: str, mass_kg: float, sites: tuple[str, ...], **changes: object) -> PartModel:
    """A part model of a plausible size."""
    base = PartModel(
        name=name,
        mass_kg=mass_kg,
        volume_m3=mass_kg * 8e-4,
        size_m=(0.06, 0.04, 0.02),
        sites=sites,
        needs=frozenset(),
        power_w=0.0,
        price=None,
        origin=HERE,
    )
    return replace(base, **changes)  # type: ignore[arg-type]


def line_option(name: str, rate: float, longest: float = inf) -> LineOption:
    """A line option with a mass per metre and a longest length."""
    return LineOption(name, name, None, rate, 0.004, longest, HERE)


def few_routes() -> RoutesSpec:
    """Forbid most anchors, so that every simple route can be listed."""
    from optimizer.body.wearer import build_wearer
    from optimizer.lines.graph import build_graph

    graph = build_graph(build_wearer(WearerSpec("male", 1.75, 75.0)), (), RoutesSpec())
    away = tuple(
        n for n in graph.nodes if not n.startswith(KEPT_PREFIXES) or n.startswith("foot_top")
    )
    return RoutesSpec(forbid_anchors=away)


def random_study(seed: int, *, parts: int = 4, sites: int = 5, lines: int = 3) -> Study:
    """A small study with every kind of limit the program knows, some of them tight."""
    rng = np.random.default_rng(seed)
    chosen = rng.choice(len(PLACES), size=min(sites, len(PLACES)), replace=False)
    words = ("dry", "cool")
    garment = tuple(
        site(
            f"s{i}",
            PLACES[p],
            volume_m3=float(rng.choice([inf, 2e-4, 4e-4])),
            max_mass_kg=float(rng.choice([inf, 0.35, 0.7])),
            max_thickness_m=float(rng.choice([inf, 0.03])),
            holder_mass_kg=float(rng.choice([0.0, 0.03, 0.08])),
            offers=frozenset(w for w in words if rng.random() < 0.8),
            comfort=float(rng.integers(3, 11)),
        )
        for i, p in enumerate(chosen)
    )
    names = tuple(s.name for s in garment)
    catalog = []
    for i in range(parts):
        allowed = tuple(n for n in names if rng.random() < 0.8) or names
        models = tuple(
            model(
                f"m{k}",
                float(rng.uniform(0.05, 0.4)),
                allowed,
                size_m=(0.06, 0.04, float(rng.choice([0.02, 0.04], p=[0.85, 0.15]))),
                needs=frozenset(w for w in words if rng.random() < 0.12),
            )
            for k in range(1 + int(rng.random() < 0.3))
        )
        count = 2 if i == parts - 1 and rng.random() < 0.5 else 1
        catalog.append(Part(f"p{i}", models, count, HERE))
    drawn = []
    for i in range(lines):
        a, b = (int(v) for v in rng.choice(parts, size=2, replace=False))
        options = tuple(
            line_option(
                f"o{k}",
                float(rng.uniform(0.01, 0.06)),
                float(rng.choice([inf, 0.5, 0.9, 1.4])),
            )
            for k in range(1 + int(rng.random() < 0.4))
        )
        if catalog[a].count > 1 and catalog[b].count > 1:
            continue
        drawn.append(
            Line(f"l{i}", "wire", f"p{a}", f"p{b}", float(rng.choice([0.0, 0.05])), options, HERE)
        )
    limits = []
    if rng.random() < 0.4:
        limits.append(LimitSpec("segment_mass", "thigh", float(rng.uniform(0.1, 0.6)), HERE))
    if rng.random() < 0.4:
        limits.append(LimitSpec("left_right_mass", "", float(rng.uniform(0.1, 0.5)), HERE))
    if rng.random() < 0.3:
        limits.append(LimitSpec("left_right_swing_inertia", "", float(rng.uniform(1, 8)), HERE))
    if rng.random() < 0.3:
        limits.append(LimitSpec("sites_in_use", "", float(rng.integers(2, 4)), HERE))
    if rng.random() < 0.2:
        limits.append(LimitSpec("device_mass", "", float(rng.uniform(0.6, 1.2)), HERE))
    rules = []
    if parts >= 3 and rng.random() < 0.3:
        kind = "apart" if rng.random() < 0.6 else "same_place"
        rules.append(PairRule(kind, "p0", "p1", float(rng.choice([0.0, 0.3])), HERE))  # type: ignore[arg-type]
    trunk = str(rng.choice(["browning_waist", "pandolf", "looney_backpack", "huang_kuo"]))
    leg = str(rng.choice(["segment_curve", "segment_table", "radius_squared"]))
    return study(
        parts=tuple(catalog),
        sites=garment,
        lines=tuple(drawn),
        limits=tuple(limits),
        rules=tuple(rules),
        routes=few_routes(),
        energy=EnergySpec(leg=leg, trunk=trunk),
        weights=Weights(1.0, 0.1, float(rng.choice([0.0, 0.05]))),
        inertia_pose=str(rng.choice(["straight", "swing"])),
    )
