"""Every layout of a small study, by plain enumeration: the answer the program must give.

Nothing here looks at the program's arrays. It reads the study, asks the wearer where a site is,
the energy model what a kilogram costs there and the graph how long its arcs are, lists all simple
routes, all assignments and all line options, and adds up. Pruning only drops rows that already
break a limit which no later part can mend.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from optimizer.assess.result import Layout, Placement, Routing
from optimizer.setting import Setting
from tests.solve.ledger import Ledger, identity_of, layout_identity
from tests.solve.routes import Routes
from tests.solve.tally import (
    BOTH,
    CLEAR,
    HIP,
    KEYS,
    LEG_W,
    TIED,
    WIDTH,
    Ints,
    Mask,
    Scale,
    Vector,
    legs_of,
)

__all__ = [
    "BOTH",
    "HIP",
    "KEYS",
    "LEG_W",
    "TIED",
    "WIDTH",
    "Enumeration",
    "Ledger",
    "Routes",
    "Scale",
    "Vector",
    "identity_of",
    "layout_identity",
    "legs_of",
]


@dataclass(frozen=True)
class Found:
    """One layout of the truth: its score and what makes it different from others."""

    score: float
    identity: tuple[object, ...]
    row: int


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
