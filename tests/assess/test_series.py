"""Layouts of one setting assessed one after another share work, and nothing else."""

from __future__ import annotations

import gc
import pickle
import weakref
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest

from optimizer.assess.assessment import Assessor, assess, layout_lumps
from optimizer.assess.loads import Places, load_of, total
from optimizer.assess.result import Assessment, Ballast, Layout
from optimizer.setting import Setting, build_setting
from optimizer.solve.place import place
from optimizer.study.load import load_study
from tests.instances import random_study

STUDIES = sorted((Path(__file__).parents[2] / "studies").glob("*.toml"))


def layouts_of(setting: Setting, top: int) -> list[Layout]:
    found = place(setting, top=top)
    return [] if not hasattr(found, "layouts") else [x.assessment.layout for x in found.layouts]


def built_otherwise(layout: Layout, number: int) -> Layout:
    """The layout with some parts weighed and some lines measured, and ballast in one site."""
    return Layout(
        tuple(
            replace(p, measured_mass_kg=0.1 + 0.01 * i) if (i + number) % 3 == 0 else p
            for i, p in enumerate(layout.placements)
        ),
        tuple(
            replace(r, measured_length_m=0.6 + 0.05 * i) if (i + number) % 2 == 0 else r
            for i, r in enumerate(layout.routings)
        ),
        (Ballast(layout.placements[number % len(layout.placements)].site, 0.15),),
    )


def assert_same(one: Assessment, other: Assessment) -> None:
    """Equal to the last bit, field by field."""
    for field in fields(Assessment):
        assert repr(getattr(one, field.name)) == repr(getattr(other, field.name)), field.name


@pytest.mark.parametrize("path", STUDIES, ids=lambda path: path.stem)
def test_layouts_assessed_in_a_series_equal_those_assessed_alone(path: Path) -> None:
    setting = build_setting(load_study(path))
    layouts = layouts_of(setting, 8)
    mixed = [x for n, one in enumerate(layouts) for x in (one, built_otherwise(one, n))]
    for layout in (*mixed, *reversed(mixed)):
        assert_same(assess(setting, layout), assess(build_setting(setting.study), layout))


@pytest.mark.parametrize("seed", [0, 2, 4, 7, 8, 12])
def test_small_layouts_assessed_in_a_series_equal_those_assessed_alone(seed: int) -> None:
    setting = build_setting(random_study(seed))
    for layout in layouts_of(setting, 10):
        assert_same(assess(setting, layout), assess(build_setting(setting.study), layout))


def test_a_changed_study_is_assessed_anew() -> None:
    setting = build_setting(load_study(STUDIES[0]))
    (layout,) = layouts_of(setting, 1)
    before = assess(setting, layout)
    first = setting.study.parts[0]
    heavier = replace(first, models=tuple(replace(m, mass_kg=m.mass_kg + 1) for m in first.models))
    study = replace(setting.study, parts=(heavier, *setting.study.parts[1:]))
    after = assess(replace(setting, study=study), layout)
    assert sum(after.mass_kg.values()) + after.off_body_mass_kg == pytest.approx(
        sum(before.mass_kg.values()) + before.off_body_mass_kg + first.count
    )
    assert_same(assess(setting, layout), before)


def test_threads_that_assess_one_setting_get_what_one_alone_gets() -> None:
    study = load_study(STUDIES[0])
    layouts = layouts_of(build_setting(study), 12)
    alone = [assess(build_setting(study), layout) for layout in layouts]
    setting = build_setting(study)
    with ThreadPoolExecutor(4) as pool:
        found = list(pool.map(lambda layout: assess(setting, layout), layouts * 3))
    for one, other in zip(alone * 3, found, strict=True):
        assert_same(one, other)


def test_what_is_kept_goes_with_its_setting_and_does_not_travel() -> None:
    setting = build_setting(random_study(0))
    for layout in layouts_of(setting, 2):
        assess(setting, layout)
    assert setting.once(Assessor) is setting.once(Assessor)
    sent = pickle.dumps(setting)
    assert b"optimizer.assess" not in sent
    assert pickle.loads(sent).once(Assessor) is not setting.once(Assessor)
    kept = weakref.ref(setting.once(Assessor))
    del setting
    gc.collect()
    assert kept() is None


@pytest.mark.parametrize("path", STUDIES, ids=lambda path: path.stem)
def test_loads_add_up_like_their_masses_one_by_one(path: Path) -> None:
    setting = build_setting(load_study(path))
    for layout in layouts_of(setting, 3):
        found, mass, moment = assess(setting, layout), 0.0, np.zeros(3)
        for lump in layout_lumps(setting, layout):
            if lump.key[0] != "off_body":
                mass += lump.mass_kg
            if lump.key[0] == "trunk":
                moment = moment + lump.mass_kg * lump.position
        assert found.total_mass_kg == pytest.approx(mass, rel=1e-12)
        balance = found.balance
        assert balance is not None
        front, _, right = moment / found.mass_kg["trunk"]
        assert (balance.trunk_front_m, balance.trunk_right_m) == pytest.approx((front, right))


def test_sums_are_those_of_adding_from_the_first_mass_to_the_last() -> None:
    setting = build_setting(load_study(STUDIES[0]))
    places, rng = setting.once(Places), np.random.default_rng(1)
    names = [site.name for site in setting.study.sites]
    loads = [
        load_of([(places.site(str(rng.choice(names))), float(rng.uniform(0.001, 2.0)))])
        for _ in range(300)
    ]
    sums = total(loads)
    for key, kg in sums.mass_kg.items():
        assert kg == sum(lump.mass_kg for load in loads for lump in load.lumps if lump.key == key)
