"""Every switch alone, on and off: the same optimum and the same ranked list, ties included."""

from __future__ import annotations

from dataclasses import fields
from functools import cache

import pytest
from agree import SMALL, TOP, check, enumerated_otherwise, main, study_of, summary
from families import FAMILIES, make
from speed.ranked import SAME, Listed, difference, listed, tolerance, variants
from speed.switches import all_off, names, without

from optimizer.problem.arrays import Problem
from optimizer.problem.build import build_problem
from optimizer.problem.presolve import Switches
from optimizer.setting import Setting, build_setting
from tests.depth import some
from tests.instances import random_study

SWITCHES = tuple(f.name for f in fields(Switches))
#: Studies of every kind of limit, and one of each small family.
SEEDS = some(range(2000, 2024), 14)


@cache
def settings() -> tuple[Setting, ...]:
    studies = [random_study(seed) for seed in SEEDS]
    studies += [make(FAMILIES[name], 40 + n)[0] for n, name in enumerate(SMALL)]
    return tuple(build_setting(study) for study in studies)


@cache
def problems() -> tuple[Problem, ...]:
    return tuple(build_problem(setting) for setting in settings())


@cache
def references() -> tuple[Listed, ...]:
    return tuple(listed(problem, Switches(), TOP) for problem in problems())


def test_every_switch_is_looked_at() -> None:
    assert names() == SWITCHES
    covered = {name for name in SWITCHES for label in variants() if label == f"{name} off"}
    assert covered == set(SWITCHES)
    assert not any(getattr(all_off(), name) for name in SWITCHES)


def test_lists_are_worth_comparing() -> None:
    """Most studies have as many layouts as are listed; some have none."""
    found = [len(reference.scores) for reference in references()]
    assert sum(n == TOP for n in found) >= 0.6 * len(SEEDS)
    assert all(reference.finished for reference in references())
    assert any(problem.exchange for problem in problems())
    assert any(problem.objective.curve is not None for problem in problems())


@pytest.mark.parametrize("name", SWITCHES)
def test_a_switch_changes_no_list(name: str) -> None:
    off = [without(name)]
    if name not in ("search", "enumeration"):
        off.append(without(name, "enumeration"))  # the tree must branch
    for problem, reference in zip(problems(), references(), strict=True):
        # one of the two, in turn
        switches = off[len(problem.choice_slot) % len(off)]
        other = listed(problem, switches, TOP)
        assert other.finished
        assert difference(reference, other, tolerance(problem, switches)) == ""


@pytest.mark.parametrize("n", range(12))
def test_ranked_list_is_that_of_plain_enumeration(n: int) -> None:
    assert enumerated_otherwise(settings()[n], references()[n]) == ""


# -- that differences are seen -------------------------------------------------------------------


def some() -> Listed:
    return next(r for r in references() if len(r.scores) == TOP and r.scores[0] < r.scores[-1])


def test_a_lost_optimum_is_seen() -> None:
    whole = some()
    rest = listed(problems()[references().index(whole)], Switches(), TOP + 1)
    assert difference(whole, whole, SAME) == ""
    assert "rank 1" in difference(whole, Listed(rest.scores[1:], rest.layouts[1:], True), SAME)


def test_a_list_too_short_is_seen() -> None:
    whole = some()
    assert "8 layouts against 7" in difference(
        whole, Listed(whole.scores[:-1], whole.layouts[:-1], True), SAME
    )


def test_another_layout_of_the_same_score_is_seen_but_at_the_last_rank() -> None:
    keys = ("a", "b", "c")
    one = Listed((1.0, 2.0, 3.0), keys, True)
    assert "1 layouts missing, 1 added" in difference(
        one, Listed(one.scores, ("a", "x", "c"), True), SAME
    )
    assert difference(one, Listed(one.scores, ("a", "b", "x"), True), SAME) == ""
    tied = Listed((1.0, 3.0, 3.0), keys, True)
    assert difference(tied, Listed(tied.scores, ("a", "c", "x"), True), SAME) == ""


def test_equal_scores_may_come_in_any_order() -> None:
    one = Listed((1.0, 1.0 + 1e-9, 3.0), ("a", "b", "c"), True)
    other = Listed((1.0, 1.0 + 1e-9, 3.0), ("b", "a", "c"), True)
    assert difference(one, other, SAME) == ""


# -- the command ---------------------------------------------------------------------------------


def test_numbers_name_instances_for_good() -> None:
    assert study_of(1) == study_of(1)
    assert [study_of(n)[2] for n in range(1, 6)] == [True, False, True, False, False]
    assert study_of(5)[0].startswith("8x24_")


def test_command_tells_that_all_agree(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--start", "2001", "--instances", "1", "--workers", "1"]) == 0
    told = capsys.readouterr()
    assert "0 instances differ" in told.out
    assert "1/1 instances" in told.err


def test_command_ends_with_1_and_the_number_where_a_speed_up_loses_a_layout(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def lossy(problem: Problem, switches: Switches, top: int, limit_s: float) -> Listed:
        whole = listed(problem, switches, top + 1, limit_s)
        start = 0 if switches.first_layouts else 1
        kept = slice(start, start + top)
        return Listed(whole.scores[kept], whole.layouts[kept], True, 1, whole.chosen[kept])

    monkeypatch.setattr("agree.listed", lossy)
    assert main(["--start", "2007", "--instances", "1", "--workers", "1"]) == 1
    told = capsys.readouterr().out
    assert "--start 2007 --instances 1" in told
    assert "first_layouts off: rank 1 scores" in told
    assert "1 instances differ" in told


def test_a_list_out_of_time_is_told_as_unfinished() -> None:
    checked = check(2010, limit_s=0.0)
    assert "all on" in checked.unfinished
    assert not checked.wrong
    assert "1 left a list unfinished" in summary([checked])
