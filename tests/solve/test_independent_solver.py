"""Medium studies answered by another solver and another formulation: products of places.

The formulation has a column for every pair of places of every line option, where the program
routes a flow; coefficients are integers, billionths of a score point, of a kilogram, of a litre.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import pytest

from optimizer.assess.result import Infeasible, Ranking
from optimizer.problem.presolve import Switches
from optimizer.setting import Setting, build_setting
from optimizer.solve.place import place
from optimizer.study.model import Study
from tests.depth import some
from tests.instances import random_study
from tests.solve.oracle import BOTH, HIP, KEYS, WIDTH, Ledger, Vector, legs_of

cp_model = pytest.importorskip("ortools.sat.python.cp_model")
FINE = 10**9


def medium(seed: int) -> Study:
    """8 to 12 parts on 10 to 14 sites, a trunk model that is linear in the load."""
    rng = np.random.default_rng(seed)
    drawn = random_study(
        seed,
        parts=int(rng.integers(8, 11)),
        sites=int(rng.integers(10, 15)),
        lines=int(rng.integers(8, 12)),
    )
    linear = replace(drawn.energy, trunk=str(rng.choice(["browning_waist", "ludlow_weyand"])))
    return replace(drawn, energy=linear)


class Pairwise:
    """The study as a CP-SAT model."""

    def __init__(self, setting: Setting):
        self.ledger = Ledger(setting)
        self.study = setting.study
        self.model = cp_model.CpModel()
        self.terms: list[tuple[object, Vector, float]] = []
        self._parts()
        self._sites()
        self._rules()
        for number in range(len(self.ledger.lines)):
            self._line(number)
        self._limits()
        scale, weights = self.ledger.scale, setting.study.weights
        score = scale.marginal()
        self._minimise(
            (col, tally @ score + weights.comfort * uneasy) for col, tally, uneasy in self.terms
        )

    def _parts(self) -> None:
        self.x = []
        for unit in self.ledger.units:
            columns = [self.model.new_bool_var("") for _ in unit.choices]
            self.model.add_exactly_one(columns)
            self.x.append(columns)
            tallies = self.ledger.part_tallies(unit)
            self.terms += [(x, tally, 0.0) for x, tally in zip(columns, tallies, strict=True)]

    def at(self, unit: int, site: int) -> list[object]:
        choices = self.ledger.units[unit].choices
        return [x for x, (_, s) in zip(self.x[unit], choices, strict=True) if s == site]

    def _sites(self) -> None:
        self.used = []
        for s, site in enumerate(self.study.sites):
            used = self.model.new_bool_var("")
            here = [x for u in range(len(self.x)) for x in self.at(u, s)]
            self.model.add_max_equality(used, here) if here else self.model.add(used == 0)
            self.used.append(used)
            self.terms.append((used, self.ledger.holders[s], float(self.ledger.uneasy[s])))
            for cap, measure, grain in (
                (site.max_mass_kg, "mass_kg", 1),
                (site.volume_m3, "volume_m3", 1000),
            ):
                if cap < np.inf:
                    loads = [
                        (x, getattr(unit.part.models[k], measure) * grain)
                        for u, unit in enumerate(self.ledger.units)
                        for x, (k, t) in zip(self.x[u], unit.choices, strict=True)
                        if t == s
                    ]
                    self._at_most(loads, cap * grain)

    def _rules(self) -> None:
        units = self.ledger.units
        for rule, allowed in zip(self.study.rules, self.ledger.allowed, strict=True):
            for a in range(len(units)):
                for b in range(len(units)):
                    if (units[a].part.name, units[b].part.name) != (rule.part_a, rule.part_b):
                        continue
                    for s, t in np.argwhere(~allowed):
                        for i in self.at(a, int(s)):
                            for j in self.at(b, int(t)):
                                self.model.add_bool_or([i.negated(), j.negated()])  # type: ignore[attr-defined]

    def _line(self, number: int) -> None:
        drawn = self.ledger.lines[number]
        n = len(self.study.sites)
        out: list[list[object]] = [[] for _ in range(n)]
        into: list[list[object]] = [[] for _ in range(n)]
        for option in drawn.line.options:
            reached, tally = self.ledger.pairs(drawn.line, option)
            for s, t in np.argwhere(reached):
                if self.at(drawn.a, int(s)) and self.at(drawn.b, int(t)):
                    y = self.model.new_bool_var("")
                    out[s].append(y)
                    into[t].append(y)
                    self.terms.append((y, tally[s, t], 0.0))
        for s in range(n):
            self.model.add(sum(out[s]) == sum(self.at(drawn.a, s)))
            self.model.add(sum(into[s]) == sum(self.at(drawn.b, s)))

    def _limits(self) -> None:
        for limit in self.study.limits:
            for form in self._forms(limit.kind, limit.subject):
                loads = ((column, float(tally @ form)) for column, tally, _ in self.terms)
                self._at_most(loads, limit.value)
            if limit.kind == "sites_in_use":
                self.model.add(sum(self.used) <= int(limit.value))

    def _forms(self, kind: str, subject: str) -> list[Vector]:
        if kind == "sites_in_use":
            return []
        if kind == "segment_mass":
            return [np.eye(WIDTH)[i] for i, key in enumerate(KEYS) if key[0] == subject]
        if kind == "device_mass":
            return [(np.arange(WIDTH) < len(KEYS) - 1).astype(float)]
        form = np.zeros(WIDTH)
        for side, sign in zip(BOTH, (1.0, -1.0), strict=True):
            if kind == "left_right_mass":
                form[legs_of(side)] = sign
            else:
                form[HIP[side]] = sign * 100.0 / self.ledger.scale.bare
        return [form, -form]

    def _at_most(self, loads: Iterable[tuple[object, float]], cap: float) -> None:
        self.model.add(sum(x * round(v * FINE) for x, v in loads) <= round(cap * FINE))  # type: ignore[operator]

    def _minimise(self, loads: Iterable[tuple[object, float]]) -> None:
        self.model.minimize(sum(x * round(v * FINE) for x, v in loads))  # type: ignore[operator]

    def solve(self, seconds: float) -> tuple[str, float, float]:
        """Status, score of the best found, proven bound."""
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.max_time_in_seconds = seconds
        status = solver.status_name(solver.solve(self.model))
        found = status in ("OPTIMAL", "FEASIBLE")
        best = solver.objective_value / FINE if found else np.inf
        return status, best, solver.best_objective_bound / FINE


@pytest.mark.parametrize("seed", some(range(301, 317), 5))
def test_another_solver_finds_the_same_optimum(seed: int) -> None:
    study = medium(seed)
    assert 8 <= sum(part.count for part in study.parts) <= 13
    setting = build_setting(study)
    status, best, bound = Pairwise(setting).solve(20.0)
    for switches in (Switches(), Switches(search=False)):
        _agrees(place(setting, top=1, switches=switches), status, best, bound)


def _agrees(answer: Ranking | Infeasible, status: str, best: float, bound: float) -> None:
    if status == "INFEASIBLE":
        assert isinstance(answer, Infeasible)
        return
    assert isinstance(answer, Ranking)
    score = answer.layouts[0].proof.score
    assert answer.layouts[0].proof.gap == 0.0
    assert score <= best + 1e-6
    assert score >= bound - 1e-6
    if status == "OPTIMAL":
        assert score == pytest.approx(best, abs=1e-6)
