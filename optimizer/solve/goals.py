"""What a layout can be judged by, one figure at a time: named, with its unit."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from optimizer.assess.result import Assessment
from optimizer.body.inertia import bare_leg_inertia
from optimizer.errors import Flaw, InputError, Origin
from optimizer.problem.arrays import Array, Objective
from optimizer.problem.quantities import (
    BODY_KEYS,
    DISCOMFORT,
    INDEX,
    INERTIA,
    LEG_W,
    MASS,
    NAMES,
    PRICE,
    SITES_IN_USE,
)
from optimizer.setting import Setting
from optimizer.solve.figures import FIGURES, price_of, slowest_fill
from optimizer.study.model import SIDES, TRUNK, Study
from optimizer.study.words import nearest

#: Layouts nearer to each other than this, in the goal's unit, count as equal in it.
RESOLUTION = 1e-6


@dataclass(frozen=True)
class Goal:
    """One figure to keep low: how the program adds it up and how the assessment tells it.

    `unit` is that of both; `resolution` the least difference that counts.
    """

    name: str
    title: str
    unit: str
    objective: Objective
    value: Callable[[Assessment], float]
    resolution: float = RESOLUTION


def exact_value(objective: Objective, quantities: Array) -> float:
    """An objective at exact quantities, its curve and all."""
    value = float(quantities @ objective.linear)
    if objective.curve is not None:
        value += objective.curve_weight * objective.curve(float(quantities[INDEX[MASS[TRUNK]]]))
    return value


def _linear(terms: dict[str, float]) -> Objective:
    linear = np.zeros(len(NAMES))
    for name, value in terms.items():
        linear[INDEX[name]] += value
    return Objective(linear)


def _metabolic(setting: Setting) -> Goal:
    energy = setting.energy
    per_watt = 100.0 / energy.walking_w
    objective = _linear({LEG_W: per_watt})
    if energy.trunk_is_linear:
        objective.linear[INDEX[MASS[TRUNK]]] = per_watt * float(energy.trunk_slope(0.0))
    else:
        objective = Objective(
            objective.linear,
            per_watt,
            lambda load: float(energy.trunk_cost(load)),
            lambda load: float(energy.trunk_slope(load)),
        )
    return Goal(
        "metabolic",
        "metabolic penalty, % of net walking power",
        "%",
        objective,
        lambda found: found.metabolic_pct,
    )


def _swing_inertia(setting: Setting) -> Goal:
    bare = bare_leg_inertia(setting.wearer, "right", "hip", setting.study.inertia_pose)
    return Goal(
        "swing_inertia",
        "added swing inertia about the hip, both legs, % of one bare leg",
        "%",
        _linear({INERTIA["hip", side]: 100.0 / bare for side in SIDES}),
        lambda found: found.swing_inertia_pct,
    )


def _comfort(setting: Setting) -> Goal:
    return Goal(
        "comfort",
        "discomfort points of the sites in use",
        "points",
        _linear({DISCOMFORT: 1.0}),
        lambda found: found.discomfort,
    )


def _device_mass(setting: Setting) -> Goal:
    return Goal(
        "device_mass",
        "worn mass",
        "kg",
        _linear({MASS[key]: 1.0 for key in BODY_KEYS}),
        lambda found: found.total_mass_kg,
    )


def _sites_in_use(setting: Setting) -> Goal:
    return Goal(
        "sites_in_use",
        "sites in use",
        "sites",
        _linear({SITES_IN_USE: 1.0}),
        lambda found: float(len(found.holder_mass_kg)),
    )


def _price(setting: Setting) -> Goal:
    study = setting.study
    return Goal(
        "price",
        "price of all parts",
        "",
        _linear({PRICE: 1.0}),
        lambda found: price_of(study, found),
    )


def _response(setting: Setting) -> Goal:
    """No sum: `optimizer.solve.front_points` deals with it."""
    study = setting.study
    return Goal(
        "response",
        "slowest filling of an air chamber",
        "ms",
        _linear({}),
        lambda found: slowest_fill(study, found),
        0.01,
    )


#: Name -> how to make the goal for a setting. To add one, add a function and a line.
GOALS: dict[str, Callable[[Setting], Goal]] = {
    "metabolic": _metabolic,
    "swing_inertia": _swing_inertia,
    "comfort": _comfort,
    "device_mass": _device_mass,
    "sites_in_use": _sites_in_use,
    "price": _price,
    "response": _response,
}


def _has_comfort(study: Study) -> bool:
    return any(site.comfort is not None for site in study.sites)


#: Goals that some studies say nothing about: how to tell, and what such a study lacks.
_SAID: dict[str, tuple[Callable[[Study], bool], str]] = {
    "comfort": (_has_comfort, "whose sites table has comfort"),
    "price": (FIGURES["price"].known, FIGURES["price"].lacking),
    "response": (FIGURES["response_ms"].known, FIGURES["response_ms"].lacking),
}


def goals_of(setting: Setting, names: tuple[str, ...], said_by: str = "goal") -> list[Goal]:
    """The goals of these names, each once.

    Raises
    ------
    InputError
        For an unknown name, one given twice, or a goal that the study says nothing about.
    """
    flaws = []
    for i, name in enumerate(names):
        if name not in GOALS:
            known = ", ".join(GOALS)
            near = nearest(name, tuple(GOALS))
            flaws.append(Flaw(Origin(said_by), repr(name), f"one of {known}", near))
        elif name in names[:i]:
            flaws.append(Flaw(Origin(said_by), f"{name!r} twice", "different goals"))
        elif name in _SAID and not _SAID[name][0](setting.study):
            found = f"{name!r}, the same for every layout"
            flaws.append(Flaw(Origin(said_by), found, f"a study {_SAID[name][1]}"))
    if flaws:
        raise InputError(flaws)
    return [GOALS[name](setting) for name in names]
