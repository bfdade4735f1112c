"""How one layout differs from another, in words a workshop would use."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable

from optimizer.assess.result import Layout, Placement, Routing

#: How the further copies of a part or a line are numbered.
_COPY = re.compile(r"#\d+$")


def differences(best: Layout, other: Layout, besides: str = "") -> tuple[str, ...]:
    """What to change in `best` to get `other`, one phrase per part or line.

    What the part `besides` does itself is left out.
    Copies of one part are interchangeable, so only the places they take together count. A line
    is named when it is bought in another option, or when its ends stay and only its way changes.
    """
    return tuple(f"{what}: {change}" for what, change in _changes(best, other, besides))


def differences_in_short(best: Layout, other: Layout, besides: str = "") -> tuple[str, ...]:
    """The same, one phrase for all parts that make the same move or lines that change alike."""
    alike: dict[str, Counter[str]] = {}
    for what, change in _changes(best, other, besides):
        alike.setdefault(change, Counter())[what] += 1
    return tuple(
        f"{', '.join(what if n == 1 else f'{n} x {what}' for what, n in names.items())}: {change}"
        for change, names in alike.items()
    )


def _changes(best: Layout, other: Layout, besides: str) -> list[tuple[str, str]]:
    """What changes, and how, in words."""
    return [
        (what, change)
        for what, change in (*_moves(best, other), *_line_changes(best, other))
        if what != besides and not what.startswith(f"{besides} ")
    ]


def _moves(best: Layout, other: Layout) -> list[tuple[str, str]]:
    phrases = []
    before_by_part, after_by_part = _by_part(best), _by_part(other)
    many = {p for p, spots in before_by_part.items() if len({model for model, _ in spots}) > 1}
    for part in dict.fromkeys((*before_by_part, *after_by_part)):
        before = Counter(before_by_part.get(part, []))
        after = Counter(after_by_part.get(part, []))
        left, right = list((before - after).elements()), list((after - before).elements())
        for old, new in _pair(left, right):
            (old_model, old_site), (new_model, new_site) = old, new
            if old_model == new_model:
                model = f" ({old_model})" if part in many else ""
                phrases.append((f"{part}{model}", f"{old_site} -> {new_site}"))
            elif old_site == new_site:
                phrases.append((f"{part} at {old_site}", f"model {old_model} -> {new_model}"))
            else:
                change = f"{old_model} at {old_site} -> {new_model} at {new_site}"
                phrases.append((part, change))
    return phrases


def _by_part(layout: Layout) -> dict[str, list[tuple[str, str]]]:
    spots: dict[str, list[tuple[str, str]]] = {}
    for placed in layout.placements:
        spots.setdefault(placed.part, []).append((placed.model, placed.site))
    return spots


def _pair(
    left: list[tuple[str, str]], right: list[tuple[str, str]]
) -> Iterable[tuple[tuple[str, str], tuple[str, str]]]:
    """Match what went with what came: same model first, then same site, then in order."""
    pairs = []
    for same in (lambda a, b: a[0] == b[0], lambda a, b: a[1] == b[1], lambda a, b: True):
        for old in list(left):
            new = next((candidate for candidate in right if same(old, candidate)), None)
            if new is not None:
                pairs.append((old, new))
                left.remove(old)
                right.remove(new)
    return pairs


def _line_changes(best: Layout, other: Layout) -> list[tuple[str, str]]:
    before, after = _runs(best), _runs(other)
    phrases = []
    for line in dict.fromkeys((*before, *after)):
        old = Counter(option for option, _ in before.get(line, []))
        new = Counter(option for option, _ in after.get(line, []))
        gone, come = list((old - new).elements()), list((new - old).elements())
        if gone or come:
            phrases += [(line, f"option {a} -> {b}") for a, b in zip(gone, come, strict=False)]
            continue
        old_ways = Counter(way for _, way in before.get(line, []))
        new_ways = Counter(way for _, way in after.get(line, []))
        for way in (old_ways - new_ways).elements():
            matching = [w for w in (new_ways - old_ways) if _ends(w) == _ends(way)]
            if matching:
                phrases.append((line, f"other way, {way_words(way, matching[0])}"))
                new_ways[matching[0]] -= 1
    return phrases


def _runs(layout: Layout) -> dict[str, list[tuple[str, tuple[str, ...]]]]:
    sites = {placed.unit: placed for placed in layout.placements}
    runs: dict[str, list[tuple[str, tuple[str, ...]]]] = {}
    for routing in layout.routings:
        runs.setdefault(_COPY.sub("", routing.line), []).append(
            (routing.option, _way(routing, sites))
        )
    return runs


def _way(routing: Routing, placed: dict[str, Placement]) -> tuple[str, ...]:
    if routing.nodes:
        return routing.nodes
    ends = (placed.get(routing.unit_a), placed.get(routing.unit_b))
    return tuple(end.site for end in ends if end is not None)


def _ends(way: tuple[str, ...]) -> tuple[str, str]:
    return (way[0], way[-1]) if way else ("", "")


def way_words(old: tuple[str, ...], new: tuple[str, ...]) -> str:
    """The nodes a new way takes instead of the old one's, e.g. "a > b instead of c > d"."""
    came = [node for node in new if node not in old]
    went = [node for node in old if node not in new]
    if came and went:
        return f"by {' > '.join(came)} instead of {' > '.join(went)}"
    if came:
        return f"also by {' > '.join(came)}"
    if went:
        return f"not by {' > '.join(went)}"
    return "the same places in another order"
