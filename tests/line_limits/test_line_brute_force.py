"""Bores, gauges and valve models as choices: the program against listing every layout."""

from __future__ import annotations

from dataclasses import replace
from itertools import islice
from math import inf

import numpy as np
import pytest

from optimizer.assess.assessment import assess
from optimizer.assess.result import Infeasible, Ranking
from optimizer.setting import build_setting
from optimizer.solve.place import place
from optimizer.study.model import Line, LineOption, Part, Study
from optimizer.study.physics import LinePhysics, PartPhysics
from tests.depth import some
from tests.instances import random_study
from tests.line_limits.devices import (
    CYLINDERS,
    DM3_S_BAR,
    FEEDS,
    FILLS,
    HOSE,
    VENTS,
    WIRE,
    forward,
    longest_by_root,
    most_bend_rad,
)
from tests.solve.oracle import TIED, Enumeration, identity_of

STUDIES = 60
TOP = 3
GAUGES = (("AWG 20", 0.015), ("AWG 24", 0.007), ("AWG 28", 0.0035))
BORES_MM = (2.0, 2.5, 4.0)


class Physical(Enumeration):
    """Enumeration whose lines reach as far as the simulation, run forwards, lets them."""

    def reach(
        self, line: Line, option: LineOption, model_a: int, model_b: int
    ) -> tuple[float, float]:
        parts = {part.name: part for part in self.study.parts}
        a, b = parts[line.part_a].models[model_a], parts[line.part_b].models[model_b]
        known = self.__dict__.setdefault("_reaches", {})
        key = (line.name, option.name, model_a, model_b)
        if key not in known:
            known[key] = longest_by_root(line, option, a, b), most_bend_rad(line, option)
        found: tuple[float, float] = known[key]
        return found


def physical_study(seed: int) -> Study:
    """A random study whose lines are air tubes, wires, cables and hoses with budgets.

    Every part may get a second model; budgets are laid around what the line does at the lengths
    the garment makes, so that bore, gauge and model decide who may sit where.
    """
    rng = np.random.default_rng(1000 + seed)
    free = random_study(seed, parts=3, sites=5, lines=3)
    setting = build_setting(replace(free, lines=()))
    between = setting.graph.shortest_lengths()
    usual = float(np.median(between[np.isfinite(between) & (between > 0)]))
    bends = setting.graph.shortest_bends()
    bent = float(np.median(bends[np.isfinite(bends) & (between > 0)]))
    role: dict[str, str] = {}
    lines = []
    for line in free.lines:
        kinds = ["wire", "pull_cable", "hose", "wire"]
        if line.part_a not in role and line.part_b not in role:
            kinds = ["fill", "vent", "feed", "fill", "vent", *kinds[:2]]
        kind = str(rng.choice(kinds))
        if kind in ("fill", "vent", "feed"):
            role[line.part_a], role[line.part_b] = {
                "fill": ("valve", "cylinder"),
                "vent": ("cylinder", "valve"),
                "feed": ("", "valve"),
            }[kind]
        lines.append((line, kind))
    parts = tuple(_with_models(rng, part, role.get(part.name, "")) for part in free.parts)
    by_name = {part.name: part for part in parts}
    made = tuple(
        _physical(rng, line, kind, (by_name[line.part_a], by_name[line.part_b]), (usual, bent))
        for line, kind in lines
    )
    return replace(free, parts=parts, lines=made)


def _with_models(rng: np.random.Generator, part: Part, role: str) -> Part:
    """The part with figures for its role, and in most studies a second model."""
    models = list(part.models)
    if role and len(models) == 1:
        models.append(replace(models[0], name="m1", mass_kg=models[0].mass_kg * 1.1))
    figured = []
    for model in models:
        physics = PartPhysics()
        if role == "valve":
            physics = PartPhysics(
                valve_c=float(rng.uniform(0.1, 0.3)) * DM3_S_BAR,
                valve_b=float(rng.uniform(0.2, 0.45)),
                valve_delay_s=float(rng.uniform(0.0, 0.015)),
            )
        if role == "cylinder":
            physics = CYLINDERS[int(rng.integers(2))]
        figured.append(replace(model, physics=physics))
    return replace(part, models=tuple(figured))


def _physical(
    rng: np.random.Generator,
    line: Line,
    kind: str,
    ends: tuple[Part, Part],
    usual: tuple[float, float],
) -> Line:
    base = {
        "fill": FILLS, "vent": VENTS, "feed": FEEDS, "wire": WIRE, "hose": HOSE,
        "pull_cable": LinePhysics(friction_mu=0.08, min_efficiency=0.7),
    }[kind]  # fmt: skip
    options = []
    wanted = int(rng.choice([2, 3]))
    for k in range(wanted):
        old = line.options[0]
        size, rate = GAUGES[k] if kind == "wire" else (f"{k}", 0.004 + 0.006 * k)
        physics = base
        if kind == "pull_cable":
            physics = replace(base, friction_mu=float(rng.uniform(0.04, 0.12)))
        options.append(
            replace(
                old, name=f"o{k}", size=size, bore_m=BORES_MM[k] * 1e-3, mass_kg_per_m=rate,
                max_length_m=inf, physics=physics,
            )
        )  # fmt: skip
    real = {"fill": "air_tube", "vent": "air_tube", "feed": "air_tube"}.get(kind, kind)
    made = replace(line, kind=real, options=tuple(options))
    share = float(rng.uniform(0.55, 1.3))
    if kind == "pull_cable":
        floor = float(np.exp(-0.08 * usual[1] * share))
        tight = tuple(replace(o, physics=replace(o.physics, min_efficiency=floor)) for o in options)
        return replace(made, options=tight)
    middle = options[len(options) // 2]
    length = line.slack_m + usual[0] * share
    asked = forward(made, middle, ends[0].models[0], ends[1].models[0], length)
    return replace(made, options=tuple(_asking(o, asked) for o in options))


def _asking(option: LineOption, share: float) -> LineOption:
    """The option with its budget times a share."""
    p = option.physics
    scaled = {
        name: getattr(p, name) * share
        for name in ("response_s", "vent_s", "max_drop_pa", "max_drop_share")
        if getattr(p, name) is not None
    }
    return replace(option, physics=replace(p, **scaled))


@pytest.mark.parametrize("seed", some(range(STUDIES), 24))
def test_place_finds_what_listing_every_layout_finds(seed: int) -> None:
    study = physical_study(seed)
    setting = build_setting(study)
    truth = Physical(setting)
    answer = place(setting, top=TOP)
    if not truth.feasible:
        assert isinstance(answer, Infeasible)
        return
    assert isinstance(answer, Ranking)
    listed = list(islice(truth.ranked(), TOP + 1))
    assert len(answer.layouts) == min(TOP, len(listed))
    for entry, found in zip(answer.layouts, listed, strict=False):
        assert entry.assessment.feasible
        assert abs(entry.assessment.score - found.score) <= 1e-6 * max(1.0, abs(found.score))
    best = [f.identity for f in listed if f.score <= listed[0].score + TIED]
    assert identity_of(study, answer.layouts[0].assessment.layout) in best
    again = assess(setting, truth.layout(listed[0].row))
    assert again.feasible
    assert again.score == pytest.approx(listed[0].score, rel=1e-6)


def test_the_studies_are_worth_it() -> None:
    """Budgets decide: without them other layouts win; models and bores are both chosen."""
    changed = several = feasible = bought = 0
    for seed in range(24):
        study = physical_study(seed)
        setting = build_setting(study)
        with_models = any(
            limit.model_a is not None or limit.model_b is not None
            for limits in setting.line_limits.values()
            for limit in limits
        )
        several += with_models
        free = replace(
            study,
            lines=tuple(
                replace(ln, options=tuple(replace(o, physics=LinePhysics()) for o in ln.options))
                for ln in study.lines
            ),
        )
        asked, loose = place(setting, top=1), place(free, top=1)
        if isinstance(asked, Ranking) and isinstance(loose, Ranking):
            feasible += 1
            best, other = asked.layouts[0].assessment, loose.layouts[0].assessment
            changed += best.score > other.score + 1e-9
            bought += any(line.option != "o0" for line in best.lines)
    assert feasible >= 14
    assert changed >= 8
    assert several >= 10
    assert bought >= 6
