"""Layouts of a sweep assessed at values of its number, each once."""

from __future__ import annotations

from collections.abc import Hashable, Sequence

from optimizer.assess.agree import AGREEMENT
from optimizer.assess.assessment import assess
from optimizer.assess.result import Assessment, Layout, LimitReport
from optimizer.errors import DisagreementError
from optimizer.problem.arrays import Problem
from optimizer.problem.build import build_problem
from optimizer.solve.relay import layout_key, relay
from optimizer.solve.sweep_dial import Dial
from optimizer.solve.sweep_family import Family


class SweepAssessor:
    """Assesses layouts along a dial; families tell how lines run in their ranges."""

    def __init__(self, dial: Dial, families: Sequence[Family] = ()):
        self.dial, self._families = dial, families
        self._problems: dict[float, Problem] = {}
        self._known: dict[tuple[Hashable, float], Assessment | None] = {}

    def at(self, layout: Layout, value: float) -> Assessment | None:
        """A layout assessed at a value; None if it cannot be made there."""
        key = layout_key(layout), value
        if key not in self._known:
            setting = self.dial.setting_at(value)
            there = relay(setting, layout, self._problem(value))
            self._known[key] = None if there is None else assess(setting, there)
        return self._known[key]

    def surely(self, layout: Layout, value: float) -> Assessment:
        """The same for a layout that is known to be made there."""
        found = self.at(layout, value)
        assert found is not None, "a layout of the sweep has no place in its own study"
        return found

    def broken(self, layout: Layout, value: float) -> tuple[LimitReport, ...]:
        """The limits a layout breaks at a value."""
        found = self.at(layout, value)
        if found is None or found.feasible:
            return ()
        return tuple(limit for limit in found.limits if not limit.met)

    def require(self, layout: Layout, value: float, score: float) -> None:
        """Compare what a program told of a layout at a value with the assessment.

        Raises
        ------
        DisagreementError
            If the scores differ, or the layout breaks a limit there.
        """
        found = self.surely(layout, value)
        if abs(found.score - score) > AGREEMENT * max(abs(score), 1.0):
            raise DisagreementError(
                f"the swept program and the assessment disagree about the score at {value!r}: "
                f"{score!r} against {found.score!r}"
            )
        if not found.feasible:
            broken = "; ".join(limit.label for limit in found.limits if not limit.met)
            raise DisagreementError(
                f"the swept program calls feasible at {value!r} what breaks {broken}"
            )

    def _problem(self, value: float) -> Problem:
        """A problem whose lines run as they do at the value."""
        for family in self._families:
            if family.low <= value <= family.high:
                return family.base.problem
        if value not in self._problems:
            self._problems[value] = build_problem(self.dial.setting_at(value))
        return self._problems[value]
