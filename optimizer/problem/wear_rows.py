"""Wearability limits as rows over the quantities, hard and soft.

A limit on a quotient (an offset, a shift) is multiplied out, so that it stays linear:
|sum m x| <= d sum m for the trunk's load, |sum m (x - x0)| <= d (M + sum m) for the shift of the
whole body's centre of mass x0 (wearer's mass M).
"""

from __future__ import annotations

import numpy as np

from optimizer.body.wear_defaults import default_value
from optimizer.problem.arrays import LimitRow, Piece, SoftRow
from optimizer.problem.quantities import (
    BELT,
    BODY_KEYS,
    BODY_MOMENT,
    DONNING,
    INDEX,
    MASS,
    NAMES,
    TRUNK_FRONT,
    TRUNK_SIDE,
)
from optimizer.setting import Setting
from optimizer.study.limits import LIMIT_KEYS
from optimizer.study.model import OFF_BODY, TRUNK, LimitSpec, Study

#: Both ways of each direction: in words, and the sign of the quantity that counts against it.
WAYS: dict[str, tuple[tuple[str, float], ...]] = {
    "fore_aft": (("to the front", 1.0), ("to the back", -1.0)),
    "lateral": (("to the right", 1.0), ("to the left", -1.0)),
    "vertical": (("upwards", 1.0), ("downwards", -1.0)),
}
_TRUNK_MOMENT = {"fore_aft": TRUNK_FRONT, "lateral": TRUNK_SIDE}


def parameter(study: Study, key: str, subject: str = "") -> float:
    """A figure of `[limits]` that limits are made with, in SI; the recommended one if not written.

    Keys are those of the study file, such as "contact_factor".
    """
    limit = LIMIT_KEYS[key]
    for spec in study.limits:
        if (spec.kind, spec.subject) == (limit.kind, subject):
            return spec.value
    return default_value(key, subject, study.wearer.sex) / limit.per_si


def _form(terms: dict[str, float]) -> np.ndarray:
    coefficients = np.zeros(len(NAMES))
    for name, value in terms.items():
        coefficients[INDEX[name]] += value
    return coefficients


def trunk_offset(spec: LimitSpec, setting: Setting) -> list[LimitRow]:
    """Both ways the trunk's load may lie off the hips' middle, per kilogram of it."""
    # as a share of what the lightest part at the limit would bring, so that the solver's
    # tolerance is one on the offset and not on a moment
    lightest = min((m.mass_kg for p in setting.study.parts for m in p.models), default=1.0)
    size = spec.value * max(lightest, 1e-3)
    rows = []
    for words, sign in WAYS[spec.subject]:
        terms = {_TRUNK_MOMENT[spec.subject]: sign / size, MASS[TRUNK]: -spec.value / size}
        rows.append(
            LimitRow(
                spec.kind,
                f"{spec.subject}.{words.rsplit(' ', 1)[-1]}",
                f"offset of the trunk's load {words}",
                _form(terms),
                0.0,
                "mm",
                1e3,
                spec.origin,
                spec.value,
            )
        )
    return rows


def com_shift(spec: LimitSpec, setting: Setting) -> list[LimitRow]:
    """Both ways the whole body's centre of mass may shift."""
    worn = {MASS[key]: -spec.value for key in BODY_KEYS}
    upper = spec.value * setting.wearer.mass_kg
    return [
        LimitRow(
            spec.kind,
            f"{spec.subject}.{words.rsplit(' ', 1)[-1]}",
            f"shift of the body's centre of mass {words}",
            _form({BODY_MOMENT[spec.subject]: sign, **worn}),
            upper,
            "mm",
            1e3,
            spec.origin,
            spec.value,
        )
        for words, sign in WAYS[spec.subject]
    ]


def belt_hard(spec: LimitSpec, setting: Setting) -> list[LimitRow]:
    """Load of the belt: parts, holders and line ends at places of the trunk tagged so."""
    return [
        LimitRow(
            spec.kind,
            "belt",
            "load on the belt",
            _form({BELT: 1.0}),
            spec.value,
            "g",
            1e3,
            spec.origin,
        )
    ]


def donning_steps(spec: LimitSpec, setting: Setting) -> list[LimitRow]:
    """Pieces of the garment that have to be put on."""
    return [
        LimitRow(
            spec.kind,
            "garment",
            "pieces to put on",
            _form({DONNING: 1.0}),
            spec.value,
            "pieces",
            1.0,
            spec.origin,
        )
    ]


def soft_rows(setting: Setting) -> tuple[SoftRow, ...]:
    """Limits whose overstepping costs comfort points."""
    study = setting.study
    return tuple(
        SoftRow(
            spec.kind,
            "belt",
            "load on the belt before it costs comfort",
            _form({BELT: 1.0}),
            spec.value,
            parameter(study, "belt_points_per_kg"),
            "g",
            1e3,
            spec.origin,
        )
        for spec in study.limits
        if spec.kind == "belt_soft"
    )


def pieces(study: Study) -> tuple[Piece, ...]:
    """The named pieces of the garment with their sites, in the garment's order."""
    named: dict[str, list[int]] = {}
    for s, site in enumerate(study.sites):
        if site.piece and site.key != OFF_BODY:
            named.setdefault(site.piece, []).append(s)
    return tuple(Piece(name, tuple(sites)) for name, sites in named.items())
