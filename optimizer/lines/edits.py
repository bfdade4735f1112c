"""A study's own changes to the routing graph, checked: every flaw is found before any is raised.

Off-body anchors come from added arcs: an end that is no anchor makes a new one, off the body.
It has no place of its own in the wearer's coordinates, so such an arc must state its length, and
the anchor is set that far straight behind (-x) the arc's other end. Only figures and the
least-distance rule see that position; no mass is counted there.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

import numpy as np

from optimizer.errors import Flaw, Origin
from optimizer.lines.anchors import Anchor, RoutedWearer
from optimizer.lines.arcs import Arc, straight_length
from optimizer.lines.joints import Ranges, crossings
from optimizer.study.model import (
    LEG_SEGMENTS,
    OFF_BODY,
    SIDES,
    TRUNK,
    AddedArc,
    RoutesSpec,
    SegmentKey,
)

#: Names `carried_by` may take, with the segment they mean.
CARRIERS: Mapping[str, SegmentKey] = {
    "trunk": TRUNK,
    **{f"{segment}.{side}": (segment, side) for segment in LEG_SEGMENTS for side in SIDES},
    "off_body": OFF_BODY,
}
#: An unknown name this like an anchor's is taken for a slip, not for a new off-body anchor.
_SLIP = 0.85
#: Anchors that `keep_out` forbids: lines there are sat upon, or pinched where the knee folds.
KEEP_OUT = ("thigh_back_", "knee_back_")


def nearest_name(name: str, known: Iterable[str], cutoff: float = 0.0) -> str | None:
    """The known name most like `name`, None if none is at least `cutoff` alike."""
    close = get_close_matches(name, list(known), n=1, cutoff=cutoff)
    return close[0] if close else None


@dataclass(frozen=True, slots=True)
class Edits:
    """A study's changes with the flaws found on the way."""

    forbidden_anchors: frozenset[str]
    forbidden_arcs: frozenset[frozenset[str]]
    off_body: tuple[Anchor, ...]
    arcs: tuple[Arc, ...]
    flaws: tuple[Flaw, ...]


def check_edits(
    wearer: RoutedWearer,
    routes: RoutesSpec,
    *,
    anchors: Mapping[str, Anchor],
    default_pairs: Iterable[frozenset[str]],
    site_names: Iterable[str],
    ranges: Ranges,
    file: str,
) -> Edits:
    """Check `routes` against the default graph and make its added arcs.

    `file` is named as the origin of flaws in `forbid` and `forbid_anchors`, which carry none.
    """
    flaws: list[Flaw] = []
    origin = Origin(file, column="routes.forbid_anchors")
    for name in routes.forbid_anchors:
        if name not in anchors:
            flaws.append(_unknown(origin, name, anchors))
    banned = frozenset(routes.forbid_anchors)
    if routes.keep_out:
        banned |= {name for name in anchors if name.startswith(KEEP_OUT)}

    off_body = _off_body_anchors(routes.add, anchors, frozenset(site_names), flaws)
    ends = {**anchors, **{a.name: a for a in off_body}}
    arcs = _added_arcs(wearer, routes.add, ends, banned=banned, ranges=ranges, flaws=flaws)

    added = {frozenset((arc.tail, arc.head)) for arc in routes.add}
    known_pairs = set(default_pairs)
    forbidden: set[frozenset[str]] = set()
    origin = Origin(file, column="routes.forbid")
    for a, b in routes.forbid:
        pair = frozenset((a, b))
        unknown = [name for name in (a, b) if name not in ends]
        flaws.extend(_unknown(origin, name, ends) for name in unknown)
        if unknown:
            continue
        if pair in added:
            flaws.append(Flaw(origin, f"{a} - {b}", "an arc the study does not also add"))
        elif pair not in known_pairs:
            beside = sorted(o for p in known_pairs if a in p for o in p - {a})
            flaws.append(
                Flaw(
                    origin,
                    f"{a} - {b}, between which there is no arc",
                    f"an arc of {a}: to {', '.join(beside) or 'nothing'}",
                    nearest_name(b, beside),
                )
            )
        forbidden.add(pair)
    return Edits(banned, frozenset(forbidden), tuple(off_body), tuple(arcs), tuple(flaws))


def _unknown(origin: Origin, name: str, known: Iterable[str]) -> Flaw:
    return Flaw(origin, repr(name), "the name of a routing anchor", nearest_name(name, known))


def _off_body_anchors(
    added: Sequence[AddedArc],
    anchors: Mapping[str, Anchor],
    site_names: frozenset[str],
    flaws: list[Flaw],
) -> list[Anchor]:
    """New anchors for the unknown ends of `added`, in the order they are first named."""
    places: dict[str, Anchor | None] = {}
    for arc in added:
        sound = len(flaws)
        for name in (arc.tail, arc.head):
            if name in anchors or name in places:
                continue
            slip = nearest_name(name, anchors, _SLIP)
            if name in site_names:
                expected = "a routing anchor: an added arc cannot end at a site"
                flaws.append(Flaw(arc.origin, f"site {name!r}", expected))
            elif slip:
                expected = "a routing anchor, or a name unlike any for a new one off the body"
                flaws.append(Flaw(arc.origin, repr(name), expected, slip))
            places[name] = None
        # of an end that was meant otherwise nothing more is asked
        new = next((name for name in (arc.tail, arc.head) if name in places), None)
        if len(flaws) == sound and arc.length_m is None and new is not None:
            flaws.append(
                Flaw(
                    arc.origin,
                    f"no length for the arc to {new!r}",
                    "a length: an anchor off the body has no place to measure from",
                    nearest_name(new, anchors),
                )
            )
    # Place each behind an end that has a place already; a chain of new ones needs some rounds.
    pending = list(added)
    while pending:
        rest: list[AddedArc] = []
        for arc in pending:
            for name, other in ((arc.tail, arc.head), (arc.head, arc.tail)):
                known = anchors.get(other) or places.get(other)
                if name in places and places[name] is None and known is not None:
                    places[name] = _behind(name, known.position, arc.length_m or 0.0)
            if any(name in places and places[name] is None for name in (arc.tail, arc.head)):
                rest.append(arc)
        if len(rest) == len(pending):
            # Anchors that hang on no anchor of the body: start from mid-hip.
            arc = rest[0]
            name = arc.tail if arc.tail in places else arc.head
            places[name] = _behind(name, np.zeros(3), arc.length_m or 0.0)
        pending = rest
    return [anchor for anchor in places.values() if anchor is not None]


def _behind(name: str, position: np.ndarray, distance_m: float) -> Anchor:
    return Anchor(name, OFF_BODY, position - np.array([distance_m, 0.0, 0.0]))


def _added_arcs(
    wearer: RoutedWearer,
    added: Sequence[AddedArc],
    ends: Mapping[str, Anchor],
    *,
    banned: frozenset[str],
    ranges: Ranges,
    flaws: list[Flaw],
) -> list[Arc]:
    made: list[Arc] = []
    seen: set[frozenset[str]] = set()
    for spec in added:
        pair = frozenset((spec.tail, spec.head))
        if spec.tail == spec.head:
            flaws.append(Flaw(spec.origin, f"an arc from {spec.tail!r} to itself", "two anchors"))
        elif pair in seen:
            found = f"a second arc {spec.tail} - {spec.head}"
            flaws.append(Flaw(spec.origin, found, "one added arc between two anchors"))
        seen.add(pair)
        for name in sorted(pair & banned):
            flaws.append(Flaw(spec.origin, repr(name), "an anchor the study does not forbid"))
        if spec.carried_by is not None and spec.carried_by not in CARRIERS:
            nearest = nearest_name(spec.carried_by, CARRIERS)
            expected = f"one of {', '.join(CARRIERS)}"
            flaws.append(Flaw(spec.origin, repr(spec.carried_by), expected, nearest))
        made.append(_added_arc(wearer, spec, ends[spec.tail], ends[spec.head], ranges))
    return made


def _added_arc(
    wearer: RoutedWearer, spec: AddedArc, tail: Anchor, head: Anchor, ranges: Ranges
) -> Arc:
    """An added arc: length, slack and bend are the study's own; what joints ask is a caution."""
    crossed = crossings(wearer, (tail.key, tail.position), (head.key, head.position), ranges)
    run = spec.length_m
    if run is None:
        run = straight_length(tail.position, head.position)
    needed = sum(c.slack_m for c in crossed)
    caution = None
    if needed > spec.slack_m + 5e-4:
        joints = ", ".join(c.joint for c in crossed)
        caution = (
            f"crosses {joints} with {1000 * spec.slack_m:.0f} mm of joint slack; "
            f"the straight arc needs {1000 * needed:.0f} mm"
        )
    return Arc(
        spec.tail,
        spec.head,
        run + spec.slack_m,
        spec.slack_m,
        sum(c.stored_m for c in crossed),
        spec.bend_rad,
        0.0,
        tuple(crossed),
        CARRIERS.get(spec.carried_by) if spec.carried_by else None,
        caution,
    )
