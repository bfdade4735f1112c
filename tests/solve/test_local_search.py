"""Layouts of the local search: truly feasible, exactly scored, good, and the same every time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from optimizer.assess.agree import require_agreement
from optimizer.assess.assessment import assess
from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.build import build_problem
from optimizer.problem.pairwise import Pairwise, pairwise
from optimizer.problem.presolve import Switches, reduce
from optimizer.setting import Setting, build_setting
from optimizer.solve.annealing import SITE, Population, Tables
from optimizer.solve.layouts import layout_of
from optimizer.solve.local_search import LocalSearch, degree
from optimizer.solve.place import place
from optimizer.solve.program import solution_of
from optimizer.solve.scoring import Scorer
from optimizer.solve.search import Search
from optimizer.solve.shortlist import Entry, Shortlist
from optimizer.study.model import LimitSpec, Study
from tests.depth import some
from tests.instances import HERE, random_study, site
from tests.instances import study as bare
from tests.solve.comparing import answerable, assert_same_answer, best
from tests.solve.small import part
from tests.solve.test_independent_solver import medium
from tests.wearability.wearable import base_study, limited

SEEDS = some(range(3000, 3016), 8)


def nothing(open_: np.ndarray, known: IntArray, top: int, nodes: int) -> tuple[IntArray, Array]:
    """Merges nothing: what annealing finds stands alone."""
    del open_, top, nodes
    return known[:0], np.zeros(0)


def written(study: Study) -> tuple[Setting, Pairwise] | None:
    """The setting and the pairwise problem; None if the reduction leaves a slot empty."""
    setting = build_setting(study)
    reduced = reduce(build_problem(setting))
    return None if reduced.emptied else (setting, pairwise(reduced))


def annealed(model: Pairwise, seed: int = 0, sweeps: int = 40, rounds: int = 1) -> list[Entry]:
    """Layouts of some rounds from nowhere in particular, without merging."""
    shortlist = Shortlist(model, 12)
    even = np.ones(len(model.choice))
    search = LocalSearch(model, even, shortlist, nothing, degree(model), seed)
    for _ in range(rounds):
        search.round(sweeps)
    return shortlist.ranked()


@pytest.mark.parametrize("seed", SEEDS)
def test_every_layout_found_meets_all_limits_by_the_assessment(seed: int) -> None:
    """The assessment adds up the layout by itself, and owes nothing to the tables of pairs."""
    for study in (random_study(seed, parts=6, sites=7, lines=6), medium(seed)):
        made = written(study)
        if made is None:
            continue
        setting, model = made
        for entry in annealed(model):
            objective = model.problem.objective
            solution = solution_of(model.problem, entry.chosen, entry.options, objective)
            found = assess(setting, layout_of(setting, model.problem, solution))
            assert found.feasible
            require_agreement(solution, found)
            assert found.score == pytest.approx(entry.score, abs=1e-6)


def test_layouts_are_found_for_nearly_all_studies_that_have_any() -> None:
    found = 0
    studies = answerable(3100).first(20)
    for study in studies:
        made = written(study)
        assert made is not None
        found += bool(annealed(made[1]))
    assert found >= 18


def soft_belt(seed: int) -> Study:
    """What the belt carries over 0.3 kg costs points."""
    limits = (
        LimitSpec("belt_soft", "", 0.3, HERE),
        LimitSpec("belt_points", "", 40.0, HERE),
    )
    return replace(base_study(seed), limits=limits)


def few_pieces(seed: int) -> Study:
    return limited(seed, "donning_steps")


@pytest.mark.parametrize("maker", [random_study, soft_belt, few_pieces])
def test_totals_of_a_population_are_the_scores_of_its_members(
    maker: Callable[[int], Study],
) -> None:
    """Against the scorer, which knows the exact curve; what is carried along, from scratch."""
    compared = carried = 0
    for seed in range(3200, 3230):
        made = written(maker(seed))
        if made is None:
            continue
        model = made[1]
        tables = Tables(model, degree(model))
        rng = np.random.default_rng(seed)
        population = Population(tables, 24, np.ones(len(model.choice)), rng)
        unit = tables.degree
        population.anneal(10, unit, 0.2 * unit, 4)
        for _ in range(3):
            for slot in range(model.n_slots):
                population._draw(slot, unit)
        form = population._form
        totals = population.totals()
        assert form == pytest.approx(population._form, abs=1e-4)
        carried += form.size
        exact, special = Scorer(model).scores(population.chosen, np.inf)
        for n in np.flatnonzero(totals.fits):
            if int(n) not in special:
                assert totals.score[n] == pytest.approx(exact[n], abs=1e-4)
                compared += 1
    assert compared >= 100
    assert carried >= 100


def test_annealing_comes_near_the_proven_best() -> None:
    apart = []
    for seed in range(300, 312):
        study = medium(seed)
        made = written(study)
        optimum = best(place(study, top=1, switches=Switches(local_search=False)))
        if made is None or optimum == np.inf:
            continue
        entries = annealed(made[1])
        if entries:
            assert entries[0].score >= optimum - 1e-6
        apart.append(entries[0].score / optimum - 1.0 if entries else 1.0)
    assert len(apart) >= 8
    assert float(np.median(apart)) < 1e-3


def test_merging_puts_the_best_of_two_layouts_together() -> None:
    """The search among the choices of known layouts is at least as good as any of them."""
    better = 0
    for study in answerable(3300).first(12):
        reduced = reduce(build_problem(build_setting(study)))
        search = Search(reduced, top=1)
        model = search.model
        rows = np.array(
            [np.searchsorted(model.choice, entry.chosen) for entry in annealed(model, sweeps=4)]
        )
        if len(rows) < 3:
            continue
        scores, _ = Scorer(model).scores(rows, np.inf)
        rows, known = rows[1:], scores[1:]
        open_ = np.zeros(len(model.choice), dtype=bool)
        open_[rows] = True
        merged, values = search._merged(open_, rows, 1, 30)
        assert values[0] <= known.min() + 1e-9
        assert open_[merged].all()
        exact, _ = Scorer(model).scores(merged, np.inf)
        assert exact == pytest.approx(values)
        better += bool(values[0] < known.min() - 1e-9)
    assert better >= 1


@pytest.fixture
def always(monkeypatch: pytest.MonkeyPatch) -> None:
    """Small problems are searched too, though the tree would have done with them."""
    monkeypatch.setattr("optimizer.solve.local_search.SMALL", -1.0)
    monkeypatch.setattr("optimizer.solve.local_search.LEAST_GAP", -1.0)
    monkeypatch.setattr("optimizer.solve.local_search.MOST_SWEEPS", 12)
    monkeypatch.setattr("optimizer.solve.local_search.MOST_ROUNDS", 2)


@pytest.mark.usefixtures("always")
@pytest.mark.parametrize("seed", some(range(3400, 3420), 10))
def test_ranked_lists_are_the_same_without_it(seed: int) -> None:
    studies = [random_study(seed)]
    if seed % 4 == 0:
        studies.append(medium(seed))
    for study in studies:
        without = place(study, top=6, switches=Switches(local_search=False))
        assert_same_answer(study, place(study, top=6), without)


@pytest.mark.usefixtures("always")
@pytest.mark.parametrize("seed", [304, 305])
def test_the_same_seed_finds_the_same_layouts_in_the_same_order(seed: int) -> None:
    made = written(medium(seed))
    assert made is not None
    assert annealed(made[1], 5) == annealed(made[1], 5)
    reduced = reduce(build_problem(made[0]))
    first, second = (Search(reduced, top=5, node_limit=3, seed=2).run() for _ in range(2))
    assert first.entries == second.entries
    assert (first.nodes, first.bound) == (second.nodes, second.bound)


def test_it_stops_at_its_deadline() -> None:
    made = written(medium(304))
    assert made is not None
    model = made[1]
    shortlist = Shortlist(model, 3)
    even = np.ones(len(model.choice))
    LocalSearch(model, even, shortlist, nothing, degree(model)).round(10**6, deadline=0.0)
    assert len(shortlist) == 0


def test_a_site_slightly_overfilled_becomes_dearer_until_it_is_not() -> None:
    """Two parts of 0.505 kg, a site near the hip for 1 kg, and else the foot.

    Six light parts with two places much alike make a degree small, and so what overfilling the
    site by a hundredth costs if it becomes no dearer.
    """
    sites = (
        site("hip", ("thigh", "right", 0.1, 0.0, 0.05), max_mass_kg=1.0),
        site("foot", ("foot", "right", 0.6, 0.05, 0.0)),
        site("knee", ("shank", "right", 0.1, 0.05, 0.0)),
        site("beside", ("shank", "right", 0.6, 0.05, 0.0)),
    )
    heavy = tuple(part(f"heavy{n}", 0.505, "hip", "foot") for n in range(2))
    light = tuple(part(f"light{n}", 0.02, "knee", "beside") for n in range(6))
    made = written(bare(parts=(*heavy, *light), sites=sites))
    assert made is not None
    model = made[1]
    saved = np.ptp(model.cost[model.first[0] : model.first[1]])
    assert 0.01 * sum(SITE) * degree(model) < 0.5 * saved
    entries = annealed(model, rounds=3)
    assert entries
    names = model.problem.site_names
    at = [names[int(model.problem.choice_site[c])] for c in entries[0].chosen[:2]]
    assert sorted(at) == ["foot", "hip"]
