"""Why the best layout is as it is: what each part's other places and each limit are worth."""

from __future__ import annotations

from dataclasses import dataclass

from optimizer.assess.result import Assessment, Obstacle, Proof
from optimizer.errors import Origin


@dataclass(frozen=True, slots=True)
class Alternative:
    """The best layout under a further demand, as assessed, and what it costs above the best.

    `metabolic_w`, `metabolic_pct` and `swing_inertia_pct` are differences too (inertia: about
    the hip, both legs summed, as % of one bare leg). `bound` is the proven least difference in
    score: equal to `score` unless the search was cut short.
    """

    assessment: Assessment
    score: float
    metabolic_w: float
    metabolic_pct: float
    swing_inertia_pct: float
    bound: float

    @property
    def proven(self) -> bool:
        """Whether no layout meets the demand for less."""
        return self.bound >= self.score - 1e-6


@dataclass(frozen=True, slots=True)
class OtherSites:
    """Sites a part may be written for and is not at.

    `gain` is what the part by itself, without lines and holder, would save there (score points;
    the most over the sites; negative where it would cost more). Then one of: `barred` tells the
    limits that rule the sites out or clash with what the part needs elsewhere; `alternative` is
    the best layout with the part at one of them; neither if that was not settled in time.
    """

    sites: tuple[str, ...]
    gain: float
    barred: tuple[Obstacle, ...] = ()
    alternative: Alternative | None = None


@dataclass(frozen=True, slots=True)
class PartWhy:
    """Why a part (or its copies at one site) sits where it sits.

    `allowed` counts the sites it is written for. `score` is what it costs there by itself.
    `next_best` is the best layout with it at another site, None where `only` tells why there is
    none (nothing tells: its only site, or not settled in time, see `settled`). `others` are the
    sites that would be better by themselves; all other sites where the part was asked for by name.
    """

    units: tuple[str, ...]
    part: str
    model: str
    site: str
    allowed: int
    score: float
    next_best: Alternative | None
    only: tuple[Obstacle, ...]
    others: tuple[OtherSites, ...]
    settled: bool


@dataclass(frozen=True, slots=True)
class LimitWorth:
    """What loosening one limit is worth: the best layout then, its differences negative.

    `value` and `loosened` are in `unit`, the designer's; None where the limit has no amount and
    was dropped.
    """

    kind: str
    subject: str
    text: str
    origin: Origin
    value: float | None
    loosened: float | None
    unit: str
    alternative: Alternative


@dataclass(frozen=True, slots=True)
class WhyReport:
    """The answer of `why`.

    `limits` are those whose loosening by `share` is worth something, most first; `worthless`
    counts those proven to be worth nothing, `unsettled` those not settled in time. `part` is the
    one asked for by name, None for all. `complete` is False if the work was cut short.
    """

    study_name: str
    part: str | None
    best: Assessment
    proof: Proof
    parts: tuple[PartWhy, ...]
    limits: tuple[LimitWorth, ...]
    share: float
    worthless: int
    unsettled: int
    seconds: float
    complete: bool
    warnings: tuple[str, ...] = ()
