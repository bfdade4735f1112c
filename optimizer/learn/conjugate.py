"""Bayesian linear regression with conjugate priors, in closed form.

y = X b + e, e ~ N(0, s^2). Either the noise s is known and b ~ N(m0, S0), or it is not and
b | s^2 ~ N(m0, s^2 V0), s^2 ~ inverse gamma(a0, b0); then b has a Student-t posterior.

    Vn = (V0^-1 + X'X)^-1,  mn = Vn (V0^-1 m0 + X'y),
    an = a0 + n/2,  bn = b0 + (y'y + m0'V0^-1 m0 - mn'Vn^-1 mn) / 2

References: D. V. Lindley, A. F. M. Smith, J R Stat Soc B 34 (1972) 1-41; A. O'Hagan, Kendall's
Advanced Theory of Statistics 2B (1994), ch. 9.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Posterior:
    """Posterior of the coefficients.

    `mean` (p,), `scale` (p, p): the covariance is scale x noise^2. `shape`, `rate` of the inverse
    gamma posterior of the noise variance; infinite shape where the noise is known.
    """

    mean: Array
    scale: Array
    shape: float
    rate: float
    noise_known: float | None

    @property
    def noise(self) -> float:
        """Standard deviation of one trial: known, or the root of the variance's posterior mean."""
        if self.noise_known is not None:
            return self.noise_known
        return float(np.sqrt(self.rate / (self.shape - 1.0)))

    @property
    def covariance(self) -> Array:
        """Covariance of the coefficients (of the Student-t, where the noise is not known)."""
        return np.asarray(self.scale * self.noise**2)

    @property
    def sd(self) -> Array:
        """Standard deviations of the coefficients."""
        return np.sqrt(np.diag(self.covariance))

    def interval(self, level: float = 0.95) -> Array:
        """Central intervals of the coefficients, (p, 2)."""
        if self.noise_known is not None:
            from scipy.stats import norm

            half = float(norm.ppf(0.5 + level / 2.0)) * self.sd
        else:
            from scipy.stats import t

            width = np.sqrt(np.diag(self.scale) * self.rate / self.shape)
            half = float(t.ppf(0.5 + level / 2.0, 2.0 * self.shape)) * width
        return np.column_stack([self.mean - half, self.mean + half])


def regress(
    x: ArrayLike,
    y: ArrayLike,
    prior_mean: ArrayLike,
    prior_scale: ArrayLike,
    *,
    noise: float | None = None,
    shape: float = 0.0,
    rate: float = 0.0,
) -> Posterior:
    """The posterior.

    Parameters
    ----------
    x : (n, p); y : (n,)
    prior_mean : (p,)
    prior_scale : (p, p), the prior covariance as a multiple of the noise variance
    noise : known standard deviation of a trial; None takes it as unknown with the inverse gamma
        prior of `shape` and `rate`

    Raises
    ------
    ValueError
        If shapes do not match, the prior is not positive definite, or neither noise is given.
    """
    X, Y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    m0, v0 = np.asarray(prior_mean, dtype=float), np.asarray(prior_scale, dtype=float)
    if X.shape != (len(Y), len(m0)) or v0.shape != (len(m0), len(m0)):
        raise ValueError("shapes of trials and prior do not match")
    if noise is None and not (shape > 0.0 and rate > 0.0):
        raise ValueError("unknown noise needs a prior of positive shape and rate")
    try:
        np.linalg.cholesky(v0)
    except np.linalg.LinAlgError as error:
        raise ValueError("the prior is not positive definite") from error
    p0 = np.linalg.inv(v0)
    precision = p0 + X.T @ X
    scale = np.linalg.inv(precision)
    scale = 0.5 * (scale + scale.T)
    mean = scale @ (p0 @ m0 + X.T @ Y)
    if noise is not None:
        return Posterior(mean, scale, np.inf, np.inf, float(noise))
    # the same as the formula above, written as sums of squares so that nothing cancels
    left = Y - X @ mean
    moved = mean - m0
    spread = float(left @ left + moved @ p0 @ moved)
    return Posterior(mean, scale, shape + 0.5 * len(Y), rate + 0.5 * spread, None)


def left_out(x: ArrayLike, y: ArrayLike, posterior: Posterior) -> Array:
    """Error of predicting each trial from all the others, (n,), exact without refitting.

    (y_i - x_i mn) / (1 - x_i Vn x_i'): Sherman and Morrison (1950), the prior held.
    """
    X, Y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    leverage = np.einsum("ij,jk,ik->i", X, posterior.scale, X)
    return np.asarray((Y - X @ posterior.mean) / (1.0 - leverage))


def surprise(x: ArrayLike, y: ArrayLike, prior_mean: ArrayLike, prior_scale: ArrayLike,
             noise: float, part: slice) -> float:  # fmt: skip
    """How surprised the prior of some coefficients is by the data: a p-value, small is surprised.

    The data's own estimate of these coefficients (the others free) less the prior mean is, if the
    prior is right, normal with the sum of both covariances; its squared length is chi-squared
    (prior predictive check; Box, J R Stat Soc A 143 (1980) 383). Directions the data say nothing
    of are left out.
    """
    from scipy.stats import chi2

    X, Y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    m0, v0 = np.asarray(prior_mean, dtype=float), np.asarray(prior_scale, dtype=float)
    others = np.ones(X.shape[1], dtype=bool)
    others[part] = False
    # take out what the other columns explain
    base = X[:, others]
    project = np.eye(len(Y)) - base @ np.linalg.pinv(base) if base.size else np.eye(len(Y))
    own, rest = project @ X[:, part], project @ Y
    u, s, vt = np.linalg.svd(own, full_matrices=False)
    told = s > 1e-8 * max(float(s.max(initial=0.0)), 1e-300)
    if not told.any():
        return 1.0
    # along each told direction: estimate, its variance, and the prior's there
    z = (u.T @ rest)[told] / s[told]
    directions = vt[told]
    gap = z - directions @ m0[part]
    cover = directions @ v0[part, part] @ directions.T + np.diag(1.0 / s[told] ** 2)
    length = float(gap @ np.linalg.solve(cover, gap)) / noise**2
    return float(chi2.sf(length, int(told.sum())))
