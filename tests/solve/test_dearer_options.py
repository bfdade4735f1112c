"""Lines that must take dearer options together: the compiled search is exact, within its budget."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from optimizer.problem.build import build_problem
from optimizer.problem.pairwise import Pairwise, pairwise
from optimizer.problem.presolve import reduce
from optimizer.setting import build_setting
from optimizer.solve.bounds import Bound
from optimizer.solve.compiled_enumeration import CompiledEnumerator
from optimizer.solve.relaxation import Relaxation
from optimizer.solve.usage import Usage
from optimizer.study.model import LimitSpec, Line
from tests.instances import HERE, line_option
from tests.native import NEEDS_COMPILED
from tests.solve.small import part, small

#: Tight enough for every option to be kept.
LIMIT = 1.0
pytestmark = NEEDS_COMPILED


def ballasted(n_lines: int, share: float, seed: int = 0) -> Pairwise:
    """One place for each part, and a left leg that heavier lines must make as heavy as the right.

    `share` of what dearer options can add is needed.
    """
    rng = np.random.default_rng(seed)

    def options(number: int) -> Line:
        # along the way or at its ends, mass is had at different prices
        rates = 0.01 + np.cumsum(rng.uniform(0.0, 0.05, 3))
        ends = 0.002 + np.cumsum(rng.uniform(0.0, 0.02, 3))
        own = tuple(
            replace(line_option(f"o{k}", float(rates[k])), end_mass_kg=float(ends[k]))
            for k in range(3)
        )
        return Line(f"l{number}", "wire", "hip", "toe", 0.0, own, HERE)

    parts = (part("hip", 0.2, "thigh_left"), part("toe", 0.2, "foot_left"))
    drawn = small(
        *parts,
        part("other", 2.0 + 0.1 * n_lines, "thigh_right"),
        lines=tuple(options(k) for k in range(n_lines)),
        limits=(LimitSpec("left_right_mass", "", LIMIT, HERE),),
    )
    model = pairwise(reduce(build_problem(build_setting(drawn))))
    assert model.n_slots == len(model.choice) == 3
    # the side that lines can relieve: what it comes to at its most and at its least
    most = least = model.form[:, : model.n_limits].sum(axis=0)
    for table in model.tables:
        form = table.form[0, 0][:, : model.n_limits]
        assert table.kept[0, 0].all()
        most, least = most + form.max(axis=0), least + form.min(axis=0)
    return replace(model, upper=np.where(most > least, most - share * (most - least), model.upper))


def exact(model: Pairwise) -> float:
    """The least score of all combinations of options that keep the limits."""
    n_l, best = model.n_limits, np.inf
    form = model.form[:, :n_l].sum(axis=0)
    cost = model.constant + model.cost.sum() + model.use_cost[np.unique(model.site)].sum()
    form = form + model.use_form[np.unique(model.site), :n_l].sum(axis=0)
    for picked in product(range(3), repeat=len(model.tables)):
        own = [t.form[0, 0, o, :n_l] for t, o in zip(model.tables, picked, strict=True)]
        if (form + np.sum(own, axis=0) <= model.upper + 1e-9).all():
            costs = [float(t.cost[0, 0, o]) for t, o in zip(model.tables, picked, strict=True)]
            best = min(best, float(cost) + sum(costs))
    return best


def asked(model: Pairwise) -> tuple[CompiledEnumerator, Bound, np.ndarray]:
    relaxation = Relaxation(model)
    assert relaxation.solve() == "optimal"
    return CompiledEnumerator(model), relaxation.bound(Usage.free(model)), np.ones(3, dtype=bool)


@pytest.mark.parametrize("share", [0.05, 0.5, 0.9, 1.0])
@pytest.mark.parametrize("n_lines", [1, 2, 3, 6])
def test_the_least_that_all_of_them_take_is_found(n_lines: int, share: float) -> None:
    model = ballasted(n_lines, share, seed=n_lines)
    best = exact(model)
    search, bound, open_ = asked(model)
    for beyond, found in ((1e-7, 1), (-1e-7, 0)):
        listing = search.run(bound, open_, best + beyond)
        assert listing.complete and len(listing.rows) == found


def test_where_nothing_is_dear_enough_there_is_none() -> None:
    search, bound, open_ = asked(ballasted(3, 1.0))
    model = replace(search._m, upper=search._m.upper - 1e-6)
    listing = CompiledEnumerator(model).run(bound, open_, np.inf)
    assert listing.complete and not len(listing.rows)


@pytest.mark.parametrize("share", [0.2, 0.5, 0.8])
def test_not_every_combination_is_looked_at(share: float) -> None:
    search, bound, open_ = asked(ballasted(12, share))
    listing = search.run(bound, open_, np.inf)
    assert listing.complete and len(listing.rows) == 1
    assert search.extended < 3**12 / 50


def test_where_the_cheapest_options_fit_none_is_looked_at() -> None:
    search, bound, open_ = asked(ballasted(24, 0.0))
    assert search.run(bound, open_, np.inf).complete
    assert search.extended <= 3


@pytest.mark.parametrize("budget", [30, 3000])
def test_past_its_budget_it_ends_and_says_so(budget: int) -> None:
    search, bound, open_ = asked(ballasted(24, 0.5))
    listing = search.run(bound, open_, np.inf, budget=budget, all_of_it=False)
    assert listing.over_budget and not listing.complete
    assert search.extended == budget + 1


def test_a_beam_ends_without_a_budget() -> None:
    search, bound, open_ = asked(ballasted(24, 0.5))
    listing = search.run(bound, open_, np.inf, width=2)
    assert len(listing.rows) <= 1
    assert search.extended < 200_000
