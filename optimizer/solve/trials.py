"""Strong branching: both answers to a question are tried for some simplex iterations.

References
----------
[1] T. Achterberg, T. Koch, A. Martin, "Branching rules revisited", Operations Research Letters
    33 (2005) 42-54.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import IntArray
from optimizer.solve.highs_lp import Basis
from optimizer.solve.relaxation import Relaxation
from optimizer.solve.usage import Usage

Mask = NDArray[np.bool_]
#: What a question is about.
About = tuple[int | None, int | None, int, bytes]
#: Simplex iterations each answer is tried for; of a long trial, mostly more than it takes.
SHORT, LONG = 60, 1000
_LITTLE = 1e-6
#: A question's answers are not taken to be nearer than this.
_NEAREST = 1e-3


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
class Trial:
    """How far the answers no and yes raise the bound, per unit of what they take away.

    `long`: as far as `LONG` iterations tell, not `SHORT` ones.
    """

    about: About
    down: float
    up: float
    long: bool


class Trials:
    """Trials at one node, from its relaxation's last optimum; the relaxation is left as it was.

    `room` is how far the bound may rise before a node is done with. Answers that alone raise it
    further are in `ruled_out`; `over` once both answers to a question are.
    """

    def __init__(self, relaxation: Relaxation, open_: Mask, usage: Usage, room: float):
        self._relaxation, self._open, self._usage, self._room = relaxation, open_, usage, room
        self._base = relaxation.lp.objective
        self._basis: Basis | None = None
        self.ruled_out: list[tuple[Question, bool]] = []
        self.over = False

    def of(self, question: Question, *, long: bool = False) -> Trial:
        """Try both answers to a question."""
        iterations = LONG if long else SHORT
        rises = [self._rise(question, answer, iterations) for answer in (False, True)]
        # a margin for the solver's tolerance: what is ruled out here is not looked at again
        most = self._room + _LITTLE * max(1.0, abs(self._base))
        ruled_out = [(question, answer) for answer in (False, True) if rises[answer] > most]
        self.ruled_out += ruled_out
        self.over = self.over or len(ruled_out) == 2
        down, up = (min(rise, self._room) for rise in rises)
        return Trial(
            question.key,
            down / max(question.value, _NEAREST),
            up / max(1.0 - question.value, _NEAREST),
            long,
        )

    def _rise(self, question: Question, answer: bool, iterations: int) -> float:
        """How far the bound rises with one answer, as far as some iterations tell."""
        relaxation, room = self._relaxation, self._room
        m, lp = relaxation.model, relaxation.lp
        if self._basis is None:
            self._basis = lp.basis()
        usages = question.usages(self._usage)
        if usages is not None:
            relaxation.set_usage(usages[0 if answer else 1])
        else:
            columns = question.choices
            if answer:
                slot = int(m.slot[columns[0]])
                own = np.arange(m.first[slot], m.first[slot + 1])
                columns = np.setdiff1d(own, columns, assume_unique=True)
            lp.set_bounds(columns, np.zeros(len(columns)), np.zeros(len(columns)))
        status = lp.solve(iterations=iterations, cutoff=self._base + 1.5 * room)
        rise = 10.0 * room + 1.0
        if status != "infeasible":
            rise = max(lp.objective - self._base, 0.0)
        if usages is not None:
            relaxation.set_usage(self._usage)
        else:
            lp.set_bounds(columns, np.zeros(len(columns)), self._open[columns].astype(float))
        lp.set_basis(self._basis)
        return rise
