"""What scores of layouts in many draws say: who wins, who is regretted, what decides.

Scores are (n_draws, n_layouts), lower is better, infinite where a layout does not fit. Draws in
which nothing fits say nothing and are left out by the caller.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Scores closer than this share are ties, and share the win.
TIE = 1e-9
#: Groups a continuous number's draws are sorted into to see what it decides.
BINS = 16


def wins(scores: Array) -> tuple[Array, Array]:
    """Share of draws each layout is best in, and its Monte Carlo standard error; ties share."""
    best = scores.min(axis=1, keepdims=True)
    winner = scores <= best + TIE * np.abs(best)
    share = (winner / winner.sum(axis=1, keepdims=True)).mean(axis=0)
    return share, np.sqrt(np.maximum(share * (1.0 - share), 0.0) / len(scores))


def near(scores: Array, share: float) -> Array:
    """Share of draws in which each layout is within a share of the best one's score."""
    best = scores.min(axis=1, keepdims=True)
    return np.asarray((scores <= best + share * np.abs(best)).mean(axis=0))


def regrets(scores: Array, best: Array | None = None) -> Array:
    """(n_draws, n_layouts): score above the best of each draw, by default the best listed."""
    least = scores.min(axis=1) if best is None else best
    return np.asarray(scores - least[:, None])


def kendall(nominal: Array, scores: Array) -> Array:
    """Kendall's tau-a of every draw's order with the nominal order, (n_draws,); ties count 0."""
    i, j = np.triu_indices(len(nominal), 1)
    if i.size == 0:
        return np.ones(len(scores))
    before = np.sign(_gap(nominal[None, i], nominal[None, j]))
    now = np.sign(_gap(scores[:, i], scores[:, j]))
    return np.asarray((before * now).mean(axis=1))


def _gap(a: Array, b: Array) -> Array:
    """a - b, nothing where they tie."""
    gap = a - b
    gap[np.abs(gap) <= TIE * np.maximum(np.abs(a), np.abs(b))] = 0.0
    return gap


def in_top(scores: Array, layout: int, k: int) -> float:
    """Share of draws in which fewer than `k` layouts are better than one of them."""
    own = scores[:, [layout]]
    better = (scores < own - TIE * np.abs(own)).sum(axis=1)
    return float((better < k).mean())


@dataclass(frozen=True, slots=True)
class Decider:
    """How far one uncertain number decides between two layouts, a against b.

    `share` of the variance of their difference in score is explained by it alone (first-order
    Sobol index); `low` and `high`: chance that a beats b where the number is in its lowest and
    its highest quarter (for a choice of models: at the model least and most in favour of a).
    """

    name: str
    share: float
    low: float
    high: float
    low_label: str = "low"
    high_label: str = "high"


def deciders(
    difference: Array, numbers: Mapping[str, Array], kinds: Mapping[str, tuple[str, ...]]
) -> list[Decider]:
    """What decides the sign of score a - score b, the strongest first.

    Parameters
    ----------
    difference : (n,), score of a less score of b
    numbers : name -> drawn values (n,)
    kinds : of numbers that are choices (0, 1, ...): what each choice is called

    The first-order index is the share of variance between groups of equal size (each choice a
    group), corrected for what chance alone would give (epsilon squared; Kelley 1935).
    """
    found = []
    wins_a = difference < 0.0
    total = float(difference.var())
    for name, values in numbers.items():
        groups = _groups(values, name in kinds)
        used = np.unique(groups)
        if len(used) < 2 or total <= 0.0:
            continue
        means = np.array([difference[groups == g].mean() for g in used])
        sizes = np.array([(groups == g).sum() for g in used])
        between = float(sizes @ (means - difference.mean()) ** 2) / len(difference)
        n, k = len(difference), len(used)
        share = 1.0 - (1.0 - between / total) * (n - 1) / max(n - k, 1)
        chance = np.array([wins_a[groups == g].mean() for g in used])
        if name in kinds:
            first, last = int(np.argmin(chance)), int(np.argmax(chance))
            low, high = float(chance[first]), float(chance[last])
            labels = kinds[name][int(used[first])], kinds[name][int(used[last])]
        else:
            quarters = np.quantile(values, [0.25, 0.75])
            low = float(wins_a[values <= quarters[0]].mean())
            high = float(wins_a[values >= quarters[1]].mean())
            labels = "low", "high"
        found.append(Decider(name, max(share, 0.0), low, high, *labels))
    return sorted(found, key=lambda d: -d.share)


def _groups(values: Array, is_choice: bool) -> NDArray[np.int64]:
    if is_choice:
        return values.astype(np.int64)
    if values.max() == values.min():
        return np.zeros(len(values), dtype=np.int64)
    order = np.argsort(values, kind="stable")
    groups = np.empty(len(values), dtype=np.int64)
    groups[order] = np.arange(len(values)) * BINS // len(values)
    return groups


def upper_bound(misses: int, n: int, level: float = 0.95) -> float:
    """One-sided upper bound on a chance of which `misses` of `n` were seen (Clopper-Pearson)."""
    if n == 0:
        return 1.0
    if misses >= n:
        return 1.0
    from scipy.stats import beta

    return float(beta.ppf(level, misses + 1, n - misses))
