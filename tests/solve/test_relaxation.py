"""The linear relaxation made smaller, and its bound, against plain ways to the same."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from optimizer.problem.arrays import Array
from optimizer.problem.build import build_problem
from optimizer.problem.pairwise import Pairwise, pairwise
from optimizer.problem.presolve import reduce
from optimizer.setting import build_setting
from optimizer.solve.bounds import Key
from optimizer.solve.fewer import left_over
from optimizer.solve.relaxation import Cut, Mask, Part, Relaxation
from optimizer.solve.site_hulls import SiteHulls
from optimizer.solve.usage import Usage
from tests.instances import random_study

SEEDS = range(7100, 7124)


def written(seed: int) -> Pairwise | None:
    reduced = reduce(build_problem(build_setting(random_study(seed))))
    return None if reduced.emptied else pairwise(reduced)


def solved_ones() -> Iterator[tuple[Pairwise, np.random.Generator, Relaxation]]:
    """Problems with their relaxations, solved."""
    for seed in SEEDS:
        model = written(seed)
        if model is None:
            continue
        relaxation = Relaxation(model)
        if relaxation.solve() == "optimal":
            yield model, np.random.default_rng(seed), relaxation


def closing(
    relaxation: Relaxation, rng: np.random.Generator, spared: bool
) -> tuple[Mask, dict[Key, Mask]]:
    """Choices and pairs left at random; `spared`: none closed that the optimum uses."""
    model, value = relaxation.model, relaxation.value
    open_ = rng.random(len(model.choice)) < 0.7
    if spared:
        open_ |= value[: len(open_)] > 0.0
    for first, end in zip(model.first[:-1], model.first[1:], strict=True):
        if not open_[first:end].any():
            open_[first] = True
    allowed = {key: rng.random(pair.ok.shape) < 0.8 for key, pair in model.pairs.items()}
    if spared:
        used = value[relaxation.line_at] > 0.0
        a, b = relaxation.line_a[used], relaxation.line_b[used]
        for i, j in zip(a.tolist(), b.tolist(), strict=True):
            key = int(model.slot[i]), int(model.slot[j])
            allowed[key][i - model.first[key[0]], j - model.first[key[1]]] = True
    return open_, allowed


def from_scratch(of: Relaxation, open_: Mask, allowed: dict[Key, Mask], cuts: list[Cut]) -> str:
    """Status and, rounded, optimum of the same smaller relaxation started from nothing."""
    kept = of._form.left(open_, allowed)
    plain = Relaxation(of.model, 0, Part(of._form, open_, allowed, kept[0], kept))
    plain.add_cuts(plain.carried(cuts, of))
    status = plain.solve()
    return f"{status} {plain.lp.objective:.7f}"


@pytest.mark.parametrize("spared", [True, False])
def test_a_smaller_relaxation_has_the_optimum_of_one_from_scratch(spared: bool) -> None:
    known = solved = quick = 0
    for model, rng, first in solved_ones():
        relaxation = first
        cuts = SiteHulls(model, relaxation).violated(relaxation.value, 1e-3)
        relaxation.add_cuts(cuts)
        if relaxation.solve() != "optimal":
            continue
        for _ in range(2):  # smaller, and smaller once more
            at = relaxation.optimum()
            open_, allowed = closing(relaxation, rng, spared)
            open_ &= relaxation.open
            if not np.logical_or.reduceat(open_, model.first[:-1]).all():
                break
            for key in allowed:
                allowed[key] &= relaxation.allows(key)
            other, optimum = relaxation.smaller(open_, allowed, at)
            before = other.lp.objective if optimum is not None else None
            status = other.solve()
            told = f"{status} {other.lp.objective:.7f}"
            assert told == from_scratch(other, open_, allowed, other._cuts)
            if before is not None:
                known += 1
                quick += other.lp.iterations == 0
                assert before == pytest.approx(other.lp.objective, abs=1e-7)
            solved += 1
            if status != "optimal":
                break
            relaxation = other
    assert solved > 15
    if spared:
        # nothing it used was closed: the optimum is known, and the basis is one that tells so
        assert known == solved
        assert quick > 0.9 * known


def test_back_at_a_basis_of_before_the_last_cuts_the_optimum_is_near() -> None:
    """Solved somewhere else in between, with rows come in since the basis was kept."""
    near = far = came_back = 0
    for model, rng, relaxation in solved_ones():
        lp, optimum = relaxation.lp, relaxation.lp.objective
        kept = lp.basis()
        open_ = closing(relaxation, rng, spared=False)[0]
        everywhere = Usage.free(model)
        relaxation.set_open(open_, everywhere)
        if relaxation.solve() != "optimal":
            continue
        # true of every layout and of the optimum: it changes nothing
        row = Cut(np.flatnonzero(model.slot == 0), np.ones((model.slot == 0).sum()), 1.5)
        relaxation.add_cuts([row, row])
        relaxation.set_open(relaxation.open, everywhere)
        before = lp.iterations
        assert relaxation.solve() == "optimal"
        far += lp.iterations - before
        assert lp.objective == pytest.approx(optimum, abs=1e-7)
        lp.set_basis(kept)
        before = lp.iterations
        assert relaxation.solve() == "optimal"
        near += lp.iterations - before
        assert lp.objective == pytest.approx(optimum, abs=1e-7)
        came_back += 1
    assert came_back > 5
    assert near == 0 < far


def test_what_is_left_over_makes_a_basis_with_the_rest() -> None:
    """Bases of random sparse matrices stay square and regular with what may go gone."""
    rng = np.random.default_rng(5)
    gone = looked_at = 0
    for _ in range(1000):
        n, m = 14, 8
        matrix = np.where(rng.random((m, n)) < 0.35, rng.integers(1, 5, size=(m, n)), 0)
        everything = np.hstack([matrix, np.eye(m)])
        basis = rng.permutation(n + m)[:m]
        if abs(np.linalg.det(everything[:, basis])) < 1e-9:
            continue
        basic = np.isin(np.arange(n), basis), np.isin(n + np.arange(m), basis)
        unwanted = rng.random(n) < 0.5, rng.random(m) < 0.5
        row, column = np.nonzero(matrix)
        stay = left_over(row, column, unwanted, basic)
        columns, rows = ~unwanted[0] | stay[0], ~unwanted[1] | stay[1]
        left = np.hstack([matrix[rows][:, columns & basic[0]], np.eye(m)[rows][:, rows & basic[1]]])
        assert left.shape[0] == left.shape[1]
        assert len(left) == 0 or abs(np.linalg.det(left)) > 1e-9
        looked_at += 1
        gone += m - len(left)
    assert looked_at > 50 and gone > 50


def plain_tables(relaxation: Relaxation) -> tuple[float, dict[Key, Array]]:
    """Under the last prices: the least costs of all pairs together, and the tables beyond them."""
    m, entries, cuts = relaxation.model, relaxation._selected.entries, relaxation._cut_rows
    dual = relaxation.dual
    cost = relaxation.cost.copy()
    for row, column, value in zip(entries.row, entries.column, entries.value, strict=True):
        cost[column] -= value * dual[row]
    for row, column, value in zip(cuts.row, cuts.column, cuts.value, strict=True):
        cost[column] -= value * dual[len(entries.lower) + row]
    total, found = 0.0, {}
    for key, pair in m.pairs.items():
        within = np.flatnonzero(
            (m.slot[relaxation.line_a] == key[0]) & (m.slot[relaxation.line_b] == key[1])
        )
        table = np.where(pair.ok, 0.0, np.inf)
        if relaxation._form.lines.plain[relaxation._form.lines.keys.index(key)]:
            found[key] = table
            continue
        table = np.zeros(pair.ok.shape)
        for block in np.unique(relaxation.line_block[within]):
            each = np.full(pair.ok.shape, np.inf)
            for k in within[relaxation.line_block[within] == block]:
                i = relaxation.line_a[k] - m.first[key[0]]
                j = relaxation.line_b[k] - m.first[key[1]]
                each[i, j] = min(each[i, j], cost[relaxation.line_at[k]])
            table = table + each
        if not len(within):
            table[:] = np.inf
        least = float(table.min()) if np.isfinite(table).any() else 0.0
        total += least
        found[key] = table - least
    return total, found


def test_tables_of_a_bound_are_those_of_pair_after_pair() -> None:
    options = 0
    for model, _, relaxation in solved_ones():
        # prices of the wrong sign by rounding are not what this is about
        relaxation.dual[relaxation.n_equal :] = np.minimum(
            relaxation.dual[relaxation.n_equal :], 0.0
        )
        options += len(np.unique(relaxation.line_block)) > len(
            np.unique(relaxation._form.lines.slots, axis=0)
        )
        bound = relaxation.bound(Usage.free(model))
        _, wanted = plain_tables(relaxation)
        assert set(bound.table) == set(wanted)
        for key, table in wanted.items():
            np.testing.assert_allclose(bound.table[key], table, atol=1e-9)
        # the bound of an optimum is the optimum
        value = (
            bound.constant + np.minimum.reduceat(bound.choice + bound.share, model.first[:-1]).sum()
        )
        assert value == pytest.approx(relaxation.lp.objective + model.constant, abs=1e-6)
    assert options > 0


def test_a_slot_of_pairs_all_closed_leaves_a_table_of_inf() -> None:
    for seed in SEEDS:
        model = written(seed)
        if model is None:
            continue
        relaxation = Relaxation(model)
        if not len(relaxation.line_at) or relaxation.solve() != "optimal":
            continue
        key = int(model.slot[relaxation.line_a[0]]), int(model.slot[relaxation.line_b[0]])
        allowed = {key: np.zeros_like(model.pairs[key].ok)}
        other, optimum = relaxation.smaller(relaxation.open, allowed, relaxation.optimum())
        assert optimum is None
        assert other.solve() == "infeasible"
        assert np.isinf(other.bound(Usage.free(model)).table[key]).all()
        return
    pytest.fail("no study with a line")


def test_a_relaxation_is_given_up_only_where_its_optimum_is_beyond_what_is_wanted() -> None:
    given_up = 0
    for model, _, relaxation in solved_ones():
        optimum = relaxation.lp.objective + model.constant
        apart = 0.2 * max(abs(optimum), 1.0)
        for most in (optimum - apart, optimum, optimum + apart):
            fresh = Relaxation(model)
            status = fresh.solve(most=most)
            given_up += status == "beyond"
            assert status == "optimal" or most < optimum
            # and from a basis, as in the tree
            closed = np.ones(len(model.choice), dtype=bool)
            for slot in range(model.n_slots):
                own = np.arange(model.first[slot], model.first[slot + 1])
                if len(own) < 2:
                    continue
                closed[own[np.argmax(relaxation.value[own])]] = False
                break
            plain, cut_off = relaxation.twin(), relaxation.twin()
            for each in (plain, cut_off):
                each.set_open(closed, Usage.free(model))
            wanted, told = plain.solve(), cut_off.solve(most=most)
            if told == "beyond":
                given_up += 1
                assert wanted == "infeasible" or plain.lp.objective + model.constant > most
            else:
                assert told == wanted
    assert given_up > 5
