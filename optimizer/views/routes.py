"""A line's way over the body: every node by name, or in few words where there is little room."""

from __future__ import annotations

from collections.abc import Sequence

from optimizer.assess.result import LineReport

#: Levels of the default routing graph, from which its anchors take their names.
LEVELS = frozenset({"chest", "waist", "hip", "thigh", "knee", "shank", "ankle", "foot"})
_SIDES = ("left", "right")


def route_words(line: LineReport, *, full: bool) -> str:
    """The route: all nodes from site to site if `full`, else the places passed between."""
    if not line.nodes:
        if line.site_a != line.site_b:
            return "-"
        return f"within {line.site_a}" if full else "within one site"
    if full:
        return " > ".join(line.nodes)
    ends = {line.site_a, line.site_b}
    between = [node for node in line.nodes if node not in ends]
    return short_route(between) if between else "straight across"


def short_route(nodes: Sequence[str]) -> str:
    """Anchors with a side or a face said only where it changes.

    >>> short_route(["waist_back", "hip_outer_left", "thigh_outer_left", "knee_back_left"])
    'waist back > left hip outer > thigh > knee back'
    >>> short_route(["waist_back", "waist_back_left", "waist_left"])
    'waist back > left back > left side'
    """
    phrases = []
    last_level = last_side = last_face = ""
    for node in nodes:
        level, *rest = node.split("_")
        if level not in LEVELS:
            phrases.append(node)
            last_level = last_side = last_face = ""
            continue
        side = rest.pop() if rest and rest[-1] in _SIDES else ""
        face = " ".join(rest) or "side"
        if level == last_level:
            words = [side or "mid", face]
        else:
            turned = side != last_side
            words = [side or "mid"] if turned else []
            words += [level, face] if turned or face != last_face else [level]
        phrases.append(" ".join(words))
        last_level, last_side, last_face = level, side, face
    return " > ".join(phrases)
