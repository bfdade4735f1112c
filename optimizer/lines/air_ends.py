"""Which end of an air tube is the valve and which the chamber, and what lies beyond the valve."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import inf, isfinite

import numpy as np

from optimizer.lines.air_path import Restriction, series
from optimizer.lines.tube import tube_restriction
from optimizer.study.model import Line, LineOption, Part


def has_chamber(part: Part) -> bool:
    """Whether some model of the part has an air chamber."""
    return any(model.physics.chamber_m3 is not None for model in part.models)


def has_valve(part: Part) -> bool:
    """Whether some model of the part restricts the air: a valve, a regulator, a silencer."""
    return any(model.physics.valve_c is not None for model in part.models)


@dataclass(frozen=True, slots=True)
class AirEnds:
    """The ends of an air tube that have a part in its times.

    `inward`: the line is listed from valve to chamber, so air flows that way; a 3/2 valve vents
    through the same tube. `outlets` are the lines that lead on from the valve, to a silencer.
    """

    valve: Part
    chamber: Part
    inward: bool
    outlets: tuple[tuple[Line, Part], ...]
    feeders: tuple[Part, ...]
    """Parts with a reservoir joined to the valve's inlet, without a regulator between."""


def air_ends(parts: Mapping[str, Part], lines: Iterable[Line], line: Line) -> AirEnds | None:
    """The valve and the chamber an air tube joins; None if it does not join one to the other."""
    a, b = parts[line.part_a], parts[line.part_b]
    if has_chamber(b) and has_valve(a) and not has_chamber(a):
        valve, chamber, inward = a, b, True
    elif has_chamber(a) and has_valve(b) and not has_chamber(b):
        valve, chamber, inward = b, a, False
    else:
        return None
    outlets, feeders = [], []
    for other in lines:
        if other.kind != "air_tube" or other.name == line.name:
            continue
        beyond, before = parts[other.part_b], parts[other.part_a]
        if other.part_a == valve.name and has_valve(beyond) and not has_chamber(beyond):
            outlets.append((other, beyond))
        if other.part_b == valve.name and any(m.physics.reservoir_m3 for m in before.models):
            feeders.append(before)
    return AirEnds(valve, chamber, inward, tuple(outlets), tuple(feeders))


def outlet_path(outlets: Sequence[tuple[Line, Part]]) -> Restriction | None:
    """What exhausting air still meets beyond the valve, None if nothing.

    Which option, length and silencer a layout has is not known when a line's limit is worked
    out, so the narrowest combination counts, its tube at the longest length typed: the safe side,
    and the same for every layout. Of several outlets the narrowest alone is counted.
    """
    paths = []
    for line, silencer in outlets:
        for option in line.options:
            for model in silencer.models:
                assert model.physics.valve_c is not None and model.physics.valve_b is not None
                path = [*fitting_of(option)]
                path.append(Restriction(model.physics.valve_c, model.physics.valve_b))
                # read from a file, both are there; a study changed in memory may lack them
                if option.bore_m is not None and isfinite(option.max_length_m):
                    path.insert(0, tube_restriction(option.bore_m, option.max_length_m))
                paths.append(series(*path))
    return min(paths, key=lambda path: np.asarray(path.conductance).item(), default=None)


def fitting_of(option: LineOption) -> tuple[Restriction, ...]:
    """The fittings at both ends of an option as one restriction; none if not written."""
    c = option.physics.fitting_c
    return () if c is None else (Restriction(c, option.physics.fitting_b),)


def feeding_reservoir_m3(feeders: Iterable[Part]) -> float:
    """The least volume that may stand behind the valve; inf where its pressure is held."""
    volumes = [m.physics.reservoir_m3 for part in feeders for m in part.models]
    return min((v for v in volumes if v is not None), default=inf)
