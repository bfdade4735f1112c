"""Small random studies for tests, made in SI without any file. Invented data throughout."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from math import inf

import numpy as np

from optimizer.assess.result import Layout, Placement, Routing
from optimizer.errors import Origin
from optimizer.setting import Setting
from optimizer.study.model import (
    LEG_SEGMENTS,
    AddedArc,
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
Random = np.random.Generator
#: What a site may offer and a part need.
WORDS = ("dry", "cool")
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
    ("trunk", "centre", 0.75, -0.12, 0.0),
    ("trunk", "right", 0.10, 0.10, 0.06),
    ("thigh", "left", 0.70, 0.01, 0.08),
    ("thigh", "right", 0.30, 0.09, 0.0),
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


@cache
def few_routes() -> RoutesSpec:
    """Forbid most anchors, so that every simple route can be listed."""
    from optimizer.body.wearer import build_wearer
    from optimizer.lines.graph import build_graph

    graph = build_graph(build_wearer(WearerSpec("male", 1.75, 75.0)), (), RoutesSpec())
    away = tuple(
        n for n in graph.nodes if not n.startswith(KEPT_PREFIXES) or n.startswith("foot_top")
    )
    return RoutesSpec(forbid_anchors=away)


#: Site and model of every copy: what a random study is made around.
Witness = dict[str, tuple[str, str]]


@cache
def random_study(seed: int, *, parts: int = 4, sites: int = 5, lines: int = 3) -> Study:
    """A small study with every kind of limit the program knows, many of them tight.

    Limits are laid closely around one random layout, the witness, so that most studies have an
    answer and yet the layout that would be best without them is often ruled out. In three of
    ten studies one limit is then tightened below the witness; those may have no answer.
    """
    rng = np.random.default_rng(seed)
    bench = rng.random() < 0.12
    garment = _garment(rng, sites, bench)
    catalog = _catalog(rng, garment, parts)
    witness = _witness(rng, catalog, garment)
    together = _bring_together(rng, catalog, witness)
    catalog = tuple(_needing(rng, part, garment, witness) for part in catalog)
    garment = tuple(_capped(rng, here, catalog, witness) for here in garment)
    trunks = ["browning_waist", "huang_kuo", "pandolf", "looney_backpack"]
    trunk = str(rng.choice(trunks, p=[0.4, 0.25, 0.2, 0.15]))
    leg = str(rng.choice(["segment_curve", "segment_table", "radius_squared"]))
    people = (WearerSpec("male", 1.75, 75.0), WearerSpec("female", 1.62, 60.0))
    routes = few_routes()
    if bench:
        routes = replace(routes, add=_umbilical(float(rng.uniform(0.1, 0.8))))
    free = study(
        parts=catalog,
        sites=garment,
        wearer=people[int(rng.integers(2))],
        routes=routes,
        energy=EnergySpec(leg=leg, trunk=trunk),
        weights=Weights(
            1.0, float(rng.choice([0.0, 0.1, 0.5], p=[0.1, 0.7, 0.2])), float(rng.choice([0, 0.05]))
        ),
        inertia_pose=str(rng.choice(["straight", "swing"])),
    )
    free = replace(free, lines=_lines(rng, free, witness, lines))
    free = replace(
        free, rules=_rules(rng, free, witness, together), limits=_limits(rng, free, witness)
    )
    return _spoilt(rng, free) if rng.random() < 0.3 else free


def _garment(rng: Random, sites: int, bench: bool) -> tuple[Site, ...]:
    chosen = rng.choice(len(PLACES), size=min(sites, len(PLACES)), replace=False)
    garment = [
        site(
            f"s{i}",
            PLACES[p],
            holder_mass_kg=float(rng.choice([0.0, 0.03, 0.08])),
            max_thickness_m=float(rng.choice([inf, 0.03])),
            offers=frozenset(w for w in WORDS if rng.random() < 0.7),
            comfort=float(rng.integers(3, 11)),
        )
        for i, p in enumerate(chosen)
    ]
    if bench:
        garment[-1] = replace(
            garment[-1], segment="off_body", side="centre", along=0.0, front_m=0.0, outside_m=0.0
        )
    return tuple(garment)


def _umbilical(length_m: float) -> tuple[AddedArc, ...]:
    """Arcs to a bench from before and behind: a short cut through it that no line may take."""
    return tuple(
        AddedArc(end, "bench", length_m, 0.0, 0.2, "off_body", HERE)
        for end in ("waist_back", "waist_front")
    )


def _catalog(rng: Random, garment: tuple[Site, ...], parts: int) -> tuple[Part, ...]:
    names = tuple(s.name for s in garment)
    several = rng.random()
    catalog = []
    for i in range(parts):
        allowed = tuple(n for n in names if rng.random() < 0.8) or names
        if i == 0 and rng.random() < 0.5:
            # as an actuator sits at its joint
            legs = [s.name for s in garment if s.segment in LEG_SEGMENTS]
            allowed = (str(rng.choice(legs)),) if legs else allowed
        models = tuple(
            model(
                f"m{k}",
                mass := float(rng.uniform(0.05, 0.4)),
                allowed if k == 0 else tuple(n for n in names if rng.random() < 0.6) or allowed,
                volume_m3=mass * float(rng.uniform(4e-4, 1.2e-3)),
                size_m=(0.06, 0.04, float(rng.choice([0.02, 0.04], p=[0.7, 0.3]))),
            )
            for k in range(1 + int(rng.random() < 0.3))
        )
        count = 1
        if several < (0.5 if i == parts - 1 else 0.15 if i == parts - 2 else 0.0):
            count = 3 if several < 0.02 else 2
        catalog.append(Part(f"p{i}", models, count, HERE))
    return tuple(catalog)


def _at(
    catalog: tuple[Part, ...], witness: Witness, name: str
) -> list[tuple[PartModel, float, float]]:
    """Models the witness puts at a site, with what they weigh and fill."""
    found = []
    for part in catalog:
        for unit, (chosen, where) in witness.items():
            if unit.split("#")[0] == part.name and where == name:
                used = next(m for m in part.models if m.name == chosen)
                found.append((used, used.mass_kg, used.volume_m3))
    return found


def _witness(rng: Random, catalog: tuple[Part, ...], garment: tuple[Site, ...]) -> Witness:
    """A random layout: in some studies of few sites, in some of the lightest models."""
    favoured = {s.name for s in garment}
    if rng.random() < 0.4:
        favoured = {str(n) for n in rng.choice(sorted(favoured), size=2, replace=False)}
    light = rng.random() < 0.5
    witness: Witness = {}
    for part in catalog:
        for i in range(part.count):
            chosen = part.models[int(rng.integers(len(part.models)))]
            if light:
                chosen = min(part.models, key=lambda m: m.mass_kg)
            where = [n for n in chosen.sites if n in favoured] or chosen.sites
            unit = part.name if part.count == 1 else f"{part.name}#{i + 1}"
            witness[unit] = (chosen.name, str(rng.choice(where)))
    return witness


def _bring_together(rng: Random, catalog: tuple[Part, ...], witness: Witness) -> tuple[str, ...]:
    """In some studies, two single parts moved to one place; returns which, or nothing."""
    singles = [part for part in catalog if part.count == 1]
    if len(singles) < 2 or rng.random() < 0.75:
        return ()
    pair = [singles[int(i)] for i in rng.choice(len(singles), size=2, replace=False)]
    allowed = [
        next(m.sites for m in part.models if m.name == witness[part.name][0]) for part in pair
    ]
    common = [name for name in allowed[0] if name in allowed[1]]
    if not common:
        return ()
    where = str(rng.choice(common))
    for part in pair:
        witness[part.name] = (witness[part.name][0], where)
    return tuple(part.name for part in pair)


def _needing(rng: Random, part: Part, garment: tuple[Site, ...], witness: Witness) -> Part:
    """The part with needs that its places in the witness offer."""
    offers = {s.name: s.offers for s in garment}
    models = []
    for m in part.models:
        spots = [
            offers[where]
            for unit, (chosen, where) in witness.items()
            if unit.split("#")[0] == part.name and chosen == m.name
        ]
        offered = frozenset(WORDS).intersection(*spots)
        models.append(replace(m, needs=frozenset(w for w in sorted(offered) if rng.random() < 0.2)))
    return replace(part, models=tuple(models))


def _capped(rng: Random, here: Site, catalog: tuple[Part, ...], witness: Witness) -> Site:
    """The site with capacities that just hold what the witness puts there."""
    held = _at(catalog, witness, here.name)
    mass, volume = sum(m for _, m, _ in held), sum(v for _, _, v in held)
    thickest = max((m.size_m[2] for m, _, _ in held), default=0.0)
    tight = rng.random(2) < 0.35
    most_kg = max(mass * rng.uniform(1.0001, 2.0), rng.uniform(0.1, 0.5))
    most_m3 = max(volume * rng.uniform(1.0001, 2.0), rng.uniform(1e-4, 4e-4))
    return replace(
        here,
        max_mass_kg=most_kg if tight[0] else inf,
        volume_m3=most_m3 if tight[1] else inf,
        max_thickness_m=inf if thickest > here.max_thickness_m else here.max_thickness_m,
    )


def _lines(rng: Random, free: Study, witness: Witness, lines: int) -> tuple[Line, ...]:
    """Lines between parts; the first option reaches as far as the witness needs, or a bit more."""
    from optimizer.setting import build_setting

    between = build_setting(free).graph.shortest_lengths()
    number = {s.name: i for i, s in enumerate(free.sites)}
    drawn = []
    for i in range(lines):
        a, b = (free.parts[int(v)] for v in rng.choice(len(free.parts), size=2, replace=False))
        if a.count > 1 and b.count > 1 and a.count != b.count:
            continue
        slack = float(rng.choice([0.0, 0.05]))
        several = int(rng.choice([1, 2, 3], p=[0.6, 0.3, 0.1]))
        longest = 0.0
        for k in range(max(a.count, b.count)):
            ends = [p.name if p.count == 1 else f"{p.name}#{k + 1}" for p in (a, b)]
            s, t = (number[witness[unit][1]] for unit in ends)
            longest = max(longest, float(between[s, t]) + slack)
        options = [
            line_option(
                f"o{k}",
                float(rng.uniform(0.01, 0.06)),
                inf if rng.random() < 0.3 else float((longest + 0.01) * rng.uniform(1.0, 2.0)),
            )
            for k in range(min(several, 4 - max(a.count, b.count)))
        ]
        for k in range(1, len(options)):
            # the further ones may be too short for the witness
            short = options[k].max_length_m * float(rng.uniform(0.4, 1.0))
            options[k] = replace(options[k], max_length_m=short)
        drawn.append(Line(f"l{i}", "wire", a.name, b.name, slack, tuple(options), HERE))
    return tuple(drawn)


def _rules(
    rng: Random, free: Study, witness: Witness, together: tuple[str, ...]
) -> tuple[PairRule, ...]:
    """A rule on two parts that the witness keeps."""
    from optimizer.body.wearer import build_wearer

    if together:
        return (PairRule("same_place", together[0], together[1], 0.0, HERE),)
    if len(free.parts) < 3 or rng.random() < 0.5:
        return ()
    a, b = (free.parts[int(v)] for v in rng.choice(len(free.parts), size=2, replace=False))
    wearer = build_wearer(free.wearer)
    spots = [
        [s for u, (_, n) in witness.items() if u.split("#")[0] == p.name for s in free.sites
         if s.name == n]
        for p in (a, b)
    ]  # fmt: skip
    gaps = [
        float(np.linalg.norm(wearer.position(s) - wearer.position(t)))
        for s in spots[0]
        for t in spots[1]
    ]
    names = {s.name for pair in spots for s in pair}
    if len(names) == 1:
        return (PairRule("same_place", a.name, b.name, 0.0, HERE),)
    if {s.name for s in spots[0]} & {s.name for s in spots[1]}:
        return ()
    away = float(rng.choice([0.0, min(gaps) * rng.uniform(0.5, 0.999)]))
    return (PairRule("apart", a.name, b.name, away, HERE),)


def _limits(rng: Random, free: Study, witness: Witness) -> tuple[LimitSpec, ...]:
    """Limits of the study that the witness, its lines run the shortest way, keeps by a little."""
    from optimizer.assess.assessment import assess
    from optimizer.setting import build_setting

    setting = build_setting(free)
    found = assess(setting, witness_layout(setting, witness))
    legs = {
        side: sum(m for key, m in found.mass_kg.items() if key.endswith(side))
        for side in ("left", "right")
    }
    hips = {s.side: s.added_pct for s in found.swing_inertia if s.joint == "hip"}
    most = {
        seg: max(m for key, m in found.mass_kg.items() if key.startswith(seg))
        for seg in ("trunk", "thigh", "shank", "foot")
    }
    segment = str(rng.choice(list(most), p=[0.4, 0.3, 0.2, 0.1]))
    used = len({where for _, where in witness.values()})
    wanted = (
        (0.4, "segment_mass", segment, max(most[segment], 0.05), 1.2),
        (0.35, "left_right_mass", "", max(abs(legs["left"] - legs["right"]), 0.05), 1.1),
        (0.35, "left_right_swing_inertia", "", max(abs(hips["left"] - hips["right"]), 0.5), 1.1),
        (0.3, "device_mass", "", found.total_mass_kg, 1.05),
    )
    limits = [
        LimitSpec(kind, subject, float(value * rng.uniform(1.002, most_room)), HERE)
        for share, kind, subject, value, most_room in wanted
        if rng.random() < share and value > 0
    ]
    if rng.random() < 0.35:
        limits.append(LimitSpec("sites_in_use", "", float(used), HERE))
    return tuple(limits)


def witness_layout(setting: Setting, witness: Witness) -> Layout:
    """Places as a layout, every line as its first option the shortest way."""
    free, graph = setting.study, setting.graph
    number = {s.name: int(graph.site_node[i]) for i, s in enumerate(free.sites)}
    counts = {p.name: p.count for p in free.parts}
    routings = []
    for line in free.lines:
        copies = max(counts[line.part_a], counts[line.part_b])
        for k in range(copies):
            a, b = (p if counts[p] == 1 else f"{p}#{k + 1}" for p in (line.part_a, line.part_b))
            path = graph.shortest_path(number[witness[a][1]], number[witness[b][1]])
            nodes = tuple(graph.nodes[n] for n in path[0]) if path and len(path[0]) > 1 else ()
            name = line.name if copies == 1 else f"{line.name}#{k + 1}"
            routings.append(Routing(name, line.options[0].name, a, b, nodes))
    placements = tuple(Placement(u, u.split("#")[0], m, s) for u, (m, s) in witness.items())
    return Layout(placements, tuple(routings))


def _spoilt(rng: Random, full: Study) -> Study:
    """One limit, capacity or reach tightened to less than the witness asks."""
    share = float(rng.uniform(0.3, 0.9))
    if full.limits and rng.random() < 0.5:
        n = int(rng.integers(len(full.limits)))
        changed = replace(full.limits[n], value=full.limits[n].value * share)
        return replace(full, limits=(*full.limits[:n], changed, *full.limits[n + 1 :]))
    n = int(rng.integers(len(full.sites)))
    here = full.sites[n]
    changed_site = replace(
        here, max_mass_kg=here.max_mass_kg * share, volume_m3=here.volume_m3 * share
    )
    sites = (*full.sites[:n], changed_site, *full.sites[n + 1 :])
    lines = tuple(
        replace(
            line,
            options=tuple(
                replace(o, max_length_m=max(o.max_length_m * share, line.slack_m))
                for o in line.options
            ),
        )
        for line in full.lines
    )
    return replace(full, sites=sites, lines=lines)
