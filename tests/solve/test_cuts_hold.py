"""No layout that fits is cut off: every cut the root makes, against every layout one by one."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.problem.arrays import IntArray
from optimizer.problem.build import build_problem
from optimizer.problem.pairwise import Pairwise, pairwise
from optimizer.problem.presolve import Reduced, Switches, reduce
from optimizer.setting import build_setting
from optimizer.solve.compiled_hulls import CompiledSiteHulls
from optimizer.solve.limit_hulls import LimitHulls
from optimizer.solve.relaxation import Cut, Relaxation
from optimizer.solve.search import Search
from optimizer.solve.site_hulls import SiteHulls
from tests.depth import some
from tests.instances import random_study
from tests.native import NEEDS_COMPILED
from tests.solve.every import assignments, feasible
from tests.solve.points import point

SEEDS = some(range(6400, 6440), 14)


def small(seed: int) -> Reduced | None:
    """A small problem with few pockets; None if a slot is left empty."""
    reduced = reduce(build_problem(build_setting(random_study(seed, parts=6, sites=4, lines=6))))
    return None if reduced.emptied else reduced


def layouts(model: Pairwise) -> IntArray:
    """All that fit, none if there are too many to look at."""
    rows = assignments(model)
    return np.zeros((0, model.n_slots), dtype=np.int64) if rows is None else feasible(model, rows)


def holds(relaxation: Relaxation, cuts: list[Cut], rows: IntArray) -> int:
    """Check all layouts; how many were open there."""
    looked_at = 0
    for row in rows:
        value = point(relaxation, row)
        if value is None:
            continue
        looked_at += 1
        for cut in cuts:
            assert cut.values @ value[cut.columns] <= cut.upper + 1e-7, (row, cut)
    return looked_at


def test_cuts_of_whole_searches_hold(monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[tuple[Relaxation, Cut]] = []
    add = Relaxation.add_cuts

    def watched(self: Relaxation, cuts: list[Cut]) -> None:
        made.extend((self, cut) for cut in cuts)
        add(self, cuts)

    monkeypatch.setattr(Relaxation, "add_cuts", watched)
    monkeypatch.setattr("optimizer.solve.tighten.FEW", -1.0)
    looked_at = cuts = 0
    for seed in SEEDS:
        reduced = small(seed)
        if reduced is None:
            continue
        made.clear()
        # nothing closed for its cost: every layout is looked at
        switches = Switches(reduced_costs=False, first_layouts=False, enumeration=False)
        search = Search(reduced, node_limit=5, switches=switches)
        search.run()
        rows = layouts(search.model)
        cuts += len(made)
        for relaxation, cut in made:
            if relaxation.model is search.model:
                looked_at += holds(relaxation, [cut], rows)
    assert cuts > 20 and looked_at > 1000


KINDS = {
    "limits": LimitHulls,
    "sites": SiteHulls,
    "sites, compiled": CompiledSiteHulls,
}


@pytest.mark.parametrize(
    "kind", ["limits", "sites", pytest.param("sites, compiled", marks=NEEDS_COMPILED)]
)
@pytest.mark.parametrize("most_sets", [3000, 12])
def test_cuts_of_points_between_layouts_hold(
    kind: str, most_sets: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Points drawn at random between layouts that break a limit: cut off more than once."""
    monkeypatch.setattr("optimizer.solve.packing.MOST_SETS", most_sets)
    # compiled: with time enough, or with so little that lists take over for the most part
    monkeypatch.setattr("optimizer.solve.compiled_hulls.BUDGET", 100_000 if most_sets > 12 else 40)
    monkeypatch.setattr("optimizer.solve.limit_hulls.TIGHT", np.inf)
    cuts = 0
    for seed in SEEDS:
        reduced = small(seed)
        if reduced is None:
            continue
        model = pairwise(reduced)
        everything, rng = assignments(model), np.random.default_rng(seed)
        if everything is None:
            continue
        rows, relaxation = feasible(model, everything), Relaxation(model)
        hulls = KINDS[kind](model, relaxation)
        for _ in range(6):
            drawn = everything[rng.integers(len(everything), size=3)]
            values = [each for row in drawn if (each := point(relaxation, row)) is not None]
            if not values:
                continue
            share = rng.dirichlet(np.ones(len(values)))
            relaxation.value = np.asarray(share @ np.array(values))
            if isinstance(hulls, LimitHulls):
                hulls.use(relaxation)
            found = hulls.violated(relaxation.value, 1e-3)
            cuts += len(found)
            for cut in found:
                overstep = cut.values @ relaxation.value[cut.columns] - cut.upper
                assert overstep > 1e-3 - 1e-9
            holds(relaxation, found, rows)
    assert cuts > 10
