"""Small worlds for the tests of trust and crowd. Invented throughout."""

from __future__ import annotations

from dataclasses import replace

from optimizer.errors import Origin
from optimizer.joint.world import Plan, World
from optimizer.setting import build_setting
from optimizer.study.model import EnergySpec, Part, Study, Weights
from optimizer.trust.draws import Draws
from optimizer.trust.scenario import scenario_setting
from optimizer.trust.spread import Spread, make_spread, without_spread
from tests.instances import model, site, study
from tests.solve.oracle import Enumeration

HERE = Origin("small")
THIGH = ("thigh", "right", 0.5, 0.0, 0.08)
SHANK = ("shank", "right", 0.5, 0.0, 0.06)
FOOT = ("foot", "right", 0.5, 0.05, 0.0)
TRUNK = ("trunk", "centre", 0.4, -0.1, 0.0)


def one_part(places: dict[str, tuple], trunk: str = "huang_kuo", mass_kg: float = 1.0) -> Study:
    """One part that may sit at any of the places; the score is the metabolic penalty alone."""
    made = model("m", mass_kg, tuple(places))
    return study(
        parts=(Part("part", (made,), 1, HERE),),
        sites=tuple(site(name, place) for name, place in places.items()),
        weights=Weights(1.0, 0.0, 0.0),
        energy=EnergySpec(leg="segment_table", trunk=trunk),
    )


def bare_spread(here: Study, **changes: object) -> Spread:
    """The study's own models, parts as written, walking certain: only coefficients move."""
    spread = make_spread(here.energy, mixed=False, part_tolerance=0.0)
    return replace(spread, walking=False, **changes)  # type: ignore[arg-type]


def certain(here: Study) -> Spread:
    """Nothing moves."""
    return without_spread(make_spread(here.energy, mixed=False))


def plan_at(world: World, name: str) -> Plan:
    """The plan of a study of one part that puts it at a site."""
    s = [x.name for x in world.setting.study.sites].index(name)
    return Plan(((0, 0, s),), ())


def listed_scores(
    here: Study, worlds: list[World], draws: Draws, rows: list[int]
) -> list[list[float]]:
    """Scores of every feasible layout of a small study in some draws, one list per layout."""
    from optimizer.assess.assessment import assess

    truth = Enumeration(build_setting(here))
    settings = [scenario_setting(worlds[int(draws.world[row])], draws, row) for row in rows]
    return [
        [assess(setting, truth.layout(i)).score for setting in settings]
        for i in range(len(truth.scores))
    ]
