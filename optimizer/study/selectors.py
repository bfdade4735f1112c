"""The `sites` cell of a part: which sites of the garment it may go to."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fnmatch import fnmatchcase

from optimizer.errors import Flaw, Origin
from optimizer.study.words import nearest, quoted

_WILD = frozenset("*?[")


@dataclass(frozen=True)
class SiteCard:
    """What a selection looks at: a site's name and tags."""

    name: str
    tags: frozenset[str]


def select_sites(
    cell: str, cards: Iterable[SiteCard], origin: Origin, flaws: list[Flaw]
) -> tuple[str, ...]:
    """Names of the sites that `cell` allows, in the garment's order.

    Words are separated by blanks: a site's name, a shell pattern (`shank_right_*`, `*` for any),
    a tag (`#vest`). With `!` in front a word takes sites away, wherever it stands; a cell of
    such words only takes them from all sites. A word that matches nothing is a flaw.
    """
    all_cards = list(cards)
    allowed: set[str] = set()
    barred: set[str] = set()
    words = cell.split()
    if words and all(word.startswith("!") for word in words):
        allowed.update(card.name for card in all_cards)
    failed = False
    for word in words:
        matched = _matches(word.removeprefix("!"), all_cards)
        if not matched:
            flaws.append(_no_match(word, all_cards, origin))
            failed = True
        (barred if word.startswith("!") else allowed).update(matched)
    chosen = tuple(card.name for card in all_cards if card.name in allowed - barred)
    if words and not chosen and not failed:
        flaws.append(Flaw(origin, f"{quoted(cell)}, which leaves no site", "at least one site"))
    return chosen


def _matches(pattern: str, cards: list[SiteCard]) -> set[str]:
    if pattern.startswith("#"):
        tag = pattern[1:]
        return {c.name for c in cards if any(fnmatchcase(t, tag) for t in c.tags)}
    if not _WILD & set(pattern):
        return {c.name for c in cards if c.name == pattern}
    return {c.name for c in cards if fnmatchcase(c.name, pattern)}


def _no_match(word: str, cards: list[SiteCard], origin: Origin) -> Flaw:
    pattern = word.removeprefix("!")
    sign = word[: len(word) - len(pattern)]
    if pattern.startswith("#"):
        tags = sorted({tag for card in cards for tag in card.tags})
        near = nearest(pattern[1:], tags)
        return Flaw(origin, quoted(word), "a tag that some site carries", near and f"{sign}#{near}")
    names = [card.name for card in cards]
    wild = bool(_WILD & set(pattern))
    what = "a pattern that some site's name matches" if wild else "a site of the garment"
    near = _nearest_pattern(pattern, names) if wild else nearest(pattern, names)
    if pattern in {tag for card in cards for tag in card.tags}:
        near = f"#{pattern}"  # only its sign was forgotten
    return Flaw(origin, quoted(word), what, near and sign + near)


def _nearest_pattern(pattern: str, names: list[str]) -> str | None:
    """A pattern that matches something: "shnak_*" is near "shank_*"."""
    if pattern.endswith("*") and not _WILD & set(pattern[:-1]):
        heads = [name[:i] for name in names for i in _cuts(name)]
        near = nearest(pattern[:-1], heads)
        if near:
            return near + "*"
    return nearest(pattern.replace("*", ""), names)


def _cuts(name: str) -> list[int]:
    """Places just after a joint of the name, where people cut it for a pattern."""
    return [i + 1 for i, char in enumerate(name[:-1]) if char in "_-."]
