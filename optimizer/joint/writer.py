"""The program's columns and rows with one column per link instead of flows along arcs.

Worlds share places and options but not routes, so a line's column must not say how it runs. What
a link adds is a matter of each world's arrays.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from optimizer.joint.world import Choice, LinkKey, World, link_quantities
from optimizer.problem.arrays import Array, LineRow, Objective
from optimizer.problem.build import TIE_PER_M
from optimizer.problem.presolve import Reduced, Switches
from optimizer.problem.quantities import DISCOMFORT, DONNING, INDEX
from optimizer.solve.formulation import Formulation, _Builder, formulate

#: Kind of the columns that say which link a line takes: 0 or 1.
LINK = "y"


class LinkWriter(_Builder):
    """Writes a program whose lines are picked among given links."""

    def __init__(self, reduced: Reduced, switches: Switches, world: World, keys: Sequence[LinkKey]):
        super().__init__(reduced, switches)
        self.world = world
        self.keys = keys
        self.link_columns: dict[LinkKey, int] = {}

    def columns_for_line(self, number: int, line: LineRow) -> None:
        """One column per link of the line between places still open."""
        for key in self.keys:
            _, _, end_a, end_b = key
            if (
                key[0] == number
                and self._joins(line.slot_a, end_a)
                and self._joins(line.slot_b, end_b)
            ):
                self.link_columns[key] = self.new(LINK, key)

    def _joins(self, slot: int, end: tuple[int, int | None]) -> list[int]:
        """Choices of a slot that are at an end."""
        site, model = end
        return [
            c
            for c in self.by_slot_site.get((slot, site), [])
            if model is None or int(self.problem.choice_model[c]) == model
        ]

    def finish(self, objective: Objective) -> Formulation:
        """Columns with their quantities in the world written for."""
        quantities = self.quantities_in(self.world)
        tie = np.zeros(len(self.names))
        for key, column in self.link_columns.items():
            rate = float(self.problem.lines[key[0]].mass_kg_per_m[key[1]])
            tie[column] = TIE_PER_M * rate * self.world.links[key].route.length_m
        return Formulation(
            self.columns, self.names, quantities, tie, self.rows, self.reduced, objective
        )

    def choice_keys(self) -> dict[Choice, int]:
        """Columns of the choices, by what they are."""
        p = self.problem
        return {
            (int(p.choice_slot[c]), int(p.choice_model[c]), int(p.choice_site[c])): column
            for c, column in self.columns.x.items()
        }

    def quantities_in(self, world: World) -> Array:
        """(n_columns, n_q): what every column adds in a world of the same study."""
        p, cols = world.problem, self.columns
        quantities = np.zeros((len(self.names), p.choice_q.shape[1]))
        for key, column in self.choice_keys().items():
            quantities[column] = p.choice_q[world.choice_number[key]]
        quantities[list(cols.u.values())] = p.use_q[list(cols.u)]
        if self.link_columns:
            links = [world.links[key] for key in self.link_columns]
            quantities[list(self.link_columns.values())] = link_quantities(
                p, links, p.site_q, p.arc_q
            )
        quantities[list(cols.v.values()), INDEX[DONNING]] = 1.0
        if cols.b:
            quantities[list(cols.b.values())] = p.site_q[list(cols.b)]
        for number, column in cols.over.items():
            quantities[column, INDEX[DISCOMFORT]] = p.soft[number].points_per
        return quantities

    def route(self, number: int, line: LineRow) -> None:
        """Either end of the link taken is where the part at that end is."""
        for end, slot in ((2, line.slot_a), (3, line.slot_b)):
            met: dict[tuple[int, int | None], list[int]] = {}
            told = False
            for key, column in self.link_columns.items():
                if key[0] == number:
                    place = key[2] if end == 2 else key[3]
                    told = told or place[1] is not None
                    met.setdefault(place, []).append(column)
            places: dict[tuple[int, int | None], list[int]] = {}
            for s in self.sites_of.get(slot, []):
                for c in self.by_slot_site[slot, s]:
                    model = int(self.problem.choice_model[c]) if told else None
                    places.setdefault((s, model), []).append(c)
            for place, choices in places.items():
                terms = [(1.0, column) for column in met.get(place, [])]
                terms += [(-1.0, self.columns.x[c]) for c in choices]
                self.add("link", (number, end, place), terms, "==", 0.0)

    def line_limits(self, number: int, line: LineRow) -> None:
        """A link out of reach has no column."""

    def cheapest_route(self, number: int, line: LineRow) -> None:
        """Routes are a matter of the world."""

    def reach(self, line: LineRow) -> None:
        """Said by the links already."""


def write(
    worlds: Sequence[World], choices: Sequence[Choice], keys: Sequence[LinkKey]
) -> tuple[LinkWriter, Formulation]:
    """Write the program of the first world, over choices and links that all worlds have."""
    base = worlds[0]
    p = base.problem
    mask = np.zeros(len(p.choice_slot), dtype=bool)
    mask[[base.choice_number[key] for key in choices]] = True
    reduced = Reduced(p, mask)
    made: list[LinkWriter] = []

    def writer(reduced: Reduced, switches: Switches) -> LinkWriter:
        made.append(LinkWriter(reduced, switches, base, keys))
        return made[0]

    # the objective given here only decides which columns there are: none for a curve
    linear = Objective(np.zeros(p.choice_q.shape[1]))
    formulation = formulate(reduced, linear, Switches(reach_rows=False), writer=writer)
    return made[0], formulation
