"""The routing graph: where lines may run on this wearer, and what each stretch costs.

Nodes are anchors (first) and one leaf per site, in the garment's order. Arcs are undirected, at
most one between two nodes. All arrays run over arcs (m) or nodes (n); SI units.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from optimizer.body.gait import joint_ranges
from optimizer.body.tables import read_table
from optimizer.errors import Flaw, InputError, Origin
from optimizer.lines.anchors import Anchor, RoutedWearer, default_anchors
from optimizer.lines.arcs import Arc, default_arcs, leaf_arc, straight_length
from optimizer.lines.edits import check_edits, nearest_name
from optimizer.lines.joints import Crossing
from optimizer.lines.shortest import all_pairs, one_pair
from optimizer.study.model import OFF_BODY, RoutesSpec, SegmentKey, Site

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Template = tuple[dict[str, Anchor], tuple[Arc, ...]]


@dataclass(frozen=True, eq=False)
class RoutingGraph:
    """Anchors, sites and the arcs between them; see the module for shapes.

    `length_m` includes `slack_m`, what crossed joints (or the study) ask on top of the standing
    length. `stored_m` is the full change of length over the joint range: the loop that hangs
    there at the other extreme. `bend_rad` is the estimate of `optimizer.lines.arcs`, of which
    `flex_rad` comes from joints at their greatest departure from standing.
    """

    nodes: tuple[str, ...]
    positions: Array
    segment_of: tuple[SegmentKey, ...]
    tail: IntArray
    head: IntArray
    length_m: Array
    slack_m: Array
    stored_m: Array
    bend_rad: Array
    flex_rad: Array
    crossings: tuple[tuple[Crossing, ...], ...]
    half_keys: tuple[tuple[SegmentKey, SegmentKey], ...]
    half_points: Array
    """(m, 2, 3): quarter points of the straight arc, tail's half first."""
    cautions: tuple[str | None, ...]
    site_node: IntArray

    @property
    def n_anchors(self) -> int:
        """Number of anchors; they are the nodes before the sites."""
        return len(self.nodes) - len(self.site_node)

    @cached_property
    def joint(self) -> tuple[str | None, ...]:
        """The joint each arc crosses, e.g. "knee.left"; the first of them if it crosses more."""
        return tuple(c[0].joint if c else None for c in self.crossings)

    @cached_property
    def joints(self) -> tuple[tuple[str, ...], ...]:
        """All joints each arc crosses, in order from its tail."""
        return tuple(tuple(c.joint for c in crossed) for crossed in self.crossings)

    def arc_name(self, arc: int) -> str:
        """Name of an arc, e.g. "waist_back - hip_back"."""
        return f"{self.nodes[self.tail[arc]]} - {self.nodes[self.head[arc]]}"

    def shortest_lengths(self) -> Array:
        """Least length (n_sites, n_sites), m, with joint slack; inf where no route leads."""
        return self._between_sites(self.length_m)

    def shortest_bends(self) -> Array:
        """Least total bend (n_sites, n_sites), rad; inf where no route leads."""
        return self._between_sites(self.bend_rad)

    def _between_sites(self, weight: Array) -> Array:
        best = all_pairs(len(self.nodes), self.tail, self.head, weight)
        return best[np.ix_(self.site_node, self.site_node)]

    def shortest_path(
        self, a: int, b: int, weights: Array | None = None
    ) -> tuple[tuple[int, ...], tuple[int, ...]] | None:
        """Node and arc numbers of the least route between nodes `a` and `b`, None if there is none.

        `weights` (m,), non-negative, defaults to `length_m`. Of equal routes always the same.
        """
        weight = self.length_m if weights is None else weights
        ends = self.tail.tolist(), self.head.tolist()
        return one_pair(len(self.nodes), ends, np.asarray(weight).tolist(), a, b)

    def route_arcs(self, names: Sequence[str]) -> tuple[int, ...]:
        """Arc numbers of a route given as node names, first and last a site, anchors between.

        A site may bear the name of an anchor: the ends are looked up among sites, the rest
        among anchors. An empty route, or one site alone, has no arcs.

        Raises
        ------
        ValueError
            If a name is unknown there or two neighbours are not joined by an arc.
        """
        if len(names) < 2:
            return ()
        anchors, sites = self._numbers
        last = len(names) - 1
        stops: list[int] = []
        for i, name in enumerate(names):
            pool = sites if i in (0, last) else anchors
            if name not in pool:
                what = "site" if pool is sites else "routing anchor"
                near = nearest_name(name, tuple(pool))
                raise ValueError(f"no {what} named {name!r} (nearest: {near})")
            stops.append(pool[name])
        found: list[int] = []
        for a, b in pairwise(stops):
            arc = self._arc_between.get(frozenset((a, b)))
            if arc is None:
                raise ValueError(f"no arc joins {self.nodes[a]!r} and {self.nodes[b]!r}")
            found.append(arc)
        return tuple(found)

    @cached_property
    def _numbers(self) -> tuple[dict[str, int], dict[str, int]]:
        """Node numbers of the anchors and of the sites, by name."""
        anchors = {name: i for i, name in enumerate(self.nodes[: self.n_anchors])}
        sites = {name: self.n_anchors + i for i, name in enumerate(self.nodes[self.n_anchors :])}
        return anchors, sites

    @cached_property
    def _arc_between(self) -> dict[frozenset[int], int]:
        pairs = zip(self.tail.tolist(), self.head.tolist(), strict=True)
        return {frozenset(pair): arc for arc, pair in enumerate(pairs)}


def build_graph(wearer: RoutedWearer, sites: Sequence[Site], routes: RoutesSpec) -> RoutingGraph:
    """The routing graph of `wearer` for a garment's `sites`, with a study's own `routes`.

    Default anchors and arcs come from `data/routing_*.csv`. An added arc between two anchors
    that a default arc already joins replaces it. Each site hangs on the anchor it names, else
    on the nearest one of its own segment, else on the nearest of all; its leaf arc is straight.
    A site off the body hangs at no distance on an off-body anchor, which an added arc makes.

    Raises
    ------
    InputError
        With every flaw of `routes` and of the sites' anchors: unknown names (with the nearest
        known one), arcs forbidden that do not exist, sites with nothing to hang on.
    """
    file = str(getattr(getattr(getattr(wearer, "spec", None), "origin", None), "file", ""))
    flaws: list[Flaw] = []
    joint_range = _known(routes.joint_range, Origin(file, column="routes.joint_range"), flaws)
    ranges = joint_ranges(joint_range)
    anchors, arcs = _of_body(wearer, joint_range)
    edits = check_edits(
        wearer,
        routes,
        anchors=anchors,
        default_pairs=[frozenset((arc.tail, arc.head)) for arc in arcs],
        site_names=[site.name for site in sites],
        ranges=ranges,
        file=file,
    )
    flaws.extend(edits.flaws)
    everywhere = [*anchors.values(), *edits.off_body]
    allowed = {a.name: a for a in everywhere if a.name not in edits.forbidden_anchors}
    hung = _hang(wearer, sites, allowed, {a.name for a in everywhere}, flaws)
    if flaws:
        raise InputError(flaws)

    dropped = edits.forbidden_arcs | {frozenset((arc.tail, arc.head)) for arc in edits.arcs}
    kept = [
        arc
        for arc in arcs
        if arc.tail in allowed
        and arc.head in allowed
        and frozenset((arc.tail, arc.head)) not in dropped
    ]
    index = {name: i for i, name in enumerate(allowed)}
    drawn = [(index[arc.tail], index[arc.head], arc) for arc in (*kept, *edits.arcs)]
    for i, (leaf, anchor) in enumerate(hung):
        arc = leaf_arc(wearer, anchor, leaf, ranges)
        drawn.append((index[anchor.name], len(index) + i, arc))
    return _assemble([*allowed.values(), *(leaf for leaf, _ in hung)], drawn, len(hung))


@lru_cache(maxsize=16)
def _of_body(wearer: RoutedWearer, joint_range: str) -> Template:
    """The default anchors of a wearer, by name, and the arcs between them.

    Kept, for a sweep or a what-if draws many garments on the same body.
    """
    anchors = {anchor.name: anchor for anchor in default_anchors(wearer)}
    return anchors, tuple(default_arcs(wearer, anchors, joint_ranges(joint_range)))


def _known(name: str, origin: Origin, flaws: list[Flaw]) -> str:
    """The name of a joint range; an unknown one is a flaw and the gait range stands in."""
    valid = tuple(dict.fromkeys(row["range"] for row in read_table("joint_range.csv")))
    if name not in valid:
        flaws.append(Flaw(origin, repr(name), " or ".join(valid), nearest_name(name, valid)))
        return "gait"
    return name


def _hang(
    wearer: RoutedWearer,
    sites: Sequence[Site],
    allowed: dict[str, Anchor],
    known: Iterable[str],
    flaws: list[Flaw],
) -> list[tuple[Anchor, Anchor]]:
    """Each site as a leaf with the anchor it hangs on; what cannot hang becomes a flaw."""
    known = set(known)
    off = [a for a in allowed.values() if a.key == OFF_BODY]
    worn = [a for a in allowed.values() if a.key != OFF_BODY]
    hung: list[tuple[Anchor, Anchor]] = []
    for site in sites:
        fitting = off if site.key == OFF_BODY else worn
        where = Origin(site.origin.file, site.origin.row, "anchor")
        anchor = None
        if site.anchor is not None:
            anchor = next((a for a in fitting if a.name == site.anchor), None)
            if anchor is None:
                flaws.append(_misplaced(site, where, fitting, known))
                continue
        elif site.key == OFF_BODY and len(fitting) > 1:
            names = ", ".join(a.name for a in off)
            flaws.append(Flaw(where, f"no anchor for site {site.name!r}", f"one of {names}"))
            continue
        if anchor is None and not fitting:
            what, cure = "left on the body", "a routing anchor that the study does not forbid"
            if site.key == OFF_BODY:
                what = "off the body"
                cure = "an added arc from a routing anchor to a new name, with its length"
            found = f"no anchor {what} for site {site.name!r} to hang on"
            flaws.append(Flaw(site.origin, found, cure))
            continue
        position = np.asarray(wearer.position(site), dtype=float)
        if anchor is None:
            anchor = _nearest_anchor(site.key, position, fitting)
        hung.append((Anchor(site.name, site.key, position), anchor))
    return hung


def _nearest_anchor(key: SegmentKey, position: Array, fitting: list[Anchor]) -> Anchor:
    own = [a for a in fitting if a.key == key] or fitting
    return min(own, key=lambda a: straight_length(a.position, position))


def _misplaced(site: Site, where: Origin, fitting: list[Anchor], known: set[str]) -> Flaw:
    name = str(site.anchor)
    names = [a.name for a in fitting]
    if name not in known:
        return Flaw(where, repr(name), "the name of a routing anchor", nearest_name(name, names))
    if name not in names and site.key == OFF_BODY:
        expected = "an anchor off the body: this site is off the body"
    else:
        expected = "an anchor on the body that the study does not forbid"
    return Flaw(where, repr(name), expected, nearest_name(name, names))


def _assemble(
    nodes: Sequence[Anchor], drawn: Sequence[tuple[int, int, Arc]], n_sites: int
) -> RoutingGraph:
    positions = np.array([node.position for node in nodes], dtype=float).reshape(-1, 3)
    tail = np.array([t for t, _, _ in drawn], dtype=np.int64)
    head = np.array([h for _, h, _ in drawn], dtype=np.int64)
    arcs = [arc for _, _, arc in drawn]
    quarter = 0.25 * (positions[head] - positions[tail])
    return RoutingGraph(
        nodes=tuple(node.name for node in nodes),
        positions=positions,
        segment_of=tuple(node.key for node in nodes),
        tail=tail,
        head=head,
        length_m=np.array([arc.length_m for arc in arcs]),
        slack_m=np.array([arc.slack_m for arc in arcs], dtype=float),
        stored_m=np.array([arc.stored_m for arc in arcs], dtype=float),
        bend_rad=np.array([arc.bend_rad for arc in arcs], dtype=float),
        flex_rad=np.array([arc.flex_rad for arc in arcs], dtype=float),
        crossings=tuple(arc.crossed for arc in arcs),
        half_keys=tuple(
            (arc.carried_by or nodes[t].key, arc.carried_by or nodes[h].key) for t, h, arc in drawn
        ),
        half_points=np.stack([positions[tail] + quarter, positions[head] - quarter], axis=1),
        cautions=tuple(arc.caution for arc in arcs),
        site_node=np.arange(len(nodes) - n_sites, len(nodes), dtype=np.int64),
    )
