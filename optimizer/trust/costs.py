"""What a kilogram at every place costs in every draw, vectorised and exact.

A leg model is a function of segment and distance from the hip, so leg watts are the masses at the
distinct places of a study's sites and arcs times what a kilogram there costs. Coefficients that
enter the model nonlinearly (the monotone curve's slopes at its points) are no obstacle: the curve
is worked out at those places, not the layouts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.energy.conditions import LEGS, Conditions
from optimizer.energy.leg import LegModel, SegmentCurve, SegmentSlopes
from optimizer.energy.own import SLOPES, is_own, own_model
from optimizer.energy.registry import LEG_MODELS, TRUNK_MODELS
from optimizer.joint.world import World
from optimizer.setting import Setting
from optimizer.study.model import LEG_SEGMENTS
from optimizer.trust.draws import LEAST_WALKING, Draws

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
KNOTS = ("waist", *LEGS)


@dataclass(frozen=True)
class Points:
    """The distinct places on the legs at which a study can put mass.

    `segment` (J,) and `distance_m` (J,); `site` (n_s,) is the place of each site, -1 off the legs;
    `per_site` (n_s, J) and `per_arc` (n_a, J) are the shares of a kilogram that go to each place.
    """

    segment: tuple[str, ...]
    distance_m: Array
    site: IntArray
    per_site: Array
    per_arc: Array


def points_of(setting: Setting) -> Points:
    """The places of a setting's sites and of the halves of its arcs."""
    number: dict[tuple[str, float], int] = {}
    graph, wearer = setting.graph, setting.wearer

    def place(key: tuple[str, str], position: Array) -> int:
        if key[0] not in LEG_SEGMENTS:
            return -1
        hip = wearer.joint("hip", key[1])
        away = float(np.hypot(position[0] - hip[0], position[1] - hip[1]))
        return number.setdefault((key[0], round(away, 12)), len(number))

    xyz = graph.positions[graph.site_node]
    site = np.array([place(s.key, xyz[i]) for i, s in enumerate(setting.study.sites)], dtype=int)
    halves = np.array(
        [
            [place(keys[h], graph.half_points[a, h]) for h in (0, 1)]
            for a, keys in enumerate(graph.half_keys)
        ],
        dtype=int,
    ).reshape(-1, 2)
    per_site = np.zeros((len(site), len(number)))
    per_arc = np.zeros((len(halves), len(number)))
    for i, j in enumerate(site):
        if j >= 0:
            per_site[i, j] = 1.0
    for a, pair in enumerate(halves):
        for j in pair:
            if j >= 0:
                per_arc[a, j] += 0.5
    return Points(
        tuple(segment for segment, _ in number),
        np.array([distance for _, distance in number]),
        site,
        per_site,
        per_arc,
    )


def curve_rows(x: Sequence[float], y: Array, at: Array) -> Array:
    """Monotone curves through the same points x (k,) with values y (n, k), at places (J,): (n, J).

    Each row equals `optimizer.energy.pchip.Pchip(x, y[i])(at)`.
    """
    knots = np.asarray(x, dtype=float)
    h = np.diff(knots)
    m = np.diff(y, axis=1) / h
    d = np.zeros_like(y)
    w1, w2 = 2 * h[1:] + h[:-1], h[1:] + 2 * h[:-1]
    same = np.sign(m[:, :-1]) * np.sign(m[:, 1:]) > 0
    below, above = np.where(same, m[:, :-1], 1.0), np.where(same, m[:, 1:], 1.0)
    d[:, 1:-1] = np.where(same, (w1 + w2) / (w1 / below + w2 / above), 0.0)
    d[:, 0] = _ends(h[0], h[1], m[:, 0], m[:, 1])
    d[:, -1] = _ends(h[-1], h[-2], m[:, -1], m[:, -2])
    q = np.clip(at, knots[0], knots[-1])
    i = np.clip(np.searchsorted(knots, q, side="right") - 1, 0, len(knots) - 2)
    t = (q - knots[i]) / h[i]
    rise = y[:, i + 1] - y[:, i]
    bend = t * (1 - t) * ((1 - t) * d[:, i] - t * d[:, i + 1]) * h[i]
    value = y[:, i] + t * t * (3 - 2 * t) * rise + bend
    return np.asarray(np.where(t == 1, y[:, i + 1], value))


def _ends(h0: float, h1: float, m0: Array, m1: Array) -> Array:
    slope = ((2 * h0 + h1) * m0 - h0 * m1) / (h0 + h1)
    slope = np.where(np.sign(slope) != np.sign(m0), 0.0, slope)
    steep = (np.sign(m0) != np.sign(m1)) & (np.abs(slope) > 3 * np.abs(m0))
    return np.where(steep, 3 * m0, slope)


def leg_costs(world: World, points: Points, draws: Draws) -> Array:
    """W per kg at every place in every draw, (n, J); never below zero."""
    c = world.setting.energy.conditions
    out = np.zeros((len(draws), len(points.distance_m)))
    for index, name in enumerate(draws.leg_names):
        rows = np.flatnonzero(draws.leg == index)
        if rows.size:
            out[rows] = _costs(name, world.setting, points, draws.take(rows), c)
    return np.maximum(out, 0.0)


def _costs(name: str, setting: Setting, points: Points, draws: Draws, c: Conditions) -> Array:
    own = is_own(name)
    model = own_model(name, setting.study.energy.origin).leg if own else LEG_MODELS[name]
    if isinstance(model, SegmentCurve) and (own or name == "segment_curve"):
        share = points.distance_m / c.foot_radius_m
        if own:
            slopes = draws.own[name]
            knots = np.stack([slopes[:, SLOPES.index(k)] for k in KNOTS], axis=1)
        else:
            knots = np.stack(
                [factor_of(draws, k) * v for k, v in zip(KNOTS, model.slope, strict=True)], axis=1
            )
        return c.body_mass_kg * curve_rows(model.radius_m, knots, share * model.radius_m[-1])
    base = base_costs(model, points, c)
    if isinstance(model, SegmentSlopes):
        if own:
            mean = np.array([model.slopes[s] for s in LEGS])
            by_segment = draws.own[name][:, : len(LEGS)] / mean
        else:
            by_segment = np.stack([factor_of(draws, s) for s in LEGS], axis=1)
        where = np.array([LEGS.index(s) for s in points.segment], dtype=int)
        return base * by_segment[:, where]
    if name == "radius_squared":
        return base + draws.factors["distance_law"][:, None]
    whole = "foot_loads" if name == "soule_goldman" else name
    return base * factor_of(draws, whole)[:, None]


def factor_of(draws: Draws, name: str) -> Array:
    """A coefficient's factor; 1 where it is certain."""
    return draws.factors.get(name, np.ones(len(draws)))


def base_costs(model: LegModel, points: Points, c: Conditions) -> Array:
    """W per kg at every place by a model as it stands, (J,)."""
    out = np.zeros(len(points.distance_m))
    for segment in LEGS:
        rows = np.array([i for i, s in enumerate(points.segment) if s == segment], dtype=int)
        if rows.size:
            out[rows] = model.cost(segment, points.distance_m[rows], c)
    return out


def trunk_costs(world: World, draws: Draws, load_kg: Array) -> Array:
    """W of trunk loads (n, L), one row per draw: (n, L)."""
    c = world.setting.energy.conditions
    out = np.zeros_like(load_kg)
    for index, name in enumerate(draws.trunk_names):
        rows = np.flatnonzero(draws.trunk == index)
        if rows.size == 0:
            continue
        if is_own(name):
            slope = draws.own[name][rows, SLOPES.index("waist")]
            out[rows] = c.body_mass_kg * slope[:, None] * load_kg[rows]
        else:
            factor = factor_of(draws, trunk_factor(name))[rows]
            out[rows] = factor[:, None] * TRUNK_MODELS[name].cost(load_kg[rows], c)
    return out


def trunk_factor(name: str) -> str:
    """The uncertain coefficient of a published trunk model."""
    return "waist" if name == "browning_waist" else name


def walking_w(world: World, draws: Draws) -> Array:
    """The wearer's net walking power in every draw, (n,) W."""
    energy = world.setting.energy
    off = energy.conditions.body_mass_kg * draws.walking_w_per_kg
    return np.maximum(energy.walking_w + off, LEAST_WALKING * energy.walking_w)


__all__ = ["Points", "curve_rows", "leg_costs", "points_of", "trunk_costs", "walking_w"]
