"""How often each layout is best when the uncertain numbers move, and which to choose then."""

from __future__ import annotations

import time
from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import replace
from math import inf
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optimizer.assess.agree import AGREEMENT, require_agreement
from optimizer.assess.assessment import assess
from optimizer.assess.result import Assessment, Infeasible
from optimizer.errors import DisagreementError
from optimizer.interrupts import stoppable
from optimizer.joint.heed import summed_up
from optimizer.joint.world import Plan, World, make_world
from optimizer.parallel import Sink, fingerprint, run
from optimizer.problem.presolve import reduce
from optimizer.solve.infeasible import explain
from optimizer.solve.program import Program
from optimizer.study.model import Study
from optimizer.trust.draws import Draws, draw, uncertain_of, world_studies
from optimizer.trust.evaluate import Sheet, evaluate, sheet_of
from optimizer.trust.regret import least_regret
from optimizer.trust.result import NEAR, Duel, LeastWorst, Missing, Stability, Trust, Trusted
from optimizer.trust.search import plan_from, ranked_plans, solve_chunk, tasks_of
from optimizer.trust.spread import Spread, make_spread
from optimizer.trust.statistics import (
    deciders,
    in_top,
    kendall,
    near,
    regrets,
    upper_bound,
    wins,
)

Array = NDArray[np.float64]

DRAWS = 2000
SCENARIOS = 60
TOP = 10
#: Layouts compared at most.
MOST = 50
#: Uncertain numbers named as deciding, at most.
NAMED = 5


def trust(
    study: Study,
    spread: Spread | None = None,
    *,
    draws: int = DRAWS,
    scenarios: int = SCENARIOS,
    top: int = TOP,
    seed: int | None = None,
    regret: bool = True,
    workers: int | None = None,
    executor: Executor | None = None,
    results_file: str | Path | None = None,
    on_progress: Sink | None = None,
) -> Trust | Infeasible:
    """How far the ranking of a study may be trusted.

    The first `scenarios` of the draws are each solved exactly; the layouts that win there and the
    study's own `top` best are compared in all `draws`. Same seed, same answer, whatever the
    workers.

    Parameters
    ----------
    spread : what is uncertain, None for the published spread; see `make_spread`
    regret : whether to solve for the layout of least worst regret
    workers, executor, results_file, on_progress : see `optimizer.parallel.run`

    Raises
    ------
    InputError
        For a spread, a model file or a results file that cannot be used.
    DisagreementError
        If the program and the assessment disagree about a layout.
    """
    started = time.perf_counter()
    spread = make_spread(study.energy) if spread is None else spread
    seed = study.solve.seed if seed is None else seed
    scenarios = min(scenarios, draws)
    nominal = make_world(study)
    own = [] if nominal.emptied else ranked_plans(nominal, top, study.solve.seed)
    if not own:
        return _no_layout(nominal, started)
    studies = world_studies(study, spread, seed)
    worlds = [nominal] if studies == [study] else [make_world(each) for each in studies]
    table = draw(study, nominal.setting, spread, draws, seed)
    tasks = tasks_of(study, spread, seed, [int(w) for w in table.world[:scenarios]], own[0])
    results = run(
        solve_chunk,
        tasks,
        what="draws solved",
        workers=workers,
        executor=executor,
        results_file=results_file,
        mark=fingerprint("trust", study, spread, seed, scenarios),
        on_progress=on_progress,
    )
    answers = sorted(
        (one for chunk in results.values if chunk is not None for one in chunk),
        key=lambda one: one["row"],
    )
    solved = [one for one in answers if one["status"] == "optimal"]
    winners = [(int(one["row"]), plan_from(one["plan"])) for one in solved]
    plans, missing, left_out = _candidates(nominal, own, winners, scenarios)
    least = None
    complete = not results.interrupted
    if regret and complete and solved:
        rows = [int(one["row"]) for one in solved]
        try:
            with stoppable():
                least = least_regret(
                    worlds,
                    table,
                    rows,
                    [float(one["value"]) for one in solved],
                    candidates=plans,
                    seed=study.solve.seed,
                    threads=study.solve.threads,
                )
        except KeyboardInterrupt:
            complete = False
        if least is not None and least.plan is not None:
            known = {nominal.key(plan) for plan in plans}
            if nominal.key(least.plan) not in known:
                plans.append(least.plan)
    sheets = [sheet_of(world, plans) for world in worlds]
    scores = evaluate(sheets, table)
    _require_agreement(nominal, plans, solved, scores)
    fits = np.isfinite(scores)
    live = fits.any(axis=1)
    rows_live = np.flatnonzero(live)
    share, se = wins(scores[live]) if live.any() else (np.zeros(len(plans)), np.zeros(len(plans)))
    best = np.array([float(one["value"]) for one in solved])
    at = np.array([int(one["row"]) for one in solved], dtype=int)
    exact = regrets(scores[at], best) if len(at) else np.zeros((0, len(plans)))
    above = regrets(scores[live]) if live.any() else np.zeros((0, len(plans)))
    close = near(scores[live], NEAR) if live.any() else np.zeros(len(plans))
    layouts = _layouts(nominal, plans, own, sheets, (share, se, close), above, exact)
    order = sorted(range(len(plans)), key=lambda i: (-share[i], layouts[i].mean_regret, i))
    names = {i: f"L{n}" for n, i in enumerate(order, start=1)}
    listed = tuple(replace(layouts[i], name=names[i]) for i in order)
    worst = None
    if least is not None:
        number = next((i for i, plan in enumerate(plans) if _same(nominal, plan, least.plan)), None)
        worst = LeastWorst(
            None if number is None else names[number],
            least.plan,
            None if number is None else layouts[number].assessment,
            least.regret,
            least.bound,
            least.proven,
            least.status,
            len(solved),
            layouts[0].exact_worst,
        )
    return Trust(
        study.name,
        listed,
        draws,
        draws - len(rows_live),
        scenarios,
        len(solved),
        len(answers) - len(solved),
        left_out,
        _duel(scores[live], order, names, table.take(rows_live), spread, studies),
        _stability(nominal, plans, scores[live]) if len(plans) > 1 and live.any() else None,
        missing,
        worst,
        spread,
        tuple((s.wearer.stature_m, s.wearer.mass_kg, s.task.speed_m_s) for s in studies),
        complete,
        time.perf_counter() - started,
        _warnings(nominal, worlds, listed),
    )


def _no_layout(nominal: World, started: float) -> Infeasible:
    reduced = reduce(nominal.problem)
    program = None if reduced.emptied else Program(reduced)
    return explain(nominal.setting, reduced, time.perf_counter() - started, program)


def _warnings(
    nominal: World, worlds: Sequence[World], listed: Sequence[Trusted]
) -> tuple[str, ...]:
    """Of the study's own wearer and task, of the layouts compared, of the bodies drawn."""
    said = [*nominal.setting.warnings]
    for layout in listed:
        said += () if layout.assessment is None else layout.assessment.warnings
    others = [
        (_who(world.setting.study), [t for t in world.setting.warnings if t not in said])
        for world in worlds
        if world is not nominal
    ]
    said += summed_up(others, "bodies and speeds")
    return tuple(dict.fromkeys(said))


def _who(study: Study) -> str:
    """ "1.74 m, 75 kg, 1.10 m/s"."""
    wearer, speed = study.wearer, study.task.speed_m_s
    return f"{wearer.stature_m:.2f} m, {wearer.mass_kg:.0f} kg, {speed:.2f} m/s"


def _candidates(
    nominal: World, own: Sequence[Plan], winners: Sequence[tuple[int, Plan]], scenarios: int
) -> tuple[list[Plan], Missing, int]:
    """Layouts to compare: the study's own best, then winners by how often they won."""
    plans = {nominal.key(plan): plan for plan in own}
    half = scenarios // 2
    first = [plan for row, plan in winners if row < half]
    second = [plan for row, plan in winners if row >= half]
    known = set(plans) | {nominal.key(plan) for plan in first}
    misses = sum(nominal.key(plan) not in known for plan in second)
    count: dict[tuple[object, ...], int] = {}
    for _, plan in winners:
        key = nominal.key(plan)
        count[key] = count.get(key, 0) + 1
        plans.setdefault(key, plan)
    kept = sorted(plans, key=lambda key: (-count.get(key, 0), list(plans).index(key)))
    first_key = nominal.key(own[0])
    kept = [first_key, *(key for key in kept if key != first_key)]
    missing = Missing(len(second), misses, upper_bound(misses, len(second)))
    return [plans[key] for key in kept[:MOST]], missing, max(0, len(kept) - MOST)


def _require_agreement(
    nominal: World, plans: Sequence[Plan], solved: Sequence[dict[str, Any]], scores: Array
) -> None:
    """The program's best of a draw must score the same in the evaluation of all draws."""
    number = {nominal.key(plan): i for i, plan in enumerate(plans)}
    for one in solved:
        column = number.get(nominal.key(plan_from(one["plan"])))
        if column is None:
            continue
        value, score = float(one["value"]), float(scores[int(one["row"]), column])
        if not abs(value - score) <= AGREEMENT * max(1.0, abs(value)):
            raise DisagreementError(
                f"the program and the evaluation disagree about draw {one['row']}: "
                f"{value!r} against {score!r}"
            )


def _same(nominal: World, plan: Plan, other: Plan | None) -> bool:
    return other is not None and nominal.key(plan) == nominal.key(other)


def _layouts(
    nominal: World,
    plans: Sequence[Plan],
    own: Sequence[Plan],
    sheets: Sequence[Sheet],
    shares: tuple[Array, Array, Array],
    above: Array,
    exact: Array,
) -> list[Trusted]:
    ranks = {nominal.key(plan): rank for rank, plan in enumerate(own, start=1)}
    made = []
    for i, plan in enumerate(plans):
        column = above[:, i][np.isfinite(above[:, i])]
        full = exact[:, i] if len(exact) else np.array([inf])
        made.append(
            Trusted(
                "",
                plan,
                assessed(nominal, plan),
                ranks.get(nominal.key(plan)),
                float(shares[0][i]),
                float(shares[1][i]),
                float(column.mean()) if len(column) else inf,
                float(column.max()) if len(column) else inf,
                float(full.max()),
                float(np.mean([sheet.fits[i] for sheet in sheets])),
                float(shares[2][i]),
            )
        )
    return made


def assessed(world: World, plan: Plan) -> Assessment | None:
    """A plan assessed in a world, both roads agreeing; None if it does not fit there."""
    solution = world.solution(plan)
    if solution is None or world.broken(solution):
        return None
    found = assess(world.setting, world.layout(solution))
    require_agreement(solution, found)
    return found


def _stability(nominal: World, plans: Sequence[Plan], scores: Array) -> Stability | None:
    """How the order by the study's own score holds in draws that fit every layout."""
    solutions = [nominal.solution(plan) for plan in plans]
    at = [i for i, s in enumerate(solutions) if s is not None and not nominal.broken(s)]
    own = np.array([s.score for i in at if (s := solutions[i]) is not None])
    table = scores[:, at]
    table = table[np.isfinite(table).all(axis=1)]
    if len(table) == 0 or len(at) < 2:
        return None
    tau = kendall(own, table)
    best = int(np.argmin(own))
    return Stability(
        float(tau.mean()),
        float(np.quantile(tau, 0.05)),
        in_top(table, best, 1),
        in_top(table, best, 3),
    )


def _duel(
    scores: Array,
    order: Sequence[int],
    names: dict[int, str],
    draws: Draws,
    spread: Spread,
    studies: Sequence[Study],
) -> Duel | None:
    if len(order) < 2 or len(scores) == 0:
        return None
    a = order[0]
    # wins of layouts as good as equal are split by trifles: the rival is one that differs
    b = next((i for i in order[1:] if not _alike(scores[:, a], scores[:, i])), order[1])
    both = np.isfinite(scores[:, a]) & np.isfinite(scores[:, b])
    if not both.any():
        return None
    rows = np.flatnonzero(both)
    difference = scores[rows, a] - scores[rows, b]
    numbers, kinds = uncertain_numbers(draws.take(rows), spread, studies)
    return Duel(
        names[a],
        names[b],
        float((difference < 0.0).mean()),
        float(difference.mean()),
        float(difference.std()),
        tuple(deciders(difference, numbers, kinds)[:NAMED]),
    )


def _alike(a: Array, b: Array) -> bool:
    """Whether two layouts score as good as the same wherever both fit."""
    both = np.isfinite(a) & np.isfinite(b)
    return bool(both.any() and np.mean(np.abs(a[both] - b[both]) / np.abs(a[both])) < NEAR / 2.0)


def uncertain_numbers(
    draws: Draws, spread: Spread, studies: Sequence[Study]
) -> tuple[dict[str, Array], dict[str, tuple[str, ...]]]:
    """Every uncertain number in words with its draws, and of choices what each is called."""
    titles = {u.name: u.title for u in uncertain_of(spread)}
    numbers = {titles.get(name, name): values for name, values in draws.factors.items()}
    kinds: dict[str, tuple[str, ...]] = {}
    for title, values, names in (
        ("which leg model holds", draws.leg, draws.leg_names),
        ("which trunk model holds", draws.trunk, draws.trunk_names),
    ):
        if len(names) > 1:
            numbers[title], kinds[title] = values.astype(float), names
    for name, slopes in draws.own.items():
        for i, slope in enumerate(("thigh", "shank", "foot", "waist")):
            numbers[f"slope of the {slope} in {name}"] = slopes[:, i]
    numbers["the wearer's net walking power"] = draws.walking_w_per_kg
    for i, name in enumerate(draws.part_names):
        numbers[f"mass of {name}"] = draws.parts[:, i]
    if len(studies) > 1:
        title = "wearer and speed"
        numbers[title] = draws.world.astype(float)
        kinds[title] = tuple(_who(s) for s in studies)
    return {name: v for name, v in numbers.items() if np.ptp(v) > 0.0}, kinds
