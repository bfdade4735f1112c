"""Nodes cut like the root: nothing is lost, and what goes with it from node to node still holds."""

from __future__ import annotations

from dataclasses import fields, replace
from math import inf

import numpy as np
import pytest

from optimizer.problem.pairwise import Pairwise
from optimizer.problem.presolve import Switches
from optimizer.solve.covers import Covers
from optimizer.solve.relaxation import Relaxation
from optimizer.solve.scoring import Scorer
from optimizer.solve.search import Search
from optimizer.solve.site_hulls import SiteHulls
from optimizer.solve.tighten import Tightener
from optimizer.solve.usage import Usage, groups
from optimizer.solve.visiting import Errand, Node, Visitor
from tests.depth import some
from tests.instances import random_study
from tests.solve.every import layouts, scored, visitor_of

#: A tree that is spared nothing but closing and cuts.
TREE = Switches(
    **{
        f.name: f.name
        in ("search", "reduced_costs", "shrinking", "hull_cuts", "limit_cuts", "node_cuts")
        for f in fields(Switches)
    }
)


def dear(patch: pytest.MonkeyPatch) -> list[int]:
    """Makes trees long and nodes be cut anew from the first; tells how many choices each had."""
    seen: list[int] = []
    cut_anew = Visitor._cut_anew

    def counted(self: Visitor, node: Node, threshold: float) -> Node | None:
        seen.append(int(np.count_nonzero(node.open)))
        return cut_anew(self, node, threshold)

    patch.setattr(Visitor, "_cut_anew", counted)
    patch.setattr("optimizer.solve.search.LONG_AFTER", 0)
    patch.setattr("optimizer.solve.search.LONG", 1)
    patch.setattr("optimizer.solve.search.ALONE", 1)
    patch.setattr("optimizer.solve.visiting.SHRUNK", 1.0)
    patch.setattr("optimizer.solve.tighten.SHRUNK", 1.0)
    return seen


@pytest.mark.parametrize("top", [1, 5])
def test_all_that_is_wanted_is_found(top: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Against every layout there is."""
    cut = dear(monkeypatch)
    for reduced, wanted in scored(some(range(8300, 8340), 20)):
        for switches in (TREE, replace(TREE, compiled=True), replace(TREE, counts=True)):
            found = Search(reduced, top=top, switches=switches).run()
            assert found.status == "optimal"
            told = [entry.score for entry in found.entries]
            # layouts that differ in nothing that shows count once
            assert told[0] == pytest.approx(wanted[0], abs=1e-9)
            plain = Search(reduced, top=top, switches=replace(switches, node_cuts=False)).run()
            assert told == pytest.approx([entry.score for entry in plain.entries], abs=1e-9)
    assert len(cut) > 30


def nodes(model: Pairwise, rng: np.random.Generator) -> tuple[Relaxation, Node] | None:
    """A relaxation solved with some choices closed and something said of sites; None if none is."""
    relaxation, usage = Relaxation(model), Usage.free(model)
    site = int(rng.choice(model.site))
    usage = usage.of_site(site, bool(rng.random() < 0.5))
    for group in range(len(usage.most)):
        if usage.most[group] > 2.0 and rng.random() < 0.7:
            usage = usage.of_group(group, int(usage.most[group]) - 1, bool(rng.random() < 0.5))
    open_ = rng.random(len(model.choice)) < 0.8
    relaxation.set_open(open_, usage)
    return (relaxation, Node(open_, usage)) if relaxation.solve() == "optimal" else None


def test_a_smaller_relaxation_is_told_the_same_of_sites() -> None:
    """Its optimum is that of the one it comes from, whose first basis it starts from."""
    quick = tried = 0
    for seed in range(8100, 8170):
        made = layouts(random_study(seed, parts=5, sites=6, lines=4))
        if made is None:
            continue
        found = nodes(made[1], np.random.default_rng(seed))
        if found is None:
            continue
        relaxation, node = found
        before = relaxation.lp.objective
        for at in (relaxation.optimum(), None):
            other, optimum = relaxation.smaller(node.open, {}, at)
            if optimum is not None:
                assert other.lp.objective == pytest.approx(before, abs=1e-7)
            started = other.lp.iterations
            assert other.solve() == "optimal"
            assert other.lp.objective == pytest.approx(before, abs=1e-7)
            quick += at is not None and other.lp.iterations == started
            tried += at is not None
    assert tried > 8
    assert quick > 0.8 * tried


def test_a_cut_node_loses_no_layout_that_is_wanted() -> None:
    """Nor do cuts that its relaxation leaves behind for the next one."""
    kept = closed = 0
    switches = replace(Switches(), enumeration=False)
    for seed in range(8100, 8160):
        made = layouts(random_study(seed, parts=5, sites=6, lines=4))
        if made is None:
            continue
        _, model, rows = made
        found = nodes(model, np.random.default_rng(seed))
        if found is None:
            continue
        relaxation, node = found
        scores = Scorer(model).scores(rows, np.inf)[0]
        threshold = float(np.quantile(scores, 0.5)) + 1e-9
        used = np.zeros((len(rows), model.n_sites), dtype=bool)
        used[np.arange(len(rows))[:, None], model.site[rows]] = True
        number = np.stack([(used & group).sum(axis=1) for group in groups(model)], axis=1)
        usage = node.usage
        of_node = (
            node.open[rows].all(axis=1)
            & (used | ~usage.must).all(axis=1)
            & (~used | usage.may).all(axis=1)
            & ((number >= usage.least) & (number <= usage.most)).all(axis=1)
            & (scores <= threshold)
        )
        known = Covers(model, relaxation.u), SiteHulls(model, relaxation)
        tightener = Tightener(relaxation, switches, inf, node=(node.open, node.usage), known=known)
        tightener.bounded()
        root = tightener.hull(lambda most=threshold: most)
        if root.done:
            assert not of_node.any()
            continue
        assert tightener.open[rows[of_node]].all()
        kept += int(of_node.sum())
        closed += int(np.count_nonzero(node.open & ~tightener.open))
        if of_node.any():
            assert tightener.value <= scores[of_node].min() + 1e-7
        # what has been looked for in the node's relaxation is looked for at the root again
        known[1].use(relaxation)
        for cut in known[1].violated(relaxation.value, 1e-3):
            point = np.zeros(len(relaxation.value))
            for row in rows[:50]:
                point[:] = 0.0
                point[row] = 1.0
                point[relaxation.u[np.unique(model.site[row])]] = 1.0
                lined = np.isin(relaxation.line_a, row) & np.isin(relaxation.line_b, row)
                point[relaxation.line_at[lined]] = 1.0
                assert point[cut.columns] @ cut.values <= cut.upper + 1e-9
    assert kept > 20
    assert closed > 5


def test_a_visitor_tells_the_least_of_its_nodes_and_shares_them() -> None:
    made = next(
        made
        for seed in range(8100, 8160)
        if (made := layouts(random_study(seed, parts=5, sites=6, lines=4))) is not None
    )
    model = made[1]
    relaxation = Relaxation(model)
    assert relaxation.solve() == "optimal"
    visitor = visitor_of(model, relaxation)
    node = Node(np.ones(len(model.choice), dtype=bool), Usage.free(model))
    for bound in (5.0, 3.0, 4.0, 7.0, 6.0):
        visitor.add(bound, node)
    visitor.looked_up()
    assert visitor.bound == 3.0
    other = visitor.another(0)
    assert other.idle and not visitor.idle
    visitor.share(other)
    for each in (visitor, other):
        each.looked_up()
    assert sorted((visitor.bound, other.bound)) == [3.0, 4.0]
    assert (visitor.spare, other.spare) == (2, 3)
    # nothing beyond 2 is wanted: the nodes left are let go of without a visit
    haul = visitor.dive(Errand(2.0, cutting=False, long=False, most_nodes=9, work=10**9))
    assert haul.nodes == 0 and visitor.idle
