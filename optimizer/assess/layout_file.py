"""Reading a given layout: what somebody drew or built, to be weighed against the study."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from optimizer.assess.layout_records import (
    LAYOUT,
    LineRecord,
    PartRecord,
    read_json,
    read_lines_table,
    read_parts_table,
)
from optimizer.assess.result import Layout, Placement, Routing
from optimizer.errors import Flaw, InputError, Origin
from optimizer.lines.graph import RoutingGraph
from optimizer.setting import Setting, build_setting
from optimizer.study.files import display, read_text
from optimizer.study.model import Line, LineOption, Part, PartModel, Study
from optimizer.study.words import choice_of, nearest, quoted, unknown


@dataclass(frozen=True, slots=True)
class GivenLayout:
    """A layout as read, with what had to be assumed to make it whole, in words."""

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
) -> GivenLayout:
    """The layout in a file, its names looked up in the study.

    Parameters
    ----------
    path : JSON written by `place` or `weigh`, or a CSV (see `optimizer.assess.layout_records`)
    rank : which layout of a ranking
    lines_path : CSV of lines; takes precedence over lines in `path`

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
    text = read_text(Path(path), Origin("--layout"), LAYOUT, flaws)
    parts: list[PartRecord] | None = None
    lines: list[LineRecord] = []
    if text is not None:
        if Path(path).suffix.casefold() == ".json" or text.lstrip().startswith(("{", "[")):
            read = read_json(text, file, rank, flaws)
            parts, lines = (None, []) if read is None else read
        else:
            parts = read_parts_table(text, file, flaws)
    whole = not flaws
    if lines_path is not None:
        lines = read_lines_table(Path(lines_path), flaws)
    if parts is None:
        raise InputError(flaws)
    placements = _placements(setting.study, parts, file, whole, flaws)
    routings, assumed = _routings(setting, lines, placements, flaws)
    if flaws:
        raise InputError(_in_order(flaws))
    return GivenLayout(Layout(tuple(placements.values()), tuple(routings)), tuple(assumed))


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
    missing = [unit for unit in units if unit not in taken.seen]
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

    def take(self, name: str, origin: Origin, what: str, flaws: list[Flaw]) -> str | None:
        """The copy a name stands for, or None with a flaw noted."""
        if name in self._all:
            wanted: Sequence[str] = (name,)
        elif name in self._copies_of:
            wanted = self._copies_of[name]
        else:
            flaws.append(unknown(origin, name, what, self._all))
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
    assumed: list[str] = []
    for line in study.lines:
        ends = (
            copies(line.part_a, counts[line.part_a]),
            copies(line.part_b, counts[line.part_b]),
        )
        for i, name in enumerate(copies(line.name, number[line.name])):
            unit_a, unit_b = (units[i] if len(units) > 1 else units[0] for units in ends)
            run = _Run(setting, line, name, given.get(name), assumed.append, flaws)
            if unit_a in placed and unit_b in placed:
                routing = run.between(placed[unit_a], placed[unit_b])
                if routing is not None:
                    routings.append(routing)
    return routings, assumed


@dataclass(frozen=True)
class _Run:
    """One line to be routed as its record says, or as is assumed where it says nothing."""

    setting: Setting
    line: Line
    name: str
    record: LineRecord | None
    assume: Callable[[str], None]
    flaws: list[Flaw]

    def between(self, a: Placement, b: Placement) -> Routing | None:
        """The routing from one placed unit to another, None with a flaw noted."""
        graph, sites = self.setting.graph, [site.name for site in self.setting.study.sites]
        if a.site not in sites or b.site not in sites:
            return None  # said already
        ends = (sites.index(a.site), sites.index(b.site))
        record = self.record
        nodes: tuple[str, ...] | None
        if a.site == b.site and (record is None or not set(record.route or ()) - {a.site}):
            nodes = ()
        elif record is not None and record.route:
            nodes = self._given_route(record, record.route, a, b)
        else:
            nodes = self._shortest(graph, ends)
        if nodes is None:
            return None
        option = self._option(record, graph, nodes)
        if option is None:
            return None
        measured = None if record is None else record.measured_length_m
        return Routing(self.name, option.name, a.unit, b.unit, nodes, measured)

    def _shortest(self, graph: RoutingGraph, ends: tuple[int, int]) -> tuple[str, ...] | None:
        start, goal = (int(graph.site_node[s]) for s in ends)
        path = graph.shortest_path(start, goal)
        if path is None:
            names = f"{graph.nodes[start]} to {graph.nodes[goal]}"
            self.flaws.append(
                Flaw(self.line.origin, f"no route for {self.name} from {names}", "a route")
            )
            return None
        self.assume(f"{self.name}: no route was given, so the shortest was taken")
        return tuple(graph.nodes[n] for n in path[0])

    def _given_route(
        self, record: LineRecord, route: tuple[str, ...], a: Placement, b: Placement
    ) -> tuple[str, ...] | None:
        """The route from site to site; one that leaves out its end sites, or runs back, counts."""
        graph, origin = self.setting.graph, record.origins[2]
        anchors = set(graph.nodes[: graph.n_anchors])
        sites = set(graph.nodes[graph.n_anchors :])
        if route[0] == b.site and route[-1] == a.site and a.site != b.site:
            route = route[::-1]
        if route[0] != a.site and route[0] in anchors:
            route = (a.site, *route)
        if route[-1] != b.site and route[-1] in anchors:
            route = (*route, b.site)
        before = len(self.flaws)
        for node, site, unit in ((route[0], a.site, a.unit), (route[-1], b.site, b.unit)):
            if node != site and node in sites:
                found = f"an end at {node}, while {unit} is at {site}"
                self.flaws.append(Flaw(origin, found, f"{site}, or a routing anchor"))
            elif node != site:
                self.flaws.append(unknown(origin, node, "a routing anchor", anchors | {site}))
        for node in route[1:-1]:
            if node not in anchors:
                self.flaws.append(unknown(origin, node, "a routing anchor", sorted(anchors)))
        if len(self.flaws) == before:
            self._check_steps(graph, route, origin)
        return route if len(self.flaws) == before else None

    def _check_steps(self, graph: RoutingGraph, route: tuple[str, ...], origin: Origin) -> None:
        last = len(route) - 2
        for i, (here, there) in enumerate(pairwise(route)):
            beside = _neighbours(graph, here, is_site=i == 0)
            if there in beside or (i == last and here in _neighbours(graph, there, is_site=True)):
                continue
            self.flaws.append(
                Flaw(
                    origin,
                    f"a step from {here} to {there}, which are not joined",
                    f"a step to a neighbour of {here}: {choice_of(beside)}",
                    nearest(there, beside),
                )
            )

    def _option(
        self, record: LineRecord | None, graph: RoutingGraph, nodes: tuple[str, ...]
    ) -> LineOption | None:
        options = {option.name: option for option in self.line.options}
        if record is not None and record.option:
            if record.option not in options:
                self.flaws.append(
                    unknown(record.origins[1], record.option, f"an option of {self.name}", options)
                )
                return None
            return options[record.option]
        if len(options) == 1:
            return self.line.options[0]
        length = self.line.slack_m + float(sum(graph.length_m[i] for i in graph.route_arcs(nodes)))
        reaching = [o for o in self.line.options if o.max_length_m >= length]
        if reaching:
            chosen = min(reaching, key=lambda o: o.mass_kg_per_m * length + 2 * o.end_mass_kg)
        else:
            chosen = max(self.line.options, key=lambda o: o.max_length_m)
        self.assume(f"{self.name}: no option was given, so {chosen.name} was taken")
        return chosen


def _neighbours(graph: RoutingGraph, name: str, *, is_site: bool) -> list[str]:
    """Nodes joined to one, sites left out unless it is a site itself."""
    base = graph.n_anchors if is_site else 0
    node = graph.nodes.index(name, base) if is_site else graph.nodes.index(name)
    found = [
        int(head if tail == node else tail)
        for tail, head in zip(graph.tail, graph.head, strict=True)
        if node in (tail, head)
    ]
    return [graph.nodes[n] for n in found if n < graph.n_anchors]
