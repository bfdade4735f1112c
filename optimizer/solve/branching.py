"""Which question to put next: a choice made or not, a site used or not.

Strong branching: both answers of the likeliest candidates are tried for a few simplex iterations;
what they raised the bound by is remembered per column as a pseudo-cost and not tried again once
known well enough. The candidate with the largest product of both rises wins.

References
----------
[1] T. Achterberg, T. Koch, A. Martin, "Branching rules revisited", Operations Research Letters
    33 (2005) 42-54.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array
from optimizer.problem.pairwise import Pairwise
from optimizer.solve.relaxation import Relaxation

Mask = NDArray[np.bool_]
#: Candidates looked at, of each kind.
MOST_SITES, MOST_CHOICES = 6, 8
#: Simplex iterations each answer is tried for, and trials after which a column is known.
ITERATIONS, TRIALS = 20, 1
#: Closer to 0 or 1 than this is decided.
_DECIDED = 1e-4
_LITTLE = 1e-6


@dataclass(frozen=True)
class Question:
    """Column `column` of the relaxation at 0 or at 1: a site (by number) or a choice."""

    column: int
    site: int | None
    choice: int | None
    value: float


@dataclass
class _Known:
    down: float = 0.0
    up: float = 0.0
    trials: int = 0


@dataclass
class Branching:
    """Remembers what questions were worth."""

    model: Pairwise
    relaxation: Relaxation
    _known: dict[int, _Known] = field(default_factory=dict)

    def ask(self, open_: Mask, must: Mask, may: Mask, room: float) -> Question:
        """The best question at the relaxation's last optimum.

        Parameters
        ----------
        open_, must, may : what is allowed at this node
        room : how far the bound may rise before the node is done with
        """
        value = self.relaxation.value
        candidates = self._candidates(value)
        if not candidates:
            return self._split(open_, value)
        basis, base = None, self.relaxation.lp.objective
        merit = []
        for question in candidates:
            known = self._known.setdefault(question.column, _Known())
            if known.trials < TRIALS:
                if basis is None:
                    basis = self.relaxation.lp.basis()
                down, up = self._try(question, base, room, open_, must, may, basis)
                known.down += down / max(question.value, 1e-3)
                known.up += up / max(1.0 - question.value, 1e-3)
                known.trials += 1
            rises = (
                known.down / known.trials * question.value,
                known.up / known.trials * (1.0 - question.value),
            )
            low, high = (max(min(rise, room), _LITTLE) for rise in rises)
            merit.append(low * high)
        return candidates[int(np.argmax(merit))]

    def _candidates(self, value: Array) -> list[Question]:
        m, u = self.model, self.relaxation.u
        sites = self.relaxation.used
        at = value[u[sites]]
        loose = np.minimum(at, 1.0 - at)
        found = [
            Question(int(u[sites[n]]), int(sites[n]), None, float(at[n]))
            for n in np.argsort(-loose, kind="stable")[:MOST_SITES]
            if loose[n] > _DECIDED
        ]
        x = value[: len(m.choice)]
        loose = np.minimum(x, 1.0 - x)
        found += [
            Question(int(c), None, int(c), float(x[c]))
            for c in np.argsort(-loose, kind="stable")[:MOST_CHOICES]
            if loose[c] > _DECIDED
        ]
        return found

    def _try(
        self,
        question: Question,
        base: float,
        room: float,
        open_: Mask,
        must: Mask,
        may: Mask,
        basis: object,
    ) -> tuple[float, float]:
        lp = self.relaxation.lp
        if question.choice is not None:
            back = (0.0, float(open_[question.choice]))
        else:
            assert question.site is not None
            back = (float(must[question.site]), float(may[question.site]))
        rises = []
        for answer in (0.0, 1.0):
            lp.set_bound(question.column, answer, answer)
            status = lp.solve(iterations=ITERATIONS)
            rises.append(10.0 * room if status == "infeasible" else max(lp.objective - base, 0.0))
            lp.set_bound(question.column, *back)
            lp.set_basis(basis)
        return rises[0], rises[1]

    def _split(self, open_: Mask, value: Array) -> Question:
        """At a whole solution: the slot with most open choices, its choice made or not."""
        m = self.model
        counts = np.add.reduceat(open_.astype(np.int64), m.first[:-1])
        slot = int(np.argmax(counts))
        own = m.first[slot] + np.flatnonzero(open_[m.first[slot] : m.first[slot + 1]])
        c = int(own[np.argmax(value[own])])
        return Question(c, None, c, 1.0)
