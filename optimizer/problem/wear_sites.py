"""Wearability limits that concern one site alone: contact pressure, protrusion, places to keep
out of. They become capacities, or rule choices out, or cost comfort points choice by choice.
"""

from __future__ import annotations

import numpy as np

from optimizer.body.gait import GRAVITY_M_S2
from optimizer.body.places import keep_out
from optimizer.problem.arrays import Array, IntArray, SiteCap
from optimizer.problem.wear_rows import parameter
from optimizer.setting import Setting
from optimizer.study.model import LimitSpec, PartModel, Site, Study

#: Limits on contact pressure.
CONTACT: tuple[str, ...] = ("contact_sustained", "contact_peak")


def limit_of(study: Study, kind: str) -> LimitSpec | None:
    """The study's limit of a kind that has no subject."""
    return next((spec for spec in study.limits if spec.kind == kind), None)


def load_factor(study: Study, kind: str, site: Site) -> float:
    """How many times its weight what a site holds presses: once for ever, more at heel strike."""
    if kind == "contact_sustained" or site.segment == "off_body":
        return 1.0
    return parameter(study, "contact_factor", site.segment)


def contact_cap_kg(study: Study, spec: LimitSpec, site: Site) -> float | None:
    """What a site may hold beside its holder before it presses too hard; None without an area."""
    if site.contact_m2 is None:
        return None
    weight = GRAVITY_M_S2 * load_factor(study, spec.kind, site)
    return spec.value * site.contact_m2 / weight - site.holder_mass_kg


def contact_caps(setting: Setting, choice_site: IntArray, mass_kg: Array) -> list[SiteCap]:
    """One capacity per limit and site with a contact area; those already full rule choices out."""
    study = setting.study
    caps = []
    for spec in study.limits:
        if spec.kind not in CONTACT:
            continue
        for s, site in enumerate(study.sites):
            cap = contact_cap_kg(study, spec, site)
            if cap is not None and cap > 0.0:
                use = np.where(choice_site == s, mass_kg, 0.0)
                caps.append(
                    SiteCap(spec.kind, s, use, cap, "kPa", spec.origin, 1.0, spec.value / 1e3)
                )
    return caps


def unwearable(study: Study, model: PartModel, site: Site) -> tuple[str, str, LimitSpec] | None:
    """Why a limit of the study keeps a part out of a site: kind, words and the limit."""
    if (spec := limit_of(study, "keep_out")) is not None:
        place = keep_out(site)
        if place is not None:
            return spec.kind, f"{site.name} is at {place}", spec
    if (spec := limit_of(study, "protrusion")) is not None and site.segment != "off_body":
        reach = site.standoff_m + model.size_m[2]
        if reach > spec.value:
            words = f"stands {reach * 1e3:g} mm off the skin at {site.name}, limit "
            return spec.kind, words + f"{spec.value * 1e3:g} mm", spec
    for kind in CONTACT:
        if (spec := limit_of(study, kind)) is None:
            continue
        cap = contact_cap_kg(study, spec, site)
        if cap is not None and model.mass_kg > cap:
            assert site.contact_m2 is not None
            weight = GRAVITY_M_S2 * load_factor(study, kind, site)
            pressure = (model.mass_kg + site.holder_mass_kg) * weight / site.contact_m2
            words = f"presses {pressure / 1e3:.3g} kPa at {site.name}, limit "
            return kind, words + f"{spec.value / 1e3:g} kPa", spec
    return None


def protrusion_points(study: Study, model: PartModel, site: Site) -> float:
    """Comfort points of a part that reaches beyond the soft limit on protrusion."""
    spec = limit_of(study, "protrusion_soft")
    if spec is None or site.segment == "off_body":
        return 0.0
    over = site.standoff_m + model.size_m[2] - spec.value
    return max(0.0, over) * parameter(study, "protrusion_points_per_cm")
