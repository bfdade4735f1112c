"""What is wrong with the physics of a study's lines, each flaw with its row and column.

Looked at once parts and lines are sound by themselves. Three kinds: a budget without a number it
needs (which one, and in which table), numbers that contradict each other (a target above the
supply), and what only the models can tell (a flow beyond their range).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import ceil, isfinite, pi

from optimizer.errors import Flaw, Origin
from optimizer.study.model import Line, LineOption, Part, PartModel
from optimizer.study.physics import LinePhysics
from optimizer.study.words import choice_of, nearest, quoted

#: Budget column -> its field, the kinds of line it is for, the columns it needs with their fields.
BUDGETS: Mapping[str, tuple[str, tuple[str, ...], tuple[tuple[str, str], ...]]] = {
    "response_ms": (
        "response_s", ("air_tube",),
        (("supply_kpa", "supply_pa"), ("target_kpa", "target_pa")),
    ),
    "vent_ms": ("vent_s", ("air_tube",), (("vent_kpa", "vent_pa"),)),
    "max_drop_kpa": ("max_drop_pa", ("air_tube", "hose"), ()),
    "max_drop_pct": (
        "max_drop_share", ("wire",),
        (("voltage_v", "voltage_v"), ("peak_current_a", "highest_current_a")),
    ),
    "min_efficiency_pct": ("min_efficiency", ("pull_cable",), (("friction_mu", "friction_mu"),)),
}  # fmt: skip
#: Start of what the models call a quantity -> the column of the lines table it comes from.
_COLUMN_OF = {
    "target pressure of venting": "vent_kpa",
    "target pressure": "target_kpa",
    "supply pressure": "supply_kpa",
    "tube bore": "bore_mm",
    "hose bore": "bore_mm",
    "Reynolds number": "flow_ml_s",
    "wire size": "size",
    "liquid": "liquid",
    "least efficiency": "min_efficiency_pct",
    "friction coefficient": "friction_mu",
    "rope": "rope",
    "polytropic": "polytropic",
    "critical pressure ratio": "fitting_b",
}


def physics_flaws(parts: tuple[Part, ...], lines: tuple[Line, ...]) -> list[Flaw]:
    """Every flaw of the physics columns of sound parts and lines."""
    by_name = {part.name: part for part in parts}
    known = [line for line in lines if {line.part_a, line.part_b} <= by_name.keys()]
    flaws = [flaw for part in parts for model in part.models for flaw in _part_flaws(model)]
    for line in known:
        for option in line.options:
            flaws += _option_flaws(line, option)
    for line in known:
        if line.kind == "air_tube":
            flaws += _air_flaws(by_name, known, line)
    # one flaw a cell is enough: an empty one may be needed by several budgets
    return list({flaw.origin: flaw for flaw in reversed(flaws)}.values())[::-1] or _model_flaws(
        parts, known
    )


def _at(row: LineOption | PartModel, column: str) -> Origin:
    return Origin(row.origin.file, row.origin.row, column)


def _empty(row: LineOption | PartModel, column: str, why: str) -> Flaw:
    return Flaw(_at(row, column), "an empty cell", why)


def _part_flaws(model: PartModel) -> Iterator[Flaw]:
    p = model.physics
    if p.valve_c is not None and p.valve_b is None:
        yield _empty(model, "valve_b", "the critical pressure ratio that goes with valve_c")
    if p.valve_b is not None and not 0.0 <= p.valve_b < 1.0:
        yield Flaw(
            _at(model, "valve_b"),
            f"a critical pressure ratio of {p.valve_b:g}",
            "at least 0 and below 1 (0.2 to 0.5 for most valves)",
        )
    if p.piston_m is not None and p.stroke_m is None:
        yield _empty(model, "stroke_mm", "the stroke that goes with piston_mm")
    if p.piston_m is not None and p.stroke_m is not None and p.chamber_m3 is not None:
        swept = pi / 4.0 * p.piston_m**2 * p.stroke_m
        if swept > 1.01 * p.chamber_m3:
            yield Flaw(
                _at(model, "chamber_cm3"),
                f"{p.chamber_m3 * 1e6:g} cm3",
                f"at least the {swept * 1e6:.3g} cm3 that piston_mm and stroke_mm sweep",
            )
    if p.piston_m is not None and p.chamber_m3 is None:
        yield _empty(model, "chamber_cm3", "the air space that goes with piston_mm")


def _option_flaws(line: Line, option: LineOption) -> Iterator[Flaw]:
    p = option.physics
    for column, (field, kinds, needed) in BUDGETS.items():
        if getattr(p, field) is None:
            continue
        if line.kind not in kinds:
            yield Flaw(
                _at(option, column),
                f"{column} of a {line.kind}",
                f"an empty cell: {column} is for {choice_of(kinds)}",
            )
            continue
        for other, other_field in needed:
            if getattr(p, other_field) is None:
                yield _empty(option, other, f"a value: {column} of {line.name} needs it")
    yield from _contradictions(option, p)
    if line.kind == "wire":
        yield from _wire_flaws(option)
    if line.kind == "hose" and p.max_drop_pa is not None:
        for column, missing in (
            ("bore_mm", option.bore_m is None),
            ("flow_ml_s", p.flow_m3_s is None),
        ):
            if missing:
                yield _empty(option, column, f"a value: max_drop_kpa of {line.name} needs it")
    if line.kind == "hose" and (p.liquid or p.max_drop_pa is not None):
        yield from _liquid_flaws(option)
    if line.kind == "pull_cable":
        yield from _rope_flaws(option)
    if line.kind == "air_tube" and option.bore_m is None:
        for column, value in (
            ("response_ms", p.response_s), ("vent_ms", p.vent_s), ("max_drop_kpa", p.max_drop_pa),
        ):  # fmt: skip
            if value is not None:
                yield _empty(option, "bore_mm", f"the bore: {column} of {line.name} needs it")


def _contradictions(option: LineOption, p: LinePhysics) -> Iterator[Flaw]:
    from optimizer.lines.air import ATMOSPHERE_PA

    air = f"{ATMOSPHERE_PA / 1e3:g} kPa, the atmosphere"
    if not 0.0 <= p.fitting_b < 1.0:
        found = f"a critical pressure ratio of {p.fitting_b:g}"
        yield Flaw(_at(option, "fitting_b"), found, "at least 0 and below 1")
    if p.supply_pa is not None and p.supply_pa <= ATMOSPHERE_PA:
        found = f"a supply of {p.supply_pa / 1e3:g} kPa absolute"
        yield Flaw(_at(option, "supply_kpa"), found, f"above {air}")
    if p.target_pa is not None and p.supply_pa is not None and p.target_pa >= p.supply_pa:
        yield Flaw(
            _at(option, "target_kpa"),
            f"a target of {p.target_pa / 1e3:g} kPa",
            f"below the supply of {p.supply_pa / 1e3:g} kPa",
        )
    if p.target_pa is not None and p.target_pa <= ATMOSPHERE_PA:
        found = f"a target of {p.target_pa / 1e3:g} kPa absolute"
        yield Flaw(_at(option, "target_kpa"), found, f"above {air}")
    start, name = (p.target_pa, "target") if p.target_pa else (p.supply_pa, "supply")
    if p.vent_pa is not None and start is not None and p.vent_pa >= start:
        yield Flaw(
            _at(option, "vent_kpa"),
            f"venting down to {p.vent_pa / 1e3:g} kPa",
            f"below the {name} of {start / 1e3:g} kPa it vents from",
        )
    if p.vent_pa is not None and p.vent_pa <= ATMOSPHERE_PA:
        found = f"venting down to {p.vent_pa / 1e3:g} kPa absolute"
        yield Flaw(_at(option, "vent_kpa"), found, f"above {air}")
    if p.vent_s is not None and start is None:
        yield _empty(option, "target_kpa", "the pressure venting starts from: vent_ms needs it")
    if p.max_drop_pa is not None and p.supply_pa is not None and p.max_drop_pa >= p.supply_pa:
        yield Flaw(
            _at(option, "max_drop_kpa"),
            f"a drop of {p.max_drop_pa / 1e3:g} kPa",
            f"below the supply of {p.supply_pa / 1e3:g} kPa",
        )
    if p.peak_current_a is not None and p.current_a is not None and p.peak_current_a < p.current_a:
        found = f"a peak of {p.peak_current_a:g} A"
        yield Flaw(_at(option, "peak_current_a"), found, f"at least current_a, {p.current_a:g} A")


def _wire_flaws(option: LineOption) -> Iterator[Flaw]:
    p = option.physics
    if p.max_drop_share is None and p.highest_current_a is None:
        return
    if not option.size:
        yield _empty(option, "size", "a gauge such as AWG 20 or 0.5 mm2: the drop needs it")
        return
    from optimizer.lines.impossible import ImpossiblePhysics
    from optimizer.lines.wire import wire_size, wire_sizes

    try:
        wire_size(option.size)
    except ImpossiblePhysics:
        names = [size.name for size in wire_sizes()]
        yield Flaw(
            _at(option, "size"),
            quoted(option.size),
            f"a gauge from {names[0]} or AWG number ({len(names)} to choose from)",
            nearest_gauge(option.size, names),
        )


def nearest_gauge(text: str, names: list[str]) -> str | None:
    """The known size nearest by number where a number can be read, else by spelling."""
    digits = "".join(c if c.isdigit() or c == "." else " " for c in text).split()
    try:
        wanted = float(digits[0])
    except (IndexError, ValueError):
        return nearest(text, names)
    awg = "awg" in text.casefold() or "ga" in text.casefold()
    kind = [n for n in names if n.startswith("AWG") == awg] or names
    return min(kind, key=lambda n: abs(float(n.removeprefix("AWG ").split()[0]) - wanted))


def _liquid_flaws(option: LineOption) -> Iterator[Flaw]:
    from optimizer.lines.hose import liquid
    from optimizer.lines.impossible import ImpossiblePhysics
    from optimizer.lines.line_tables import read_table

    names = [row["name"] for row in read_table("fluids")]
    if not option.physics.liquid:
        yield _empty(option, "liquid", f"a liquid: {choice_of(names)}")
        return
    try:
        liquid(option.physics.liquid)
    except ImpossiblePhysics:
        near = nearest(option.physics.liquid, names)
        found = quoted(option.physics.liquid)
        yield Flaw(_at(option, "liquid"), found, f"a liquid: {choice_of(names)}", near)


def _rope_flaws(option: LineOption) -> Iterator[Flaw]:
    from optimizer.lines.line_tables import read_table

    names = [f"{row['construction']} {row['material']}" for row in read_table("cable_ropes")]
    rope = option.physics.rope
    if rope and rope not in names:
        near = nearest(rope, names)
        yield Flaw(_at(option, "rope"), quoted(rope), choice_of(names), near)


def _air_flaws(parts: Mapping[str, Part], lines: list[Line], line: Line) -> Iterator[Flaw]:
    from optimizer.lines.air_ends import air_ends, has_chamber, has_valve

    asked = [
        (option, column)
        for option in line.options
        for column, value in (
            ("response_ms", option.physics.response_s), ("vent_ms", option.physics.vent_s),
        )
        if value is not None
    ]  # fmt: skip
    dropped = [o for o in line.options if o.physics.max_drop_pa is not None]
    ends = air_ends(parts, lines, line)
    a, b = parts[line.part_a], parts[line.part_b]
    if asked and ends is None:
        option, column = asked[0]
        lacking = [
            what
            for what, there in (
                ("valve_c", has_valve(a) or has_valve(b)),
                ("chamber_cm3", has_chamber(a) or has_chamber(b)),
            )
            if not there
        ]
        yield Flaw(
            _at(option, column),
            f"{column} of a line between {a.name} and {b.name}",
            "a valve at one end (valve_c in the parts table) and a chamber at the other "
            "(chamber_cm3)" + (f"; neither part has {choice_of(lacking)}" if lacking else ""),
        )
    if asked and ends is not None:
        for part, fields in (
            (ends.valve, (("valve_c", "valve_c"), ("valve_b", "valve_b"))),
            (ends.chamber, (("chamber_cm3", "chamber_m3"),)),
        ):
            yield from _lacking(part, fields, f"{asked[0][1]} of {line.name} needs it")
    if ends is not None:
        yield from _stalls(ends.chamber, line)
    for option, column in asked:
        if ends is not None and column == "response_ms" and not ends.inward:
            yield Flaw(
                _at(option, column),
                f"{column} of a line from {a.name} to {b.name}",
                f"an empty cell here: air fills {ends.chamber.name} along a line from its valve",
            )
    if ends is not None and any(column == "vent_ms" for _, column in asked):
        for outlet, silencer in ends.outlets:
            why = f"vent_ms of {line.name} counts the way out through {outlet.name}"
            yield from _lacking(silencer, (("valve_c", "valve_c"), ("valve_b", "valve_b")), why)
            for option in outlet.options:
                if option.bore_m is None:
                    yield _empty(option, "bore_mm", f"the bore: {why}")
                if not isfinite(option.max_length_m):
                    yield _empty(option, "max_length_mm", f"its longest length: {why}")
    for option in dropped:
        if option.physics.supply_pa is None:
            yield _empty(option, "supply_kpa", f"a value: max_drop_kpa of {line.name} needs it")
        if option.physics.flow_anr_m3_s is None:
            if not has_valve(b):
                yield _empty(
                    option,
                    "flow_anr_dm3_min",
                    f"the flow at which max_drop_kpa counts: {b.name} is no valve (no valve_c)",
                )
            else:
                yield from _lacking(
                    b, (("valve_c", "valve_c"), ("valve_b", "valve_b")),
                    f"max_drop_kpa of {line.name} needs it",
                )  # fmt: skip


def _stalls(chamber: Part, line: Line) -> Iterator[Flaw]:
    """Pressures that leave a piston short of its stroke: it would pass as a fast, thrifty one."""
    from optimizer.lines.line_limits import chamber_of, vent_start_pa

    for option in line.options:
        high = vent_start_pa(option)
        for model in chamber.models:
            p = model.physics
            if high is None or None in (p.chamber_m3, p.piston_m, p.stroke_m):
                continue
            start, end, _ = (float(v) for v in chamber_of(model, option).ramp())
            if end <= high * (1.0 + 1e-5):
                continue
            made = 100.0 * max(high - start, 0.0) / (end - start)
            where = "target_kpa" if option.physics.target_pa else "supply_kpa"
            yield Flaw(
                _at(model, "load_n" if p.load_n else "spring_n_mm"),
                f"load_n {p.load_n:g} and spring_n_mm {p.spring_n_m / 1e3:g}, against which "
                f"{made:.0f} % of the stroke is made at {where} {high / 1e3:g} of {line.name}",
                f"a load that this pressure moves all the way, or {where} of at least "
                f"{ceil(end / 1e3)}",
            )


def _lacking(part: Part, fields: tuple[tuple[str, str], ...], why: str) -> Iterator[Flaw]:
    for model in part.models:
        for column, field in fields:
            if getattr(model.physics, field) is None:
                yield _empty(model, column, f"a value: {why}")


def _model_flaws(parts: tuple[Part, ...], lines: list[Line]) -> list[Flaw]:
    """What only working it out can tell; one line after the other if anything is found."""
    from optimizer.lines.impossible import ImpossiblePhysics
    from optimizer.lines.line_limits import LineLimits

    limits = LineLimits(parts, lines)
    try:
        limits.check()
    except ImpossiblePhysics:
        pass
    else:
        return []
    flaws: list[Flaw] = []
    for line in lines:
        for option in line.options:
            alone = Line(
                line.name, line.kind, line.part_a, line.part_b, line.slack_m, (option,),
                line.origin,
            )  # fmt: skip
            try:
                LineLimits(parts, [alone if ln is line else ln for ln in lines]).check(alone)
            except ImpossiblePhysics as fault:
                column = next(
                    (c for start, c in _COLUMN_OF.items() if fault.quantity.startswith(start)), None
                )
                found = fault.found if isinstance(fault.found, str) else f"{fault.found:.6g}"
                at = option.origin if column is None else _at(option, column)
                flaws.append(Flaw(at, f"{fault.quantity} {found}", fault.expected))
    return flaws
