"""What assistance must deliver to pay for the mass it brings."""

from __future__ import annotations

from optimizer.energy.tables import coefficients


def efficiency() -> float:
    """Muscle-tendon efficiency of positive work in the augmentation factor [2], 0.41.

    From memory, not verified against the paper.
    """
    return coefficients("augmentation_factor")["efficiency"]


def assist_power_w(metabolic_w: float) -> float:
    """Mean positive mechanical power, both legs, W, that would offset a metabolic cost.

    p = 0.41 x metabolic power [2]: the break-even of the augmentation factor for a device that
    does no net negative work. One constant efficiency, from memory, not verified; devices in
    use reach more or less than it says.

    >>> round(assist_power_w(20.0), 2)
    8.2
    """
    return efficiency() * metabolic_w


def metabolic_benefit_w(assist_w: float) -> float:
    """Metabolic power the same relation credits to a mean positive assist power, W.

    >>> round(metabolic_benefit_w(23.0), 1)
    56.1
    """
    return assist_w / efficiency()
