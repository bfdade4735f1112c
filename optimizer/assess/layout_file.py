"""Reading a given layout: what somebody drew or built, to be weighed against the study."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from optimizer.assess.layout_records import (
    LAYOUT,
    BallastRecord,
    LineRecord,
    PartRecord,
    read_json,
    read_lines_table,
    read_parts_table,
)
from optimizer.assess.layout_runs import Run
from optimizer.assess.result import Ballast, Layout, Placement, Routing
from optimizer.errors import Flaw, InputError, Origin
from optimizer.setting import Setting, build_setting
from optimizer.study.files import display, read_text
from optimizer.study.model import Part, PartModel, Study
from optimizer.study.words import choice_of, quoted, unknown


@dataclass(frozen=True, slots=True)
class GivenLayout:
    """A layout as read, with what had to be assumed to make it whole, in words.

    That a column nearly named as one of ours is none is assumed too.
    """

    layout: Layout
    assumed: tuple[str, ...]


def read_layout(
    path: str | Path,
    study: Study | Setting,
    rank: int = 1,
    lines_path: str | Path | None = None,
) -> Layout:
    """The layout in a file; see `read_given_layout`."""
    return read_given_layout(path, study, rank, lines_path).layout


def read_given_layout(
    path: str | Path,
    study: Study | Setting,
    rank: int = 1,
    lines_path: str | Path | None = None,
    options: tuple[str, str] = ("--layout", "--lines"),
) -> GivenLayout:
    """The layout in a file, its names looked up in the study.

    Parameters
    ----------
    path : JSON written by `place` or `weigh`, or a CSV (see `optimizer.assess.layout_records`)
    rank : which layout of a ranking
    lines_path : CSV of lines; takes precedence over lines in `path`
    options : what `path` and `lines_path` were given by, blamed if they cannot be read

    A line that says no route takes the shortest; one that says no option the lightest that is
    allowed to be so long (else the one allowed to be longest). Both are told in `assumed`.

    Raises
    ------
    InputError
        With every flaw: unknown parts, models, sites, lines, options and nodes (with the nearest
        name), parts missing or given twice, routes that skip or end elsewhere.
    """
    setting = study if isinstance(study, Setting) else build_setting(study)
    flaws: list[Flaw] = []
    file = display(path)
    text = read_text(Path(path), Origin(options[0]), LAYOUT, flaws)
    parts: list[PartRecord] | None = None
    lines: list[LineRecord] = []
    ballast: list[BallastRecord] = []
    ignored: list[str] = []
    if text is not None:
        if Path(path).suffix.casefold() == ".json" or text.lstrip().startswith(("{", "[")):
            read = read_json(text, file, rank, flaws)
            parts, lines, ballast = (None, [], []) if read is None else read
        else:
            parts = read_parts_table(text, file, flaws, ignored)
    whole = not flaws
    if lines_path is not None:
        lines = read_lines_table(Path(lines_path), flaws, ignored, options[1])
    if parts is None:
        raise InputError(flaws)
    placements = _placements(setting.study, parts, file, whole, flaws)
    routings, assumed = _routings(setting, lines, placements, flaws)
    names = [site.name for site in setting.study.sites]
    for record in ballast:
        if record.site not in names:
            flaws.append(unknown(record.origin, record.site, "a site of the garment", names))
    if flaws:
        raise InputError(_in_order(flaws))
    weights = tuple(Ballast(record.site, record.mass_kg) for record in ballast)
    layout = Layout(tuple(placements.values()), tuple(routings), weights)
    return GivenLayout(layout, (*ignored, *assumed))


def _in_order(flaws: list[Flaw]) -> list[Flaw]:
    """By file as first met, then by row."""
    files = list(dict.fromkeys(flaw.origin.file for flaw in flaws))
    return sorted(flaws, key=lambda f: (files.index(f.origin.file), f.origin.row or 0))


def copies(name: str, count: int) -> tuple[str, ...]:
    """Names of the copies of a part or line: "valve", or "valve#1", "valve#2"."""
    return (name,) if count == 1 else tuple(f"{name}#{i + 1}" for i in range(count))


def _placements(
    study: Study, records: Sequence[PartRecord], file: str, whole: bool, flaws: list[Flaw]
) -> dict[str, Placement]:
    """A placement for every unit of the study, in its order, as far as the records are sound.

    `whole` tells whether every row could be read; only then is a missing part a flaw.
    """
    units = {unit: part for part in study.parts for unit in copies(part.name, part.count)}
    sites = [site.name for site in study.sites]
    placed: dict[str, Placement] = {}
    taken = _Taken({part.name: copies(part.name, part.count) for part in study.parts})
    for record in records:
        name = record.unit or record.part
        unit = taken.take(name, record.origins[0], "a part of the study", flaws)
        if record.site and record.site not in sites:
            flaws.append(unknown(record.origins[2], record.site, "a site of the garment", sites))
        if unit is None:
            continue
        part = units[unit]
        model = _model(part, record, flaws)
        if model is not None:
            placed[unit] = Placement(
                unit, part.name, model.name, record.site, record.measured_mass_kg
            )
    meant = taken.meant
    missing = [unit for unit in units if unit not in taken.seen and unit not in meant]
    if missing and whole:
        found = f"no place for {', '.join(missing)}"
        flaws.append(Flaw(Origin(file), found, "one row for every part, and every copy of it"))
    return {unit: placed[unit] for unit in units if unit in placed}


class _Taken:
    """Names as they are met: each copy once, a bare name standing for its next free copy."""

    def __init__(self, copies_of: Mapping[str, tuple[str, ...]]) -> None:
        self._copies_of = copies_of
        self._all = [unit for units in copies_of.values() for unit in units]
        self.seen: dict[str, Origin] = {}
        self.meant: set[str] = set()
        """Names that unknown ones are near to: told there, not missed as well."""

    def take(self, name: str, origin: Origin, what: str, flaws: list[Flaw]) -> str | None:
        """The copy a name stands for, or None with a flaw noted."""
        if name in self._all:
            wanted: Sequence[str] = (name,)
        elif name in self._copies_of:
            wanted = self._copies_of[name]
        else:
            flaw = unknown(origin, name, what, self._all)
            flaws.append(flaw)
            if flaw.nearest is not None:
                self.meant.add(flaw.nearest)
            return None
        free = next((unit for unit in wanted if unit not in self.seen), None)
        if free is None:
            first = self.seen[wanted[-1]]
            before = f", and row {first.row} says so already" if first.row is not None else ""
            count = "once" if len(wanted) == 1 else f"at most {len(wanted)} times"
            flaws.append(Flaw(origin, f"{quoted(name)} again", f"it {count}{before}"))
            return None
        self.seen[free] = origin
        return free


def _model(part: Part, record: PartRecord, flaws: list[Flaw]) -> PartModel | None:
    by_name = {model.name: model for model in part.models}
    if record.model in by_name:
        return by_name[record.model]
    if not record.model and len(part.models) == 1:
        return part.models[0]
    if record.model:
        flaws.append(unknown(record.origins[1], record.model, f"a model of {part.name}", by_name))
    else:
        expected = f"a model of {part.name}: {choice_of(by_name)}"
        flaws.append(Flaw(record.origins[1], "an empty cell", expected))
    return None


def _routings(
    setting: Setting,
    records: Sequence[LineRecord],
    placed: Mapping[str, Placement],
    flaws: list[Flaw],
) -> tuple[list[Routing], list[str]]:
    study = setting.study
    counts = {part.name: part.count for part in study.parts}
    number = {line.name: max(counts[line.part_a], counts[line.part_b]) for line in study.lines}
    taken = _Taken({name: copies(name, count) for name, count in number.items()})
    given: dict[str, LineRecord] = {}
    for record in records:
        name = taken.take(record.line, record.origins[0], "a line of the study", flaws)
        if name is not None:
            given[name] = record
    routings: list[Routing] = []
    unrouted: list[str] = []
    optionless: list[str] = []
    for line in study.lines:
        ends = (
            copies(line.part_a, counts[line.part_a]),
            copies(line.part_b, counts[line.part_b]),
        )
        for i, name in enumerate(copies(line.name, number[line.name])):
            unit_a, unit_b = (units[i] if len(units) > 1 else units[0] for units in ends)
            run = Run(setting, line, name, given.get(name), unrouted, optionless, flaws)
            if unit_a in placed and unit_b in placed:
                routing = run.between(placed[unit_a], placed[unit_b])
                if routing is not None:
                    routings.append(routing)
    assumed = []
    if unrouted:
        assumed.append(f"no route was given for {', '.join(unrouted)}: the shortest was taken")
    if optionless:
        assumed.append(f"no option was given for {', '.join(optionless)}")
    return routings, assumed
