"""What-ifs asked of a solved study: the best layout under a further demand, and its price."""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import inf

from optimizer.assess.agree import require_agreement
from optimizer.assess.assessment import assess
from optimizer.assess.result import Assessment
from optimizer.assess.why import Alternative
from optimizer.problem.arrays import Array, Objective, Problem
from optimizer.problem.build import build_problem
from optimizer.problem.presolve import Reduced, Switches, reduce
from optimizer.setting import Setting
from optimizer.solve.demands import Demand, RowDemand, as_row, demanding, meets
from optimizer.solve.easing import Easing, make_easing
from optimizer.solve.highs import Outcome, Tick
from optimizer.solve.layouts import layout_of
from optimizer.solve.link_program import LinkProgram
from optimizer.solve.narrowing import favouring, narrowed
from optimizer.solve.program import Solution
from optimizer.solve.rank import best_of, can_search
from optimizer.solve.shortlist import TIE
from optimizer.study.model import Study
from optimizer.study.relax import eased

#: Layouts nearer in score than this are equally good.
EQUAL = 1e-6
#: Score points for every part not where it is in the best layout: far below what counts.
NEARNESS = 1e-8
#: How many times what the search takes for equal those points are, where that is more.
APART = 4.0


@dataclass(frozen=True)
class Answer:
    """The best solution under a demand; None if there is none (`settled`), or none was found."""

    solution: Solution | None
    bound: float
    settled: bool


def difference(best: Assessment, other: Assessment, bound: float) -> Alternative:
    """What another layout costs above the best; `bound` is a proven bound on its score."""
    return Alternative(
        other,
        other.score - best.score,
        other.metabolic_w - best.metabolic_w,
        other.metabolic_pct - best.metabolic_pct,
        other.swing_inertia_pct - best.swing_inertia_pct,
        bound - best.score,
    )


class Questions:
    """A solved study, ready to be asked what-ifs.

    Layouts are found by the search where it knows all that the study has (`searched`), else by
    the program with links. `share` is by how much limits may be loosened; `deadline`, by
    `time.perf_counter`, ends every search. `near`: of layouts that score the same, the one nearest
    to these (unit, model, site) is wanted; by default to the best. `solution` and `best`
    are None if no layout was found.
    """

    def __init__(
        self,
        setting: Setting,
        share: float,
        *,
        deadline: float = inf,
        on_tick: Callable[[Tick], None] | None = None,
        near: Collection[tuple[str, str, str]] | None = None,
    ):
        self.setting, self.share, self._deadline = setting, share, deadline
        self._on_tick = on_tick
        self._known: list[tuple[Array, float]] = []
        self.reduced = reduce(build_problem(setting))
        self.searched = can_search(self.reduced)
        self.solution: Solution | None = None
        #: Points for every choice that is not the best layout's.
        self._nearness: Array | None = None
        self.outcome: Outcome
        if self.searched:
            if near is not None:
                self._nearness = favouring(self.problem, near, NEARNESS)
            self.outcome, self.solution = self._search(self.reduced)
        else:
            self.outcome, self.solution = self._solve(inf)
        if self.solution is not None:
            if self.searched:
                points = max(NEARNESS, APART * TIE * abs(self.solution.score))
                self._nearness = favouring(self.problem, self._taken(), points)
            else:
                self._favour()

    @cached_property
    def best(self) -> Assessment | None:
        """The best layout as assessed."""
        return None if self.solution is None else self.assessed(self.solution)

    @property
    def problem(self) -> Problem:
        """The problem whose choices solutions name."""
        return self.reduced.problem if self.searched else self.easing.problem

    @property
    def objective(self) -> Objective:
        """What is minimised."""
        return self.problem.objective

    @cached_property
    def easing(self) -> Easing:
        """Which limits can be loosened, and where each acts."""
        return make_easing(self.setting, self.share)

    @cached_property
    def program(self) -> LinkProgram:
        """The program whose limits can be loosened in place, made when first asked for."""
        spec = self.setting.study.solve
        program = LinkProgram(self.easing, seed=spec.seed, threads=spec.threads)
        self._costs = program.formulation.costs(program.objective)
        return program

    @property
    def score(self) -> float:
        """The best score."""
        assert self.solution is not None
        return self.solution.score

    def ask(self, demands: Sequence[Demand], cutoff: float = inf) -> Answer:
        """The best solution that meets all demands; none where it does not score below `cutoff`.

        The search is asked about sites only, and needs no cutoff (see `narrowed`).
        """
        if self.searched:
            return self._answer(*self._search(narrowed(self.reduced, demands)))
        rows = [as_row(self.program, demand) for demand in demands]
        start = self._known_to_meet(rows) if not self.program.eases else None
        with demanding(self.program, rows):
            if start is not None:
                self.program.live.set_start(start)
            outcome, solution = self._solve(cutoff)
        return self._answer(outcome, solution)

    def least(self, demands: Sequence[Demand]) -> float:
        """A proven lower bound on the score under demands, quickly; inf if nothing meets them."""
        with demanding(self.program, demands):
            x = self.program.live.relaxed()
        if x is None:
            return inf
        return float(self._costs @ x) - NEARNESS * len(self.problem.slots)

    def alternative(self, answer: Answer) -> Alternative:
        """A solution as assessed, and what it costs above the best."""
        assert self.best is not None and answer.solution is not None
        other = self.assessed(answer.solution)
        bound = other.score if answer.settled else answer.bound
        return difference(self.best, other, bound)

    @property
    def out_of_time(self) -> bool:
        """Whether the deadline is over."""
        return time.perf_counter() >= self._deadline

    def of_study(self, study: Study) -> Questions:
        """The same for a changed study of the same wearer, garment and routes."""
        return Questions(
            self.setting.changed(study),
            0.0,
            deadline=self._deadline,
            on_tick=self._on_tick,
            near=self._taken(),
        )

    def against(self, other: Questions) -> Alternative:
        """What this study's best costs above another's."""
        assert self.best is not None and other.best is not None
        bound = self.best.score if self.settled else self.outcome.bound
        return difference(other.best, self.best, bound)

    @property
    def settled(self) -> bool:
        """Whether the best is proven, or that there is none."""
        return self.outcome.status in ("optimal", "infeasible")

    def assessed(self, solution: Solution) -> Assessment:
        """A solution assessed against the study with the limits as eased now.

        Raises
        ------
        DisagreementError
            If program and assessment disagree.
        """
        setting = self.setting
        if not self.searched and self.program.eases:
            study = setting.study
            for m in self.program.eases:
                study = eased(study, self.easing.limits[m], self.share)
            setting = setting.changed(study)
        assessment = assess(setting, layout_of(setting, self.problem, solution))
        require_agreement(solution, assessment)
        return assessment

    def _taken(self) -> set[tuple[str, str, str]]:
        """(unit, model, site) of every part of the best layout."""
        assert self.solution is not None
        return {self.problem.named(choice) for choice in self.solution.chosen}

    @staticmethod
    def _answer(outcome: Outcome, solution: Solution | None) -> Answer:
        settled = outcome.status in ("optimal", "infeasible")
        bound = outcome.bound if outcome.status != "optimal" or solution is None else solution.score
        return Answer(solution, bound, settled)

    def _search(self, reduced: Reduced) -> tuple[Outcome, Solution | None]:
        """The best layout of a problem by the search, nearest to the best where equals are."""
        return best_of(
            reduced,
            replace(self.objective, favour=self._nearness),
            time_limit_s=max(self._deadline - time.perf_counter(), 0.0),
            seed=self.setting.study.solve.seed,
            on_tick=self._on_tick,
            switches=Switches(order_copies=reduced is self.reduced),
        )

    def _favour(self) -> None:
        """Of layouts that score the same, have the program find the one nearest to the best."""
        assert self.solution is not None
        kept = set(self.solution.chosen)
        for choice, column in self.program.columns.x.items():
            if choice not in kept:
                self._costs[column] += NEARNESS
        self.program.live.set_costs(self._costs)

    def _solve(self, cutoff: float) -> tuple[Outcome, Solution | None]:
        left = max(self._deadline - time.perf_counter(), 0.0)
        outcome, solution = self.program.solve(
            cutoff=None if cutoff == inf else cutoff, time_limit_s=left, on_tick=self._on_tick
        )
        if solution is not None and outcome.x is not None and not self.program.eases:
            self._known.append((outcome.x, solution.score))
        return outcome, solution

    def _known_to_meet(self, rows: Sequence[RowDemand]) -> Array | None:
        """The best solution known that meets the demands."""
        met = [
            (score, i)
            for i, (x, score) in enumerate(self._known)
            if all(meets(row, x) for row in rows)
        ]
        return self._known[min(met)[1]][0] if met else None
