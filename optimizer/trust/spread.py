"""What is uncertain and how much: distributions of coefficients, mixture of models, tolerances.

The published spread stands in `optimizer/data/energy_spread.csv`, the weights of the mixture in
`optimizer/data/energy_mix.csv`, each with its source. A factor f of the 95 % range means a
lognormal of median 1 whose middle 95 % is 1/f to f. Coefficients of one group come from one study
and are correlated: `CORRELATION` between their logarithms.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from math import isfinite, log

from optimizer.energy.registry import LEG_MODELS, TRUNK_MODELS
from optimizer.energy.tables import read_rows
from optimizer.errors import Flaw, InputError, Origin
from optimizer.study.model import EnergySpec
from optimizer.study.words import nearest

#: Between the logarithms of coefficients measured in one study. A judgement, no source: the same
#: few people, treadmill and gas analysis push all of a study's slopes the same way, but each
#: slope has its own fit.
CORRELATION = 0.5
#: Half-width of the middle 95 % of a standard normal.
Z95 = 1.959963984540054
#: Parts weigh within this share of what is written, evenly spread. A judgement, no source.
PART_TOLERANCE = 0.05


@dataclass(frozen=True, slots=True)
class Uncertain:
    """One uncertain coefficient: a factor (lognormal) or an offset (normal) with its `sd`.

    `sd` is that of the factor's logarithm, or of the offset in its unit. Those of one `group`
    are correlated; "" stands alone.
    """

    name: str
    title: str
    family: str
    models: tuple[str, ...]
    lognormal: bool
    sd: float
    group: str
    source: str
    provenance: str


@dataclass(frozen=True)
class Ranges:
    """Wearers and speeds to stand for: each evenly between two values; None as the study says.

    `worlds` bodies and speeds are drawn, spread evenly (a Latin hypercube), and every one is
    worked out in full; draws are dealt out to them in turn.
    """

    stature_m: tuple[float, float] | None = None
    mass_kg: tuple[float, float] | None = None
    speed_m_s: tuple[float, float] | None = None
    worlds: int = 8

    @property
    def any(self) -> bool:
        """Whether anything but the study's own wearer and speed is asked for."""
        return any(r is not None for r in (self.stature_m, self.mass_kg, self.speed_m_s))


@dataclass(frozen=True)
class Spread:
    """Everything drawn from: coefficients, mixtures of models, tolerances, ranges."""

    uncertain: tuple[Uncertain, ...]
    leg_weights: tuple[tuple[str, float], ...]
    trunk_weights: tuple[tuple[str, float], ...]
    correlation: float = CORRELATION
    part_tolerance: float = PART_TOLERANCE
    ranges: Ranges = Ranges()
    walking: bool = True
    """Whether the wearer's net walking power is uncertain, by the walking model's own spread."""

    def __post_init__(self) -> None:
        flaws = []
        here = Origin("spread")
        if not 0.0 <= self.correlation < 1.0:
            flaws.append(Flaw(here, f"a correlation of {self.correlation:g}", "0 to below 1"))
        if not 0.0 <= self.part_tolerance < 1.0:
            flaws.append(Flaw(here, f"a tolerance of {self.part_tolerance:g}", "0 to below 1"))
        for family, weights in (("leg", self.leg_weights), ("trunk", self.trunk_weights)):
            bad = [w for _, w in weights if not (isfinite(w) and w >= 0.0)]
            if bad or not sum(w for _, w in weights) > 0.0:
                flaws.append(Flaw(here, f"weights of {family} models", "at least one above 0"))
        for name, pair in (
            ("stature", self.ranges.stature_m),
            ("mass", self.ranges.mass_kg),
            ("speed", self.ranges.speed_m_s),
        ):
            if pair is not None and not 0.0 < pair[0] <= pair[1] < float("inf"):
                flaws.append(
                    Flaw(here, f"a range of {name} from {pair[0]:g} to {pair[1]:g}", "low to high")
                )
        if self.ranges.worlds < 1:
            flaws.append(Flaw(here, f"{self.ranges.worlds} worlds", "at least 1"))
        if flaws:
            raise InputError(flaws)


@cache
def published() -> tuple[Uncertain, ...]:
    """The uncertain coefficients of the published models."""
    found = []
    for row in read_rows("energy_spread.csv"):
        lognormal = row["distribution"] == "lognormal"
        spread = float(row["spread"])
        found.append(
            Uncertain(
                name=row["number"],
                title=row["title"],
                family=row["family"],
                models=tuple(row["models"].split(";")),
                lognormal=lognormal,
                sd=log(spread) / Z95 if lognormal else spread,
                group=row["group"],
                source=row["source"],
                provenance=row["provenance"],
            )
        )
    return tuple(found)


@cache
def published_mix(family: str) -> tuple[tuple[str, float], ...]:
    """Weights of a family's published models, "leg" or "trunk", those of weight 0 left out."""
    rows = [row for row in read_rows("energy_mix.csv") if row["family"] == family]
    return tuple((row["model"], float(row["weight"])) for row in rows if float(row["weight"]) > 0.0)


def make_spread(
    spec: EnergySpec,
    *,
    leg: Mapping[str, float] | None = None,
    trunk: Mapping[str, float] | None = None,
    mixed: bool = True,
    part_tolerance: float = PART_TOLERANCE,
    correlation: float = CORRELATION,
    ranges: Ranges = Ranges(),
) -> Spread:
    """The spread of a study: published, mixed over the published models unless said otherwise.

    Parameters
    ----------
    spec : the study's energy models; a model of a laboratory's own (a file) stands alone, with
        the uncertainty its file states
    leg, trunk : model -> weight, in place of the published mixture
    mixed : False keeps to the study's own models

    Raises
    ------
    InputError
        For unknown models or impossible figures.
    """
    chosen = {}
    flaws = []
    for family, own, given, known in (
        ("leg", spec.leg, leg, LEG_MODELS),
        ("trunk", spec.trunk, trunk, TRUNK_MODELS),
    ):
        if given is not None:
            weights = tuple(given.items())
            for name, _ in weights:
                if name not in known and name != own:
                    near = nearest(name, known)
                    expected = "one of " + ", ".join(known)
                    flaws.append(Flaw(Origin(f"weights of {family} models"), name, expected, near))
        elif mixed and own in known:
            weights = published_mix(family)
        else:
            weights = ((own, 1.0),)
        chosen[family] = weights
    if flaws:
        raise InputError(flaws)
    return Spread(
        published(),
        chosen["leg"],
        chosen["trunk"],
        correlation=correlation,
        part_tolerance=part_tolerance,
        ranges=ranges,
    )


def without_spread(spread: Spread) -> Spread:
    """The same mixture with every coefficient certain and every part as written."""
    return replace(
        spread,
        uncertain=tuple(replace(u, sd=0.0) for u in spread.uncertain),
        part_tolerance=0.0,
        walking=False,
    )
