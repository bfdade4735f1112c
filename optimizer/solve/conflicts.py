"""A smallest set of limits that no layout meets together.

Every limit of the study is a member; the oracle is the program with all other limits lifted. What
the members leave out is not up to them: which sites a part is allowed at, and that a line without
a limit takes its cheapest route.

A smallest set is found by implicit hitting sets [1]: any layout tells a set of limits of which a
clash must name one, those that it breaks; a least set naming one of each, if no layout meets it, is
a smallest clash. If that takes too long, QuickXplain [2] finds a clash of which no member can be
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
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from math import inf
from typing import TypeVar

import numpy as np

from optimizer.problem.arrays import Array, Objective
from optimizer.problem.quantities import NAMES
from optimizer.setting import Setting
from optimizer.solve.demands import SiteDemand, demanding
from optimizer.solve.easing import make_easing
from optimizer.solve.gates import OPENED
from optimizer.solve.highs import Outcome
from optimizer.solve.hitting import least_hitting_set
from optimizer.solve.link_program import LinkProgram
from optimizer.solve.link_writer import LinkColumns
from optimizer.study.relax import NEEDS, SITE_LIMITS

#: How much less a preferred limit weighs: never enough to make up for one limit more.
_PREFERENCE = 1e-4
#: Layouts that break little are looked for only so hard, since any will do: relative gap, seconds.
_CONTENT, _PATIENCE_S = 0.9, 3.0
#: Rounds of the search for a smallest clash before one that cannot be reduced is good enough.
ROUNDS = 12
#: A smallest clash of more limits than this is not looked for: nobody reads it as a reason.
_MOST_LIMITS = 5
#: Steps of the simplex method before a clash is too hard to find: some seconds.
EFFORT = 20_000
#: Limits that can keep a part out of a site by themselves.
_BARRING = (*SITE_LIMITS, NEEDS, *OPENED)
#: Nothing to minimise: any layout will do.
NOTHING = Objective(np.zeros(len(NAMES)))
M = TypeVar("M")


class OutOfTimeError(Exception):
    """The deadline of an explanation is over."""


class TooHardError(Exception):
    """The search for a clash was given up after so much effort."""


@dataclass(frozen=True)
class Clash:
    """Limits, by number, that cannot all hold. `smallest`: no set of fewer limits clashes.

    If not `whole`, they are only those found to be in every clash: each of them less, and all
    fits.
    """

    limits: tuple[int, ...]
    smallest: bool
    whole: bool = True


class Oracle:
    """Which sets of a setting's limits some layout meets, asked of one live program.

    Every answer is kept: a layout found meets any set of limits that it breaks none of, and no
    layout meets a set that holds one known to clash. Past the `deadline`, by `time.perf_counter`,
    whatever is asked raises `OutOfTimeError`: no answer is taken for none in time.
    """

    def __init__(
        self,
        setting: Setting,
        on_call: Callable[[], None] | None = None,
        deadline: float = inf,
    ):
        self._deadline = deadline
        self.easing = make_easing(setting)
        self.limits = self.easing.limits
        self.program = LinkProgram(self.easing, NOTHING)
        self.n_columns = len(self.program.formulation.names)
        # any layout will do, but with the score to go by a search ends sooner
        score = self.easing.problem.objective.linear
        self._costs: Array = self.program.formulation.quantities @ score
        self.program.live.set_costs(self._costs)
        self._on_call = on_call
        self._broken: list[frozenset[int]] = []
        self._clashing: list[frozenset[int]] = []
        self.effort = 0.0
        self.most_effort = inf
        self.all = frozenset(range(len(self.limits)))

    def fits(self, kept: Iterable[int]) -> bool:
        """Whether a layout meets the given limits, all others lifted."""
        kept = frozenset(kept)
        if any(not (kept & broken) for broken in self._broken):
            return True
        if any(clash <= kept for clash in self._clashing):
            return False
        self.lift_all_but(kept)
        x = self.run().x
        if x is None:
            self._clashing.append(kept)
            return False
        self._broken.append(self.program.broken(x))
        return True

    def broken_by_some_layout(self, kept: frozenset[int]) -> frozenset[int] | None:
        """The limits that some layout breaks which meets all `kept`; None if there is none."""
        if not self.fits(kept):
            return None
        self.lift_all_but(kept)
        costs = np.zeros(self.n_columns)
        for m in self.all - kept:
            costs[self.columns.ease[m]] = 1.0
        outcome = self.minimise(costs, gap=_CONTENT, time_limit_s=_PATIENCE_S)
        if outcome.x is None:
            outcome = self.run()
        assert outcome.x is not None
        broken = set(self.program.broken(outcome.x))
        self._broken.append(frozenset(broken))
        # a layout may break more than it has to: keep what can be kept as well
        for m in sorted(broken, key=lambda m: self.limits[m].preference):
            if len(broken) > 1 and self.fits(self.all - (broken - {m})):
                broken.discard(m)
        return frozenset(broken)

    @contextmanager
    def demanding(self, demands: Sequence[SiteDemand]) -> Iterator[None]:
        """Ask about layouts that meet some demands, for as long as the context lasts."""
        kept = self._broken, self._clashing
        self._broken, self._clashing = [], []
        try:
            with demanding(self.program, demands):
                yield
        finally:
            self._broken, self._clashing = kept

    def bars(self, choice: int) -> frozenset[int] | None:
        """The limits that rule a choice out by themselves; None if nothing can be joined to it."""
        column = self.columns.x.get(choice)
        if column is None:
            return None
        used = self.columns.u[int(self.easing.problem.choice_site[choice])]
        barred = self.program.barred_by(column, used)
        return frozenset(m for m in barred if self.limits[m].kind in _BARRING)

    def run(self) -> Outcome:
        """Look for any solution of the program as it stands."""
        return self._count(self.program.live.solve(gap=inf, time_limit_s=self.left_s))

    def minimise(self, costs: Array, gap: float = 0.0, time_limit_s: float = inf) -> Outcome:
        """Minimise a linear form of the columns, once."""
        self.program.live.set_costs(costs)
        try:
            limit = min(time_limit_s, self.left_s)
            return self._count(self.program.live.solve(gap=gap, time_limit_s=limit))
        finally:
            self.program.live.set_costs(self._costs)

    @property
    def left_s(self) -> float:
        """Seconds left, 0 at least."""
        return max(self._deadline - time.perf_counter(), 0.0)

    def require_time(self) -> None:
        """Raise `OutOfTimeError` past the deadline."""
        if self.left_s <= 0.0:
            raise OutOfTimeError

    def broken_alone(self) -> set[int]:
        """Limits known to be the only ones that some layout breaks."""
        return {m for broken in self._broken if len(broken) == 1 for m in broken}

    def _count(self, outcome: Outcome) -> Outcome:
        if self._on_call is not None:
            self._on_call()
        if outcome.status == "time_limit":
            self.require_time()
        self.effort += outcome.iterations
        if self.effort > self.most_effort:
            raise TooHardError
        return outcome

    @property
    def columns(self) -> LinkColumns:
        """The program's columns."""
        return self.program.columns

    def lift_all_but(self, kept: frozenset[int]) -> None:
        """Lift every limit that is not among `kept`."""
        self.require_time()
        # a line without its limit may run any way: so that lifting a limit never rules out more
        lifted = self.all - kept
        self.program.ease(dict.fromkeys(lifted, inf), any_route=lifted)


def find_clash(
    oracle: Oracle,
    background: frozenset[int] = frozenset(),
    rounds: int = ROUNDS,
    effort: float = inf,
) -> Clash | None:
    """A smallest set of limits that clash; after so many rounds, one that cannot be reduced.

    Limits in `background` are lifted throughout. None if nothing clashes, or if lifting
    everything does not help. Where next to nothing is missing, only large sets clash and every
    answer takes long: after so much `effort`, what is in every clash is told instead.
    """
    oracle.effort, oracle.most_effort = 0.0, effort
    try:
        return _find_clash(oracle, background, rounds)
    except TooHardError:
        oracle.most_effort = inf
        return Clash(tuple(_in_every_clash(oracle, background)), smallest=False, whole=False)
    finally:
        oracle.most_effort = inf


def _in_every_clash(oracle: Oracle, background: frozenset[int]) -> list[int]:
    """Limits without any one of which everything fits, among those a designer would name first."""
    members = oracle.all - background
    likely = {m for m in members if oracle.limits[m].family in ("limit", "rule")}
    likely |= oracle.broken_alone()
    return [m for m in sorted(likely - background) if oracle.fits(members - {m})]


def _find_clash(oracle: Oracle, background: frozenset[int], rounds: int) -> Clash | None:
    members = oracle.all - background
    if oracle.fits(members) or not oracle.fits(()):
        return None
    weight = {m: 1.0 + _PREFERENCE * oracle.limits[m].preference for m in oracle.all}
    sets: list[frozenset[int]] = []
    for _ in range(rounds):
        candidate = least_hitting_set(sets, weight)
        if len(candidate) > _MOST_LIMITS:
            break
        broken = oracle.broken_by_some_layout(candidate)
        if broken is None:
            return Clash(tuple(sorted(candidate)), smallest=True)
        sets.append(broken - background)
    found = quickxplain(sorted(members), oracle.fits)
    return Clash(tuple(sorted(found)), smallest=False)


def keeps_out(oracle: Oracle, slot: int) -> Clash | None:
    """A smallest set of limits that leave a part no site even if everything else were away.

    None if some site takes it, or if none would without any limit.
    """
    reasons: list[frozenset[int]] = []
    for c in oracle.easing.problem.choices_of(slot):
        barred = oracle.bars(int(c))
        if barred is None:
            continue
        if not barred:
            return None
        reasons.append(barred)
    if not reasons:
        return None
    # of equally few limits those of one kind, which can be told together
    kinds = Counter(oracle.limits[m].kind for barred in reasons for m in barred)
    weight = {
        m: 1.0 - _PREFERENCE * kinds[oracle.limits[m].kind] / len(reasons)
        for barred in reasons
        for m in barred
    }
    return Clash(tuple(sorted(least_hitting_set(reasons, weight))), smallest=True)


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
