"""What a site can hold: volume, mass, thickness, and what parts need or may not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from math import inf
from typing import NamedTuple

from optimizer.assess.lookup import Lookup
from optimizer.assess.report import report
from optimizer.assess.result import Ballast, LimitReport
from optimizer.body.places import offers_of
from optimizer.setting import Setting

#: Ways of filling a site that are remembered at most, over all sites.
_MOST = 8192


class Held(NamedTuple):
    """A unit that a site holds."""

    unit: str
    part: str
    model: str
    mass_kg: float


class SiteLimits:
    """Limits of the sites of a setting; layouts that fill a site alike share its reports."""

    def __init__(self, setting: Setting) -> None:
        self._setting = setting
        self._lookup = setting.once(Lookup)
        self._at = lru_cache(_MOST)(self._work_out)

    def __call__(
        self, held: Mapping[str, Sequence[Held]], ballast: Sequence[Ballast]
    ) -> list[LimitReport]:
        """Of all sites that hold anything, in the garment's order."""
        reports: list[LimitReport] = []
        order = self._lookup.site_order
        for site in sorted({*held, *(b.site for b in ballast)}, key=order.__getitem__):
            units = tuple(held.get(site, ()))
            ballast_kg = sum(b.mass_kg for b in ballast if b.site == site)
            if units or ballast_kg:
                reports += self._at(site, units, ballast_kg)
        return reports

    def _work_out(
        self, name: str, units: tuple[Held, ...], ballast_kg: float
    ) -> tuple[LimitReport, ...]:
        site = self._lookup.sites[name]
        counterweight = self._setting.study.counterweight
        models = [self._lookup.model(u.part, u.model) for u in units]
        reports = []
        if site.volume_m3 < inf:
            used = sum(model.volume_m3 for model in models)
            if counterweight is not None:
                used += ballast_kg / counterweight.density_kg_m3
            label, most = f"volume in {name}", site.volume_m3
            reports.append(report("site_volume", name, label, used, most, "cm3", 1e6, site.origin))
        if site.max_mass_kg < inf:
            used = ballast_kg + sum(u.mass_kg for u in units)
            label, most = f"mass in {name}", site.max_mass_kg
            reports.append(report("site_mass", name, label, used, most, "g", 1e3, site.origin))
        if site.max_thickness_m < inf and models:
            used = max(model.size_m[2] for model in models)
            label, most = f"thickness in {name}", site.max_thickness_m
            reports.append(
                report("site_thickness", name, label, used, most, "mm", 1e3, site.origin)
            )
        for (unit, *_), model in zip(units, models, strict=True):
            missing = model.needs - offers_of(self._setting.wearer, site)
            if missing:
                label = f"{name} offers {unit} {', '.join(sorted(missing))}"
                reports.append(
                    report("needs", unit, label, len(missing), 0.0, "needs", 1.0, model.origin)
                )
            if name not in model.sites:
                label = f"{unit} allowed at {name}"
                reports.append(
                    report("allowed_site", unit, label, 1.0, 0.0, "places", 1.0, model.origin)
                )
        return tuple(reports)
