"""Seeded families of invented studies, each feasible by construction from a hidden layout.

A family says how many parts and sites, one leg or two, whether the lines form a tree or a mesh,
how tight line lengths, pockets and totals are, and how many parts come as alternatives or in
identical copies. `make(family, seed)` draws sites on the wearer, parts grouped in chains from the
vest to the foot, and a hidden layout that keeps linked parts near each other; every capacity,
longest length and limit is then set from the hidden layout times a slack factor, so the hidden
layout meets all of them. Masses, volumes and sizes are drawn log-uniformly from ranges of
small pneumatic, electric and sensing components; they are invented.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf

import numpy as np

from optimizer.errors import Origin
from optimizer.problem.build import build_problem
from optimizer.setting import Setting, build_setting
from optimizer.solve.program import Solution, solution_of
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

HERE = Origin("benchmark")


@dataclass(frozen=True)
class Family:
    """What the instances of a family have in common."""

    name: str
    parts: int
    sites: int
    legs: int = 1
    lines_per_part: float = 1.3
    """1.0 or less: a tree; above: a mesh."""
    line_slack: float = 1.5
    """Longest length over the hidden route's length; inf: no line is limited."""
    pocket_slack: float = 1.3
    """Capacity over what the hidden layout puts in."""
    alternatives: float = 0.25
    """Share of parts that come as two or three models."""
    copies: int = 0
    """How many parts are identical (in groups of two or three)."""
    trunk: str = "browning_waist"


def _families() -> dict[str, Family]:
    out: list[Family] = []
    for parts, sites in ((8, 24), (16, 32), (24, 48), (32, 48), (48, 72), (64, 96)):
        size = f"{parts}x{sites}"
        out += [
            Family(f"{size}_one_leg", parts, sites),
            Family(f"{size}_two_legs", parts, sites, legs=2),
            Family(f"{size}_tree_loose", parts, sites, lines_per_part=0.95, line_slack=3.0),
            Family(f"{size}_mesh_tight", parts, sites, lines_per_part=1.6, line_slack=1.15),
            Family(f"{size}_tight_pockets", parts, sites, pocket_slack=1.05),
            Family(f"{size}_loose_pockets", parts, sites, pocket_slack=2.5),
            Family(f"{size}_alternatives", parts, sites, legs=2, alternatives=0.7),
            Family(f"{size}_identical", parts, sites, legs=2, copies=6),
            Family(f"{size}_curved_trunk", parts, sites, trunk="pandolf"),
        ]
    return {family.name: family for family in out}


FAMILIES: dict[str, Family] = _families()

#: Share of the sites on each segment, of one leg where the segment is a leg's.
SPREAD = {"trunk": 0.42, "thigh": 0.22, "shank": 0.22, "foot": 0.14}


@dataclass
class _Drawn:
    """A part being drawn: where it may sit (segments) and what it weighs."""

    name: str
    segments: tuple[str, ...]
    side: str
    mass_kg: float
    count: int = 1


def make(family: Family, seed: int) -> tuple[Study, tuple[tuple[str, int, str], ...]]:
    """A study of a family and its hidden layout as (unit, model number, site name)."""
    rng = np.random.default_rng([seed, family.parts, family.sites, len(family.name)])
    sides = ("right",) if family.legs == 1 else ("left", "right")
    sites = _sites(rng, family.sites, sides)
    drawn = _parts(rng, family, sides)
    parts = tuple(_part(rng, family, d, sites) for d in drawn)
    lines = _lines(rng, family, drawn)
    bare = Study(
        name=f"{family.name}-{seed}",
        title=f"benchmark {family.name}, seed {seed}",
        invented=True,
        parts=parts,
        sites=sites,
        lines=lines,
        wearer=WearerSpec("male", 1.75, 75.0),
        task=Task(),
        energy=EnergySpec(trunk=family.trunk),
        weights=Weights(1.0, 0.1, 0.0),
        limits=(),
        rules=(),
        routes=RoutesSpec(),
        solve=SolveSpec(),
        inertia_pose="swing",
        origin=HERE,
    )
    setting = build_setting(bare)
    chosen, solution = _hidden(rng, setting)
    problem = build_problem(setting)
    hidden = tuple(
        (
            problem.slots[p].unit,
            int(problem.choice_model[c]),
            problem.site_names[int(problem.choice_site[c])],
        )
        for p, c in enumerate(chosen)
    )
    study = replace(
        bare,
        sites=_with_capacities(rng, family, setting, hidden),
        lines=_with_lengths(rng, family, bare.lines, problem.lines, solution),
        limits=_totals(family, solution),
        rules=_rules(rng, bare.parts, hidden),
    )
    return study, hidden


# -- sites ---------------------------------------------------------------------------------


def _sites(rng: np.random.Generator, n: int, sides: tuple[str, ...]) -> tuple[Site, ...]:
    counts = _share(n, sides)
    sites = []
    for (segment, side), count in counts.items():
        for i in range(count):
            if segment == "trunk":
                place = (
                    str(rng.choice(["left", "right", "centre"])),
                    float(rng.uniform(0.1, 0.85)),
                    float(rng.choice([-0.13, 0.12]) + rng.uniform(-0.02, 0.02)),
                    float(rng.uniform(0.03, 0.17)),
                )
                thick, holder = float(rng.choice([0.025, 0.04, 0.06])), rng.uniform(0.015, 0.06)
            else:
                low, high = {"thigh": (0.3, 0.8), "shank": (0.2, 0.95), "foot": (0.1, 0.8)}[segment]
                place = (
                    side,
                    float(rng.uniform(low, high)),
                    float(rng.uniform(-0.02, 0.07)),
                    float(rng.uniform(0.02, 0.08)),
                )
                thick, holder = float(rng.choice([0.02, 0.03, 0.05])), rng.uniform(0.012, 0.045)
            sites.append(
                Site(
                    name=f"{segment}_{side}_{i + 1}",
                    segment=segment,
                    side=place[0],
                    along=place[1],
                    front_m=place[2],
                    outside_m=place[3],
                    volume_m3=inf,
                    max_mass_kg=inf,
                    max_thickness_m=thick,
                    holder_mass_kg=round(float(holder), 3),
                    contact_m2=None,
                    offers=frozenset(w for w in ("dry", "cool") if rng.random() < 0.85),
                    comfort=None,
                    tags=frozenset(),
                    anchor=None,
                    origin=HERE,
                )
            )
    return tuple(sites)


def _share(n: int, sides: tuple[str, ...]) -> dict[tuple[str, str], int]:
    keys = [("trunk", "centre")]
    keys += [(segment, side) for side in sides for segment in ("thigh", "shank", "foot")]
    weight = np.array([SPREAD[s] * (1.0 if s == "trunk" else 1.0 / len(sides)) for s, _ in keys])
    exact = n * weight / weight.sum()
    counts = np.maximum(1, np.floor(exact).astype(int))
    for k in np.argsort(counts - exact)[: n - int(counts.sum())]:
        counts[k] += 1
    return dict(zip(keys, counts.tolist(), strict=True))


# -- parts ---------------------------------------------------------------------------------


def _parts(rng: np.random.Generator, family: Family, sides: tuple[str, ...]) -> list[_Drawn]:
    """About 45 % of the parts on the trunk, the rest on the legs; copies are leg sensors."""
    n = family.parts
    copied = min(family.copies, n // 3)
    groups: list[int] = []
    while copied >= 2:
        size = 3 if copied == 3 or (copied > 4 and rng.random() < 0.5) else 2
        groups.append(size)
        copied -= size
    singles = n - sum(groups)
    on_trunk = max(2, round(0.45 * singles))
    drawn = []
    for i in range(on_trunk):
        heavy = i < max(1, on_trunk // 4)
        mass = np.exp(rng.uniform(*np.log((0.25, 0.6) if heavy else (0.015, 0.15))))
        drawn.append(_Drawn(f"trunk_part_{i + 1}", ("trunk",), "centre", float(mass)))
    reach = (("foot",), ("shank",), ("shank", "foot"), ("thigh", "shank"), ("trunk", "thigh"),
             ("thigh", "shank", "foot"), ("trunk", "thigh", "shank"))  # fmt: skip
    for i in range(singles - on_trunk):
        side = sides[i % len(sides)]
        segments = reach[int(rng.integers(len(reach)))]
        actuator = i < len(sides)
        low, high = (0.15, 0.3) if actuator else (0.006, 0.08)
        mass = np.exp(rng.uniform(np.log(low), np.log(high)))
        drawn.append(_Drawn(f"leg_part_{i + 1}", segments, side, float(mass)))
    for i, size in enumerate(groups):
        segments = (("trunk",), ("thigh", "shank"))[i % 2]
        mass = float(np.exp(rng.uniform(np.log(0.02), np.log(0.2))))
        drawn.append(_Drawn(f"copied_{i + 1}", segments, sides[i % len(sides)], mass, size))
    return drawn


def _part(rng: np.random.Generator, family: Family, d: _Drawn, sites: tuple[Site, ...]) -> Part:
    near = [s for s in sites if s.segment in d.segments and (s.segment == "trunk" or s.side == d.side)]  # fmt: skip  # noqa: E501
    several = rng.random() < family.alternatives
    n_models = int(rng.integers(2, 4)) if several else 1
    keep = [s for s in near if rng.random() < 0.7] or near
    while len(keep) < min(3, len(near)):
        keep.append(next(s for s in near if s not in keep))
    names = {s.name for s in keep}
    models = []
    for k in range(n_models):
        mass = d.mass_kg * float(rng.uniform(0.8, 1.25)) if k else d.mass_kg
        volume = mass * float(rng.uniform(4e-4, 1.1e-3))
        thickness = float(np.clip(0.45 * volume ** (1 / 3) * rng.uniform(0.7, 1.3), 0.004, 0.055))
        if k == 0:
            # the first model fits at least one of its sites
            thickness = min(thickness, max(s.max_thickness_m for s in keep))
        width = float((volume / thickness) ** 0.5 * rng.uniform(0.6, 0.9))
        needs = frozenset(w for w in ("dry", "cool") if rng.random() < 0.12)
        if k == 0:
            fits = [s for s in keep if thickness <= s.max_thickness_m and needs <= s.offers]
            needs = needs if len(fits) >= 2 else frozenset()
        models.append(
            PartModel(
                name=f"model {k + 1}",
                mass_kg=mass,
                volume_m3=volume,
                size_m=(volume / (thickness * width), width, thickness),
                sites=tuple(s.name for s in sites if s.name in names),
                needs=needs,
                power_w=0.0,
                price=None,
                origin=HERE,
            )
        )
    return Part(d.name, tuple(models), d.count, HERE)


def _lines(rng: np.random.Generator, family: Family, drawn: list[_Drawn]) -> tuple[Line, ...]:
    """A random tree over the parts (lines run mostly to neighbours up the leg), then chords."""
    slots = sum(d.count for d in drawn)
    wanted = round(family.lines_per_part * slots)
    pairs: list[tuple[int, int]] = []
    for b in range(1, len(drawn)):
        same = [a for a in range(b) if drawn[a].side == drawn[b].side]
        pool = same if same and rng.random() < 0.75 else list(range(b))
        pool = [a for a in pool if drawn[a].count == 1 or drawn[b].count == 1] or [0]
        # the latest few are likelier: chains rather than stars
        pairs.append((pool[-1 - min(int(rng.geometric(0.35)) - 1, len(pool) - 1)], b))

    def weight(pair: tuple[int, int]) -> int:
        return max(drawn[pair[0]].count, drawn[pair[1]].count)

    for _ in range(40 * slots):
        if sum(map(weight, pairs)) >= wanted:
            break
        a, b = sorted(int(v) for v in rng.choice(len(drawn), size=2, replace=False))
        far = drawn[a].side != drawn[b].side and rng.random() < 0.6
        if (a, b) not in pairs and not far and min(drawn[a].count, drawn[b].count) == 1:
            pairs.append((a, b))
    while sum(map(weight, pairs)) > wanted and len(pairs) > 1:
        pairs.pop(int(rng.integers(len(pairs))))
    lines = []
    for i, (a, b) in enumerate(pairs):
        rate = float(np.exp(rng.uniform(np.log(0.004), np.log(0.04))))
        options = [LineOption("thin", "thin", None, rate, 0.003, inf, HERE)]
        if rng.random() < 0.35:
            options.append(LineOption("thick", "thick", None, 1.8 * rate, 0.005, inf, HERE))
        slack = float(rng.choice([0.02, 0.04, 0.06]))
        lines.append(
            Line(f"line_{i + 1}", "wire", drawn[a].name, drawn[b].name, slack, tuple(options), HERE)
        )
    return tuple(lines)


# -- the hidden layout and what is set from it -----------------------------------------------


def _hidden(rng: np.random.Generator, setting: Setting) -> tuple[tuple[int, ...], Solution]:
    """Parts one by one near what they are joined to, with a liking for sites in use."""
    problem = build_problem(setting)
    chosen: dict[int, int] = {}
    load = np.zeros(len(problem.site_names))
    for slot in range(len(problem.slots)):
        choices = problem.choices_of(slot)
        merit = rng.uniform(0.0, 0.35, size=len(choices))
        for n, c in enumerate(choices):
            site = int(problem.choice_site[c])
            merit[n] += 0.25 * load[site] - (0.25 if load[site] else 0.0)
            for line in problem.lines:
                ends = (line.slot_a, line.slot_b)
                if slot in ends and ends[ends[0] == slot] in chosen:
                    other = int(problem.choice_site[chosen[ends[ends[0] == slot]]])
                    route = problem.routes.best(other, site)
                    merit[n] += route.length_m if route is not None else 10.0
        chosen[slot] = int(choices[int(np.argmin(merit))])
        load[int(problem.choice_site[chosen[slot]])] += 1
    order = tuple(chosen[p] for p in range(len(problem.slots)))
    solution = solution_of(problem, order, (0,) * len(problem.lines), problem.objective)
    return order, solution


def _with_capacities(
    rng: np.random.Generator,
    family: Family,
    setting: Setting,
    hidden: tuple[tuple[str, int, str], ...],
) -> tuple[Site, ...]:
    models = {part.name: part.models for part in setting.study.parts}
    volume: dict[str, float] = {}
    mass: dict[str, float] = {}
    for unit, k, name in hidden:
        model = models[unit.split("#")[0]][k]
        volume[name] = volume.get(name, 0.0) + model.volume_m3
        mass[name] = mass.get(name, 0.0) + model.mass_kg
    usual_v = float(np.median(list(volume.values())))
    usual_m = float(np.median(list(mass.values())))
    sites = []
    for site in setting.study.sites:
        slack = family.pocket_slack * float(rng.uniform(1.0, 1.15))
        v = volume.get(site.name, usual_v * float(rng.uniform(0.3, 1.2))) * slack
        m = mass.get(site.name, usual_m * float(rng.uniform(0.3, 1.2))) * slack * 1.1
        sites.append(replace(site, volume_m3=v, max_mass_kg=m))
    return tuple(sites)


def _with_lengths(
    rng: np.random.Generator,
    family: Family,
    lines: tuple[Line, ...],
    rows: tuple,  # type: ignore[type-arg]
    solution: Solution,
) -> tuple[Line, ...]:
    """The first option of a line reaches as far as hidden needs, times slack; thicker ones more."""
    longest: dict[str, float] = {}
    for row, (_, route) in zip(rows, solution.routes, strict=True):
        longest[row.line] = max(longest.get(row.line, 0.0), route.length_m + row.slack_m)
    out = []
    for line in lines:
        hidden = max(longest[line.name], 0.15)
        options = []
        for k, option in enumerate(line.options):
            limit = inf
            if family.line_slack < inf and rng.random() < 0.7:
                limit = hidden * family.line_slack * float(rng.uniform(1.0, 1.2)) * (1.0 + 0.6 * k)
            options.append(replace(option, max_length_m=limit))
        out.append(replace(line, options=tuple(options)))
    return tuple(out)


def _totals(family: Family, solution: Solution) -> tuple[LimitSpec, ...]:
    """Segment masses, worn mass and leg balance from the hidden layout, 5-10 % slack."""
    from optimizer.problem.quantities import BODY_KEYS, INDEX, LEG_KEYS, MASS

    q = solution.quantities
    limits = []
    for segment in ("trunk", "thigh", "shank", "foot"):
        held = max(float(q[INDEX[MASS[key]]]) for key in BODY_KEYS if key[0] == segment)
        if held > 0:
            limits.append(LimitSpec("segment_mass", segment, 1.1 * held, HERE))
    worn = sum(float(q[INDEX[MASS[key]]]) for key in BODY_KEYS)
    limits.append(LimitSpec("device_mass", "", 1.05 * worn, HERE))
    if family.legs == 2:
        legs = {
            side: sum(float(q[INDEX[MASS[key]]]) for key in LEG_KEYS if key[1] == side)
            for side in ("left", "right")
        }
        apart = abs(legs["left"] - legs["right"])
        limits.append(LimitSpec("left_right_mass", "", 1.1 * apart + 0.02, HERE))
    return tuple(limits)


def _rules(
    rng: np.random.Generator,
    parts: tuple[Part, ...],
    hidden: tuple[tuple[str, int, str], ...],
) -> tuple[PairRule, ...]:
    """One pair in ten parts kept apart or together, as the hidden layout has it."""
    at: dict[str, str] = {unit: site for unit, _, site in hidden if "#" not in unit}
    names = list(at)
    rules = []
    for _ in range(max(1, len(parts) // 10)):
        a, b = (str(v) for v in rng.choice(names, size=2, replace=False))
        kind = "same_place" if at[a] == at[b] else "apart"
        rules.append(PairRule(kind, a, b, 0.0, HERE))  # type: ignore[arg-type]
    return tuple(rules)
