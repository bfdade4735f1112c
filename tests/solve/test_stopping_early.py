"""Time limits and Ctrl-C: the best so far, with what is proven of it."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from optimizer.assess.result import Ranking
from optimizer.problem.build import build_problem
from optimizer.problem.presolve import Switches, reduce
from optimizer.setting import build_setting
from optimizer.solve.highs import LiveModel, Outcome, SolveInterrupted
from optimizer.solve.place import Progress, place
from optimizer.solve.program import Program
from optimizer.study.model import LimitSpec, Part, Study
from tests.instances import HERE, PLACES, few_routes, model, site, study
from tests.solve.comparing import answerable
from tests.solve.test_independent_solver import medium
from tests.solve.test_limits_needed import unbalanced

ROOT = Path(__file__).parents[2]


def packing(parts: int = 24) -> Study:
    """Many unlike parts in tight places, both legs alike: slow to prove, quick to start on."""
    rng = np.random.default_rng(1)
    masses = rng.uniform(0.05, 0.4, parts)
    places = PLACES[2:9]
    names = tuple(f"s{i}" for i in range(len(places)))
    most = float(masses.sum()) / len(places) * 1.05
    return study(
        parts=tuple(
            Part(
                f"p{i}",
                (model("m", float(kg), names, size_m=(float(rng.uniform(0.02, 0.2)), 0.04, 0.02)),),
                1,
                HERE,
            )
            for i, kg in enumerate(masses)
        ),
        sites=tuple(site(n, p, max_mass_kg=most) for n, p in zip(names, places, strict=True)),
        limits=(LimitSpec("left_right_mass", "", 0.01, HERE),),
        routes=few_routes(),
        inertia_pose="swing",
    )


def assert_unproven(answer: Ranking, status: str) -> None:
    """One layout that meets every limit, with a bound below its score and the gap between."""
    (entry,) = answer.layouts
    assert entry.assessment.feasible
    assert not answer.exhausted
    proof = entry.proof
    assert proof.status == status
    assert 0.0 < proof.bound < proof.score == pytest.approx(entry.assessment.score)
    assert proof.gap == pytest.approx((proof.score - proof.bound) / proof.score)
    assert 0.0 < proof.gap < 1.0


@pytest.mark.parametrize("search", [True, False])
def test_time_limit_returns_the_best_so_far_with_its_gap(search: bool) -> None:
    ticks: list[Progress] = []
    started = time.perf_counter()
    answer = place(
        packing(),
        top=3,
        time_limit_s=2.5,
        on_progress=ticks.append,
        switches=Switches(search=search),
    )
    assert time.perf_counter() - started < 2.5 + 2.5
    assert isinstance(answer, Ranking)
    assert_unproven(answer, "time_limit")
    assert ticks
    for tick in ticks:
        assert (tick.rank, tick.found) == (1, 0)
        if tick.incumbent is not None and tick.bound is not None:
            assert tick.bound <= tick.incumbent + 1e-6
            assert tick.gap == pytest.approx((tick.incumbent - tick.bound) / tick.incumbent)
    known = [tick.incumbent for tick in ticks if tick.incumbent is not None]
    assert known == sorted(known, reverse=True)


def test_time_limit_of_the_study_counts_too() -> None:
    slow = packing()
    limited = replace(slow, solve=replace(slow.solve, time_limit_s=0.0))
    answer = place(limited)
    assert isinstance(answer, Ranking)
    assert not answer.layouts
    assert not answer.exhausted
    assert "stopped before any layout was found" in answer.warnings


@pytest.mark.parametrize("search", [True, False])
def test_a_gap_asked_for_is_proven_and_told(search: bool) -> None:
    switches = Switches(search=search)
    exact = place(medium(301), top=1, switches=switches)
    rough = place(medium(301), top=1, gap=0.3, switches=switches)
    assert isinstance(exact, Ranking)
    assert isinstance(rough, Ranking)
    best, found = exact.layouts[0].proof, rough.layouts[0].proof
    assert found.status == "optimal"
    assert found.gap <= 0.3
    assert found.gap == pytest.approx((found.score - found.bound) / found.score, abs=1e-9)
    assert found.bound - 1e-6 <= best.score <= found.score + 1e-6


CHILD = """
import json, sys
from optimizer.problem.presolve import Switches
from optimizer.solve.place import place
from tests.solve.test_stopping_early import packing

def tell(progress):
    if progress.incumbent is not None:
        print("found", flush=True)

switches = Switches(search=sys.argv[1] == "True")
answer = place(packing(), top=5, on_progress=tell, switches=switches)
(entry,) = answer.layouts
proof = entry.proof
print(json.dumps([proof.status, proof.score, proof.bound, proof.gap, answer.exhausted,
                  entry.assessment.feasible]), flush=True)
"""


@pytest.mark.skipif(os.name != "posix", reason="sends SIGINT")
@pytest.mark.parametrize("search", [True, False])
def test_ctrl_c_returns_the_best_so_far_with_its_gap(search: bool) -> None:
    path = os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")])
    child = subprocess.Popen(
        [sys.executable, "-c", CHILD, str(search)],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": path},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert child.stdout is not None
    try:
        assert child.stdout.readline().strip() == "found"
        child.send_signal(signal.SIGINT)
        sent = time.perf_counter()
        out, err = child.communicate(timeout=20)
    finally:
        child.kill()
    assert time.perf_counter() - sent < 10
    assert child.returncode == 0, err
    status, score, bound, gap, exhausted, feasible = json.loads(out.strip().splitlines()[-1])
    assert (status, exhausted, feasible) == ("interrupted", False, True)
    assert 0.0 < bound < score
    assert gap == pytest.approx((score - bound) / score)


def test_ctrl_c_between_two_solves_keeps_what_was_found(monkeypatch: pytest.MonkeyPatch) -> None:
    drawn = answerable(830)[0]
    whole = place(drawn, top=3)
    assert isinstance(whole, Ranking)
    assert len(whole.layouts) == 3
    excluded: list[object] = []

    def exclude(self: Program, chosen: tuple[int, ...]) -> None:
        excluded.append(chosen)
        if len(excluded) == 2:
            raise KeyboardInterrupt
        forbid(self, chosen)

    forbid = Program.exclude
    monkeypatch.setattr(Program, "exclude", exclude)
    answer = place(drawn, top=3, switches=Switches(search=False))
    assert isinstance(answer, Ranking)
    assert [e.assessment.score for e in answer.layouts] == pytest.approx(
        [e.assessment.score for e in whole.layouts[:2]]
    )
    assert not answer.exhausted


@pytest.mark.parametrize("status", ["time_limit", "interrupted"])
def test_what_only_a_detour_makes_feasible_is_no_best_so_far(
    status: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Stopped while the solver still balances the legs with a line led a longer way."""
    first = LiveModel.solve

    def stopped(self: LiveModel, **how: object) -> Outcome:
        outcome = replace(first(self, **how), status=status)  # type: ignore[arg-type]
        if status == "interrupted":
            raise SolveInterrupted(outcome)
        return outcome

    setting = build_setting(unbalanced())
    program = Program(reduce(build_problem(setting)))
    free = first(program.live)
    assert free.x is not None, "a detour makes it feasible for the solver"
    assert program.breaks_a_limit(program.read(free.x))
    monkeypatch.setattr(LiveModel, "solve", stopped)
    answer = place(setting, switches=Switches(search=False))
    assert isinstance(answer, Ranking)
    assert not answer.layouts
    assert not answer.exhausted
