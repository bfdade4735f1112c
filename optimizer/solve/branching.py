"""Which question to put next: is a site used, how many are, does a slot take one of some choices.

The choices asked about are one choice, or all of a slot at one site, of one model, or on one
segment of the body. Strong branching: both answers of the likeliest questions are tried for a few
simplex iterations, and those of the questions that then look best for as many as it takes; what
they raised the bound by is remembered as a pseudo-cost and not tried as long again once known. An
answer that alone takes the bound over the threshold is ruled out for good. Else the question with
the largest product of both rises wins.

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

from optimizer.problem.arrays import Array
from optimizer.problem.pairwise import Pairwise
from optimizer.solve.relaxation import Relaxation
from optimizer.solve.trials import About, Question, Trial, Trials
from optimizer.solve.usage import Usage

Mask = NDArray[np.bool_]
#: Questions tried at a node, and after how many fruitless ones no further is.
MOST, FRUITLESS = 24, 12
#: After how many fruitless long trials no further is made, at first and in a long tree, where the
#: same questions come up again; how much less than the best a question tried so may seem worth.
LONG_FRUITLESS, IN_LONG_TREE, FAR = 1, 3, 4.0
#: How far what a slot's other questions were worth does not matter for which is tried first.
HOPE = 0.5
#: Closer to 0 or 1 than this is decided.
_DECIDED = 1e-4
#: How much sooner than others a question about a number of sites is tried.
COUNTS_FIRST = 10.0
_LITTLE = 1e-6


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
    long: bool = False

    def add(self, trial: Trial) -> None:
        """Take in a trial; once there are long ones they alone count."""
        if self.long and not trial.long:
            return
        if trial.long and not self.long:
            self.down, self.up, self.trials, self.long = 0.0, 0.0, 0, True
        self.down += trial.down
        self.up += trial.up
        self.trials += 1

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
    long_trials: bool = True
    """Whether to try the likeliest questions for long."""
    _known: dict[About, _Known] = field(default_factory=dict)
    _of_slot: dict[int, float] = field(default_factory=dict)
    """The most that asking about choices of a slot was worth, per unit."""
    learned: list[Trial] = field(default_factory=list)
    """Trials since last cleared."""

    def __post_init__(self) -> None:
        m = self.model
        self._model = m.problem.choice_model[m.choice]
        self._segment = m.segment
        share = m.capacity_use.max(axis=1, initial=0.0)
        self._size = np.maximum.reduceat(share, m.first[:-1])

    def take_in(self, learned: list[Trial]) -> None:
        """Remember what another visitor's trials brought."""
        for trial in learned:
            self._learn(trial)

    def know_as(self, other: Branching) -> None:
        """Begin with all that another remembers."""
        self._known = {key: replace(known) for key, known in other._known.items()}
        self._of_slot = dict(other._of_slot)

    def ask(self, open_: Mask, usage: Usage, room: float, *, patient: bool = False) -> Asked:
        """The best question at the relaxation's last optimum.

        Parameters
        ----------
        open_, usage : what is allowed at this node
        room : how far the bound may rise before the node is done with
        patient : whether more questions are tried for long
        """
        candidates = self._candidates(self.relaxation.value, open_)
        if not candidates:
            return Asked(self.split(open_), [])
        trials = Trials(self.relaxation, open_, usage, room)
        weighed = self._weighed(candidates, room, trials)
        if self.long_trials and not trials.ruled_out:
            most = IN_LONG_TREE if patient else LONG_FRUITLESS
            weighed = self._weighed_for_long(weighed, room, trials, most)
        if trials.ruled_out:
            return Asked(None, trials.ruled_out)
        return Asked(max(weighed, key=lambda each: each[0])[1], [])

    def _weighed(
        self, candidates: list[tuple[float, Question]], room: float, trials: Trials
    ) -> list[tuple[float, Question]]:
        """The merits of all questions known, and of the likeliest others, which are tried."""
        weighed: list[tuple[float, Question]] = []
        unknown: list[tuple[float, Question]] = []
        usual = sum(self._of_slot.values()) / max(len(self._of_slot), 1)
        for loose, question in candidates:
            known = self._known.get(question.key)
            if known is None:
                unknown.append((loose * self._hope(question, usual), question))
            else:
                weighed.append((known.merit(question.value, room), question))
        unknown.sort(key=lambda each: -each[0])
        best = max((merit for merit, _ in weighed), default=0.0)
        fruitless = 0
        for _, question in unknown[:MOST]:
            merit = self._tried(question, room, trials, long=False)
            weighed.append((merit, question))
            fruitless = 0 if merit > best else fruitless + 1
            best = max(best, merit)
            if trials.over or fruitless >= FRUITLESS:
                break
        return weighed

    def _weighed_for_long(
        self, weighed: list[tuple[float, Question]], room: float, trials: Trials, most: int
    ) -> list[tuple[float, Question]]:
        """The merits of the questions that look best, tried for long where they never were.

        Until `most` trials in a row were fruitless.
        """
        found: list[tuple[float, Question]] = []
        best, fruitless = 0.0, 0
        for merit, question in sorted(weighed, key=lambda each: -each[0]):
            if merit * FAR < best:
                break
            new = not self._known[question.key].long
            if new:
                merit = self._tried(question, room, trials, long=True)  # noqa: PLW2901
                if trials.ruled_out:
                    break
            found.append((merit, question))
            if merit > best:
                best, fruitless = merit, 0
            elif new:
                fruitless += 1
                if fruitless >= most:
                    break
        return found

    def _tried(self, question: Question, room: float, trials: Trials, *, long: bool) -> float:
        """A question's merit after a trial, which is remembered."""
        trial = trials.of(question, long=long)
        self.learned.append(trial)
        return self._learn(trial).merit(question.value, room)

    def _learn(self, trial: Trial) -> _Known:
        """Remember what a question was worth, and how much asking about its slot is."""
        known = self._known.setdefault(trial.about, _Known())
        known.add(trial)
        choices = trial.about[3]
        if choices:
            slot = int(self.model.slot[np.frombuffer(choices, dtype=np.int64)[0]])
            self._of_slot[slot] = max(self._of_slot.get(slot, 0.0), sqrt(trial.down * trial.up))
        return known

    def _hope(self, question: Question, usual: float) -> float:
        """What questions of a slot were worth at best, to what is usual; 1 where none was asked."""
        if not len(question.choices) or usual == 0.0:
            return 1.0
        own = self._of_slot.get(int(self.model.slot[question.choices[0]]), usual)
        return HOPE + (1.0 - HOPE) * own / usual

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

    def split(self, open_: Mask) -> Question:
        """Without a fraction to ask about: the likeliest choice of the slot with most choices."""
        m = self.model
        counts = np.add.reduceat(open_.astype(np.int64), m.first[:-1])
        slot = int(np.argmax(counts))
        own = m.first[slot] + np.flatnonzero(open_[m.first[slot] : m.first[slot + 1]])
        c = int(own[np.argmax(self.relaxation.value[own])])
        return Question(1.0, np.array([c]))
