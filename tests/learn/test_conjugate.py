"""The closed-form posterior against independent roads to it."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from optimizer.learn.conjugate import left_out, regress, surprise

Array = NDArray[np.float64]


def problem(seed: int, n: int = 12, p: int = 3) -> tuple[Array, Array, Array, Array]:
    rng = np.random.default_rng(seed)
    x = rng.normal(size=(n, p))
    y = x @ rng.normal(size=p) + 0.3 * rng.normal(size=n)
    root = rng.normal(size=(p, p))
    return x, y, rng.normal(size=p), root @ root.T + np.eye(p)


@pytest.mark.parametrize("seed", range(5))
def test_known_noise_equals_conditioning_the_joint_normal(seed: int) -> None:
    x, y, m0, v0 = problem(seed)
    s = 0.4
    found = regress(x, y, m0, v0, noise=s)
    # (b, y) is jointly normal; condition on y (a formula that never inverts the prior)
    prior = s**2 * v0
    gain = prior @ x.T @ np.linalg.inv(x @ prior @ x.T + s**2 * np.eye(len(y)))
    assert np.allclose(found.mean, m0 + gain @ (y - x @ m0))
    assert np.allclose(found.covariance, prior - gain @ x @ prior)


def test_unknown_noise_equals_integrating_over_it() -> None:
    x, y, m0, v0 = problem(1, n=6, p=1)
    shape, rate = 2.0, 0.3
    found = regress(x, y, m0, v0, shape=shape, rate=rate)

    # a plain grid over the coefficient and the logarithm of the variance
    b = np.linspace(found.mean[0] - 14 * found.sd[0], found.mean[0] + 14 * found.sd[0], 1501)
    log_v = np.linspace(np.log(1e-3), np.log(50.0), 1201)
    v = np.exp(log_v)[:, None]
    density = stats.invgamma.pdf(v, shape, scale=rate) * v
    density = density * stats.norm.pdf(b, m0[0], np.sqrt(v * v0[0, 0]))
    for one, value in zip(x[:, 0], y, strict=True):
        density = density * stats.norm.pdf(value, one * b, np.sqrt(v))
    weight = density.sum(axis=0) / density.sum()
    mean = float(weight @ b)
    assert found.mean[0] == pytest.approx(mean, rel=1e-5)
    assert found.covariance[0, 0] == pytest.approx(float(weight @ (b - mean) ** 2), rel=2e-3)
    t = stats.t(
        2 * found.shape, found.mean[0], np.sqrt(found.scale[0, 0] * found.rate / found.shape)
    )
    assert found.interval(0.9)[0] == pytest.approx(t.interval(0.9), rel=1e-9)


def test_updating_in_two_steps_equals_updating_at_once() -> None:
    x, y, m0, v0 = problem(2)
    whole = regress(x, y, m0, v0, shape=3.0, rate=0.5)
    first = regress(x[:5], y[:5], m0, v0, shape=3.0, rate=0.5)
    second = regress(x[5:], y[5:], first.mean, first.scale, shape=first.shape, rate=first.rate)
    assert np.allclose(second.mean, whole.mean)
    assert np.allclose(second.scale, whole.scale)
    assert (second.shape, second.rate) == pytest.approx((whole.shape, whole.rate))


def test_left_out_errors_equal_refitting_without_each_trial() -> None:
    x, y, m0, v0 = problem(3)
    found = left_out(x, y, regress(x, y, m0, v0, shape=2.0, rate=1.0))
    for i in range(len(y)):
        rest = np.arange(len(y)) != i
        refit = regress(x[rest], y[rest], m0, v0, shape=2.0, rate=1.0)
        assert found[i] == pytest.approx(y[i] - x[i] @ refit.mean, rel=1e-9)


def test_surprise_is_uniform_where_the_prior_is_right() -> None:
    rng = np.random.default_rng(4)
    x = np.column_stack([np.ones(9), rng.uniform(0, 2, (9, 2))])
    m0, v0, s = np.array([4.0, 0.1, 0.2]), np.diag([100.0, 0.09, 0.16]), 0.2
    p_values = []
    for _ in range(800):
        b = rng.normal(m0, s * np.sqrt(np.diag(v0)))
        y = x @ b + s * rng.normal(size=9)
        p_values.append(surprise(x, y, m0, v0, s, slice(1, 3)))
    assert stats.kstest(p_values, "uniform").pvalue > 0.01


@pytest.mark.parametrize(
    "wrong",
    [
        {"prior_scale": -np.eye(3)},
        {"prior_mean": np.zeros(2)},
        {"noise": None},
    ],
)
def test_what_cannot_be_is_refused(wrong: dict[str, object]) -> None:
    x, y, m0, v0 = problem(0)
    given = {"x": x, "y": y, "prior_mean": m0, "prior_scale": v0, "noise": 0.2} | wrong
    with pytest.raises(ValueError):
        regress(**given)  # type: ignore[arg-type]
