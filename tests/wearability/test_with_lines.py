"""Wearability limits on studies with lines: the first layout in order of score that meets them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimizer.assess.assessment import assess
from optimizer.assess.result import Infeasible, Ranking
from optimizer.setting import build_setting
from optimizer.solve.place import place
from optimizer.study.model import LimitSpec
from tests.instances import HERE, random_study
from tests.solve.oracle import Enumeration

KINDS = (
    ("com_shift", "fore_aft"),
    ("com_shift", "lateral"),
    ("com_shift", "vertical"),
    ("trunk_offset", "fore_aft"),
    ("trunk_offset", "lateral"),
    ("belt_hard", ""),
)


@pytest.mark.parametrize("seed", range(18))
def test_best_layout_with_lines_meets_the_limit(seed: int) -> None:
    """A limit set a little below what the best layout takes; lines carry part of the load."""
    kind, subject = KINDS[seed % len(KINDS)]
    free = random_study(500 + seed)
    tagged = tuple(
        replace(s, tags=frozenset({"belt"})) if s.segment == "trunk" and i % 2 == 0 else s
        for i, s in enumerate(free.sites)
    )
    free = replace(free, sites=tagged)
    listed = Enumeration(build_setting(free))
    if not listed.feasible:
        pytest.skip("nothing fits even without the limit")
    order = list(listed.ranked())
    asked = replace(free, limits=(*free.limits, LimitSpec(kind, subject, 1e9, HERE)))
    seen = assess(build_setting(asked), listed.layout(order[0].row))
    most = max(m.value * 1e9 / m.limit for m in seen.limits if m.kind == kind)
    if most <= 1e-6:
        pytest.skip("the best layout has nothing there")
    limits = (*free.limits, LimitSpec(kind, subject, 0.9 * most, HERE))
    setting = build_setting(replace(free, limits=limits))
    best = None
    # the listed rows are the best of each placement under the other limits only, so every row
    # of a placement has to be asked
    for i in listed.scores.argsort(kind="stable"):
        if assess(setting, listed.layout(int(i))).feasible:
            best = float(listed.scores[i])
            break
    found = place(setting, top=1)
    if best is None:
        assert isinstance(found, Infeasible)
        return
    assert isinstance(found, Ranking)
    assert found.layouts[0].assessment.score == pytest.approx(best, rel=1e-6)
