"""Every layout of a small study, by plain enumeration: the answer the program must give.

Nothing here looks at the program's arrays. It reads the study, asks the wearer where a site is,
the energy model what a kilogram costs there and the graph how long its arcs are, lists all simple
routes, all assignments and all line options, and adds up. Pruning only drops rows that already
break a limit which no later part can mend.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import product

import numpy as np
from numpy.typing import NDArray

from optimizer.assess.result import Layout, Placement, Routing
from optimizer.body.inertia import bare_leg_inertia, squared_distance
from optimizer.setting import Setting
from optimizer.study.model import OFF_BODY, Line, LineOption, Part, Site, Study

Vector = NDArray[np.float64]
Mask = NDArray[np.bool_]
Ints = NDArray[np.int64]

LEGS = ("thigh", "shank", "foot")
BOTH = ("left", "right")
#: What a tally counts: mass by segment and side, watts on the legs, hip inertia by side.
KEYS = (("trunk", "centre"), *((leg, side) for leg in LEGS for side in BOTH), OFF_BODY)
LEG_W, HIP = len(KEYS), {"left": len(KEYS) + 1, "right": len(KEYS) + 2}
WIDTH = len(KEYS) + 3
#: Feasible if met to this share of the limit; instances keep clear of it.
CLEAR = 1e-9
#: Layouts whose scores differ by less are equals.
TIED = 1e-6


def legs_of(side: str) -> list[int]:
    return [KEYS.index((leg, side)) for leg in LEGS]


class Scale:
    """What a kilogram at a place adds to a tally, and what a tally scores."""

    def __init__(self, setting: Setting):
        self.setting = setting
        study = setting.study
        self.bare = bare_leg_inertia(setting.wearer, "right", "hip", study.inertia_pose)

    def kilogram(self, key: tuple[str, str], position: Vector) -> Vector:
        tally = np.zeros(WIDTH)
        tally[KEYS.index(key)] = 1.0
        segment, side = key
        if segment in LEGS:
            hip = self.setting.wearer.joint("hip", side)
            away = float(np.hypot(*(position - hip)[:2]))
            tally[LEG_W] = float(self.setting.energy.leg_cost(segment, away))
            if self.setting.study.inertia_pose == "straight":
                tally[HIP[side]] = away**2
            else:
                tally[HIP[side]] = squared_distance(
                    self.setting.wearer, key, position, "hip", "swing"
                )[0]
        return tally

    def site(self, site: Site) -> Vector:
        return self.kilogram(site.key, np.asarray(self.setting.wearer.position(site)))

    def part(self, site: Site, mass_kg: float, size_m: tuple[float, float, float]) -> Vector:
        tally = mass_kg * self.site(site)
        if site.key[0] in LEGS:
            length, width, thickness = size_m
            facing = thickness if abs(site.front_m) >= abs(site.outside_m) else width
            tally[HIP[site.side]] += mass_kg * (length * length + facing * facing) / 12.0
        return tally

    def score(self, tally: Vector, discomfort: Vector) -> Vector:
        """Scores of tallies (n, WIDTH)."""
        weights, energy = self.setting.study.weights, self.setting.energy
        watts = tally[:, LEG_W] + np.asarray(energy.trunk_cost(tally[:, 0]))
        inertia = tally[:, HIP["left"]] + tally[:, HIP["right"]]
        total: Vector = (
            weights.metabolic * 100.0 * watts / energy.walking_w
            + weights.swing_inertia * 100.0 * inertia / self.bare
            + weights.comfort * discomfort
        )
        return total

    def marginal(self) -> Vector:
        """Score per unit of tally by which routes are compared: trunk at half the parts' mass."""
        weights, energy = self.setting.study.weights, self.setting.energy
        half = sum(p.count * min(m.mass_kg for m in p.models) for p in self.setting.study.parts) / 2
        per = np.zeros(WIDTH)
        per[0] = weights.metabolic * 100.0 / energy.walking_w * float(energy.trunk_slope(half))
        per[LEG_W] = weights.metabolic * 100.0 / energy.walking_w
        per[list(HIP.values())] = weights.swing_inertia * 100.0 / self.bare
        return per


@lru_cache(maxsize=4096)
def simple_paths(
    edges: tuple[tuple[int, int], ...], off: tuple[bool, ...], start: int, goal: int
) -> tuple[Mask, tuple[tuple[int, ...], ...]]:
    """All simple paths between two anchors that go on or off the body at most once.

    Returns which edges each uses (n_paths, n_edges) and the nodes it passes.
    """
    beside: dict[int, list[tuple[int, int]]] = {}
    for e, (i, j) in enumerate(edges):
        beside.setdefault(i, []).append((j, e))
        beside.setdefault(j, []).append((i, e))
    used: list[tuple[int, ...]] = []
    passed: list[tuple[int, ...]] = []

    def walk(nodes: tuple[int, ...], arcs: tuple[int, ...]) -> None:
        if nodes[-1] == goal:
            used.append(arcs)
            passed.append(nodes)
            return
        for there, e in beside.get(nodes[-1], []):
            crossed = off[nodes[-1]] != off[start]
            if there not in nodes and not (crossed and off[there] == off[start]):
                walk((*nodes, there), (*arcs, e))

    walk((start,), ())
    uses = np.zeros((len(used), len(edges)), dtype=bool)
    for row, arcs in enumerate(used):
        uses[row, list(arcs)] = True
    return uses, tuple(passed)


@dataclass
class Way:
    """A route between two sites; `tally` is per (kg/m) of line."""

    cost: float
    length_m: float
    bend_rad: float
    tally: Vector
    nodes: tuple[str, ...]


HERE = Way(0.0, 0.0, 0.0, np.zeros(WIDTH), ())


class Routes:
    """The route rule by exhaustion: least score per kilogram within the limit, then shortest."""

    def __init__(self, setting: Setting, scale: Scale):
        graph = setting.graph
        self.graph = graph
        self.n_anchors = len(graph.nodes) - len(graph.site_node)
        per_kg = np.zeros((len(graph.tail), WIDTH))
        for a, keys in enumerate(graph.half_keys):
            for half in (0, 1):
                per_kg[a] += 0.5 * scale.kilogram(keys[half], graph.half_points[a, half])
        self.tally = per_kg * graph.length_m[:, None]
        self.cost = self.tally @ scale.marginal()
        ends = list(zip(graph.tail.tolist(), graph.head.tolist(), strict=True))
        self.inner = [a for a, e in enumerate(ends) if max(e) < self.n_anchors]
        self.edges = tuple(ends[a] for a in self.inner)
        self.off = tuple(key == OFF_BODY for key in graph.segment_of[: self.n_anchors])
        self.leaf = {}
        for s, node in enumerate(graph.site_node.tolist()):
            (arc,) = [a for a, e in enumerate(ends) if node in e]
            self.leaf[s] = (arc, sum(ends[arc]) - node)
        self._known: dict[tuple[int, int], tuple[Vector, Vector, Vector, Ints]] = {}
        self._ways: dict[tuple[int, int, float], Way | None] = {}

    def best(
        self, s: int, t: int, longest_m: float = np.inf, most_bend: float = np.inf
    ) -> Way | None:
        if s == t:
            return HERE
        key = (s, t, longest_m)
        if most_bend < np.inf or key not in self._ways:
            found = self._search(s, t, longest_m, most_bend)
            if most_bend < np.inf:
                return found
            self._ways[key] = found
        return self._ways[key]

    def _search(self, s: int, t: int, longest_m: float, most_bend: float) -> Way | None:
        (out, a), (back, b) = self.leaf[s], self.leaf[t]
        uses, passed = simple_paths(self.edges, self.off, a, b)
        if (s, t) not in self._known:
            columns = np.stack([self.cost, self.graph.length_m, self.graph.bend_rad], axis=1)
            sums = uses @ columns[self.inner] + columns[out] + columns[back]
            cost, length, bend = sums.T
            order = np.lexsort((length, np.round(cost, 12)))
            self._known[s, t] = (cost, length, bend, order)
        cost, length, bend, order = self._known[s, t]
        fits = length[order] <= longest_m + CLEAR
        fits &= bend[order] <= most_bend + CLEAR
        if not fits.any():
            return None
        row = int(order[np.argmax(fits)])
        arcs = [out, *(self.inner[e] for e in np.flatnonzero(uses[row])), back]
        names = self.graph.nodes
        ends = [int(self.graph.site_node[i]) for i in (s, t)]
        nodes = (ends[0], *passed[row], ends[1])
        return Way(
            float(cost[row]),
            float(length[row]),
            float(bend[row]),
            self.tally[arcs].sum(axis=0),
            tuple(names[n] for n in nodes),
        )


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


@dataclass(frozen=True)
class Found:
    """One layout of the truth: its score and what makes it different from others."""

    score: float
    identity: tuple[object, ...]
    row: int


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


class Enumeration(Ledger):
    """All feasible layouts of a study with their scores, as one table."""

    def __init__(self, setting: Setting):
        super().__init__(setting)
        self._enumerate()

    # -- the table: one row per assignment, then per assignment and line options ------------

    def _enumerate(self) -> None:
        study = self.study
        chosen = np.zeros((1, 0), dtype=np.int64)
        for u, unit in enumerate(self.units):
            n = len(unit.choices)
            rows = np.repeat(np.arange(len(chosen)), n)
            pick = np.tile(np.arange(n), len(chosen))
            chosen = np.column_stack([chosen[rows], pick])
            chosen = chosen[self._fits_so_far(chosen, u)]
        self.chosen = chosen
        sites = self._sites(chosen)
        tally = np.zeros((len(chosen), WIDTH))
        for u, unit in enumerate(self.units):
            tally += self.part_tallies(unit)[chosen[:, u]]
        used = np.zeros((len(chosen), len(study.sites)), dtype=bool)
        for u in range(len(self.units)):
            used[np.arange(len(chosen)), sites[:, u]] = True
        tally += used @ self.holders
        discomfort = used @ self.uneasy
        row = np.arange(len(chosen))
        options = np.zeros((len(chosen), 0), dtype=np.int64)
        for drawn in self.lines:
            grown = []
            a, b = sites[row, drawn.a], sites[row, drawn.b]
            model_a, model_b = (self._models(chosen, u)[row] for u in (drawn.a, drawn.b))
            for (o, option), (k, m) in product(enumerate(drawn.line.options), self.models(drawn)):
                reached, per_pair = self.pairs(drawn.line, option, (k, m))
                ok = np.flatnonzero(reached[a, b] & (model_a == k) & (model_b == m))
                bought = np.column_stack([options[ok], np.full(len(ok), o)])
                grown.append((row[ok], bought, tally[ok] + per_pair[a[ok], b[ok]]))
            row, options, tally = (np.concatenate(columns) for columns in zip(*grown, strict=True))
        ok = np.ones(len(row), dtype=bool)
        for kind, subject, value in [(x.kind, x.subject, x.value) for x in study.limits]:
            for load in self._loads(kind, subject, tally, used[row]):
                ok &= load <= value * (1 + CLEAR)
        self.rows, self.options, self.tally = row[ok], options[ok], tally[ok]
        self.discomfort = discomfort[self.rows]
        self.scores = self.scale.score(self.tally, self.discomfort)

    def _sites(self, chosen: Ints) -> Ints:
        return np.column_stack(
            [
                np.array([s for _, s in unit.choices], dtype=np.int64)[chosen[:, u]]
                for u, unit in enumerate(self.units[: chosen.shape[1]])
            ]
        ).reshape(chosen.shape)

    def _models(self, chosen: Ints, u: int) -> Ints:
        return np.array([k for k, _ in self.units[u].choices], dtype=np.int64)[chosen[:, u]]

    def _fits_so_far(self, chosen: Ints, last: int) -> Mask:
        """Rows whose first `last` + 1 units break no capacity, rule or reach."""
        sites = self._sites(chosen)
        ok = np.ones(len(chosen), dtype=bool)
        for s, site in enumerate(self.study.sites):
            for cap, measure in ((site.volume_m3, "volume_m3"), (site.max_mass_kg, "mass_kg")):
                if cap == np.inf:
                    continue
                load = np.zeros(len(chosen))
                for u, unit in enumerate(self.units[: last + 1]):
                    each = np.array(
                        [getattr(unit.part.models[k], measure) for k, _ in unit.choices]
                    )
                    load += np.where(sites[:, u] == s, each[chosen[:, u]], 0.0)
                ok &= load <= cap * (1 + CLEAR)
        for rule, allowed in zip(self.study.rules, self.allowed, strict=True):
            for u, unit in enumerate(self.units[:last]):
                names = (unit.part.name, self.units[last].part.name)
                if names in ((rule.part_a, rule.part_b), (rule.part_b, rule.part_a)):
                    ok &= allowed[sites[:, u], sites[:, last]]
        for drawn in self.lines:
            if max(drawn.a, drawn.b) == last:
                ways = product(drawn.line.options, self.models(drawn))
                reached = np.any([self.pairs(drawn.line, o, m)[0] for o, m in ways], axis=0)
                ok &= reached[sites[:, drawn.a], sites[:, drawn.b]]
        return ok

    def _loads(self, kind: str, subject: str, tally: Vector, used: Mask) -> list[Vector]:
        """What a limit of the study looks at, one array per row it makes."""
        if kind == "segment_mass":
            return [tally[:, i] for i, key in enumerate(KEYS) if key[0] == subject]
        if kind == "device_mass":
            return [tally[:, : len(KEYS) - 1].sum(axis=1)]
        if kind == "sites_in_use":
            return [used.sum(axis=1).astype(float)]
        if kind == "left_right_mass":
            left, right = (tally[:, legs_of(side)].sum(axis=1) for side in BOTH)
        else:
            assert kind == "left_right_swing_inertia", kind
            left, right = (100.0 * tally[:, HIP[side]] / self.scale.bare for side in BOTH)
        return [left - right, right - left]

    # -- answers -----------------------------------------------------------------------------

    @property
    def feasible(self) -> bool:
        return len(self.scores) > 0

    @property
    def best_score(self) -> float:
        return float(self.scores.min())

    def ranked(self) -> Iterator[Found]:
        """Different layouts, best first; a layout's options are its best."""
        seen = set()
        for i in np.argsort(self.scores, kind="stable"):
            identity = layout_identity(self.study, self._places(int(i)))
            if identity not in seen:
                seen.add(identity)
                yield Found(float(self.scores[i]), identity, int(i))

    def _places(self, i: int) -> dict[str, tuple[str, str]]:
        row = self.chosen[self.rows[i]]
        spots = {}
        for unit, c in zip(self.units, row, strict=True):
            k, s = unit.choices[int(c)]
            spots[unit.name] = (unit.part.models[k].name, self.study.sites[s].name)
        return spots

    def layout(self, i: int) -> Layout:
        """Row `i` with names, routes and all."""
        return layout_from(self, self._places(i), [int(o) for o in self.options[i]])


def layout_from(
    truth: Enumeration, spots: dict[str, tuple[str, str]], options: Sequence[int]
) -> Layout:
    """A layout of given places (model, site by unit) and line options, lines routed by the rule.

    A line out of its option's reach takes the route it would take without a limit.
    """
    numbers = {site.name: s for s, site in enumerate(truth.study.sites)}
    routings = []
    for drawn, o in zip(truth.lines, options, strict=True):
        a, b = truth.units[drawn.a].name, truth.units[drawn.b].name
        s, t = numbers[spots[a][1]], numbers[spots[b][1]]
        way = truth.way(drawn.line, drawn.line.options[o], s, t) or truth.routes.best(s, t)
        assert way is not None
        routings.append(Routing(drawn.name, drawn.line.options[o].name, a, b, way.nodes))
    placements = tuple(
        Placement(unit.name, unit.part.name, *spots[unit.name]) for unit in truth.units
    )
    return Layout(placements, tuple(routings))


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
