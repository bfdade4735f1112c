"""How one limit is told, in the unit a designer reads."""

from __future__ import annotations

from optimizer.assess.result import LimitReport
from optimizer.errors import Origin

#: A limit is called binding when less than this share of it is left.
BINDING_SHARE = 1e-6


def report(
    kind: str,
    subject: str,
    label: str,
    value: float,
    limit: float,
    unit: str,
    scale: float,
    origin: Origin,
    *,
    soft: bool = False,
) -> LimitReport:
    """A limit report in the unit a designer reads: SI times scale."""
    slack = (limit - value) * scale
    return LimitReport(
        kind=kind,
        subject=subject,
        label=label,
        value=value * scale,
        limit=limit * scale,
        slack=slack,
        unit=unit,
        binding=slack <= BINDING_SHARE * max(1.0, abs(limit * scale)),
        origin=origin,
        soft=soft,
    )
