"""What a sweep found: plain records that the views print."""

from __future__ import annotations

from dataclasses import dataclass

from optimizer.assess.result import Assessment, Layout, LimitReport
from optimizer.solve.sweep_dial import Dial

EXACT = "exact"
BISECTION = "bisection"


@dataclass(frozen=True, slots=True)
class SweepPiece:
    """From `low` to `high` one layout is best; it is assessed at both. None: nothing fits.

    `ended_by` are the limits it would break beyond `high`, `begun_by` those it would break below
    `low`; where both sides have none, scores cross.
    """

    low: float
    high: float
    at_low: Assessment | None
    at_high: Assessment | None
    begun_by: tuple[LimitReport, ...] = ()
    ended_by: tuple[LimitReport, ...] = ()

    @property
    def layout(self) -> Layout | None:
        """The layout, as routed at `low`."""
        return None if self.at_low is None else self.at_low.layout


@dataclass(frozen=True, slots=True)
class Sweep:
    """The best layouts along a number.

    `method` is "exact" or "bisection"; `reason` says why it was not exact. `resolution` is the
    share of the range, or of a limit, below which stretches are not told apart, and `grid` the
    distance of the solved points of a bisection: a layout that wins only between two of them with
    equal answers would be missed (None: no such gap). `complete` is False if it was stopped.
    """

    study_name: str
    dial: Dial
    low: float
    high: float
    method: str
    reason: str | None
    resolution: float
    grid: float | None
    pieces: tuple[SweepPiece, ...]
    complete: bool
    stopped: str | None
    solves: int
    seconds: float
    warnings: tuple[str, ...]

    @property
    def switch_points(self) -> tuple[float, ...]:
        """The values at which the best layout changes."""
        return tuple(piece.low for piece in self.pieces[1:])
