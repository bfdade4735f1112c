"""Scores of many layouts in many draws at once: a few matrix products per body.

score = w_met 100 (leg W + trunk W) / walking W + w_in 100 (added hip inertia) / (bare leg's)
        + w_comfort discomfort

A part's tolerance scales all that the part brings but its comfort points. Lines, holders and
ballast weigh what is written; limits are looked at with masses as written.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.body.inertia import bare_leg_inertia
from optimizer.joint.world import Plan, World, link_quantities
from optimizer.problem.quantities import DISCOMFORT, INDEX, INERTIA, MASS
from optimizer.solve.links import Link
from optimizer.study.model import SIDES, TRUNK
from optimizer.trust.costs import Points, leg_costs, points_of, trunk_costs, walking_w
from optimizer.trust.draws import Draws

Array = NDArray[np.float64]
HIP = [INDEX[INERTIA["hip", side]] for side in SIDES]
TRUNK_LOAD = INDEX[MASS[TRUNK]]


@dataclass(frozen=True)
class Sheet:
    """What layouts bring on one body, split in what scales with a part's mass and what does not.

    `brought` are the distinct placed parts: their part's number, mass, place on the leg (-1 off
    it), trunk mass and hip inertia; `uses` (n_brought, L) counts them per layout. `fixed_leg`
    (L, J) kg, `fixed_trunk` (L,) kg, `fixed_inertia` (L,), `discomfort` (L,), `fits` (L,).
    """

    world: World
    points: Points
    part: NDArray[np.int64]
    mass_kg: Array
    place: NDArray[np.int64]
    trunk_kg: Array
    inertia: Array
    uses: Array
    fixed_leg: Array
    fixed_trunk: Array
    fixed_inertia: Array
    discomfort: Array
    fits: NDArray[np.bool_]


def sheet_of(world: World, plans: Sequence[Plan]) -> Sheet:
    """Work out what plans bring on one body. Plans that do not fit there are marked so."""
    p, points = world.problem, points_of(world.setting)
    names = [part.name for part in world.setting.study.parts]
    number: dict[tuple[int, int, int], int] = {}
    n = len(plans)
    fixed_leg = np.zeros((n, len(points.distance_m)))
    fixed = np.zeros((n, 3))
    fits = np.zeros(n, dtype=bool)
    uses: list[list[tuple[int, int]]] = [[] for _ in plans]
    holder = np.array([site.holder_mass_kg for site in world.setting.study.sites])
    for i, plan in enumerate(plans):
        solution = world.solution(plan)
        if solution is None or world.broken(solution):
            continue
        fits[i] = True
        brought = np.zeros(p.choice_q.shape[1])
        for choice in plan.choices:
            slot, model, site = choice
            part = names.index(p.slots[slot].part)
            k = number.setdefault((part, model, site), len(number))
            uses[i].append((k, world.choice_number[choice]))
            brought += p.choice_q[world.choice_number[choice]]
        used = {site for _, _, site in plan.choices} | {s for s, _ in plan.ballast}
        for s in used:
            fixed_leg[i] += holder[s] * points.per_site[s]
        for s, kg in plan.ballast:
            fixed_leg[i] += kg * points.per_site[s]
        model_at = {slot: k for slot, k, _ in plan.choices}
        site_at = {slot: s for slot, _, s in plan.choices}
        links = [
            _joining(world, line, option, site_at, model_at)
            for line, option in enumerate(plan.options)
        ]
        fixed_leg[i] += link_quantities(p, links, points.per_site, points.per_arc).sum(axis=0)
        rest = solution.quantities - brought
        fixed[i] = rest[TRUNK_LOAD], rest[HIP].sum(), solution.quantities[INDEX[DISCOMFORT]]
    sample = {k: c for each in uses for k, c in each}
    chosen = np.array([sample[k] for k in range(len(number))], dtype=int)
    mass = np.array(
        [world.setting.study.parts[part].models[model].mass_kg for part, model, _ in number]
    )
    count = np.zeros((len(number), n))
    for i, each in enumerate(uses):
        for k, _ in each:
            count[k, i] += 1.0
    return Sheet(
        world,
        points,
        np.array([part for part, _, _ in number], dtype=int),
        mass,
        np.array([points.site[site] for _, _, site in number], dtype=int),
        p.choice_q[chosen, TRUNK_LOAD],
        p.choice_q[chosen][:, HIP].sum(axis=1),
        count,
        fixed_leg,
        fixed[:, 0],
        fixed[:, 1],
        fixed[:, 2],
        fits,
    )


def _joining(
    world: World,
    line: int,
    option: int,
    site_at: Mapping[int, int],
    model_at: Mapping[int, int],
) -> Link:
    """The link a line takes with its ends' parts where they are."""
    a, b = world.problem.lines[line].slot_a, world.problem.lines[line].slot_b
    for model_a in (None, model_at[a]):
        for model_b in (None, model_at[b]):
            key = (line, option, (site_at[a], model_a), (site_at[b], model_b))
            if key in world.links:
                return world.links[key]
    raise KeyError(f"line {world.problem.lines[line].name} is out of reach")


def evaluate(sheets: Sequence[Sheet], draws: Draws) -> Array:
    """Scores (n_draws, n_layouts); infinite where a layout does not fit the draw's body."""
    out = np.empty((len(draws), sheets[0].uses.shape[1]))
    for w, sheet in enumerate(sheets):
        rows = np.flatnonzero(draws.world == w)
        if rows.size:
            out[rows] = scores_on(sheet, draws.take(rows))
    return out


def scores_on(sheet: Sheet, draws: Draws) -> Array:
    """Scores (n_draws, n_layouts) of draws that all fall to one body."""
    setting = sheet.world.setting
    weights = setting.study.weights
    per_watt = weights.metabolic * 100.0 / walking_w(sheet.world, draws)
    bare = bare_leg_inertia(setting.wearer, "right", "hip", setting.study.inertia_pose)
    per_inertia = weights.swing_inertia * 100.0 / bare
    scale = draws.parts[:, sheet.part]
    leg = leg_costs(sheet.world, sheet.points, draws)
    # a last, free place for what is not on a leg
    at_place = np.column_stack([leg, np.zeros(len(draws))])[:, sheet.place]
    watts = (scale * at_place * sheet.mass_kg) @ sheet.uses + leg @ sheet.fixed_leg.T
    load = (scale * sheet.trunk_kg) @ sheet.uses + sheet.fixed_trunk
    watts += trunk_costs(sheet.world, draws, np.maximum(load, 0.0))
    inertia = (scale * sheet.inertia) @ sheet.uses + sheet.fixed_inertia
    total = per_watt[:, None] * watts + per_inertia * inertia + weights.comfort * sheet.discomfort
    total[:, ~sheet.fits] = np.inf
    return np.asarray(total)
