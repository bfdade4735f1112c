"""From a setting to plain arrays."""

from __future__ import annotations

from math import inf
from typing import overload

import numpy as np
from numpy.typing import NDArray

from optimizer.body.inertia import bare_leg_inertia, box_inertia_ml
from optimizer.body.places import is_belt, offers_of
from optimizer.errors import Flaw, InputError
from optimizer.problem.arrays import (
    Array,
    Exclusion,
    IntArray,
    LineRow,
    Objective,
    PairRow,
    Problem,
    SiteCap,
    Slot,
)
from optimizer.problem.ballast import ballast_sites
from optimizer.problem.cases import line_cases
from optimizer.problem.limits import limit_rows
from optimizer.problem.quantities import (
    BATTERY,
    BELT,
    DISCOMFORT,
    DONNING,
    INDEX,
    INERTIA,
    LEG_W,
    MASS,
    NAMES,
    POWER,
    PRICE,
    SITES_IN_USE,
    own_inertia_quantities,
    point_quantities,
)
from optimizer.problem.routing import RouteTable
from optimizer.problem.wear_rows import pieces, soft_rows
from optimizer.problem.wear_sites import contact_caps, protrusion_points, unwearable
from optimizer.setting import Setting
from optimizer.study.model import OFF_BODY, SIDES, TRUNK, Line, Part, PartModel, Site

#: Comfort rating of a site at which using it costs no discomfort points.
BEST_COMFORT = 10.0
#: Score points per metre and kg/m of line that break ties between equal routes and layouts
#: (shorter wins); far below what any published coefficient resolves.
TIE_PER_M = 1e-9


def build_problem(setting: Setting) -> Problem:
    """Turn a setting into arrays.

    Raises
    ------
    InputError
        If lines join parts of different, multiple counts.
    """
    study, wearer, graph = setting.study, setting.wearer, setting.graph
    n_sites = len(study.sites)
    slots, first, exchange = _slots(study.parts, study.lines)
    site_xyz = graph.positions[graph.site_node]
    site_keys = [site.key for site in study.sites]
    site_q = point_quantities(wearer, setting.energy, study.inertia_pose, site_keys, site_xyz)
    site_q[:, INDEX[BELT]] = [float(is_belt(site)) for site in study.sites]

    use_q = site_q * np.array([site.holder_mass_kg for site in study.sites])[:, None]
    for s, site in enumerate(study.sites):
        use_q[s, INDEX[SITES_IN_USE]] += 1.0
        comfort = BEST_COMFORT if site.comfort is None else site.comfort
        use_q[s, INDEX[DISCOMFORT]] += BEST_COMFORT - comfort

        if site.key != OFF_BODY and not site.piece:
            use_q[s, INDEX[DONNING]] += 1.0

    choices, exclusions = _choices(setting, slots)
    by_part = {part.name: part for part in study.parts}
    models = [by_part[slots[p].part].models[k] for p, k, _ in choices]
    choice_site = np.array([s for _, _, s in choices], dtype=np.int64)
    mass = np.array([model.mass_kg for model in models])
    choice_q = site_q[choice_site] * mass[:, None] if len(choices) else np.zeros((0, len(NAMES)))
    for c, (_, _, s) in enumerate(choices):
        site = study.sites[s]
        own = box_inertia_ml(models[c].mass_kg, models[c].size_m, faces_sideways(site))
        choice_q[c] += own_inertia_quantities(site.key, own)
        choice_q[c, INDEX[DISCOMFORT]] += protrusion_points(study, models[c], site)
        choice_q[c, INDEX[POWER]] = models[c].power_w
        choice_q[c, INDEX[BATTERY]] = models[c].physics.battery_j or 0.0
        choice_q[c, INDEX[PRICE]] = models[c].price or 0.0

    caps = []
    volume = np.array([model.volume_m3 for model in models])
    for s, site in enumerate(study.sites):
        here = choice_site == s
        if site.volume_m3 < inf:
            use = np.where(here, volume, 0.0)
            filled = 0.0 if study.counterweight is None else 1.0 / study.counterweight.density_kg_m3
            caps.append(SiteCap("site_volume", s, use, site.volume_m3, "cm3", site.origin, filled))
        if site.max_mass_kg < inf:
            use = np.where(here, mass, 0.0)
            caps.append(SiteCap("site_mass", s, use, site.max_mass_kg, "g", site.origin, 1.0))
    caps += contact_caps(setting, choice_site, mass)

    halves = _half_quantities(setting)
    lines = _line_rows(setting, slots, first)
    return Problem(
        slots=slots,
        exchange=exchange,
        site_names=tuple(site.name for site in study.sites),
        choice_slot=np.array([p for p, _, _ in choices], dtype=np.int64),
        choice_model=np.array([k for _, k, _ in choices], dtype=np.int64),
        choice_site=choice_site,
        choice_q=choice_q,
        use_q=use_q,
        site_q=site_q,
        arc_tail=np.asarray(graph.tail, dtype=np.int64),
        arc_head=np.asarray(graph.head, dtype=np.int64),
        arc_length_m=graph.length_m,
        arc_bend_rad=graph.bend_rad,
        arc_q=halves,
        site_node=np.asarray(graph.site_node, dtype=np.int64),
        routes=route_table(setting, halves, lines),
        lines=lines,
        caps=tuple(caps),
        limits=limit_rows(setting),
        pairs=_pair_rows(setting, slots, first, site_xyz),
        objective=score_objective(setting),
        exclusions=tuple(exclusions),
        counts={"parts": len(slots), "sites": n_sites, "lines": len(study.lines)},
        soft=soft_rows(setting),
        pieces=pieces(study),
        ballast=ballast_sites(setting),
    )


def faces_sideways(site: Site) -> bool:
    """Whether a part at the site stands off the skin sideways rather than to front or back."""
    return abs(site.outside_m) > abs(site.front_m)


def score_objective(setting: Setting) -> Objective:
    """The default score: weighted percentages of the bare wearer's own values."""
    study, energy = setting.study, setting.energy
    per_watt = study.weights.metabolic * 100.0 / energy.walking_w
    bare = bare_leg_inertia(setting.wearer, "right", "hip", study.inertia_pose)
    linear = np.zeros(len(NAMES))
    linear[INDEX[LEG_W]] = per_watt
    for side in SIDES:
        linear[INDEX[INERTIA["hip", side]]] = study.weights.swing_inertia * 100.0 / bare
    linear[INDEX[DISCOMFORT]] = study.weights.comfort
    if energy.trunk_is_linear:
        linear[INDEX[MASS[TRUNK]]] += per_watt * float(energy.trunk_slope(0.0))
        return Objective(linear)
    return Objective(
        linear,
        per_watt,
        lambda load: float(energy.trunk_cost(load)),
        lambda load: float(energy.trunk_slope(load)),
    )


def _slots(
    parts: tuple[Part, ...], lines: tuple[Line, ...]
) -> tuple[tuple[Slot, ...], dict[str, int], tuple[tuple[tuple[int, ...], ...], ...]]:
    """Slots, the first slot of every part, and the groups of interchangeable bundles."""
    slots: list[Slot] = []
    first: dict[str, int] = {}
    for part in parts:
        first[part.name] = len(slots)
        names = tuple(model.name for model in part.models)
        for i in range(part.count):
            unit = part.name if part.count == 1 else f"{part.name}#{i + 1}"
            slots.append(Slot(unit, part.name, names, part.origin))
    counts = {part.name: part.count for part in parts}
    bundle = {name: name for name in counts}

    def root(name: str) -> str:
        while bundle[name] != name:
            name = bundle[name]
        return name

    flaws = []
    for line in lines:
        a, b = counts[line.part_a], counts[line.part_b]
        if a > 1 and b > 1:
            if a != b:
                flaws.append(
                    Flaw(
                        line.origin,
                        f"line {line.name} from {a} x {line.part_a} to {b} x {line.part_b}",
                        "equal quantities at both ends, or quantity 1 at one of them",
                    )
                )
            bundle[root(line.part_b)] = root(line.part_a)
    if flaws:
        raise InputError(flaws)
    members: dict[str, list[str]] = {}
    for name, count in counts.items():
        if count > 1:
            members.setdefault(root(name), []).append(name)
    exchange = tuple(
        tuple(tuple(first[name] + i for name in names) for i in range(counts[names[0]]))
        for names in members.values()
    )
    return tuple(slots), first, exchange


def _choices(
    setting: Setting, slots: tuple[Slot, ...]
) -> tuple[list[tuple[int, int, int]], list[Exclusion]]:
    study, sites = setting.study, setting.study.sites
    by_name = {part.name: part for part in study.parts}
    site_index = {site.name: s for s, site in enumerate(sites)}
    offers = [offers_of(setting.wearer, site) for site in sites]
    choices: list[tuple[int, int, int]] = []
    exclusions: list[Exclusion] = []
    for p, slot in enumerate(slots):
        for k, model in enumerate(by_name[slot.part].models):
            for name in model.sites:
                s = site_index[name]
                barred = unfit(model, sites[s], offers[s])
                worn = unwearable(study, model, sites[s]) if barred is None else None
                if barred is not None:
                    kind, reason = barred
                    exclusions.append(Exclusion(p, k, s, reason, kind, sites[s].origin))
                elif worn is not None:
                    kind, reason, spec = worn
                    exclusions.append(Exclusion(p, k, s, reason, kind, spec.origin))
                else:
                    choices.append((p, k, s))
    return choices, exclusions


def unfit(
    model: PartModel, site: Site, offers: frozenset[str] | None = None
) -> tuple[str, str] | None:
    """Why `site` cannot take `model` even when empty: (kind, words), or None if it can.

    `offers`: what the site offers, if that is more than is written of it.
    """
    missing = model.needs - (site.offers if offers is None else offers)
    if missing:
        return "needs", f"{site.name} does not offer {', '.join(sorted(missing))}"
    if model.size_m[2] > site.max_thickness_m:
        return "site_thickness", (
            f"{model.size_m[2] * 1e3:g} mm thick, {site.name} takes "
            f"{site.max_thickness_m * 1e3:g} mm"
        )
    if model.mass_kg > site.max_mass_kg:
        return "site_mass", (
            f"{model.mass_kg * 1e3:g} g, {site.name} takes {site.max_mass_kg * 1e3:g} g"
        )
    if model.volume_m3 > site.volume_m3:
        return "site_volume", (
            f"{model.volume_m3 * 1e6:g} cm3, {site.name} holds {site.volume_m3 * 1e6:g} cm3"
        )
    return None


def _half_quantities(setting: Setting) -> Array:
    """(n_a, n_q): half of each arc's kilogram at either quarter point, with its segment."""
    graph = setting.graph
    total = np.zeros((len(graph.tail), len(NAMES)))
    for half in (0, 1):
        keys = [pair[half] for pair in graph.half_keys]
        total += 0.5 * point_quantities(
            setting.wearer,
            setting.energy,
            setting.study.inertia_pose,
            keys,
            graph.half_points[:, half],
        )
    return total


def _line_rows(
    setting: Setting, slots: tuple[Slot, ...], first: dict[str, int]
) -> tuple[LineRow, ...]:
    study = setting.study
    parts = {part.name: part for part in study.parts}
    rows: list[LineRow] = []
    for line in study.lines:
        a, b = parts[line.part_a], parts[line.part_b]
        copies = max(a.count, b.count)
        for i in range(copies):
            rows.append(
                LineRow(
                    name=line.name if copies == 1 else f"{line.name}#{i + 1}",
                    line=line.name,
                    slot_a=first[a.name] + (i if a.count > 1 else 0),
                    slot_b=first[b.name] + (i if b.count > 1 else 0),
                    slack_m=line.slack_m,
                    options=tuple(option.name for option in line.options),
                    mass_kg_per_m=np.array([option.mass_kg_per_m for option in line.options]),
                    end_mass_kg=np.array([option.end_mass_kg for option in line.options]),
                    cases=line_cases(setting, line),
                    origin=line.origin,
                )
            )
    return tuple(rows)


def route_table(setting: Setting, arc_q: Array, lines: tuple[LineRow, ...]) -> RouteTable:
    """Routes between sites by the study's own score, whatever is later minimised.

    Where the trunk model is curved its slope is taken at half the parts' mass.
    """
    graph, energy = setting.graph, setting.energy
    objective = score_objective(setting)
    linear = objective.linear.copy()
    if objective.curve_slope is not None:
        parts = setting.study.parts
        usual_kg = 0.5 * sum(p.count * min(m.mass_kg for m in p.models) for p in parts)
        linear[INDEX[MASS[TRUNK]]] += objective.curve_weight * float(energy.trunk_slope(usual_kg))
    per_kg = np.maximum(arc_q @ linear, 0.0)
    cases = [case for line in lines for case in line.cases]
    return RouteTable(
        np.asarray(graph.tail, dtype=np.int64),
        np.asarray(graph.head, dtype=np.int64),
        graph.length_m * (per_kg + TIE_PER_M),
        graph.length_m,
        graph.bend_rad,
        np.asarray(graph.site_node, dtype=np.int64),
        np.array([key == OFF_BODY for key in graph.segment_of], dtype=float),
        by_length=any(case.max_length_m < inf for case in cases),
        by_bend=any(case.max_bend_rad < inf for case in cases),
    )


def _pair_rows(
    setting: Setting, slots: tuple[Slot, ...], first: dict[str, int], site_xyz: Array
) -> tuple[PairRow, ...]:
    parts = {part.name: part for part in setting.study.parts}
    rows: list[PairRow] = []
    for rule in setting.study.rules:
        for i in range(parts[rule.part_a].count):
            for j in range(parts[rule.part_b].count):
                a, b = first[rule.part_a] + i, first[rule.part_b] + j
                if a >= b and rule.part_a == rule.part_b:
                    continue
                if rule.kind == "same_place":
                    label = f"{slots[a].unit} and {slots[b].unit} share a place"
                    rows.append(PairRow(rule.kind, a, b, _differ, label, rule.origin))
                else:
                    near = _nearer_than(site_xyz, rule.distance_m)
                    label = f"{slots[a].unit} and {slots[b].unit} stay apart"
                    if rule.distance_m > 0:
                        label += f" by {rule.distance_m * 1e3:g} mm"
                    rows.append(PairRow(rule.kind, a, b, near, label, rule.origin))
    return tuple(rows)


@overload
def _differ(i: int, j: int) -> bool: ...


@overload
def _differ(i: IntArray, j: IntArray) -> NDArray[np.bool_]: ...


def _differ(i: int | IntArray, j: int | IntArray) -> bool | NDArray[np.bool_]:
    return i != j


class _nearer_than:  # noqa: N801 - reads as a verb where it is used
    """Whether two sites are one, or nearer to each other than a distance."""

    def __init__(self, site_xyz: Array, distance_m: float):
        self._near = (
            np.linalg.norm(site_xyz[:, None] - site_xyz[None, :], axis=2) < distance_m
        ) | np.eye(len(site_xyz), dtype=bool)

    @overload
    def __call__(self, i: int, j: int) -> bool: ...

    @overload
    def __call__(self, i: IntArray, j: IntArray) -> NDArray[np.bool_]: ...

    def __call__(self, i: int | IntArray, j: int | IntArray) -> bool | NDArray[np.bool_]:
        near: NDArray[np.bool_] = self._near[i, j]
        return near if near.ndim else bool(near)
