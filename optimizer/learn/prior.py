"""What is believed before the trials: the published slopes with their published spread."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.energy.conditions import LEGS
from optimizer.energy.tables import coefficients
from optimizer.trust.spread import CORRELATION, published

Array = NDArray[np.float64]

#: Standard deviation of one trial taken before any is known, W/kg: that of measured about the
#: best published walking equation between people on the level (looney2019, SEE 0.20, READ).
TRIAL_NOISE_W_PER_KG = 0.20
#: Weight of that guess, as a number of trials it counts for. A judgement.
NOISE_TRIALS = 2.0
#: Standard deviation of a subject's unloaded power about the trials' own mean, W/kg: so wide that
#: it tells nothing. A judgement.
WIDE_W_PER_KG = 3.0


@dataclass(frozen=True)
class Prior:
    """Slopes in W per kg of wearer per kg of load: thigh, shank, foot, waist.

    `mean` (4,) are the published slopes; `covariance` (4, 4) is that of the lognormals of their
    spread (factor 2 either way, correlated within the study).
    """

    mean: Array
    covariance: Array
    noise_w_per_kg: float = TRIAL_NOISE_W_PER_KG
    noise_trials: float = NOISE_TRIALS


def published_prior() -> Prior:
    """Published slopes (browning2007) and their spread as a normal.

    Two lognormals of medians m1, m2 and correlation rho between their logarithms have covariance
    m1' m2' (exp(rho s1 s2) - 1) with m' = m exp(s^2 / 2). The normal is centred on the published
    values (the medians), so that where nothing is learned they stay.
    """
    slopes = coefficients("segment_table")
    median = np.array([*(slopes[s] for s in LEGS), coefficients("browning_waist")["slope"]])
    by_name = {u.name: u.sd for u in published()}
    sd = np.array([*(by_name[s] for s in LEGS), by_name["waist"]])
    rho = np.full((4, 4), CORRELATION) + (1.0 - CORRELATION) * np.eye(4)
    mean = median * np.exp(0.5 * sd**2)
    return Prior(median, np.outer(mean, mean) * (np.exp(rho * np.outer(sd, sd)) - 1.0))
