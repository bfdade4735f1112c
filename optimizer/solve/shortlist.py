"""The best different layouts found so far, and the score that a further one has to reach."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from optimizer.problem.arrays import IntArray
from optimizer.problem.pairwise import Pairwise
from optimizer.solve.layouts import Identities, Identity
from optimizer.solve.scoring import Scorer

#: Scores this close (score points, relative above 1) are ties.
TIE = 1e-9
#: So many layouts tied for the last rank, and more are not looked for.
FLOOD = 2000


@dataclass(frozen=True)
class Entry:
    """One layout: its score, the problem's choice for every slot, every line's option."""

    score: float
    chosen: tuple[int, ...]
    options: tuple[int, ...]


class Shortlist:
    """The `top` best different layouts among those offered, ties for the last rank included.

    None that scores more than `most` is wanted.
    """

    def __init__(self, model: Pairwise, top: int, most: float = inf):
        self.top = top
        self._entries: dict[Identity, Entry] = {}
        self._threshold = most
        self._flooded = False
        self.use(model)

    def use(self, model: Pairwise) -> None:
        """Read assignments from now on as rows over the open choices of `model`."""
        self._model, self._scorer = model, Scorer(model)
        self._identities = Identities(model.problem)

    @property
    def threshold(self) -> float:
        """A layout above this score cannot be among the best."""
        return self._threshold

    @property
    def best(self) -> float:
        """The least score so far."""
        return min((entry.score for entry in self._entries.values()), default=inf)

    def leader(self) -> Entry:
        """One of the best layouts so far; there must be one."""
        return min(self._entries.values(), key=lambda entry: entry.score)

    def __len__(self) -> int:
        return len(self._entries)

    def offer(self, assignments: IntArray) -> int:
        """Take in feasible assignments that are good enough; returns how many were new."""
        if not len(assignments):
            return 0
        model = self._model
        scores, special = self._scorer.scores(assignments, self._threshold)
        new = fresh = 0
        for n in scores.argsort(kind="stable").tolist():
            score = float(scores[n])
            if score == inf or score > self._threshold:
                break
            row = assignments[n]
            chosen = tuple(model.choice[row].tolist())
            key = self._identities.of(chosen)
            known = self._entries.get(key)
            if known is not None and known.chosen <= chosen:
                continue
            options = special[n] if n in special else self._scorer.options_of(row)
            self._entries[key] = Entry(score, chosen, options)
            if known is None:
                new += 1
                fresh += 1
                # now and then, so that what the best of these rule out is not looked at
                if fresh > len(self._entries) // 4:
                    self._tighten()
                    fresh = 0
        self._tighten()
        return new

    def ranked(self) -> list[Entry]:
        """The best layouts, equal scores in garment order."""
        p = self._model.problem

        def order(entry: Entry) -> tuple[float, tuple[tuple[int, int], ...]]:
            places = tuple((int(p.choice_site[c]), int(p.choice_model[c])) for c in entry.chosen)
            return round(entry.score, 9), places

        return sorted(self._entries.values(), key=order)[: self.top]

    def _tighten(self) -> None:
        if len(self._entries) < self.top:
            return
        scores = sorted(entry.score for entry in self._entries.values())
        last = scores[self.top - 1]
        tie = TIE * max(1.0, abs(last))
        if sum(1 for score in scores if abs(score - last) <= tie) > FLOOD:
            self._flooded = True
        self._entries = {k: e for k, e in self._entries.items() if e.score <= last + tie}
        # once flooded, only what is better by more than a tie is worth having
        self._threshold = last - 2.0 * tie if self._flooded else last + tie
