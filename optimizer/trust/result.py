"""What is known of how far a ranking may be trusted: plain records that the views print."""

from __future__ import annotations

from dataclasses import dataclass

from optimizer.assess.result import Assessment
from optimizer.joint.world import Plan
from optimizer.trust.spread import Spread
from optimizer.trust.statistics import Decider

#: Layouts whose scores differ by less than this share are as good as equal: far below what the
#: coefficients resolve.
NEAR = 0.01


@dataclass(frozen=True)
class Trusted:
    """One layout over all draws. Regret is score points above the draw's best.

    `win_share` with its Monte Carlo standard error `win_se`; `mean_regret` and `worst_regret`
    are over the draws it fits in, against the best of the layouts compared; `exact_worst` is
    over the draws solved exactly, against the best of all layouts. `rank` is that by the study's
    own figures, None if it was not among the first of that list. `fits` is the share of bodies
    that it fits.
    """

    name: str
    plan: Plan
    assessment: Assessment | None
    rank: int | None
    win_share: float
    win_se: float
    mean_regret: float
    worst_regret: float
    exact_worst: float
    fits: float
    near_share: float = 0.0
    """Share of draws in which it is within `NEAR` of the best layout's score."""


@dataclass(frozen=True)
class Duel:
    """The layout that wins most, the next that is not as good as equal to it, and what decides.

    `a` beats `b` in `a_wins` of the draws that both fit; `gap` is the mean and `gap_sd` the
    standard deviation of score a less score b.
    """

    a: str
    b: str
    a_wins: float
    gap: float
    gap_sd: float
    deciders: tuple[Decider, ...]


@dataclass(frozen=True)
class Stability:
    """How the study's own order of the layouts holds.

    `tau` is the mean of Kendall's tau between that order and each draw's, `tau_low` its 5 %
    quantile; `first`, `top3`: share of draws in which the study's best stays best, among the
    three best.
    """

    tau: float
    tau_low: float
    first: float
    top3: float


@dataclass(frozen=True)
class Missing:
    """Whether a likely winner may be missing from the layouts compared.

    The layouts found in one half of the draws solved exactly met the other half: `misses` of
    `tested` had another winner. So with 95 % confidence such layouts win at most `at_most` of
    the draws; and those seen were then added.
    """

    tested: int
    misses: int
    at_most: float


@dataclass(frozen=True)
class LeastWorst:
    """The layout of least worst regret over the draws solved exactly.

    `name` is its name in the list; `plan` None where no layout fits every body, with `status`
    saying why. `nominal_regret` is the worst regret of the study's own best layout there.
    """

    name: str | None
    plan: Plan | None
    assessment: Assessment | None
    regret: float
    bound: float
    proven: bool
    status: str
    over: int
    nominal_regret: float


@dataclass(frozen=True)
class Trust:
    """The answer of `trust`.

    `layouts` by share of wins; `draws` evaluated of which `void` fit no layout, `solved` of them
    exactly out of `asked`; `left_out` layouts found but not compared. `complete` is False where
    Ctrl-C ended the search.
    """

    study_name: str
    layouts: tuple[Trusted, ...]
    draws: int
    void: int
    asked: int
    solved: int
    unsolvable: int
    left_out: int
    duel: Duel | None
    stability: Stability | None
    missing: Missing
    least_worst: LeastWorst | None
    spread: Spread
    bodies: tuple[tuple[float, float, float], ...]
    """Stature [m], mass [kg] and speed [m/s] of every body the draws were dealt to."""
    complete: bool
    seconds: float
    warnings: tuple[str, ...]
