"""Rows that hold back what only an eased limit allows: one choice, one pair of places, one site.

A limit that rules choices out one by one is not a row of the program. Where it may be eased, the
choices are in the program and a gate holds them: sum of terms <= right + ease of the limit.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from optimizer.body.gait import GRAVITY_M_S2
from optimizer.body.places import keep_out, offers_of
from optimizer.problem.arrays import Problem
from optimizer.problem.wear_sites import CONTACT, load_factor
from optimizer.setting import Setting
from optimizer.study.model import PartModel
from optimizer.study.relax import NEEDS, StudyLimit

#: Entries of `[limits]` that rule choices out: taken from the study, and written as gates.
OPENED: frozenset[str] = frozenset({"protrusion", "keep_out", *CONTACT})
#: The ease at which a least distance no longer keeps two parts out of one and the same site.
SAME_SITE = 2.0
#: Kind of a column ("x", "u", "b", "k"), what it is about, coefficient.
Term = tuple[str, int, float]


@dataclass(frozen=True, slots=True)
class Gate:
    """sum of coefficients x columns <= right + ease of the limit."""

    kind: str
    subject: object
    limit: int
    terms: tuple[Term, ...]
    right: float = 0.0


def gates_of(setting: Setting, problem: Problem, limits: Sequence[StudyLimit]) -> Iterator[Gate]:
    """The gates of all limits but rules on two parts."""
    for i, limit in enumerate(limits):
        if limit.kind == NEEDS:
            yield from _needs(setting, problem, i, limit)
        elif limit.kind == "site_thickness" and limit.value:
            yield from _thickness(setting, problem, i, limit, limit.value)
        elif limit.kind == "keep_out":
            yield from _keep_out(setting, problem, i)
        elif limit.kind == "protrusion" and limit.value:
            yield from _protrusion(setting, problem, i, limit.value)
        elif limit.kind in CONTACT and limit.value:
            yield from _contact(setting, problem, i, limit.kind, limit.value)


def models_of(setting: Setting, problem: Problem) -> list[PartModel]:
    """The part's model that every choice is about."""
    models = {part.name: part.models for part in setting.study.parts}
    return [
        models[problem.slots[int(slot)].part][int(model)]
        for slot, model in zip(problem.choice_slot, problem.choice_model, strict=True)
    ]


def choices_at(problem: Problem, slot: int, site: int) -> list[int]:
    """The choices that put a slot at a site."""
    return [int(c) for c in problem.choices_of(slot) if problem.choice_site[c] == site]


def pair_eases(
    setting: Setting, problem: Problem, number: int, limit: StudyLimit
) -> dict[tuple[int, int], float]:
    """Places that the rule `problem.pairs[number]` keeps two parts from -> the ease that allows
    them."""
    rule = problem.pairs[number]
    xyz = setting.graph.positions[setting.graph.site_node]
    places_a, places_b = (
        sorted({int(problem.choice_site[c]) for c in problem.choices_of(slot)})
        for slot in (rule.slot_a, rule.slot_b)
    )
    eases = {}
    for i in places_a:
        for j in places_b:
            if not rule.forbidden(i, j):
                continue
            if limit.value is None:
                eases[i, j] = 1.0
            elif i == j:
                eases[i, j] = SAME_SITE
            else:
                gap = float(np.linalg.norm(xyz[i] - xyz[j]))
                eases[i, j] = max(1.0 - gap / limit.value, 1e-12)
    return eases


def _needs(setting: Setting, problem: Problem, i: int, limit: StudyLimit) -> Iterator[Gate]:
    part, word = limit.subject.split(":", 1)
    models = models_of(setting, problem)
    offers = [offers_of(setting.wearer, site) for site in setting.study.sites]
    for slot, own in enumerate(problem.slots):
        if own.part != part:
            continue
        terms = tuple(
            ("x", int(c), 1.0)
            for c in problem.choices_of(slot)
            if word in models[c].needs and word not in offers[int(problem.choice_site[c])]
        )
        if terms:
            yield Gate(NEEDS, (slot, word), i, terms)


def _thickness(
    setting: Setting, problem: Problem, i: int, limit: StudyLimit, room: float
) -> Iterator[Gate]:
    models, s = models_of(setting, problem), problem.site_names.index(limit.subject)
    for slot in range(len(problem.slots)):
        needed = [(c, models[c].size_m[2] / room - 1.0) for c in choices_at(problem, slot, s)]
        terms = tuple(("x", c, share) for c, share in needed if share > 0.0)
        if terms:
            yield Gate("site_thickness", (slot, s), i, terms)


def _keep_out(setting: Setting, problem: Problem, i: int) -> Iterator[Gate]:
    for s, site in enumerate(setting.study.sites):
        if keep_out(site) is not None:
            # the site's use stands for whatever is put there
            yield Gate("keep_out", s, i, (("u", s, 1.0),))


def _protrusion(setting: Setting, problem: Problem, i: int, limit_m: float) -> Iterator[Gate]:
    sites, models = setting.study.sites, models_of(setting, problem)
    for slot in range(len(problem.slots)):
        terms = []
        for c in problem.choices_of(slot):
            site = sites[int(problem.choice_site[c])]
            reach = site.standoff_m + models[c].size_m[2]
            if site.segment != "off_body" and reach > limit_m:
                terms.append(("x", int(c), reach / limit_m - 1.0))
        if terms:
            yield Gate("protrusion", slot, i, tuple(terms))


def _contact(
    setting: Setting, problem: Problem, i: int, kind: str, limit_pa: float
) -> Iterator[Gate]:
    """Pressure of all a site holds, as a share of the limit, no more than 1."""
    models = models_of(setting, problem)
    for s, site in enumerate(setting.study.sites):
        if site.contact_m2 is None:
            continue
        per_kg = GRAVITY_M_S2 * load_factor(setting.study, kind, site) / site.contact_m2 / limit_pa
        here = [int(c) for c in np.flatnonzero(problem.choice_site == s)]
        terms: list[Term] = [("x", c, models[c].mass_kg * per_kg) for c in here]
        terms += [("b", s, per_kg), ("u", s, site.holder_mass_kg * per_kg - 1.0)]
        yield Gate(kind, s, i, tuple(terms))
