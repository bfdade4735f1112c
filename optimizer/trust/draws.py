"""Draws of everything uncertain. Every number has its own stream of random numbers.

So more draws keep the earlier ones, and one more uncertain number leaves the others alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from optimizer.energy.own import is_own, own_model
from optimizer.energy.registry import LEG_MODELS, TRUNK_MODELS
from optimizer.setting import Setting
from optimizer.study.model import Study
from optimizer.trust.spread import Spread, Uncertain

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: A drawn slope of one's own model is never less than this share of its mean.
LEAST_SHARE = 0.05
#: A drawn net walking power is never less than this share of the model's.
LEAST_WALKING = 0.3
_SLOPES = 4


@dataclass(frozen=True)
class Draws:
    """n draws. `factors`: by coefficient, a factor (lognormal) or an offset (normal), (n,).

    `leg`, `trunk` (n,) are indices into the names; `walking_w_per_kg` (n,) is added to the
    wearer's net walking power; `parts` (n, n_parts) are factors on what each part weighs, in the
    study's order; `own` holds slopes (n, 4) drawn for models from files; `world` (n,) is the
    number of the body and speed.
    """

    seed: int
    factors: dict[str, Array]
    leg_names: tuple[str, ...]
    trunk_names: tuple[str, ...]
    leg: IntArray
    trunk: IntArray
    walking_w_per_kg: Array
    part_names: tuple[str, ...]
    parts: Array
    own: dict[str, Array]
    world: IntArray

    def __len__(self) -> int:
        return len(self.leg)

    def take(self, rows: IntArray) -> Draws:
        """Some of the draws."""
        return replace(
            self,
            factors={name: values[rows] for name, values in self.factors.items()},
            leg=self.leg[rows],
            trunk=self.trunk[rows],
            walking_w_per_kg=self.walking_w_per_kg[rows],
            parts=self.parts[rows],
            own={name: values[rows] for name, values in self.own.items()},
            world=self.world[rows],
        )


def _stream(seed: int, name: str) -> np.random.Generator:
    return np.random.Generator(np.random.PCG64([seed, crc32(name.encode())]))


def uncertain_of(spread: Spread) -> tuple[Uncertain, ...]:
    """The coefficients that matter to the mixture, with one for each model nobody lists.

    A published model without a row of its own is uncertain as a whole, by its card's factor.
    """
    names = {*(n for n, w in spread.leg_weights if w), *(n for n, w in spread.trunk_weights if w)}
    found = [u for u in spread.uncertain if names.intersection(u.models)]
    listed = {(u.family, model) for u in spread.uncertain for model in u.models}
    for family, weights, known in (
        ("leg", spread.leg_weights, LEG_MODELS),
        ("trunk", spread.trunk_weights, TRUNK_MODELS),
    ):
        for name, weight in weights:
            if weight and not is_own(name) and (family, name) not in listed:
                found.append(_whole(family, name, known[name].card.spread.factor))
    return tuple(found)


def _whole(family: str, name: str, factor: float | None) -> Uncertain:
    from math import log

    from optimizer.trust.spread import Z95

    sd = 0.0 if factor is None else log(factor) / Z95
    source = "the model's own spread" if factor else "no spread was read: taken as certain"
    return Uncertain(name, f"{name} as a whole", family, (name,), True, sd, "", source, "")


def draw(study: Study, setting: Setting, spread: Spread, n: int, seed: int) -> Draws:
    """Draw `n` times everything uncertain of a study.

    Raises
    ------
    InputError
        If a model's file cannot be read.
    """
    factors = {}
    shared: dict[str, Array] = {}
    for u in uncertain_of(spread):
        z = _stream(seed, f"coefficient {u.name}").standard_normal(n)
        if u.group:
            if u.group not in shared:
                shared[u.group] = _stream(seed, f"group {u.group}").standard_normal(n)
            z = np.sqrt(spread.correlation) * shared[u.group] + np.sqrt(1 - spread.correlation) * z
        factors[u.name] = np.exp(u.sd * z) if u.lognormal else u.sd * z
    own = {}
    for name in dict.fromkeys((*_names(spread.leg_weights), *_names(spread.trunk_weights))):
        if is_own(name):
            own[name] = _own_slopes(name, study, n, seed)
    sd = (setting.energy.walking.card.spread.w_per_kg_body or 0.0) if spread.walking else 0.0
    part_names = tuple(part.name for part in study.parts)
    off = np.empty((n, len(part_names)))
    for i, name in enumerate(part_names):
        off[:, i] = _stream(seed, f"part {name}").uniform(-1.0, 1.0, n)
    walking = sd * _stream(seed, "walking").standard_normal(n)
    return Draws(
        seed=seed,
        factors=factors,
        leg_names=_names(spread.leg_weights),
        trunk_names=_names(spread.trunk_weights),
        leg=_mix(_stream(seed, "leg model"), spread.leg_weights, n),
        trunk=_mix(_stream(seed, "trunk model"), spread.trunk_weights, n),
        walking_w_per_kg=walking,
        part_names=part_names,
        parts=1.0 + spread.part_tolerance * off,
        own=own,
        world=np.arange(n, dtype=np.int64) % n_worlds(spread),
    )


def n_worlds(spread: Spread) -> int:
    """How many bodies and speeds stand for the ranges; 1 if there are none."""
    return spread.ranges.worlds if spread.ranges.any else 1


def world_studies(study: Study, spread: Spread, seed: int) -> list[Study]:
    """The study for every body and speed of the ranges; only itself if there are none."""
    ranges, n = spread.ranges, n_worlds(spread)
    if not ranges.any:
        return [study]
    values: dict[str, list[float]] = {}
    for name, pair in (
        ("stature_m", ranges.stature_m),
        ("mass_kg", ranges.mass_kg),
        ("speed_m_s", ranges.speed_m_s),
    ):
        if pair is not None:
            share = (_stream(seed, f"range {name}").permutation(n) + 0.5) / n
            values[name] = [float(pair[0] + s * (pair[1] - pair[0])) for s in share]
    made = []
    for i in range(n):
        here = {name: each[i] for name, each in values.items()}
        speed = here.pop("speed_m_s", study.task.speed_m_s)
        made.append(
            replace(
                study,
                wearer=replace(study.wearer, **here),  # type: ignore[arg-type]
                task=replace(study.task, speed_m_s=speed),
            )
        )
    return made


def _names(weights: Sequence[tuple[str, float]]) -> tuple[str, ...]:
    return tuple(name for name, weight in weights if weight > 0.0)


def _mix(rng: np.random.Generator, weights: Sequence[tuple[str, float]], n: int) -> IntArray:
    shares = np.array([weight for _, weight in weights if weight > 0.0])
    edges = np.cumsum(shares / shares.sum())
    return np.minimum(np.searchsorted(edges, rng.random(n), side="right"), len(shares) - 1)


def _own_slopes(name: str, study: Study, n: int, seed: int) -> Array:
    """Slopes (n, 4) of a file's model from its stated normal, thigh, shank, foot, waist."""
    found = own_model(name, study.energy.origin)
    values, vectors = np.linalg.eigh(found.covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    z = _stream(seed, f"own {name}").standard_normal((n, _SLOPES))
    return np.maximum(found.mean + z @ root.T, LEAST_SHARE * found.mean)
