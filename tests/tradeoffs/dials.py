"""Dials on studies that have no file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from optimizer.solve.sweep_dial import Dial
from optimizer.study.model import Part, Study


def with_mass(study: Study, part: str, factor: float) -> Study:
    """All models of a part, or of every part whose name is in `part`, made heavier."""

    def heavier(p: Part) -> Part:
        if p.name not in part.split():
            return p
        models = tuple(replace(m, mass_kg=m.mass_kg * factor) for m in p.models)
        return replace(p, models=models)

    return replace(study, parts=tuple(heavier(p) for p in study.parts))


def mass_dial(study: Study, part: str) -> Dial:
    """Turns the mass of one part, or of several together, by a factor."""
    return Dial(f"mass of {part}", "x", lambda value: with_mass(study, part, value), 1.0)


def weight_dial(study: Study, name: str = "swing_inertia") -> Dial:
    """Turns a weight of the score."""
    return Dial(
        f"weights.{name}",
        "",
        lambda value: replace(study, weights=replace(study.weights, **{name: value})),
    )


def limit_dial(study: Study, number: int) -> Dial:
    """Turns the value of one limit of the study by a factor."""

    def study_at(value: float) -> Study:
        limits = list(study.limits)
        limits[number] = replace(limits[number], value=limits[number].value * value)
        return replace(study, limits=tuple(limits))

    return Dial(f"limit {number}", "x", study_at, 1.0)


def site_mass_dial(study: Study, site: str) -> Dial:
    """Turns what a site may hold [kg]."""

    def study_at(value: float) -> Study:
        sites = tuple(replace(s, max_mass_kg=value) if s.name == site else s for s in study.sites)
        return replace(study, sites=sites)

    return Dial(f"mass limit of {site}", "kg", study_at)


def stature_dial(study: Study) -> Dial:
    """Turns the wearer's stature [m]."""

    def study_at(value: float) -> Study:
        return replace(study, wearer=replace(study.wearer, stature_m=value))

    return Dial("stature", "m", study_at)


def speed_dial(study: Study) -> Dial:
    """Turns walking speed [m/s]."""

    def study_at(value: float) -> Study:
        return replace(study, task=replace(study.task, speed_m_s=value))

    return Dial("speed", "m/s", study_at)


Maker = Callable[[Study], Dial]
