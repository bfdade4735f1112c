"""One instance of a family, and what there is to know of its hidden layout."""

from __future__ import annotations

from dataclasses import dataclass

from families import FAMILIES, make

from optimizer.problem.arrays import Problem
from optimizer.problem.build import build_problem
from optimizer.setting import Setting, build_setting
from optimizer.solve.program import Solution, solution_of


@dataclass(frozen=True)
class Instance:
    """A family's study of one seed, set up, and its hidden layout."""

    setting: Setting
    hidden: tuple[tuple[str, int, str], ...]

    @classmethod
    def of(cls, family: str, seed: int) -> Instance:
        """The instance of a family's name and a seed."""
        study, hidden = make(FAMILIES[family], seed)
        return cls(build_setting(study), hidden)

    def problem(self) -> Problem:
        """The instance as arrays, made anew: routes looked up before are forgotten."""
        return build_problem(self.setting)

    def hidden_solution(self, problem: Problem) -> Solution:
        """The hidden layout, every line as its first option, as the generator had it."""
        number = {name: s for s, name in enumerate(problem.site_names)}
        chosen = []
        for slot, (unit, model, site) in enumerate(self.hidden):
            assert problem.slots[slot].unit == unit
            chosen.append(
                next(
                    int(c)
                    for c in problem.choices_of(slot)
                    if problem.choice_model[c] == model and problem.choice_site[c] == number[site]
                )
            )
        return solution_of(problem, tuple(chosen), (0,) * len(problem.lines), problem.objective)
