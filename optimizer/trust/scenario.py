"""One draw taken out: as a setting to be assessed like any other, and as a form for the program."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.body.inertia import bare_leg_inertia
from optimizer.energy.card import ModelCard, PublishedModel
from optimizer.energy.conditions import LEGS, Conditions
from optimizer.energy.leg import LegModel, SegmentCurve, SegmentSlopes
from optimizer.energy.own import SLOPES, is_own, own_model
from optimizer.energy.registry import LEG_MODELS, TRUNK_MODELS
from optimizer.energy.trunk import TrunkModel, TrunkSlope
from optimizer.energy.walking import WalkingModel
from optimizer.joint.program import Form, JointProgram
from optimizer.joint.world import World, link_quantities
from optimizer.problem.quantities import DISCOMFORT, INDEX
from optimizer.setting import Setting
from optimizer.trust.costs import KNOTS, Points, leg_costs, trunk_factor, walking_w
from optimizer.trust.draws import Draws
from optimizer.trust.evaluate import HIP, TRUNK_LOAD

Array = NDArray[np.float64]


@dataclass(frozen=True)
class ScaledLeg(PublishedModel):
    """A leg model times a factor, plus an offset [W/kg], never below zero."""

    card: ModelCard
    base: LegModel
    factor: float = 1.0
    offset: float = 0.0

    def cost(self, segment: str, distance_m: ArrayLike, c: Conditions) -> Array:
        """W per kg of added mass, of the shape of `distance_m`."""
        base = self.base.cost(segment, distance_m, c)
        return np.asarray(np.maximum(self.factor * base + self.offset, 0.0))


@dataclass(frozen=True)
class ScaledTrunk(PublishedModel):
    """A trunk model times a factor."""

    card: ModelCard
    base: TrunkModel
    factor: float = 1.0

    @property
    def is_linear(self) -> bool:
        """As the model itself."""
        return self.base.is_linear

    def cost(self, load_kg: ArrayLike, c: Conditions) -> Array:
        """W above the cost at zero load, of the shape of `load_kg`."""
        return np.asarray(self.factor * self.base.cost(load_kg, c))

    def slope(self, load_kg: ArrayLike, c: Conditions) -> Array:
        """Derivative of `cost`, W per kg, of the shape of `load_kg`."""
        return np.asarray(self.factor * self.base.slope(load_kg, c))


@dataclass(frozen=True)
class DrawnWalking(PublishedModel):
    """A walking model whose net power was drawn."""

    card: ModelCard
    base: WalkingModel
    watts: float

    def net_w(self, c: Conditions) -> float:
        """The drawn net walking power."""
        return self.watts

    def rest_w(self, c: Conditions) -> float:
        """As the model itself."""
        return self.base.rest_w(c)

    def gross_w(self, c: Conditions) -> float:
        """The drawn net power and the model's own power at rest."""
        return self.watts + self.base.rest_w(c)


def drawn_leg(setting: Setting, draws: Draws, row: int) -> LegModel:
    """The leg model of one draw."""
    name = draws.leg_names[draws.leg[row]]

    def factor(coefficient: str) -> float:
        values = draws.factors.get(coefficient)
        return 1.0 if values is None else float(values[row])

    if is_own(name):
        own = own_model(name, setting.study.energy.origin).leg
        slopes = dict(zip(SLOPES, draws.own[name][row].tolist(), strict=True))
        if isinstance(own, SegmentCurve):
            return SegmentCurve(own.card, own.radius_m, tuple(slopes[k] for k in KNOTS))
        assert isinstance(own, SegmentSlopes)
        return SegmentSlopes(own.card, {s: slopes[s] for s in LEGS}, own.per_kg_body)
    base = LEG_MODELS[name]
    if isinstance(base, SegmentCurve):
        scaled = tuple(factor(k) * v for k, v in zip(KNOTS, base.slope, strict=True))
        return SegmentCurve(base.card, base.radius_m, scaled)
    if isinstance(base, SegmentSlopes):
        return replace(base, slopes={s: factor(s) * base.slopes[s] for s in LEGS})
    if name == "radius_squared":
        return ScaledLeg(base.card, base, 1.0, float(draws.factors["distance_law"][row]))
    whole = "foot_loads" if name == "soule_goldman" else name
    return ScaledLeg(base.card, base, factor(whole))


def drawn_trunk(setting: Setting, draws: Draws, row: int) -> TrunkModel:
    """The trunk model of one draw."""
    name = draws.trunk_names[draws.trunk[row]]
    if is_own(name):
        own = own_model(name, setting.study.energy.origin).trunk
        return TrunkSlope(own.card, float(draws.own[name][row][SLOPES.index("waist")]), True)
    values = draws.factors.get(trunk_factor(name))
    base = TRUNK_MODELS[name]
    return ScaledTrunk(base.card, base, 1.0 if values is None else float(values[row]))


def scenario_setting(world: World, draws: Draws, row: int) -> Setting:
    """One draw as a setting: its models, its walking power, its parts' masses."""
    setting = world.setting
    energy = replace(
        setting.energy,
        leg=drawn_leg(setting, draws, row),
        trunk=drawn_trunk(setting, draws, row),
        walking=DrawnWalking(
            setting.energy.walking.card, setting.energy.walking, float(walking_w(world, draws)[row])
        ),
    )
    parts = tuple(
        replace(
            part,
            models=tuple(
                replace(model, mass_kg=model.mass_kg * float(factor)) for model in part.models
            ),
        )
        for part, factor in zip(setting.study.parts, draws.parts[row], strict=True)
    )
    return replace(setting, study=replace(setting.study, parts=parts), energy=energy)


class Forms:
    """Scores of draws as forms of a program's columns, on one of its worlds."""

    def __init__(self, program: JointProgram, world: int, points: Points):
        self.program, self.number = program, world
        self.world, self.points = program.worlds[world], points
        p, writer = self.world.problem, program.writer
        places = np.zeros((program.n, len(points.distance_m)))
        cols = program.formulation.columns
        for (slot, model, site), column in writer.choice_keys().items():
            part = p.slots[slot].part
            mass = next(x for x in self.world.setting.study.parts if x.name == part)
            places[column] = mass.models[model].mass_kg * points.per_site[site]
        for s, column in cols.u.items():
            places[column] = self.world.setting.study.sites[s].holder_mass_kg * points.per_site[s]
        for s, column in cols.b.items():
            places[column] = points.per_site[s]
        if writer.link_columns:
            links = [self.world.links[key] for key in writer.link_columns]
            places[list(writer.link_columns.values())] = link_quantities(
                p, links, points.per_site, points.per_arc
            )
        self.places = places
        names = [part.name for part in self.world.setting.study.parts]
        self._part_of_slot = np.array([names.index(slot.part) for slot in p.slots], dtype=int)

    def form(self, draws: Draws, row: int, less: float = 0.0) -> Form:
        """The score of one draw, less a constant."""
        one = draws.take(np.array([row]))
        setting, q = self.world.setting, self.program.quantities(self.number)
        weights = setting.study.weights
        bare = bare_leg_inertia(setting.wearer, "right", "hip", setting.study.inertia_pose)
        per_watt = weights.metabolic * 100.0 / float(walking_w(self.world, one)[0])
        scale = self.program.column_scale(one.parts[0][self._part_of_slot])
        linear = per_watt * (self.places @ leg_costs(self.world, self.points, one)[0])
        linear += weights.swing_inertia * 100.0 / bare * q[:, HIP].sum(axis=1)
        linear = scale * linear + weights.comfort * q[:, INDEX[DISCOMFORT]]
        load = scale * q[:, TRUNK_LOAD]
        trunk, c = drawn_trunk(setting, one, 0), setting.energy.conditions
        if trunk.is_linear:
            return Form(linear + per_watt * float(trunk.slope(0.0, c)) * load, less=less)
        return Form(
            linear,
            load,
            per_watt,
            lambda kg: float(trunk.cost(kg, c)),
            lambda kg: float(trunk.slope(kg, c)),
            less,
        )
