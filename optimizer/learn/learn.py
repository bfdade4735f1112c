"""From trials to slopes: a Bayesian linear regression with the literature as prior.

Power per kg of wearer = what this subject's walking costs at this speed + sum of slope x added kg
+ noise. The unloaded powers (one per subject and speed) are free. Slopes are common to all
subjects and speeds, per kg of wearer, as the published ones.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from optimizer.energy.own import SLOPES
from optimizer.errors import Flaw, InputError, Origin
from optimizer.learn.conjugate import Posterior, left_out, regress, surprise
from optimizer.learn.prior import WIDE_W_PER_KG, Prior, published_prior
from optimizer.learn.trials import Trial

Array = NDArray[np.float64]

#: A slope counts as learned where its standard deviation fell below this share of the prior's.
LEARNED = 0.9
#: The prior is contradicted where data as far off would be rarer than this.
SURPRISED = 0.01
#: Noise beyond this many times the prior guess: the trials contradict one another.
NOISY = 3.0
#: W/kg: many times what walking itself costs; no trial scatters so.
MOST_NOISE = 100.0
#: Speeds closer than this are one [m/s].
SAME_SPEED = 0.02


@dataclass(frozen=True)
class Learned:
    """What the trials say.

    Slopes are in the order of `SLOPES`, in W per kg of wearer per kg of load: `prior_mean`,
    `prior_sd`, `mean` (4,), `covariance` (4, 4), `interval` (4, 2) of 95 %; `learned` tells which
    the trials said something of. `noise` is the standard deviation of a trial; `fit_rms` that of
    the residuals; `left_out_rms` of predicting each trial from the others, and
    `left_out_prior_rms` of doing so with the published slopes as they stand; all W per kg of
    wearer. `surprise` is the p-value of the published slopes against these trials.
    """

    trials: tuple[Trial, ...]
    baselines: tuple[tuple[str, float], ...]
    baseline_w_per_kg: Array
    prior_mean: Array
    prior_sd: Array
    mean: Array
    covariance: Array
    interval: Array
    learned: tuple[bool, ...]
    noise: float
    fit_rms: float
    left_out_rms: float
    left_out_prior_rms: float
    surprise: float
    residuals: Array
    warnings: tuple[str, ...]
    posterior: Posterior = field(repr=False)

    @property
    def subjects(self) -> tuple[str, ...]:
        """Subjects in the order they come."""
        return tuple(dict.fromkeys(trial.subject for trial in self.trials))


def learn(
    trials: Sequence[Trial],
    prior: Prior | None = None,
    *,
    noise_w_per_kg: float | None = None,
) -> Learned:
    """Update the published slopes with trials.

    Parameters
    ----------
    prior : None for the published slopes with their spread
    noise_w_per_kg : the known standard deviation of a trial; None learns it too

    Raises
    ------
    InputError
        If there is too little to learn from, what is learned cannot be (a slope below zero), or
        the noise is not one that a trial could have.
    """
    if noise_w_per_kg is not None and not 0.0 < noise_w_per_kg <= MOST_NOISE:
        expected = f"a number greater than 0 and at most {MOST_NOISE:g}, in W/kg"
        raise InputError([Flaw(Origin("--noise"), f"{noise_w_per_kg:g}", expected)])
    prior = published_prior() if prior is None else prior
    _enough(trials)
    x, y, baselines = design(trials)
    guess = noise_guess(x, y, prior) if noise_w_per_kg is None else noise_w_per_kg
    posterior = _regress(x, y, prior, noise_w_per_kg, guess, len(baselines))
    slopes = slice(len(baselines), None)
    prior_sd = np.sqrt(np.diag(prior.covariance))
    sd = posterior.sd[slopes]
    told = np.sqrt(np.diag(posterior.scale)[slopes]) * guess < LEARNED * prior_sd
    told &= np.array([trial.added_kg for trial in trials]).max(axis=0) > 0.0
    if not told.any():
        found = "trials that say nothing of any slope"
        expected = "trials of one subject at one speed with different masses added"
        if noise_w_per_kg is not None:
            found += f", with a noise of {noise_w_per_kg:g} W/kg"
        elif guess > NOISY * prior.noise_w_per_kg:
            found = f"trials that contradict one another: they scatter by {guess:.2g} W/kg"
            expected = f"a scatter near the usual {prior.noise_w_per_kg:g} W/kg, or more trials"
        raise InputError([Flaw(_table(trials), found, expected)])
    mean = posterior.mean[slopes]
    _possible(trials, mean)
    away = left_out(x, y, posterior)
    residuals = y - x @ posterior.mean
    scale = _prior_scale(prior, guess, len(baselines))
    noise = posterior.noise
    p_value = surprise(x, y, _prior_mean(y, prior, len(baselines)), scale, guess, slopes)
    learned = Learned(
        tuple(trials),
        baselines,
        posterior.mean[: len(baselines)],
        prior.mean,
        prior_sd,
        mean,
        posterior.covariance[slopes, slopes],
        posterior.interval()[slopes],
        tuple(bool(t) for t in told),
        noise,
        float(np.sqrt(np.mean(residuals**2))),
        float(np.sqrt(np.mean(away**2))),
        _prior_error(x, y, prior, guess, len(baselines)),
        p_value,
        residuals,
        (),
        posterior,
    )
    object.__setattr__(learned, "warnings", tuple(_warnings(learned, prior, sd, away)))
    return learned


def design(trials: Sequence[Trial]) -> tuple[Array, Array, tuple[tuple[str, float], ...]]:
    """The regression's matrix and right side: baselines first, then the four slopes.

    A baseline belongs to a subject at a speed; speeds within `SAME_SPEED` are one.
    """
    baselines: list[tuple[str, float]] = []
    rows = []
    for trial in trials:
        same = [
            i
            for i, (subject, speed) in enumerate(baselines)
            if subject == trial.subject and abs(speed - trial.speed_m_s) <= SAME_SPEED
        ]
        if not same:
            baselines.append((trial.subject, trial.speed_m_s))
            same = [len(baselines) - 1]
        rows.append(same[0])
    x = np.zeros((len(trials), len(baselines) + len(SLOPES)))
    x[np.arange(len(trials)), rows] = 1.0
    x[:, len(baselines) :] = [trial.added_kg for trial in trials]
    y = np.array([trial.metabolic_w / trial.body_mass_kg for trial in trials])
    return x, y, tuple(baselines)


def _prior_mean(y: Array, prior: Prior, n: int) -> Array:
    return np.concatenate([np.full(n, float(np.mean(y))), prior.mean])


def _prior_scale(prior: Prior, noise: float, n: int) -> Array:
    size = n + len(SLOPES)
    covariance = np.zeros((size, size))
    covariance[:n, :n] = WIDE_W_PER_KG**2 * np.eye(n)
    covariance[n:, n:] = prior.covariance
    return covariance / noise**2


def noise_guess(x: Array, y: Array, prior: Prior) -> float:
    """The noise by which the prior of the slopes is put in units of the noise, W/kg.

    A conjugate prior is stated in those units; with a guess far off the trials' own scatter the
    slopes' prior would be tighter or wider than published. So the guess is the prior's, pooled
    with the residuals of a plain least-squares fit by degrees of freedom (empirical Bayes).
    """
    fitted, _, rank, _ = np.linalg.lstsq(x, y, rcond=None)
    left = y - x @ fitted
    free = len(y) - int(rank)
    pooled = prior.noise_trials * prior.noise_w_per_kg**2 + float(left @ left)
    return float(np.sqrt(pooled / (prior.noise_trials + free)))


def _regress(
    x: Array, y: Array, prior: Prior, noise: float | None, guess: float, n: int
) -> Posterior:
    shape = 1.0 + 0.5 * prior.noise_trials
    return regress(
        x,
        y,
        _prior_mean(y, prior, n),
        _prior_scale(prior, guess, n),
        noise=noise,
        shape=shape,
        rate=(shape - 1.0) * prior.noise_w_per_kg**2,
    )


def _prior_error(x: Array, y: Array, prior: Prior, noise: float, n: int) -> float:
    """Left-out error with the published slopes held, only the baselines free."""
    held = y - x[:, n:] @ prior.mean
    fitted = regress(
        x[:, :n],
        held,
        np.full(n, float(np.mean(held))),
        (WIDE_W_PER_KG / noise) ** 2 * np.eye(n),
        noise=noise,
    )
    return float(np.sqrt(np.mean(left_out(x[:, :n], held, fitted) ** 2)))


def _table(trials: Sequence[Trial]) -> Origin:
    return Origin(trials[0].origin.file) if trials else Origin("trials")


def _enough(trials: Sequence[Trial]) -> None:
    if not trials:
        raise InputError([Flaw(Origin("trials"), "no trials", "one row for each trial")])
    _, _, baselines = design(trials)
    if len(trials) < len(baselines) + 2:
        found = (
            f"{len(trials)} trials of {len(baselines)} pairs of subject and speed"
            if len(baselines) > 1
            else f"{len(trials)} trials"
        )
        expected = "at least two trials more than pairs of subject and speed"
        raise InputError([Flaw(_table(trials), found, expected)])


def _possible(trials: Sequence[Trial], mean: Array) -> None:
    flaws = [
        Flaw(
            _table(trials),
            f"trials by which mass on the {name} makes walking cheaper ({slope:.3g} W/kg per kg)",
            "trials that agree with some cost above 0; look for mixed-up rows or units",
        )
        for name, slope in zip(SLOPES, mean, strict=True)
        if slope <= 0.0
    ]
    if flaws:
        raise InputError(flaws)


def _warnings(found: Learned, prior: Prior, sd: Array, away: Array) -> list[str]:
    said = []
    for name, told in zip(SLOPES, found.learned, strict=True):
        if not told:
            said.append(
                f"nothing was learned of the {name} itself: its slope is the published one, moved "
                "only along with the others of the same study"
            )
    if len(found.subjects) < 3:
        n = len(found.subjects)
        who = "one subject" if n == 1 else f"{n} subjects"
        said.append(f"{who} only: the slopes are theirs, not a population's")
    if found.surprise < SURPRISED:
        said.append(
            "the trials contradict the published slopes (as far off by chance in "
            f"{100 * found.surprise:.2g} % of cases): check units, whether masses are totals of "
            "both legs, and where the mass was worn"
        )
    if found.noise > NOISY * prior.noise_w_per_kg:
        said.append(
            f"trials scatter by {found.noise:.2g} W/kg, more than {NOISY:g} times what is usual "
            f"({prior.noise_w_per_kg:g}): they contradict one another"
        )
    worst = int(np.argmax(np.abs(away)))
    spread = float(np.sqrt(np.mean(np.delete(away, worst) ** 2))) if len(away) > 1 else 0.0
    if spread > 0.0 and abs(away[worst]) > 4.0 * spread:
        row = found.trials[worst].origin.row
        at = f" (row {row})" if row is not None else ""
        said.append(
            f"one trial{at} lies {abs(away[worst]) / spread:.1f} times as far off as the rest"
        )
    for name, low in zip(SLOPES, found.interval[:, 0], strict=True):
        if low <= 0.0:
            said.append(f"the slope of the {name} is not told from 0 (95 % interval)")
    foot, others = found.mean[SLOPES.index("foot")], np.delete(found.mean, SLOPES.index("foot"))
    if foot < others.max():
        said.append("the foot comes out cheaper than another place: published studies agree that "
                    "it is the dearest")  # fmt: skip
    return said
