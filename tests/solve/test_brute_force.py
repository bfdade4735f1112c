"""Small studies answered twice: by the program and by listing every layout there is."""

from __future__ import annotations

from dataclasses import replace
from functools import cache, lru_cache
from itertools import islice
from math import inf

import pytest

from optimizer.assess.assessment import assess
from optimizer.assess.result import Infeasible, Ranking
from optimizer.setting import build_setting
from optimizer.solve.place import place
from optimizer.study.model import Study
from tests.depth import some
from tests.instances import random_study
from tests.solve.comparing import ROADS, switches_of
from tests.solve.oracle import TIED, Enumeration, Found, identity_of

#: How many random studies are looked through, and how many layouts of each are ranked.
STUDIES = 130
TOP = {"search": 6, "branching": 4, "program": 2}


def drawn(seed: int) -> Study:
    """A random study; every fifth is somewhat larger."""
    if seed % 5 == 4:
        return random_study(seed, parts=5, sites=6, lines=4)
    return random_study(seed)


def close(a: float, b: float) -> bool:
    return abs(a - b) <= 1e-6 * max(1.0, abs(b))


@lru_cache(maxsize=2)
def enumerated(seed: int) -> Enumeration:
    return Enumeration(build_setting(drawn(seed)))


#: The reference program is the slowest: every second study is enough for it.
ASKED = [
    (seed, road)
    for seed in some(range(220), 70)
    for road in ROADS
    if road != "program" or seed % 2 == 0
]


@pytest.mark.parametrize(("seed", "road"), ASKED)
def test_program_finds_what_enumeration_finds(
    seed: int, road: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    truth = enumerated(seed)
    study, setting, top = truth.study, truth.setting, TOP[road]
    answer = place(setting, top=top, switches=switches_of(road, seed, monkeypatch))
    if not truth.feasible:
        assert isinstance(answer, Infeasible)
        return
    assert isinstance(answer, Ranking)
    listed = list(islice(truth.ranked(), top + 1))
    scores = [entry.assessment.score for entry in answer.layouts]
    assert len(scores) == min(top, len(listed))
    assert answer.exhausted == (len(listed) < top)
    for score, found in zip(scores, listed, strict=False):
        assert close(score, found.score)
    for entry in answer.layouts:
        assert entry.proof.status == "optimal"
        assert entry.proof.gap == 0.0
    _same_layouts(study, answer, truth, listed)
    _same_routes(truth, answer)
    again = assess(setting, truth.layout(listed[0].row))
    assert again.feasible
    assert close(again.score, listed[0].score)


def _same_layouts(study: Study, answer: Ranking, truth: Enumeration, listed: list[Found]) -> None:
    """As sets: equals may come in any order, and the last place may go to any of its equals."""
    given = [identity_of(study, entry.assessment.layout) for entry in answer.layouts]
    assert len(set(given)) == len(given)
    last = listed[len(given) - 1].score
    tied_with_last = TIED * max(1.0, abs(last))
    must, may = set(), set()
    for found in truth.ranked():
        if found.score > last + tied_with_last:
            break
        may.add(found.identity)
        if found.score < last - tied_with_last:
            must.add(found.identity)
    assert must <= set(given) <= may


def _same_routes(truth: Enumeration, answer: Ranking) -> None:
    """Every line of every layout is as long as the route rule makes it."""
    sites = {site.name: s for s, site in enumerate(truth.study.sites)}
    for entry in answer.layouts:
        for report, drawn in zip(entry.assessment.lines, truth.lines, strict=True):
            assert report.line == drawn.name
            option = next(o for o in drawn.line.options if o.name == report.option)
            way = truth.way(drawn.line, option, sites[report.site_a], sites[report.site_b])
            assert way is not None
            assert report.length_m == pytest.approx(drawn.line.slack_m + way.length_m, abs=1e-9)


# -- that the studies above are worth answering ------------------------------------------------


def _roomy(study: Study, **changes: object) -> Study:
    return replace(study, sites=tuple(replace(s, **changes) for s in study.sites))  # type: ignore[arg-type]


def without(study: Study, kind: str) -> Study:
    """The study with every limit of one kind taken away."""
    if kind == "site_volume":
        return _roomy(study, volume_m3=inf)
    if kind == "site_mass":
        return _roomy(study, max_mass_kg=inf)
    if kind == "site_thickness":
        return _roomy(study, max_thickness_m=inf)
    if kind == "needs":
        return _roomy(study, offers=frozenset(("dry", "cool")))
    if kind == "line_length":
        lines = tuple(
            replace(ln, options=tuple(replace(o, max_length_m=inf) for o in ln.options))
            for ln in study.lines
        )
        return replace(study, lines=lines)
    rules = tuple(rule for rule in study.rules if rule.kind != kind)
    limits = tuple(limit for limit in study.limits if limit.kind != kind)
    return replace(study, rules=rules, limits=limits)


KINDS = (
    "site_volume",
    "site_mass",
    "site_thickness",
    "needs",
    "line_length",
    "same_place",
    "apart",
    "segment_mass",
    "device_mass",
    "left_right_mass",
    "left_right_swing_inertia",
    "sites_in_use",
)


@cache
def answered(seed: int) -> tuple[Study, float]:
    """A random study with its best score, infinite if it has no answer."""
    study = drawn(seed)
    truth = Enumeration(build_setting(study))
    return study, truth.best_score if truth.feasible else inf


def test_most_random_studies_have_an_answer() -> None:
    share = sum(answered(seed)[1] < inf for seed in range(80)) / 80
    assert 0.7 < share < 1.0


@pytest.mark.parametrize("kind", KINDS)
def test_limits_of_each_kind_change_answers(kind: str) -> None:
    changed = 0
    for seed in range(STUDIES):
        study, score = answered(seed)
        freed = without(study, kind)
        if freed != study:
            truth = Enumeration(build_setting(freed))
            assert truth.feasible or score == inf
            changed += truth.feasible and truth.best_score < score - TIED
            if changed >= 3:
                return
    pytest.fail(f"limits of kind {kind} hardly ever rule out the best layout")


@pytest.mark.reasons
def test_limits_named_as_clashing_suffice_to_rule_everything_out() -> None:
    asked = 0
    for seed in range(STUDIES):
        study, score = answered(seed)
        if score < inf:
            continue
        answer = place(study)
        assert isinstance(answer, Infeasible)
        assert answer.obstacles
        named = {obstacle.kind for obstacle in answer.obstacles}
        assert named <= set(KINDS)
        for kind in KINDS:
            if kind not in named:
                study = without(study, kind)
        assert not Enumeration(build_setting(study)).feasible
        asked += 1
        if asked == 8:
            return
    pytest.fail("too few studies without an answer")


def test_random_studies_have_copies_models_options_and_curves() -> None:
    studies = [answered(seed)[0] for seed in range(80)]
    wired = sum(
        any(p.count > 1 and p.name in (ln.part_a, ln.part_b) for p in s.parts for ln in s.lines)
        for s in studies
    )
    paired = sum(
        any(
            {p.name: p.count for p in s.parts}[ln.part_a] > 1
            and {p.name: p.count for p in s.parts}[ln.part_b] > 1
            for ln in s.lines
        )
        for s in studies
    )
    assert wired >= 10
    assert paired >= 2
    assert sum(any(p.count > 1 for p in s.parts) for s in studies) >= 20
    assert sum(any(len(p.models) > 1 for p in s.parts) for s in studies) >= 20
    assert sum(any(len(ln.options) > 1 for ln in s.lines) for s in studies) >= 20
    assert sum(s.energy.trunk in ("pandolf", "looney_backpack") for s in studies) >= 15
    assert sum(s.inertia_pose == "swing" for s in studies) >= 20
    assert sum(s.weights.comfort > 0 for s in studies) >= 20
    assert sum(bool(s.routes.add) for s in studies) >= 4
