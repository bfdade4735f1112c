"""What there is to decide in a study, each decision with what it adds, and when layouts differ."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from optimizer.assess.result import Layout
from optimizer.setting import Setting
from optimizer.study.model import Line, LineOption, Part, Study
from tests.solve.routes import Routes, Way
from tests.solve.tally import CLEAR, WIDTH, Mask, Scale, Vector


@dataclass(frozen=True)
class Unit:
    """One copy of a part with what it may choose: (model, site) numbers."""

    name: str
    part: Part
    copy: int
    choices: tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class Drawn:
    """One copy of a line between two units (numbers)."""

    name: str
    line: Line
    a: int
    b: int


def units_of(study: Study) -> list[Unit]:
    """Copies with the choices that needs, thickness and the designer allow."""
    numbers = {site.name: s for s, site in enumerate(study.sites)}
    units = []
    for part in study.parts:
        choices = tuple(
            (k, numbers[name])
            for k, model in enumerate(part.models)
            for name in model.sites
            if model.needs <= study.sites[numbers[name]].offers
            and model.size_m[2] <= study.sites[numbers[name]].max_thickness_m
        )
        for i in range(part.count):
            name = part.name if part.count == 1 else f"{part.name}#{i + 1}"
            units.append(Unit(name, part, i, choices))
    return units


def lines_of(study: Study, units: Sequence[Unit]) -> list[Drawn]:
    number = {(unit.part.name, unit.copy): u for u, unit in enumerate(units)}
    counts = {part.name: part.count for part in study.parts}
    drawn = []
    for line in study.lines:
        n_a, n_b = counts[line.part_a], counts[line.part_b]
        for i in range(max(n_a, n_b)):
            name = line.name if max(n_a, n_b) == 1 else f"{line.name}#{i + 1}"
            a = number[line.part_a, i if n_a > 1 else 0]
            b = number[line.part_b, i if n_b > 1 else 0]
            drawn.append(Drawn(name, line, a, b))
    return drawn


def apart_enough(study: Study, xyz: Vector, rule_number: int) -> Mask:
    """(n_s, n_s): site pairs that a rule on two parts allows."""
    rule = study.rules[rule_number]
    same = np.eye(len(xyz), dtype=bool)
    if rule.kind == "same_place":
        return same
    gap = np.linalg.norm(xyz[:, None] - xyz[None], axis=2)
    return ~same & (gap >= rule.distance_m)


class Ledger:
    """What there is to decide in a study, and what each decision adds to a tally."""

    def __init__(self, setting: Setting):
        self.setting, self.study = setting, setting.study
        self.scale = Scale(setting)
        self.routes = Routes(setting, self.scale)
        self.units = units_of(self.study)
        self.lines = lines_of(self.study, self.units)
        xyz = np.array([setting.wearer.position(site) for site in self.study.sites])
        self.allowed = [apart_enough(self.study, xyz, r) for r in range(len(self.study.rules))]
        sites = self.study.sites
        self.holders = np.array([s.holder_mass_kg * self.scale.site(s) for s in sites])
        self.uneasy = np.array([10.0 - (10.0 if s.comfort is None else s.comfort) for s in sites])
        self._pair_tables: dict[tuple[object, ...], tuple[Mask, Vector]] = {}

    def part_tallies(self, unit: Unit) -> Vector:
        """What each choice of a unit adds, (n_choices, WIDTH)."""
        each = [
            self.scale.part(
                self.study.sites[s], unit.part.models[k].mass_kg, unit.part.models[k].size_m
            )
            for k, s in unit.choices
        ]
        return np.array(each).reshape(-1, WIDTH)

    def reach(
        self, line: Line, option: LineOption, model_a: int, model_b: int
    ) -> tuple[float, float]:
        """Longest length [m] and most bend [rad] of a line, given its ends' models (numbers)."""
        return option.max_length_m, np.inf

    def way(
        self, line: Line, option: LineOption, s: int, t: int, models: tuple[int, int] = (0, 0)
    ) -> Way | None:
        """The route of a line bought as an option between two sites; None out of reach."""
        longest, most_bend = self.reach(line, option, *models)
        if line.slack_m > longest * (1 + CLEAR):
            return None
        return self.routes.best(s, t, longest - line.slack_m, most_bend)

    def pairs(
        self, line: Line, option: LineOption, models: tuple[int, int] = (0, 0)
    ) -> tuple[Mask, Vector]:
        """Which site pairs an option reaches, and what the line then adds (n_s, n_s, WIDTH)."""
        key = (line.name, option.name, *self.reach(line, option, *models))
        known = self._pair_tables
        if key not in known:
            n = len(self.study.sites)
            reached, tally = np.zeros((n, n), dtype=bool), np.zeros((n, n, WIDTH))
            each = [self.scale.site(site) for site in self.study.sites]
            end_kg = 0.5 * line.slack_m * option.mass_kg_per_m + option.end_mass_kg
            for s, t in product(range(n), repeat=2):
                way = self.way(line, option, s, t, models)
                if way is not None:
                    reached[s, t] = True
                    tally[s, t] = option.mass_kg_per_m * way.tally + end_kg * (each[s] + each[t])
            known[key] = (reached, tally)
        return known[key]

    def models(self, drawn: Drawn) -> list[tuple[int, int]]:
        """Every pair of models that a line's ends may be."""
        a, b = (self.units[u].part.models for u in (drawn.a, drawn.b))
        return list(product(range(len(a)), range(len(b))))


def layout_identity(study: Study, spots: dict[str, tuple[str, str]]) -> tuple[object, ...]:
    """What makes a layout different: copies, with those they are wired to copy by copy, swap."""
    counts = {part.name: part.count for part in study.parts}
    together = {name: {name} for name, count in counts.items() if count > 1}
    for line in study.lines:
        a, b = line.part_a, line.part_b
        if counts[a] > 1 and counts[b] > 1:
            merged = together[a] | together[b]
            for name in merged:
                together[name] = merged
    singles = tuple(spots[name] for name, count in counts.items() if count == 1)
    groups = []
    for names in {tuple(sorted(group)) for group in together.values()}:
        copies = [
            tuple(spots[f"{name}#{i + 1}"] for name in names) for i in range(counts[names[0]])
        ]
        groups.append((names, tuple(sorted(copies))))
    return singles, tuple(sorted(groups))


def identity_of(study: Study, layout: Layout) -> tuple[object, ...]:
    """`layout_identity` of a layout by names."""
    return layout_identity(study, {p.unit: (p.model, p.site) for p in layout.placements})
