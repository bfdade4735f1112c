"""One line of a given layout: its route and option as written, checked, or assumed."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from optimizer.assess.layout_records import LineRecord
from optimizer.assess.result import Placement, Routing
from optimizer.errors import Flaw, Origin
from optimizer.lines.graph import RoutingGraph
from optimizer.setting import Setting
from optimizer.study.model import Line, LineOption
from optimizer.study.words import choice_of, nearest, unknown


@dataclass(frozen=True)
class Run:
    """One line to be routed as its record says, or as is assumed where it says nothing.

    `unrouted` and `optionless` take note of what was assumed, `flaws` of what cannot be.
    """

    setting: Setting
    line: Line
    name: str
    record: LineRecord | None
    unrouted: list[str]
    optionless: list[str]
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
        option = self._option(record, graph, nodes, self._reach(a, b))
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
        self.unrouted.append(self.name)
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

    def _reach(self, a: Placement, b: Placement) -> dict[str, float]:
        """Longest length [m] by option with the models placed; options that never do left out."""
        parts = {part.name: part for part in self.setting.study.parts}
        models = [[m.name for m in parts[p.part].models] for p in (a, b)]
        chosen = [
            names.index(p.model) if p.model in names else 0
            for names, p in zip(models, (a, b), strict=True)
        ]
        return {
            self.line.options[limit.option].name: limit.max_length_m
            for limit in self.setting.line_limits[self.line.name]
            if limit.model_a in (None, chosen[0]) and limit.model_b in (None, chosen[1])
        }

    def _option(
        self,
        record: LineRecord | None,
        graph: RoutingGraph,
        nodes: tuple[str, ...],
        reach_m: dict[str, float],
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
        reaching = [o for o in self.line.options if reach_m.get(o.name, -1.0) >= length]
        if reaching:
            chosen = min(reaching, key=lambda o: o.mass_kg_per_m * length + 2 * o.end_mass_kg)
        else:
            chosen = max(self.line.options, key=lambda o: reach_m.get(o.name, -1.0))
        self.optionless.append(f"{self.name} ({chosen.name} was taken)")
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
