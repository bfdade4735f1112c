"""Where plain ballast may go on the sound leg of a one-sided device."""

from __future__ import annotations

from optimizer.body.places import keep_out
from optimizer.problem.arrays import BallastSites
from optimizer.problem.wear_sites import CONTACT, contact_cap_kg, limit_of
from optimizer.setting import Setting
from optimizer.study.model import LEG_SEGMENTS


def ballast_sites(setting: Setting) -> BallastSites | None:
    """The sites of the counterweight's leg that may hold any; None if none is allowed."""
    study = setting.study
    if study.counterweight is None:
        return None
    total = study.counterweight.max_mass_kg
    sites, most = [], []
    for s, site in enumerate(study.sites):
        if site.segment not in LEG_SEGMENTS or site.side != study.counterweight.side:
            continue
        if limit_of(study, "keep_out") is not None and keep_out(site) is not None:
            continue
        room = min(total, site.max_mass_kg, site.volume_m3 * study.counterweight.density_kg_m3)
        for kind in CONTACT:
            spec = limit_of(study, kind)
            cap = None if spec is None else contact_cap_kg(study, spec, site)
            room = room if cap is None else min(room, cap)
        if room > 0.0:
            sites.append(s)
            most.append(float(room))
    return BallastSites(tuple(sites), tuple(most), total, study.counterweight.origin)
