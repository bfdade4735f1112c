"""What one garment does for many bodies: plain records that the views print."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from optimizer.assess.result import Layout
from optimizer.crowd.wearers import Person
from optimizer.joint.world import Plan


@dataclass(frozen=True, slots=True)
class ShortLine:
    """A line that cannot be bought long enough: what this body needs and the longest allowed."""

    line: str
    need_m: float
    longest_m: float


@dataclass(frozen=True)
class Served:
    """How one wearer fares.

    `own_score` is that of the best layout for this body alone, named `own_layout`; None where no
    layout fits it, and `own_proven` tells whether it is proven. `mean_score` and `worst_score`
    are those of the common layouts, None where they do not fit, and then `amiss` says why.
    `study_score` is that of the layout best for the study's own wearer.
    """

    person: Person
    own_layout: str | None
    own_score: float | None
    own_proven: bool
    mean_score: float | None
    worst_score: float | None
    study_score: float | None
    study_short: tuple[ShortLine, ...]
    study_amiss: tuple[str, ...]
    common_short: tuple[ShortLine, ...]
    amiss: tuple[str, ...]
    warnings: tuple[str, ...] = ()
    """What is to be said of this wearer, in the common layout of least mean where it fits."""

    @property
    def regret(self) -> float | None:
        """Score points the common layout of least mean costs this wearer above their own best."""
        if self.own_score is None or self.mean_score is None:
            return None
        return self.mean_score - self.own_score


@dataclass(frozen=True)
class Common:
    """One layout for all who can be served: least mean or least worst score.

    `value` is that mean or worst over `served` wearers, `bound` proven from below.
    """

    kind: str
    name: str
    plan: Plan
    layout: Layout
    value: float
    bound: float
    proven: bool
    served: int


@dataclass(frozen=True)
class CutLength:
    """How long to cut a line in a size: the longest any of its wearers needs; and the shortest."""

    line: str
    option: str
    size: str
    wearers: int
    cut_m: float
    shortest_m: float


@dataclass(frozen=True)
class Crowd:
    """The answer of `crowd`.

    `layouts` names every layout met: the own bests and the common ones. `everyone` tells whether
    the common layouts fit all wearers; if not, those served are a group that one layout was found
    to fit, the largest among the layouts tried, not proven to be the largest there is. `warnings`
    sum up those of all wearers.
    """

    study_name: str
    wearers: tuple[Served, ...]
    layouts: Mapping[str, Layout]
    mean: Common | None
    worst: Common | None
    everyone: bool
    cuts: tuple[CutLength, ...]
    complete: bool
    seconds: float
    warnings: tuple[str, ...]
