"""Figures of a layout that can be asked for by name, in the unit they are shown in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf

from optimizer.assess.result import Assessment
from optimizer.errors import Flaw, InputError, Origin
from optimizer.study.model import PartModel, Study
from optimizer.study.units import G_PER_KG, S_PER_H
from optimizer.study.words import nearest


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of an assessed layout of a study.

    `known` tells whether a study says what the figure is made of, `lacking` what one that does
    not would need. Where it does not, `value` counts nothing, which is no figure of the layout.
    """

    name: str
    title: str
    unit: str
    value: Callable[[Study, Assessment], float]
    known: Callable[[Study], bool] = lambda _: True
    lacking: str = ""

    def told(self, study: Study, found: Assessment) -> float | None:
        """The figure of a layout; None where the study says nothing of it."""
        return self.value(study, found) if self.known(study) else None


def models_of(study: Study, found: Assessment) -> dict[str, PartModel]:
    """The model every unit of a layout is bought as."""
    models = {(part.name, model.name): model for part in study.parts for model in part.models}
    return {p.unit: models[p.part, p.model] for p in found.parts}


def price_of(study: Study, found: Assessment) -> float:
    """What all parts cost, those without a price counting nothing."""
    return sum(model.price or 0.0 for model in models_of(study, found).values())


def unpriced(study: Study, found: Assessment) -> tuple[str, ...]:
    """Units whose model has no price."""
    return tuple(unit for unit, m in models_of(study, found).items() if m.price is None)


def power_of(study: Study, found: Assessment) -> float:
    """Rated power of all parts [W]."""
    return sum(model.power_w for model in models_of(study, found).values())


def walking_hours(study: Study, found: Assessment) -> float:
    """How long the batteries feed all parts at rated power [h]; infinite if they take none."""
    held = sum(m.physics.battery_j or 0.0 for m in models_of(study, found).values())
    power = power_of(study, found)
    return held / power / S_PER_H if power > 0.0 else inf


def slowest_fill(study: Study, found: Assessment) -> float:
    """The longest time any line takes to bring its chamber to pressure [ms]; 0 without one."""
    times = [line.physics.get("fill_ms", 0.0) for line in found.lines]
    return max((t for t in times if t < inf), default=0.0)


def _legs_kg(study: Study, found: Assessment) -> float:
    return sum(kg for key, kg in found.mass_kg.items() if key != "trunk")


def _has_price(study: Study) -> bool:
    return any(model.price is not None for part in study.parts for model in part.models)


def _has_battery(study: Study) -> bool:
    return any(m.physics.battery_j is not None for part in study.parts for m in part.models)


def _has_filling(study: Study) -> bool:
    """Whether some air tube brings air from a valve to a chamber, its pressures being known."""
    parts = {part.name: part for part in study.parts}
    return any(
        line.kind == "air_tube"
        and any(m.physics.valve_c is not None for m in parts[line.part_a].models)
        and any(m.physics.chamber_m3 is not None for m in parts[line.part_b].models)
        and any(o.physics.target_pa and o.physics.supply_pa for o in line.options)
        for line in study.lines
    )


def _figures(*figures: Figure) -> dict[str, Figure]:
    return {figure.name: figure for figure in figures}


#: Name -> figure. To add one, add a line.
FIGURES: dict[str, Figure] = _figures(
    Figure("score", "score", "", lambda _, a: a.score),
    Figure("metabolic_pct", "metabolic penalty", "%", lambda _, a: a.metabolic_pct),
    Figure("metabolic_w", "metabolic penalty", "W", lambda _, a: a.metabolic_w),
    Figure("assist_w", "mean assist power that pays the mass back", "W", lambda _, a: a.assist_w),
    Figure("swing_inertia_pct", "added swing inertia", "%", lambda _, a: a.swing_inertia_pct),
    Figure("worn_g", "worn mass", "g", lambda _, a: a.total_mass_kg * G_PER_KG),
    Figure("legs_g", "mass on both legs", "g", lambda s, a: _legs_kg(s, a) * G_PER_KG),
    Figure("trunk_g", "mass on the trunk", "g", lambda _, a: a.mass_kg["trunk"] * G_PER_KG),
    Figure("discomfort", "discomfort", "points", lambda _, a: a.discomfort),
    Figure("sites_in_use", "sites in use", "sites", lambda _, a: float(len(a.holder_mass_kg))),
    Figure(
        "price",
        "price of all parts",
        "",
        price_of,
        _has_price,
        "whose parts table has price",
    ),
    Figure("power_w", "rated power of all parts", "W", power_of),
    Figure(
        "walking_time_h",
        "walking time at rated power",
        "h",
        walking_hours,
        _has_battery,
        "whose parts table has battery_wh",
    ),
    Figure(
        "response_ms",
        "slowest filling of an air chamber",
        "ms",
        slowest_fill,
        _has_filling,
        "with an air tube from a valve to a chamber, both described",
    ),
)


def figure_of(name: str) -> Figure:
    """A figure by its name.

    Raises
    ------
    InputError
        If there is none of that name.
    """
    if name not in FIGURES:
        expected = f"one of {', '.join(FIGURES)}"
        near = nearest(name, tuple(FIGURES))
        raise InputError([Flaw(Origin("figure"), repr(name), expected, near)])
    return FIGURES[name]
