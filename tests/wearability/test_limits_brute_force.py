"""Every wearability limit: the program's best is the best of all layouts, listed one by one."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest

from optimizer.assess.result import Assessment, Infeasible, Ranking
from optimizer.setting import build_setting
from optimizer.solve.place import place
from optimizer.study.model import LimitSpec, Study
from tests.instances import HERE
from tests.wearability.wearable import base_study, limited, truth

SEEDS = range(8)
#: Kind and subject of every limit laid just above what some layout takes.
TIGHT = (
    ("trunk_offset", "fore_aft"),
    ("trunk_offset", "lateral"),
    ("com_shift", "fore_aft"),
    ("com_shift", "lateral"),
    ("com_shift", "vertical"),
    ("belt_hard", ""),
    ("contact_sustained", ""),
    ("contact_peak", ""),
    ("protrusion", ""),
)


def soft_belt(seed: int) -> Study:
    limits = (
        LimitSpec("belt_soft", "", 0.3, HERE),
        LimitSpec("belt_points", "", 40.0, HERE),
    )
    return replace(base_study(seed), limits=limits)


def soft_protrusion(seed: int) -> Study:
    limits = (
        LimitSpec("protrusion_soft", "", 0.03, HERE),
        LimitSpec("protrusion_points", "", 900.0, HERE),
    )
    return replace(base_study(seed), limits=limits)


def kept_out(seed: int) -> Study:
    """The best place of the trunk lies over bone; others are where they should not be, too."""
    free = base_study(seed)
    rest = free.sites[1:]
    first = replace(free.sites[0], tags=frozenset({"bone"}))
    return replace(free, sites=(first, *rest), limits=(LimitSpec("keep_out", "", 1.0, HERE),))


def few_pieces(seed: int) -> Study:
    """No more pieces than the layout with fewest of them takes."""
    free = base_study(seed)
    steps = [a.balance.donning_steps for a in truth(build_setting(free)) if a.balance]
    return replace(free, limits=(LimitSpec("donning_steps", "", float(min(steps)), HERE),))


def by_hand(seed: int) -> Study:
    free = base_study(seed)
    first = free.parts[0]
    models = tuple(replace(m, needs=frozenset({"reachable_by_hand"})) for m in first.models)
    return replace(free, parts=(replace(first, models=models), *free.parts[1:]))


KINDS = {
    **{f"{kind}.{subject}".rstrip("."): (kind, subject) for kind, subject in TIGHT},
    "belt_soft": soft_belt,
    "protrusion_soft": soft_protrusion,
    "donning_steps": few_pieces,
    "keep_out": kept_out,
    "reachable_by_hand": by_hand,
}


@cache
def instance(kind: str, seed: int) -> Study:
    made = KINDS[kind]
    return limited(seed, *made) if isinstance(made, tuple) else made(seed)


@cache
def answers(kind: str, seed: int) -> tuple[Assessment, ...]:
    return tuple(truth(build_setting(instance(kind, seed))))


def stripped(study: Study) -> Study:
    """The study as if the limit had been forgotten."""
    parts = tuple(
        replace(p, models=tuple(replace(m, needs=frozenset()) for m in p.models))
        for p in study.parts
    )
    return replace(study, limits=(), parts=parts)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("kind", KINDS)
def test_program_finds_the_best_layout_that_meets_the_limit(kind: str, seed: int) -> None:
    listed = answers(kind, seed)
    found = place(build_setting(instance(kind, seed)), top=3)
    if not listed:
        assert isinstance(found, Infeasible)
        return
    assert isinstance(found, Ranking)
    scores = [entry.assessment.score for entry in found.layouts]
    assert scores == pytest.approx([a.score for a in listed[:3]], rel=1e-6)
    assert all(entry.proof.status == "optimal" for entry in found.layouts)


@pytest.mark.parametrize("kind", KINDS)
def test_forgetting_the_limit_would_change_the_answer(kind: str) -> None:
    """So that the test above fails when a limit is dropped from the formulation."""
    changed = 0
    for seed in SEEDS:
        study = instance(kind, seed)
        free = stripped(study)
        if free == study:
            continue
        forgotten = place(build_setting(free), top=1)
        assert isinstance(forgotten, Ranking)
        listed = answers(kind, seed)
        best = listed[0].score if listed else float("inf")
        # an answer found without the limit scores otherwise under it, or is no answer
        changed += forgotten.layouts[0].assessment.score < best - 1e-6
    assert changed >= 1


@pytest.mark.parametrize("seed", range(5))
def test_all_limits_together_are_met_and_the_best_is_found(seed: int) -> None:
    free = base_study(seed)
    limits = [spec for kind in TIGHT for spec in limited(seed, *kind, room=1.3).limits]
    limits += soft_belt(seed).limits + soft_protrusion(seed).limits
    setting = build_setting(replace(free, limits=tuple(limits)))
    listed = truth(setting)
    found = place(setting, top=2)
    if not listed:
        assert isinstance(found, Infeasible)
        return
    assert isinstance(found, Ranking)
    scores = [entry.assessment.score for entry in found.layouts]
    assert scores == pytest.approx([a.score for a in listed[:2]], rel=1e-6)
