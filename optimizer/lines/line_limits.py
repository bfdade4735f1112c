"""How far each way of making a line may run, and how much it may bend, from what is asked of it.

All combinations of option, valve model and actuator model of all lines of a study are worked out
together, in one vectorised search per kind of budget.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import inf, isnan, nan

import numpy as np
from numpy.typing import ArrayLike

from optimizer.lines import cable, hose, wire
from optimizer.lines.air import FloatArray
from optimizer.lines.air_chamber import Chamber
from optimizer.lines.air_ends import (
    AirEnds,
    air_ends,
    feeding_reservoir_m3,
    fitting_of,
    outlet_path,
)
from optimizer.lines.air_limit import max_length_for_time
from optimizer.lines.air_line import AirLine, time_to_pressure, time_to_vent
from optimizer.lines.air_path import Restriction, series
from optimizer.lines.impossible import ImpossiblePhysics
from optimizer.lines.tube import tube_restriction
from optimizer.study.model import Line, LineOption, Part, PartModel

#: A restriction so wide that it is none: stands in where some lines of an array have a part
#: that others lack. Moves a path's conductance by less than 1e-10 of itself.
OPEN = Restriction(1e-3, 0.5)


@dataclass(frozen=True, slots=True)
class Limit:
    """What one way of making a line allows: an option with a model of each end's part.

    `model_a`/`model_b` are None where the model makes no difference. A way that cannot meet a
    budget at any length is not listed at all.
    """

    option: int
    model_a: int | None
    model_b: int | None
    max_length_m: float
    max_bend_rad: float


@dataclass(frozen=True, slots=True)
class Way:
    """One combination to work out: a line's option with the models of its ends, by number."""

    line: Line
    option: int
    model_a: int
    model_b: int

    @property
    def bought(self) -> LineOption:
        """The option itself."""
        return self.line.options[self.option]


@dataclass(frozen=True)
class AirWays:
    """Air tubes between a valve and a chamber as arrays, one entry per way."""

    ways: tuple[Way, ...]
    valves: tuple[PartModel, ...]
    chambers: tuple[PartModel, ...]
    ends: tuple[AirEnds, ...]

    @cached_property
    def tube(self) -> AirLine:
        """All of them as one air line of arrays."""
        options = [way.bought for way in self.ways]
        chambers = [
            chamber_of(model, option) for model, option in zip(self.chambers, options, strict=True)
        ]
        valve = Restriction(
            np.array([m.physics.valve_c for m in self.valves], dtype=float),
            np.array([m.physics.valve_b for m in self.valves], dtype=float),
        )
        outlets: dict[str, Restriction] = {}
        for end in self.ends:
            if end.valve.name not in outlets:
                outlets[end.valve.name] = outlet_path(end.outlets) or OPEN
        return AirLine(
            bore_m=np.array([option.bore_m for option in options], dtype=float),
            chamber=Chamber(*(np.array(column, dtype=float) for column in _columns(chambers))),
            supply_pa=np.array([option.physics.supply_pa for option in options], dtype=float),
            upstream=(valve,),
            downstream=(_stack([*fitting_of(o), OPEN][0] for o in options),),
            exhaust=(valve, _stack(outlets[end.valve.name] for end in self.ends)),
            reservoir_m3=np.array([feeding_reservoir_m3(end.feeders) for end in self.ends]),
            exponent=np.array([option.physics.exponent for option in options]),
            switch_s=np.array([m.physics.valve_delay_s for m in self.valves]),
        )

    def fill_s(self, length_m: FloatArray) -> FloatArray:
        """Time to the target pressure."""
        target = np.array([way.bought.physics.target_pa for way in self.ways], dtype=float)
        return time_to_pressure(self.tube, length_m, target)

    def vent_s(self, length_m: FloatArray) -> FloatArray:
        """Time to let down, from the target pressure where there is one, else the supply's."""
        goal = np.array([way.bought.physics.vent_pa for way in self.ways], dtype=float)
        start = [vent_start_pa(way.bought) for way in self.ways]
        return time_to_vent(self.tube, length_m, goal, np.array(start, dtype=float))


def chamber_of(model: PartModel, option: LineOption) -> Chamber:
    """The chamber a line fills: the part's, with the further air space on it."""
    p = model.physics
    assert p.chamber_m3 is not None
    volume = p.chamber_m3 + option.physics.extra_m3
    if p.piston_m is None or p.stroke_m is None:
        return Chamber(volume)
    area = np.pi / 4.0 * p.piston_m**2
    still = max(volume - area * p.stroke_m, 0.0)
    return Chamber.cylinder(p.piston_m, p.stroke_m, still, load_n=p.load_n, spring_n_m=p.spring_n_m)


def vent_start_pa(option: LineOption) -> float | None:
    """Pressure venting starts from."""
    p = option.physics
    return p.supply_pa if p.target_pa is None else p.target_pa


def steady_drop_pa(
    supply_pa: ArrayLike, path: Restriction, valve: Restriction | None, flow: ArrayLike | None
) -> FloatArray:
    """Pressure [Pa] an air tube loses at a steady flow; inf where it cannot pass it.

    With `flow` (m^3/s ANR) by the ellipse of ISO 6358. Without: the flow that `valve` behind the
    tube passes into an empty chamber, p2 = p1 C/C_valve with C of the two in series.
    """
    supply = np.asarray(supply_pa, dtype=float)
    if flow is None:
        assert valve is not None
        together = np.asarray(series(path, valve).conductance)
        return np.asarray(supply * (1.0 - together / np.asarray(valve.conductance)))
    b = np.asarray(path.critical_ratio)
    load = np.asarray(flow, dtype=float) / (np.asarray(path.conductance) * supply)
    left = b + (1.0 - b) * np.sqrt(np.maximum(1.0 - load * load, 0.0))
    return np.asarray(np.where(load < 1.0, supply * (1.0 - left), np.inf))


class LineLimits:
    """The budgets of a study's lines, and the limits that follow from them.

    Lines and parts must have passed `optimizer.study.physics_flaws`.
    """

    def __init__(self, parts: Iterable[Part], lines: Sequence[Line]) -> None:
        self._parts: Mapping[str, Part] = {part.name: part for part in parts}
        self._lines = tuple(lines)
        self._ends = {
            line.name: air_ends(self._parts, self._lines, line)
            for line in lines
            if line.kind == "air_tube"
        }

    def ways(self, line: Line) -> list[Way]:
        """Every way of making a line, options first, then models of its first and second end."""
        models = [range(len(self._parts[name].models)) for name in (line.part_a, line.part_b)]
        return [
            Way(line, o, a, b)
            for o in range(len(line.options))
            for a in models[0]
            for b in models[1]
        ]

    @cached_property
    def limits(self) -> Mapping[str, tuple[Limit, ...]]:
        """The limits of every line by its name; none for a line no way of making suits."""
        longest = {
            (way.line.name, way.option, way.model_a, way.model_b): way.bought.max_length_m
            for line in self._lines
            for way in self.ways(line)
        }
        for ways, allowed in (*self._air(), *self._others()):
            for way, length in zip(ways, allowed.tolist(), strict=True):
                key = (way.line.name, way.option, way.model_a, way.model_b)
                longest[key] = nan if isnan(length) else _least(longest[key], length)
        return {line.name: self._of(line, longest) for line in self._lines}

    def budgets(
        self, line: Line
    ) -> list[tuple[list[Way], Callable[[FloatArray], FloatArray], FloatArray]]:
        """Per kind of air budget of one line: the ways it binds, what they cost at lengths, and
        what they may."""
        return [(ways, cost, budget) for ways, cost, budget, _ in self._budgets((line,))]

    def check(self, line: Line | None = None) -> None:
        """Work everything out at length 0, for all lines or one.

        Raises
        ------
        ImpossiblePhysics
            For a number no physical line can have.
        """
        lines = self._lines if line is None else (line,)
        for _, time_of_length, _, n in self._budgets(lines):
            time_of_length(np.zeros(n))
        for one in lines:
            for option in one.options:
                _wire_length(one, option)
                _hose_length(one, option)
                _bend(one, option)

    def _of(
        self, line: Line, longest: Mapping[tuple[str, int, int, int], float]
    ) -> tuple[Limit, ...]:
        counts = [len(self._parts[name].models) for name in (line.part_a, line.part_b)]
        table = np.array([
            [[longest[line.name, o, a, b] for b in range(counts[1])] for a in range(counts[0])]
            for o in range(len(line.options))
        ])  # fmt: skip
        by_a = not np.array_equal(table, np.broadcast_to(table[:, :1], table.shape), True)
        by_b = not np.array_equal(table, np.broadcast_to(table[:, :, :1], table.shape), True)
        return tuple(
            Limit(o, a if by_a else None, b if by_b else None, float(table[o, a, b]),
                  _bend(line, option))
            for o, option in enumerate(line.options)
            for a in range(counts[0] if by_a else 1)
            for b in range(counts[1] if by_b else 1)
            if not isnan(table[o, a, b])
        )  # fmt: skip

    def _air(self) -> list[tuple[list[Way], FloatArray]]:
        return [
            (ways, max_length_for_time(time_of_length, budget))
            for ways, time_of_length, budget, _ in self._budgets(self._lines)
        ]

    def _budgets(
        self, lines: Sequence[Line]
    ) -> list[tuple[list[Way], Callable[[FloatArray], FloatArray], FloatArray, int]]:
        """Per kind of air budget: the ways it binds, what it costs at a length, the budget."""
        found: list[tuple[list[Way], Callable[[FloatArray], FloatArray], FloatArray, int]] = []
        air = [way for line in lines if line.kind == "air_tube" for way in self.ways(line)]
        filled = [way for way in air if way.bought.physics.response_s is not None]
        vented = [way for way in air if way.bought.physics.vent_s is not None]
        dropped = [way for way in air if way.bought.physics.max_drop_pa is not None]
        if filled:
            budget = np.array([way.bought.physics.response_s for way in filled], dtype=float)
            found.append((filled, self._tubes(filled).fill_s, budget, len(filled)))
        if vented:
            budget = np.array([way.bought.physics.vent_s for way in vented], dtype=float)
            found.append((vented, self._tubes(vented).vent_s, budget, len(vented)))
        for typed in (True, False):
            ways = [w for w in dropped if (w.bought.physics.flow_anr_m3_s is not None) == typed]
            if ways:
                budget = np.array([way.bought.physics.max_drop_pa for way in ways], dtype=float)
                found.append((ways, self._drop(ways, typed), budget, len(ways)))
        return found

    def _tubes(self, ways: Sequence[Way]) -> AirWays:
        ends, valves, chambers = [], [], []
        for way in ways:
            end = self._ends[way.line.name]
            assert end is not None
            a, b = (
                self._parts[name].models[k]
                for name, k in ((way.line.part_a, way.model_a), (way.line.part_b, way.model_b))
            )
            ends.append(end)
            valves.append(a if end.inward else b)
            chambers.append(b if end.inward else a)
        return AirWays(tuple(ways), tuple(valves), tuple(chambers), tuple(ends))

    def _drop(self, ways: Sequence[Way], typed: bool) -> Callable[[FloatArray], FloatArray]:
        options = [way.bought for way in ways]
        supply = np.array([option.physics.supply_pa for option in options], dtype=float)
        bore = np.array([option.bore_m for option in options], dtype=float)
        fitting = _stack([*fitting_of(o), OPEN][0] for o in options)
        flow = valve = None
        if typed:
            flow = np.array([option.physics.flow_anr_m3_s for option in options], dtype=float)
        else:
            models = [self._parts[way.line.part_b].models[way.model_b].physics for way in ways]
            valve = Restriction(
                np.array([m.valve_c for m in models], dtype=float),
                np.array([m.valve_b for m in models], dtype=float),
            )
        return lambda length: steady_drop_pa(
            supply, series(tube_restriction(bore, length), fitting), valve, flow
        )

    def _others(self) -> list[tuple[list[Way], FloatArray]]:
        """Wires and hoses: closed forms, option by option."""
        found: list[tuple[list[Way], FloatArray]] = []
        for line in self._lines:
            by_option = []
            for option in line.options:
                by_option.append(min_length(_wire_length(line, option), _hose_length(line, option)))
            if any(length < inf or isnan(length) for length in by_option):
                ways = self.ways(line)
                found.append((ways, np.array([by_option[way.option] for way in ways])))
        return found


def min_length(*lengths: float) -> float:
    """The least length; nan, for impossible, wins."""
    return nan if any(isnan(length) for length in lengths) else min(lengths)


def _least(known: float, length: float) -> float:
    return nan if isnan(known) else min(known, length)


def _wire_length(line: Line, option: LineOption) -> float:
    p = option.physics
    current = p.highest_current_a
    if line.kind != "wire" or p.max_drop_share is None or p.voltage_v is None or current is None:
        return inf
    ohm = wire.worn_ohm_per_m(wire.wire_size(option.size))
    return float(wire.max_length_for_drop_m(p.max_drop_share * p.voltage_v, current, ohm))


def _hose_length(line: Line, option: LineOption) -> float:
    p = option.physics
    if line.kind != "hose" or p.max_drop_pa is None or p.flow_m3_s is None:
        return inf
    fluid = hose.liquid(p.liquid)
    if option.bore_m is None:
        raise ImpossiblePhysics("hose bore (m)", "none", "a bore")
    return float(
        hose.max_length_for_drop_m(
            p.max_drop_pa, p.flow_m3_s, option.bore_m, fluid.viscosity_pa_s, fluid.density_kg_m3
        )
    )


def _bend(line: Line, option: LineOption) -> float:
    p = option.physics
    if line.kind != "pull_cable" or p.min_efficiency is None or p.friction_mu is None:
        return inf
    return float(cable.bend_budget_rad(p.min_efficiency, p.friction_mu))


def _stack(restrictions: Iterable[Restriction]) -> Restriction:
    listed = list(restrictions)
    return Restriction(
        np.array([np.asarray(r.conductance).item() for r in listed]),
        np.array([np.asarray(r.critical_ratio).item() for r in listed]),
    )


def _columns(chambers: Iterable[Chamber]) -> list[list[float]]:
    rows = [
        (c.rest_volume_m3, c.stroke_volume_m3, c.move_start_pa, c.move_end_pa) for c in chambers
    ]
    return [[np.asarray(v).item() for v in column] for column in zip(*rows, strict=True)]
