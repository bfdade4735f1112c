"""One line by itself: what it does at each of a row of lengths, in every way it may be made."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil, floor, inf, isfinite, log10

import numpy as np

from optimizer.assess.figures import JUDGED, Judged
from optimizer.assess.line_physics import figures_of
from optimizer.assess.result import LineReport
from optimizer.errors import Flaw, InputError, Origin
from optimizer.setting import Setting
from optimizer.study.cells import LARGEST
from optimizer.study.model import Line
from optimizer.study.words import unknown

#: About how many lengths are shown where none are asked for.
_ROWS = 8


@dataclass(frozen=True, slots=True)
class WayResponse:
    """One way of making the line; `models` are those of the ends that differ from way to way.

    `figures` holds, by name, one value for every length; `longest_m` is None where there is no
    limit and nan where no length will do; `bend_rad` is the most it may bend, None for no limit.
    """

    option: str
    models: tuple[str, ...]
    longest_m: float | None
    bend_rad: float | None
    figures: Mapping[str, tuple[float, ...]]
    budgets: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class LineResponse:
    """A line's response against `lengths_m`; for a pull-cable against `bends_rad` instead."""

    line: str
    kind: str
    part_a: str
    part_b: str
    lengths_m: tuple[float, ...]
    bends_rad: tuple[float, ...]
    judged: tuple[Judged, ...]
    ways: tuple[WayResponse, ...]
    routes_m: tuple[float, float] | None
    """Least and greatest length over the places its ends may have, service slack included."""


def line_response(setting: Setting, name: str, lengths_m: tuple[float, ...] = ()) -> LineResponse:
    """Work out one line at `lengths_m`, or at a round row of lengths around its limits.

    Raises
    ------
    InputError
        If the study has no such line, or a length is not one a table could hold.
    """
    lines = {line.name: line for line in setting.study.lines}
    if name not in lines:
        file = setting.study.files.get("lines", setting.study.origin.file)
        raise InputError([unknown(Origin(file), name, "a line of the study", lines)])
    expected = f"a length above 0, in mm (no larger than {LARGEST:g})"
    flaws = [
        Flaw(Origin("--length"), f"{length * 1e3:g}", expected)
        for length in lengths_m
        if not 0 < length * 1e3 <= LARGEST
    ]
    if flaws:
        raise InputError(flaws)
    line = lines[name]
    ways = _ways(setting, line)
    routes = _routes(setting, line)
    shown = tuple(sorted(lengths_m)) or _round_lengths(ways, routes)
    bends = tuple(np.radians((0, 45, 90, 135, 180, 225, 270, 315, 360)).tolist())
    responses = []
    for number, a, b, longest, bend in ways:
        option = line.options[number]
        models = [
            next(p for p in setting.study.parts if p.name == part).models[k]
            for part, k in ((line.part_a, a), (line.part_b, b))
        ]
        steps = bends if line.kind == "pull_cable" else shown
        table = [
            figures_of(
                setting, line, option, (models[0], models[1]), _probe(line, option.name, step)
            )
            for step in steps
        ]
        responses.append(
            WayResponse(
                option.name,
                _told(setting, line, a, b),
                None if longest == inf else longest,
                bend if bend < inf else None,
                {key: tuple(row[key] for row in table) for key in table[0]} if table else {},
                {
                    j.kind: value
                    for j in JUDGED
                    if table and (value := j.budget(table[0])) is not None
                },
            )
        )
    judged = tuple(
        j for j in JUDGED if any(f"{j.name}_{j.suffix}" in way.figures for way in responses)
    )
    return LineResponse(
        line.name, line.kind, line.part_a, line.part_b,
        () if line.kind == "pull_cable" else shown,
        bends if line.kind == "pull_cable" else (),
        judged, tuple(responses), routes,
    )  # fmt: skip


def _probe(line: Line, option: str, step: float) -> LineReport:
    """A line of one length without a route; of a cable, one of that bend, a metre long."""
    cable = line.kind == "pull_cable"
    return LineReport(
        line.name, line.kind, option, "", line.part_a, line.part_b, "", "", (),
        1.0 if cable else step, 0.0, step if cable else 0.0, (), 0.0, 0.0, 0.0, None,
    )  # fmt: skip


def _ways(setting: Setting, line: Line) -> list[tuple[int, int, int, float, float]]:
    """(option, model a, model b, longest, most bend) of every way that differs from others."""
    limits = setting.line_limits[line.name]
    parts = {part.name: part for part in setting.study.parts}
    ends = [
        range(len(parts[name].models))
        if any(getattr(limit, attribute) is not None for limit in limits)
        else range(1)
        for name, attribute in ((line.part_a, "model_a"), (line.part_b, "model_b"))
    ]
    found = []
    for number in range(len(line.options)):
        for a in ends[0]:
            for b in ends[1]:
                own = [
                    limit
                    for limit in limits
                    if limit.option == number
                    and limit.model_a in (None, a)
                    and limit.model_b in (None, b)
                ]
                longest = own[0].max_length_m if own else float("nan")
                found.append((number, a, b, longest, own[0].max_bend_rad if own else inf))
    return found


def _told(setting: Setting, line: Line, a: int, b: int) -> tuple[str, ...]:
    """Models of the ends, those named that make a difference to the line's limit."""
    parts = {part.name: part for part in setting.study.parts}
    limits = setting.line_limits[line.name]
    named = []
    for name, k, attribute in ((line.part_a, a, "model_a"), (line.part_b, b, "model_b")):
        if any(getattr(limit, attribute) is not None for limit in limits):
            named.append(parts[name].models[k].name)
    return tuple(named)


def _routes(setting: Setting, line: Line) -> tuple[float, float] | None:
    """The shortest and the longest of the shortest routes between places of the two ends."""
    between = setting.graph.shortest_lengths()
    index = {site.name: i for i, site in enumerate(setting.study.sites)}
    parts = {part.name: part for part in setting.study.parts}
    sites = [
        sorted({index[s] for m in parts[name].models for s in m.sites})
        for name in (line.part_a, line.part_b)
    ]
    lengths = between[np.ix_(*sites)]
    lengths = lengths[np.isfinite(lengths)]
    if not lengths.size:
        return None
    return float(lengths.min()) + line.slack_m, float(lengths.max()) + line.slack_m


def _round_lengths(
    ways: Sequence[tuple[int, int, int, float, float]],
    routes: tuple[float, float] | None,
) -> tuple[float, ...]:
    """Round lengths from near 0 to past the limits, as far as any route goes."""
    finite = [w[3] for w in ways if isfinite(w[3]) and w[3] > 0]
    most = 1.15 * max(finite, default=1.0)
    if routes is not None:
        most = min(max(most, 0.2), 1.3 * routes[1]) if finite else 1.1 * routes[1]
    rough = max(most, 0.05) / _ROWS
    scale = 10.0 ** floor(log10(rough))
    step = next(n * scale for n in (1, 2, 2.5, 5, 10) if n * scale >= rough * (1 - 1e-9))
    return tuple(round(step * k, 9) for k in range(1, ceil(most / step) + 1))
