"""What-ifs asked of one live program: the best layout under a further demand, and its price."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import inf

from optimizer.assess.agree import require_agreement
from optimizer.assess.assessment import assess
from optimizer.assess.result import Assessment
from optimizer.assess.why import Alternative
from optimizer.problem.arrays import Array
from optimizer.setting import Setting
from optimizer.solve.demands import Demand, RowDemand, as_row, demanding, meets
from optimizer.solve.easing import Easing, make_easing
from optimizer.solve.highs import Outcome, Tick
from optimizer.solve.layouts import layout_of
from optimizer.solve.link_program import LinkProgram
from optimizer.solve.program import Solution
from optimizer.study.model import Study
from optimizer.study.relax import eased

#: Layouts nearer in score than this are equally good.
EQUAL = 1e-6
#: Score points for every part not where it is in the best layout: far below what counts.
NEARNESS = 1e-8


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
    """A solved study and its program, ready to be asked what-ifs.

    `share` is by how much limits may be loosened; `deadline`, by `time.perf_counter`, ends every
    search. `solution` and `best` are None if no layout was found.
    """

    def __init__(
        self,
        setting: Setting,
        share: float,
        *,
        deadline: float = inf,
        on_tick: Callable[[Tick], None] | None = None,
    ):
        spec = setting.study.solve
        self.setting, self.share, self._deadline = setting, share, deadline
        self.easing: Easing = make_easing(setting, share)
        self.program = LinkProgram(self.easing, seed=spec.seed, threads=spec.threads)
        self.problem = self.easing.problem
        self._on_tick = on_tick
        self._known: list[tuple[Array, float]] = []
        outcome, solution = self._solve(inf)
        self.outcome: Outcome = outcome
        self.solution = solution
        self.best: Assessment | None = None
        self._costs = self.program.formulation.costs(self.program.objective)
        if solution is not None:
            self.best = self.assessed(solution)
            self._favour(solution)

    @property
    def score(self) -> float:
        """The best score."""
        assert self.solution is not None
        return self.solution.score

    def ask(self, demands: Sequence[Demand], cutoff: float = inf) -> Answer:
        """The best solution that meets all demands; none where it does not score below `cutoff`."""
        rows = [as_row(self.program, demand) for demand in demands]
        start = self._known_to_meet(rows) if not self.program.eases else None
        with demanding(self.program, rows):
            if start is not None:
                self.program.live.set_start(start)
            outcome, solution = self._solve(cutoff)
        settled = outcome.status in ("optimal", "infeasible")
        bound = outcome.bound if outcome.status != "optimal" or solution is None else solution.score
        return Answer(solution, bound, settled)

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
            replace(self.setting, study=study), 0.0, deadline=self._deadline, on_tick=self._on_tick
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
        study = self.setting.study
        for m in self.program.eases:
            study = eased(study, self.easing.limits[m], self.share)
        setting = replace(self.setting, study=study)
        assessment = assess(setting, layout_of(setting, self.program.problem, solution))
        require_agreement(solution, assessment)
        return assessment

    def _favour(self, solution: Solution) -> None:
        """Of layouts that score the same, find the one nearest to the best from now on."""
        kept = set(solution.chosen)
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
