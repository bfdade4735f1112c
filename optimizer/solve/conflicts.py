"""A smallest set of limits that no layout meets together.

Every limit of the study is a member; the oracle is the program with all other limits lifted. What
the members leave out is not up to them: which sites a part is allowed at, and that a line without
a limit takes its cheapest route.

A smallest set is found by implicit hitting sets [1]: any layout tells a set of limits of which a
clash must name one, those that it breaks; a least set meeting all of these that no layout meets is a
smallest clash. If that takes too long, QuickXplain [2] finds one of which no member can be
dropped, though there may be a smaller one elsewhere.

References
----------
[1] A. Ignatiev, A. Previti, M. Liffiton, J. Marques-Silva, "Smallest MUS extraction with minimal
    hitting set dualization", CP 2015.
[2] U. Junker, "QuickXplain: preferred explanations and relaxations for over-constrained
    problems", AAAI 2004.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from math import inf
from typing import TypeVar

import numpy as np

from optimizer.problem.arrays import Array, Objective
from optimizer.problem.quantities import NAMES
from optimizer.setting import Setting
from optimizer.solve.easing import make_easing
from optimizer.solve.highs import Outcome
from optimizer.solve.hitting import least_hitting_set
from optimizer.solve.link_program import LinkColumns, LinkProgram

#: How much less a preferred limit weighs: never enough to make up for one limit more.
_PREFERENCE = 1e-4
#: An ease smaller than this is the solver's rounding.
_EASED = 1e-6
#: Layouts that break few limits are looked for only so hard: any will do.
_CONTENT = 0.2
#: Nothing to minimise: any layout will do.
NOTHING = Objective(np.zeros(len(NAMES)))
M = TypeVar("M")


@dataclass(frozen=True)
class Clash:
    """Limits, by number, that cannot all hold. `smallest`: no set of fewer limits clashes."""

    limits: tuple[int, ...]
    smallest: bool


class Oracle:
    """Which sets of a setting's limits some layout meets, asked of one live program."""

    def __init__(self, setting: Setting, on_call: Callable[[], None] | None = None):
        self.easing = make_easing(setting)
        self.limits = self.easing.limits
        self.program = LinkProgram(self.easing, NOTHING)
        self.n_columns = len(self.program.formulation.names)
        self._no_costs = np.zeros(self.n_columns)
        self.program.live.set_costs(self._no_costs)
        self._on_call = on_call
        self._known: dict[frozenset[int], bool] = {}
        self.all = frozenset(range(len(self.limits)))

    def fits(self, kept: Iterable[int]) -> bool:
        """Whether a layout meets the given limits, all others lifted."""
        kept = frozenset(kept)
        if kept not in self._known:
            self._lift_all_but(kept)
            self._known[kept] = self.run().x is not None
        return self._known[kept]

    def broken_by_some_layout(self, kept: frozenset[int]) -> frozenset[int] | None:
        """The limits that some layout breaks which meets all `kept`; None if there is none."""
        self._lift_all_but(kept)
        columns = self.columns.ease
        costs = self._no_costs.copy()
        for m in self.all - kept:
            costs[columns[m]] = 1.0
        outcome = self.minimise(costs, gap=_CONTENT)
        if outcome.x is None:
            return None
        broken = {m for m in self.all - kept if outcome.x[columns[m]] > _EASED}
        # a layout may break more than it has to: keep what can be kept as well
        for m in sorted(broken, key=lambda m: self.limits[m].preference):
            if len(broken) > 1 and self.fits(self.all - (broken - {m})):
                broken.discard(m)
        return frozenset(broken)

    def run(self) -> Outcome:
        """Look for any solution of the program as it stands."""
        if self._on_call is not None:
            self._on_call()
        return self.program.live.solve(gap=inf)

    def minimise(self, costs: Array, gap: float = 0.0) -> Outcome:
        """Minimise a linear form of the columns, once."""
        if self._on_call is not None:
            self._on_call()
        self.program.live.set_costs(costs)
        try:
            return self.program.live.solve(gap=gap)
        finally:
            self.program.live.set_costs(self._no_costs)

    @property
    def columns(self) -> LinkColumns:
        """The program's columns."""
        columns = self.program.formulation.columns
        assert isinstance(columns, LinkColumns)
        return columns

    def _lift_all_but(self, kept: frozenset[int]) -> None:
        # a line without its limit may run any way: so that lifting a limit never rules out more
        lifted = self.all - kept
        self.program.ease(dict.fromkeys(lifted, inf), any_route=lifted)


def find_clash(
    oracle: Oracle, background: frozenset[int] = frozenset(), budget_s: float = inf
) -> Clash | None:
    """A smallest set of limits that clash; after `budget_s` seconds, one that cannot be reduced.

    Limits in `background` are lifted throughout. None if nothing clashes, or if lifting
    everything does not help.
    """
    members = oracle.all - background
    if oracle.fits(members) or not oracle.fits(()):
        return None
    started = time.perf_counter()
    weight = {m: 1.0 + _PREFERENCE * oracle.limits[m].preference for m in oracle.all}
    sets: list[frozenset[int]] = []
    while time.perf_counter() - started < budget_s:
        candidate = least_hitting_set(sets, weight)
        broken = oracle.broken_by_some_layout(candidate)
        if broken is None:
            return Clash(tuple(sorted(candidate)), smallest=True)
        sets.append(broken - background)
    found = quickxplain(sorted(members), oracle.fits)
    return Clash(tuple(sorted(found)), smallest=False)


def quickxplain(members: Sequence[M], feasible: Callable[[Sequence[M]], bool]) -> list[M]:
    """An irreducible infeasible subset of `members`, in their order; those early are preferred.

    [] if all together are feasible, or if even none of them is (then the clash is not about
    them).
    """
    if feasible(members) or not feasible([]):
        return []

    def search(background: list[M], changed: bool, rest: list[M]) -> list[M]:
        if changed and not feasible(background):
            return []
        if len(rest) == 1:
            return list(rest)
        half = len(rest) // 2
        left, right = rest[:half], rest[half:]
        second = search(background + left, bool(left), right)
        first = search(background + second, bool(second), left)
        return first + second

    found = search([], False, list(members))
    order = {id(m): i for i, m in enumerate(members)}
    return sorted(found, key=lambda m: order[id(m)])
