"""Scenarios: read from the study or given, solved, and set against the study as written."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from optimizer.assess.assessment import assess
from optimizer.assess.result import Assessment, Infeasible
from optimizer.errors import InputError
from optimizer.setting import Setting, build_setting
from optimizer.solve.place import place
from optimizer.solve.relay import assess_there, layout_key, relay
from optimizer.solve.whatif import Case, newly_binding, whatif
from optimizer.study.cases import load_scenarios
from optimizer.study.load import load_study
from optimizer.study.overrides import Scale
from optimizer.study.scenarios import settings_words
from tests.instances import random_study
from tests.tradeoffs.dials import with_mass
from tests.tradeoffs.small import small

SCENARIOS = """
[[scenarios]]
name = "lighter pump"
set = { "parts.pump.mass_g" = 120, "wearer.mass_kg" = 58 }

[[scenarios]]
name = "everything heavier"
[scenarios.set]
"parts.*.mass_g*" = 1.2
limits.device_mass_g = false
task.speed_m_s = 1.1
"""


def test_scenarios_are_read_with_quoted_and_with_plain_paths(tmp_path: Path) -> None:
    study = load_study(small(tmp_path, SCENARIOS))
    first, second = study.scenarios
    assert first.name == "lighter pump"
    assert first.settings == {"parts.pump.mass_g": 120, "wearer.mass_kg": 58}
    assert second.settings == {
        "parts.*.mass_g": Scale(1.2),
        "limits.device_mass_g": False,
        "task.speed_m_s": 1.1,
    }
    assert settings_words(second.settings) == (
        "parts.*.mass_g*=1.2",
        "limits.device_mass_g=false",
        "task.speed_m_s=1.1",
    )
    assert first.origin.row is not None


def test_a_scenario_makes_the_study_that_the_same_overrides_make(tmp_path: Path) -> None:
    path = small(tmp_path, SCENARIOS)
    study = load_study(path)
    lighter, heavier = load_scenarios(path, study.scenarios)
    by_hand = load_study(path, {"parts.pump.mass_g": "120", "wearer.mass_kg": "58"})
    masses = [m.mass_kg for part in by_hand.parts for m in part.models]
    assert [m.mass_kg for part in lighter.parts for m in part.models] == masses
    assert lighter.wearer.mass_kg == by_hand.wearer.mass_kg == 58.0
    for part, was in zip(heavier.parts, study.parts, strict=True):
        assert part.models[0].mass_kg == pytest.approx(1.2 * was.models[0].mass_kg)
    assert not any(limit.kind == "device_mass" for limit in heavier.limits)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('[[scenarios]]\nname = "a"\n', "set"),
        ('[[scenarios]]\nset = { "wearer.mass_kg" = 60 }\n', "name"),
        ('[[scenarios]]\nname = "a"\nset = 5\n', "set"),
        ('[[scenarios]]\nname = "a"\nset = {}\n', "set"),
        ('[[scenarios]]\nname = "a"\nset = { "wearer.mass_kg*" = "x" }\n', "wearer.mass_kg*"),
        ('[[scenarios]]\nname = "a"\nset = { "wearer.mass_kg*" = -1 }\n', "wearer.mass_kg*"),
        (
            '[[scenarios]]\nname = "a"\nset = { "wearer.mass_kg" = 60 }\n'
            '[[scenarios]]\nname = "a"\nset = { "wearer.mass_kg" = 61 }\n',
            "again",
        ),
        ("above: scenarios = 3\n", "scenarios"),
        ('[[scenarios]]\nname = "a"\nset = { "wearer.weight" = 60 }\n', "wearer.weight"),
        ('[[scenarios]]\nname = "a"\nset = { "wearer.mass_kg" = 6000 }\n', "6000"),
        ('[[scenarios]]\nname = "a"\nset = { "parts.pmup.mass_g" = 60 }\n', "pmup"),
    ],
)
def test_a_flaw_of_a_scenario_is_told_with_its_place(tmp_path: Path, text: str, told: str) -> None:
    above = text.startswith("above: ")
    text = text.removeprefix("above: ")
    path = small(tmp_path, above=text) if above else small(tmp_path, text)
    with pytest.raises(InputError) as caught:
        load_scenarios(path, load_study(path).scenarios)
    flaws = caught.value.flaws
    assert any(told in f"{flaw.origin.column} {flaw.found} {flaw.expected}" for flaw in flaws)
    assert all("study.toml" in flaw.origin.file for flaw in flaws)


def test_all_scenarios_flaws_are_told_together(tmp_path: Path) -> None:
    text = (
        '[[scenarios]]\nname = "a"\nset = { "wearer.weight" = 60 }\n'
        '[[scenarios]]\nname = "b"\nset = { "task.pace" = 1 }\n'
    )
    path = small(tmp_path, text)
    with pytest.raises(InputError) as caught:
        load_scenarios(path, load_study(path).scenarios)
    told = {flaw.origin.file.split(" ", 1)[1] for flaw in caught.value.flaws}
    assert told == {"scenario a", "scenario b"}


@pytest.mark.parametrize("seed", [1, 2, 3, 4, 9])
def test_every_scenario_is_solved_and_its_saving_told(seed: int) -> None:
    study = random_study(seed)
    heavier = with_mass(study, "p0 p1", 1.6)
    free = replace(study, limits=())
    found = whatif(study, [Case("heavier", ("x",), heavier), Case("free", ("y",), free)])
    assert found.complete and found.base.case.name == "as written"
    for result in found.results:
        best = place(result.case.study, top=1)
        if isinstance(best, Infeasible):
            assert result.best is None and result.infeasible is not None
            continue
        assert result.proven and result.best is not None
        assert result.best.score == pytest.approx(best.layouts[0].assessment.score)
        if found.base.best is None:
            continue
        kept = assess_there(build_setting(result.case.study), found.base.best.layout)
        assert kept is not None and result.kept is not None
        assert result.kept.score == pytest.approx(kept.score)
        if kept.feasible:
            saved = kept.score - result.best.score
            assert saved >= -1e-9
            assert result.saved_by_moving == pytest.approx(saved, abs=1e-9)
        else:
            assert result.saved_by_moving is None


def test_a_scenario_in_which_nothing_fits_says_why() -> None:
    study = random_study(1)
    full = replace(study, sites=tuple(replace(s, volume_m3=1e-6) for s in study.sites))
    found = whatif(study, [Case("no room", ("x",), full)])
    assert found.results[1].best is None
    assert found.results[1].infeasible is not None


def placed(number: int) -> tuple[Setting, Assessment]:
    """One of the random studies that something fits, with its best layout."""
    seen = 0
    for seed in range(40):
        setting = build_setting(random_study(seed))
        found = place(setting, top=1)
        if isinstance(found, Infeasible):
            continue
        if seen == number:
            return setting, found.layouts[0].assessment
        seen += 1
    raise AssertionError("too few studies that something fits")


def test_newly_binding_limits_are_those_that_bind_only_then() -> None:
    _, base = placed(0)
    limit = base.limits[0]
    bound = replace(base, limits=(replace(limit, binding=True, limit=5.0), *base.limits[1:]))
    free = replace(base, limits=tuple(replace(m, binding=False) for m in base.limits))
    assert [m.subject for m in newly_binding(free, bound)][:1] == [limit.subject]
    assert newly_binding(bound, bound) == ()


@pytest.mark.parametrize("number", range(4))
def test_a_layout_taken_into_its_own_study_stays_what_it_is(number: int) -> None:
    setting, best = placed(number)
    again = relay(setting, best.layout)
    assert again is not None and layout_key(again) == layout_key(best.layout)
    assert assess(setting, again).score == pytest.approx(best.score, rel=1e-12)


def test_a_layout_is_not_taken_where_its_parts_or_sites_are_missing() -> None:
    setting, best = placed(1)
    study = setting.study
    used = best.parts[0].site
    parts = []
    for part in study.parts:
        models = tuple(
            replace(m, sites=tuple(n for n in m.sites if n != used)) for m in part.models
        )
        parts.append(replace(part, models=models))
    sites = tuple(s for s in study.sites if s.name != used)
    without = replace(study, sites=sites, parts=tuple(parts))
    assert relay(build_setting(without), best.layout) is None
    fewer = replace(study, parts=study.parts[1:], lines=(), rules=())
    assert relay(build_setting(fewer), best.layout) is None
