"""Which question to put next: is a site used, how many are, does a slot take one of some choices.

The choices asked about are one choice, or all of a slot at one site, of one model, or on one
segment of the body. Strong branching: both answers of the likeliest questions are tried for some
simplex iterations; what they raised the bound by is remembered as a pseudo-cost and not tried
again once known. An answer that alone takes the bound over the threshold is ruled out for good.
Else the question with the largest product of both rises wins.

References
----------
[1] T. Achterberg, T. Koch, A. Martin, "Branching rules revisited", Operations Research Letters
    33 (2005) 42-54.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import floor, sqrt

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.pairwise import Pairwise
from optimizer.solve.highs_lp import Basis
from optimizer.solve.relaxation import Relaxation
from optimizer.solve.usage import Usage

Mask = NDArray[np.bool_]
#: What a question is about.
About = tuple[int | None, int | None, int, bytes]
#: Questions tried at a node, and after how many fruitless ones no further is.
MOST, FRUITLESS = 24, 12
#: Simplex iterations each answer is tried for.
ITERATIONS = 60
#: How far what a slot's other questions were worth does not matter for which is tried first.
HOPE = 0.5
#: Closer to 0 or 1 than this is decided.
_DECIDED = 1e-4
#: How much sooner than others a question about a number of sites is tried.
COUNTS_FIRST = 10.0
_LITTLE = 1e-6


@dataclass(frozen=True)
class Question:
    """Is `site` used, or does a slot take one of `choices` (numbers of open choices)?

    Or, of a `group`: are more than `level` of its sites used? `value` is how far the relaxation
    says yes.
    """

    value: float
    choices: IntArray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    site: int | None = None
    group: int | None = None
    level: int = 0

    @property
    def key(self) -> About:
        """What the question is about, whatever the answer at hand."""
        return self.site, self.group, self.level, self.choices.tobytes()

    def usages(self, usage: Usage) -> tuple[Usage, Usage] | None:
        """What is said of sites where the answer is yes, and no; None where they are not asked."""
        if self.site is not None:
            return usage.of_site(self.site, True), usage.of_site(self.site, False)
        if self.group is not None:
            return (
                usage.of_group(self.group, self.level, True),
                usage.of_group(self.group, self.level, False),
            )
        return None


@dataclass(frozen=True)
class Asked:
    """The best question; or answers that are ruled out, to be acted on first."""

    question: Question | None
    ruled_out: list[tuple[Question, bool]]


@dataclass
class _Known:
    down: float = 0.0
    up: float = 0.0
    trials: int = 0

    def add(self, down: float, up: float) -> None:
        self.down, self.up, self.trials = self.down + down, self.up + up, self.trials + 1

    def merit(self, value: float, room: float) -> float:
        """The product of what both answers bring at a value, neither counted beyond the room."""
        low = self.down / self.trials * value
        high = self.up / self.trials * (1.0 - value)
        return max(min(low, room), _LITTLE) * max(min(high, room), _LITTLE)


@dataclass
class Branching:
    """Remembers what questions were worth."""

    model: Pairwise
    relaxation: Relaxation
    counts: bool = True
    """Whether to ask about numbers of sites."""
    _known: dict[About, _Known] = field(default_factory=dict)
    _of_slot: dict[int, float] = field(default_factory=dict)
    """The most that asking about choices of a slot was worth, per unit."""
    learned: list[tuple[About, float, float]] = field(default_factory=list)
    """Trials since last cleared: the question, its rises per unit."""

    def __post_init__(self) -> None:
        m = self.model
        self._model = m.problem.choice_model[m.choice]
        self._segment = m.segment
        share = m.capacity_use.max(axis=1, initial=0.0)
        self._size = np.maximum.reduceat(share, m.first[:-1])

    def take_in(self, learned: list[tuple[About, float, float]]) -> None:
        """Remember what another visitor's trials brought."""
        for key, down, up in learned:
            self._learn(key, down, up)

    def know_as(self, other: Branching) -> None:
        """Begin with all that another remembers."""
        self._known = {key: replace(known) for key, known in other._known.items()}
        self._of_slot = dict(other._of_slot)

    def ask(self, open_: Mask, usage: Usage, room: float) -> Asked:
        """The best question at the relaxation's last optimum.

        Parameters
        ----------
        open_, usage : what is allowed at this node
        room : how far the bound may rise before the node is done with
        """
        candidates = self._candidates(self.relaxation.value, open_)
        if not candidates:
            return Asked(self.split(open_), [])
        best: tuple[float, Question] | None = None
        unknown: list[tuple[float, Question]] = []
        for loose, question in candidates:
            known = self._known.get(question.key)
            if known is None:
                unknown.append((loose * self._hope(question), question))
            else:
                merit = known.merit(question.value, room)
                if best is None or merit > best[0]:
                    best = merit, question
        unknown.sort(key=lambda each: -each[0])
        lp = self.relaxation.lp
        base = lp.objective
        basis = lp.basis() if unknown else None
        ruled_out: list[tuple[Question, bool]] = []
        fruitless = 0
        for _, question in unknown[:MOST]:
            assert basis is not None
            rises = [
                self._try(question, answer, base, room, open_, usage, basis)
                for answer in (False, True)
            ]
            # a margin for the solver's tolerance: what is ruled out here is not looked at again
            over = [rise > room + _LITTLE * max(1.0, abs(base)) for rise in rises]
            ruled_out += [(question, bool(n)) for n in (0, 1) if over[n]]
            if all(over):
                return Asked(None, ruled_out)
            down = min(rises[0], room) / max(question.value, 1e-3)
            up = min(rises[1], room) / max(1.0 - question.value, 1e-3)
            self.learned.append((question.key, down, up))
            merit = self._learn(question.key, down, up).merit(question.value, room)
            if best is None or merit > best[0]:
                best, fruitless = (merit, question), 0
            else:
                fruitless += 1
                if fruitless >= FRUITLESS:
                    break
        if ruled_out:
            return Asked(None, ruled_out)
        return Asked(candidates[0][1] if best is None else best[1], [])

    def _learn(self, key: About, down: float, up: float) -> _Known:
        """Remember what a question was worth, and how much asking about its slot is."""
        known = self._known.setdefault(key, _Known())
        known.add(down, up)
        if key[3]:
            slot = int(self.model.slot[np.frombuffer(key[3], dtype=np.int64)[0]])
            self._of_slot[slot] = max(self._of_slot.get(slot, 0.0), sqrt(down * up))
        return known

    def _hope(self, question: Question) -> float:
        """What questions of a slot were worth at best, to the mean; 1 where none was asked."""
        if not len(question.choices) or not self._of_slot:
            return 1.0
        mean = sum(self._of_slot.values()) / len(self._of_slot)
        own = self._of_slot.get(int(self.model.slot[question.choices[0]]), mean)
        return HOPE + (1.0 - HOPE) * own / mean if mean > 0.0 else 1.0

    def _candidates(self, value: Array, open_: Mask) -> list[tuple[float, Question]]:
        """All questions, the one to be tried first in front, with how much speaks for that."""
        m, u = self.model, self.relaxation.u
        found: list[tuple[float, Question]] = []
        counts = value[self.relaxation.counts].tolist() if self.counts else []
        for group, at in enumerate(counts):
            level = floor(at + _DECIDED)
            part = at - level
            loose = min(part, 1.0 - part)
            if loose > _DECIDED:
                found.append((loose * COUNTS_FIRST, Question(part, group=group, level=level)))
        for site in self.relaxation.used.tolist():
            at = float(value[u[site]])
            loose = min(at, 1.0 - at)
            if loose > _DECIDED:
                found.append((loose, Question(at, site=site)))
        x = value[: len(m.choice)]
        fractional = (x > _DECIDED) & (x < 1.0 - _DECIDED)
        for slot in np.unique(m.slot[fractional]).tolist():
            own = m.first[slot] + np.flatnonzero(open_[m.first[slot] : m.first[slot + 1]])
            weight = 0.3 + min(float(self._size[slot]), 1.0)
            seen: set[bytes] = set()
            for label in (own, m.site[own], self._model[own], self._segment[own]):
                for each in np.unique(label[x[own] > _DECIDED]).tolist():
                    group = own[label == each]
                    at = float(x[group].sum())
                    loose = min(at, 1.0 - at)
                    if loose > _DECIDED and group.tobytes() not in seen:
                        # asking about all others of a slot is the same question
                        seen |= {group.tobytes(), own[label != each].tobytes()}
                        found.append((loose * weight, Question(at, group)))
        found.sort(key=lambda each: -each[0])
        return found

    def _try(
        self,
        question: Question,
        answer: bool,
        base: float,
        room: float,
        open_: Mask,
        usage: Usage,
        basis: Basis,
    ) -> float:
        """How far the bound rises with one answer, as far as a few iterations tell."""
        m, lp = self.model, self.relaxation.lp
        usages = question.usages(usage)
        if usages is not None:
            self.relaxation.set_usage(usages[0 if answer else 1])
        else:
            columns = question.choices
            if answer:
                slot = int(m.slot[columns[0]])
                own = np.arange(m.first[slot], m.first[slot + 1])
                columns = np.setdiff1d(own, columns, assume_unique=True)
            lp.set_bounds(columns, np.zeros(len(columns)), np.zeros(len(columns)))
        status = lp.solve(iterations=ITERATIONS, cutoff=base + 1.5 * room)
        rise = 10.0 * room + 1.0 if status == "infeasible" else max(lp.objective - base, 0.0)
        if usages is not None:
            self.relaxation.set_usage(usage)
        else:
            lp.set_bounds(columns, np.zeros(len(columns)), open_[columns].astype(float))
        lp.set_basis(basis)
        return rise

    def split(self, open_: Mask) -> Question:
        """Without a fraction to ask about: the likeliest choice of the slot with most choices."""
        m = self.model
        counts = np.add.reduceat(open_.astype(np.int64), m.first[:-1])
        slot = int(np.argmax(counts))
        own = m.first[slot] + np.flatnonzero(open_[m.first[slot] : m.first[slot + 1]])
        c = int(own[np.argmax(self.relaxation.value[own])])
        return Question(1.0, np.array([c]))
