"""Energy models from a file: read with checked errors, used like any other model."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from optimizer.assess.result import Ranking
from optimizer.energy.model import energy_model
from optimizer.energy.own import own_model
from optimizer.errors import InputError, Origin
from optimizer.joint.world import make_world
from optimizer.solve.place import place
from optimizer.study.load import demo_path, load_study
from optimizer.study.model import EnergySpec
from optimizer.study.template import new_study
from optimizer.trust.draws import draw
from optimizer.trust.spread import make_spread
from tests.instances import random_study

GOOD = """format = 1
kind = "energy_model"
title = "Ours"

[slopes]
thigh = 0.071
shank = 0.082
foot = 0.19
waist = 0.047

[leg]
form = "segment_curve"

[spread]
sd = [0.01, 0.012, 0.021, 0.008]
correlation = [[1, 0.5, 0, 0], [0.5, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]]

[valid]
speed_m_s = [1.0, 1.4]
foot_kg = 2
"""


@pytest.fixture
def mine(tmp_path: Path) -> Origin:
    (tmp_path / "mine.toml").write_text(GOOD)
    return Origin(str(tmp_path / "study.toml"), 9, "energy")


def test_a_curve_through_the_published_slopes_is_the_published_model(mine: Origin) -> None:
    file = Path(mine.file).parent / "mine.toml"
    text = GOOD.replace("0.071", "0.075").replace("0.082", "0.076")
    file.write_text(text.replace("0.19", "0.200").replace("0.047", "0.045"))
    here = random_study(3)
    world = make_world(here)
    wearer, at = world.setting.wearer, np.linspace(0.0, 1.0, 23)
    spec = EnergySpec("file:mine.toml", "file:mine.toml", origin=mine)
    own = energy_model(spec, wearer, here.task)
    published = energy_model(EnergySpec("segment_curve", "browning_waist"), wearer, here.task)
    assert np.allclose(own.leg_cost("shank", at), published.leg_cost("shank", at), rtol=1e-13)
    assert own.trunk_cost(3.0) == pytest.approx(published.trunk_cost(3.0))
    file.write_text(file.read_text().replace("segment_curve", "segment_table"))
    flat = energy_model(spec, wearer, here.task)
    table = energy_model(EnergySpec("segment_table"), wearer, here.task)
    assert np.allclose(flat.leg_cost("shank", at), table.leg_cost("shank", at))


def test_outside_its_range_the_model_warns(mine: Origin) -> None:
    here = random_study(3)
    spec = EnergySpec("file:mine.toml", origin=mine)
    wearer = make_world(here).setting.wearer
    fast = replace(here.task, speed_m_s=1.6)
    said = energy_model(spec, wearer, fast).warnings({"foot.left": 2.5})
    assert any("speed 1.60 m/s" in text and "file:mine.toml" in text for text in said)
    assert any("2.50 kg on the left foot" in text for text in said)


def test_a_study_of_its_own_model_is_solved_and_proven(mine: Origin) -> None:
    here = replace(
        random_study(3), energy=EnergySpec("file:mine.toml", "file:mine.toml", origin=mine)
    )
    found = place(here, top=1)
    assert isinstance(found, Ranking)
    assert found.layouts[0].proof.status == "optimal"


def test_a_study_file_may_name_it_and_so_may_an_override(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(GOOD)
    name = f"file:{tmp_path / 'mine.toml'}"
    study = load_study(demo_path(), {"energy.leg": name})
    assert study.energy.leg == name
    with pytest.raises(InputError) as caught:
        load_study(demo_path(), {"energy.leg": f"file:{tmp_path / 'minr.toml'}"})
    (flaw,) = caught.value.flaws
    assert flaw.nearest == "mine.toml"


@pytest.mark.parametrize("key", ["leg", "trunk"])
def test_a_file_that_cannot_be_read_is_told_of_the_key_that_names_it(
    tmp_path: Path, key: str
) -> None:
    study = new_study("own", tmp_path)[0]
    with pytest.raises(InputError) as caught:
        load_study(study, {f"energy.{key}": "file:nowhere.toml"})
    assert [f.origin for f in caught.value.flaws] == [Origin("--set", None, f"energy.{key}")]
    was = next(line for line in study.read_text().splitlines() if line.startswith(f"{key} ="))
    study.write_text(study.read_text().replace(was, f'{key} = "file:nowhere.toml"'))
    row = study.read_text().splitlines().index(f'{key} = "file:nowhere.toml"') + 1
    with pytest.raises(InputError) as caught:
        load_study(study)
    (flaw,) = caught.value.flaws
    assert (flaw.origin.row, flaw.origin.column) == (row, f"energy.{key}")


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ("format = 1", "format = 2", "format"),
        ("thigh = 0.071", "thigh = -0.071", "slopes.thigh"),
        ("thigh = 0.071", "thigh = 71", "slopes.thigh"),
        ("foot = 0.19\n", "", "slopes.foot"),
        ("thigh = 0.071", "tigh = 0.071", "slopes.tigh"),
        ('form = "segment_curve"', 'form = "curve"', "leg.form"),
        ("0.008]", "]", "spread.sd"),
        ("[1, 0.5, 0, 0]", "[1, 1.5, 0, 0]", "spread.correlation"),
        ("[1.0, 1.4]", "[1.4, 1.0]", "valid.speed_m_s"),
        ("foot_kg = 2", "foot_kg = true", "valid.foot_kg"),
        ("[slopes]", "slopes = 3\n[else]", "slopes"),
    ],
)
def test_each_flaw_of_the_file_is_told_where_it_is(
    mine: Origin, old: str, new: str, where: str
) -> None:
    file = Path(mine.file).parent / "mine.toml"
    assert old in GOOD
    file.write_text(GOOD.replace(old, new, 1))
    with pytest.raises(InputError) as caught:
        own_model("file:mine.toml", mine)
    assert where in {flaw.origin.column for flaw in caught.value.flaws}
    assert all(flaw.origin.file.endswith("mine.toml") for flaw in caught.value.flaws)


def test_draws_of_an_own_model_have_its_own_spread(mine: Origin) -> None:
    here = replace(
        random_study(3), energy=EnergySpec("file:mine.toml", "file:mine.toml", origin=mine)
    )
    spread = make_spread(here.energy)
    assert spread.leg_weights == (("file:mine.toml", 1.0),)
    drawn = draw(here, make_world(here).setting, spread, 20_000, 0).own["file:mine.toml"]
    assert drawn.mean(axis=0) == pytest.approx([0.071, 0.082, 0.19, 0.047], rel=0.01)
    assert drawn.std(axis=0) == pytest.approx([0.01, 0.012, 0.021, 0.008], rel=0.03)
    assert np.corrcoef(drawn[:, 0], drawn[:, 1])[0, 1] == pytest.approx(0.5, abs=0.03)
