"""Energy models from a file: what a laboratory's own trials say mass costs.

A study names one as `leg = "file:mylab.toml"`, and likewise `trunk`; the path is relative to the
study's folder (where no such file is there, to the current folder). The file, as `limbtrim learn`
writes it or a person does:

    format = 1
    kind = "energy_model"
    title = "Treadmill trials of 2024"

    [slopes]                # W per kg of wearer per kg of added mass, both legs counted together
    thigh = 0.071
    shank = 0.082
    foot = 0.190
    waist = 0.047

    [leg]
    form = "segment_curve"  # a curve through the slopes, or "segment_table": flat in a segment

    [spread]                # standard deviations in the order thigh, shank, foot, waist
    sd = [0.010, 0.012, 0.021, 0.008]
    correlation = [[1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]]

    [valid]                 # as far as known; outside there is a warning
    speed_m_s = [1.0, 1.4]
    thigh_kg = 4.0          # per leg
    shank_kg = 2.0
    foot_kg = 2.0
    trunk_kg = 10.0
    population = "6 adults"

`leg`, `spread` and `valid` may be left out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import inf, isfinite
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optimizer.energy.card import ModelCard, Spread, Validity
from optimizer.energy.conditions import LEGS
from optimizer.energy.leg import LegModel, SegmentCurve, SegmentSlopes
from optimizer.energy.tables import coefficients
from optimizer.energy.trunk import TrunkModel, TrunkSlope
from optimizer.errors import Flaw, InputError, Origin

PREFIX = "file:"
#: The slopes of a file, in the order of its spread.
SLOPES: tuple[str, ...] = (*LEGS, "waist")
FORMS = ("segment_curve", "segment_table")
_KEYS: Mapping[str, tuple[str, ...]] = {
    "": ("format", "kind", "title", "source", "slopes", "leg", "spread", "valid"),
    "slopes": SLOPES,
    "leg": ("form",),
    "spread": ("sd", "correlation"),
    "valid": ("speed_m_s", *(f"{s}_kg" for s in LEGS), "trunk_kg", "population"),
}
_LARGEST_SLOPE = 10.0  # W/kg per kg; forty times the published foot: a slip of the unit


@dataclass(frozen=True)
class OwnModel:
    """A file's models. `mean` (4,) and `covariance` (4, 4) are in the order of `SLOPES`."""

    leg: LegModel
    trunk: TrunkModel
    mean: NDArray[np.float64]
    covariance: NDArray[np.float64]


def is_own(name: str) -> bool:
    """Whether a model's name points to a file."""
    return name.startswith(PREFIX)


def find(name: str, study_file: str) -> Path:
    """The path a name points to, seen from the study."""
    written = Path(name.removeprefix(PREFIX).strip()).expanduser()
    beside = Path(study_file).parent / written
    return written if not beside.is_file() and written.is_file() else beside


def own_model(name: str, origin: Origin) -> OwnModel:
    """Read the models a study names.

    Raises
    ------
    InputError
        With every flaw of the file; `origin` is blamed if it cannot be opened.
    """
    from optimizer.study.files import display, read_text
    from optimizer.study.toml_file import parse_toml

    flaws: list[Flaw] = []
    path = find(name, origin.file)
    text = read_text(path, origin, "an energy model file (TOML)", flaws)
    written = None if text is None else parse_toml(text, display(path), flaws)
    if written is None:
        raise InputError(flaws)
    reader = _Reader(written.keys, written.locate, flaws)
    made = reader.read(name)
    if flaws or made is None:
        raise InputError(flaws)
    return made


class _Reader:
    """Checks the keys of one file, collecting flaws."""

    def __init__(self, keys: Mapping[str, Any], locate: Any, flaws: list[Flaw]):
        self.keys, self.locate, self.flaws = keys, locate, flaws

    def flaw(self, path: str, found: str, expected: str, near: str | None = None) -> None:
        self.flaws.append(Flaw(self.locate(path), found, expected, near))

    def read(self, name: str) -> OwnModel | None:
        from optimizer.study.words import quoted

        if self.keys.get("format") != 1 or self.keys.get("kind") != "energy_model":
            expected = 'format = 1 and kind = "energy_model"'
            self.flaw("format", "no energy model file of this version", expected)
            return None
        tables = {table: self.table(table) for table in _KEYS}
        slopes = tables["slopes"]
        values = []
        for key in SLOPES:
            value = slopes.get(key)
            if value is None or not _is_number(value) or not 0.0 < float(value) <= _LARGEST_SLOPE:
                found = "nothing" if value is None else quoted(value)
                expected = f"a number above 0 and at most {_LARGEST_SLOPE:g}, in W/kg per kg"
                self.flaw(f"slopes.{key}", found, expected)
            else:
                values.append(float(value))
        form = tables["leg"].get("form", FORMS[0])
        if form not in FORMS:
            self.flaw("leg.form", quoted(form), " or ".join(FORMS))
        covariance = self.covariance(tables["spread"])
        validity = self.validity(tables["valid"])
        if self.flaws or covariance is None:
            return None
        return _make(name, self.keys, form, np.array(values), covariance, validity)

    def table(self, name: str) -> Mapping[str, Any]:
        from optimizer.study.words import choice_of, nearest, quoted

        value = self.keys if name == "" else self.keys.get(name, {})
        if not isinstance(value, Mapping):
            self.flaw(name, quoted(value), f"a table [{name}]")
            return {}
        for key in value:
            if key not in _KEYS[name]:
                path = f"{name}.{key}" if name else key
                expected = f"one of {choice_of(_KEYS[name])}"
                self.flaw(
                    path, f"an unknown key {quoted(key)}", expected, nearest(key, _KEYS[name])
                )
        return value

    def covariance(self, spread: Mapping[str, Any]) -> NDArray[np.float64] | None:
        n = len(SLOPES)
        sd = _array(spread.get("sd", [0.0] * n), (n,))
        if sd is None or (sd < 0.0).any():
            self.flaw("spread.sd", "not that", f"{n} numbers not below 0: {', '.join(SLOPES)}")
            return None
        together = _array(spread.get("correlation", np.eye(n).tolist()), (n, n))
        if (
            together is None
            or not np.allclose(together, together.T, atol=1e-6)
            or not np.allclose(np.diag(together), 1.0, atol=1e-6)
            or np.linalg.eigvalsh(together).min() < -1e-6
        ):
            expected = f"{n} rows of {n} numbers: a correlation matrix"
            self.flaw("spread.correlation", "not that", expected)
            return None
        return np.asarray(together * np.outer(sd, sd))

    def validity(self, valid: Mapping[str, Any]) -> Validity:
        speed = _array(valid.get("speed_m_s", [0.0, 1e9]), (2,))
        if speed is None or not 0.0 <= speed[0] <= speed[1]:
            self.flaw("valid.speed_m_s", "not that", "two speeds in m/s, the lower first")
            speed = np.array([0.0, 1e9])
        loads = {}
        for key in (*(f"{s}_kg" for s in LEGS), "trunk_kg"):
            value = valid.get(key, inf)
            if not (_is_number(value) or value == inf) or not value >= 0.0:
                self.flaw(f"valid.{key}", "not that", "a number of kg not below 0")
                continue
            loads[key.removesuffix("_kg")] = float(value)
        trunk = loads.pop("trunk", inf)
        return Validity(
            speed_m_s=(float(speed[0]), inf if speed[1] >= 1e9 else float(speed[1])),
            leg_segment_kg={s: kg for s, kg in loads.items() if kg < inf},
            trunk_kg=trunk,
            conditions="own trials",
            population=str(valid.get("population", "")),
        )


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and isfinite(value)


def _array(value: object, shape: tuple[int, ...]) -> NDArray[np.float64] | None:
    try:
        array = np.array(value, dtype=float)
    except (TypeError, ValueError):
        return None
    return array if array.shape == shape and bool(np.isfinite(array).all()) else None


def _make(
    name: str,
    keys: Mapping[str, Any],
    form: str,
    mean: NDArray[np.float64],
    covariance: NDArray[np.float64],
    validity: Validity,
) -> OwnModel:
    by_name = dict(zip(SLOPES, mean.tolist(), strict=True))
    sd = np.sqrt(np.diag(covariance))
    told = ", ".join(
        f"{slope} +-{2 * one:.3g}" for slope, one in zip(SLOPES, sd.tolist(), strict=True)
    )
    what = ", ".join(f"{value:.3g} {slope}" for slope, value in by_name.items())
    card = ModelCard(
        family="leg",
        name=name,
        title=str(keys.get("title", "own trials")),
        equation=f"P/m = B s, {form.replace('_', ' ')}; s = {what} [W/kg_body per kg_load]",
        source=str(keys.get("source", f"the file {name.removeprefix(PREFIX)}")),
        provenance="own trials",
        validity=replace(validity, trunk_kg=inf),
        spread=Spread(f"{told} W/kg_body per kg_load (two standard deviations)"),
        scales_with_body_mass=True,
    )
    leg: LegModel
    if form == "segment_table":
        leg = SegmentSlopes(card, {s: by_name[s] for s in LEGS}, True)
    else:
        radii = coefficients("segment_curve")
        knots = ("waist", *LEGS)
        leg = SegmentCurve(
            card, tuple(radii[f"radius_{n}"] for n in knots), tuple(by_name[n] for n in knots)
        )
    trunk_card = replace(
        card,
        family="trunk",
        equation=f"P = {by_name['waist']:.3g} B L",
        validity=replace(validity, leg_segment_kg={}),
    )
    return OwnModel(leg, TrunkSlope(trunk_card, by_name["waist"], True), mean, covariance)
