"""Rules about two parts, and rules that cannot all hold."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from optimizer.errors import Flaw
from optimizer.study.document import RuleSection
from optimizer.study.model import PairRule
from optimizer.study.sections import check_section, list_of_tables
from optimizer.study.toml_file import TomlFile
from optimizer.study.units import MM_PER_M
from optimizer.study.words import place, quoted, unknown


def make_rules(
    study: TomlFile, part_counts: Mapping[str, int | None] | None, flaws: list[Flaw]
) -> tuple[PairRule, ...]:
    """The rules of a study's `[[rules]]`.

    `part_counts` holds every part named in the catalog, with its quantity where that is known;
    None where the catalog could not be read, and names are then not checked.
    """
    rules: list[PairRule] = []
    items = list_of_tables(study, "rules", study.keys.get("rules"), flaws)
    for number, item in enumerate(items, start=1):
        path = f"rules.{number}"
        section = check_section(study, path, RuleSection, item, flaws)
        if section is None:
            continue
        origin = study.locate(f"{path}.parts")
        before = len(flaws)
        a, b = section.parts
        if part_counts is not None:
            for name in dict.fromkeys((a, b)):
                if name not in part_counts:
                    flaws.append(unknown(origin, name, "a part", part_counts))
            if a == b and part_counts.get(a) == 1:
                expected = "two parts, or one whose quantity is 2 or more"
                flaws.append(Flaw(origin, f"{quoted(a)} twice", expected))
        if section.kind == "same_place" and section.distance_mm:
            expected = "no distance in a rule of kind same_place"
            found = f"distance_mm = {section.distance_mm:g}"
            flaws.append(Flaw(study.locate(f"{path}.distance_mm"), found, expected))
        if len(flaws) == before:
            distance_m = section.distance_mm / MM_PER_M
            kind: Literal["same_place", "apart"] = (
                "same_place" if section.kind == "same_place" else "apart"
            )
            rules.append(PairRule(kind, a, b, distance_m, study.locate(path)))
    return tuple(rules)


class _Places:
    """Parts bound to one place by rules, with the rules that bind them."""

    def __init__(self) -> None:
        self._links: dict[str, list[tuple[str, PairRule]]] = {}

    def bind(self, rule: PairRule) -> None:
        self._links.setdefault(rule.part_a, []).append((rule.part_b, rule))
        self._links.setdefault(rule.part_b, []).append((rule.part_a, rule))

    def chain(self, start: str, end: str) -> list[PairRule] | None:
        """The fewest rules that bind `start` to `end`; None if they are not bound."""
        came: dict[str, tuple[str, PairRule] | None] = {start: None}
        queue = [start]
        for name in queue:
            for other, rule in self._links.get(name, ()):
                if other not in came:
                    came[other] = (name, rule)
                    queue.append(other)
        if end not in came:
            return None
        rules: list[PairRule] = []
        step = came[end]
        while step is not None:
            rules.insert(0, step[1])
            step = came[step[0]]
        return rules

    def groups(self) -> list[list[str]]:
        """Parts bound together, each group in the order its parts were named."""
        seen: set[str] = set()
        groups: list[list[str]] = []
        for name in self._links:
            if name not in seen:
                group = [other for other in self._links if self.chain(name, other) is not None]
                seen.update(group)
                groups.append(group)
        return groups


def check_rules(
    rules: tuple[PairRule, ...],
    fixed: Mapping[str, str],
    allowed: Mapping[str, frozenset[str]],
    flaws: list[Flaw],
) -> None:
    """Note rules that contradict each other, a fixed site or what the catalog allows.

    Parameters
    ----------
    fixed : the fixed site of each part that has one
    allowed : all sites any model of each part may go to, before limits
    """
    bound = _Places()
    for rule in rules:
        if rule.kind == "same_place" and rule.part_a != rule.part_b:
            bound.bind(rule)
    for rule in rules:
        if rule.kind == "apart":
            _check_apart(rule, bound, fixed, flaws)
    for group in bound.groups():
        _check_group(group, bound, fixed, allowed, flaws)


def _check_apart(
    rule: PairRule, bound: _Places, fixed: Mapping[str, str], flaws: list[Flaw]
) -> None:
    a, b = rule.part_a, rule.part_b
    chain = bound.chain(a, b) if a != b else None
    if chain:
        by = " and ".join(place(r.origin) for r in chain)
        found = f"{a} and {b} apart, which {by} {'puts' if len(chain) == 1 else 'put'} together"
        flaws.append(Flaw(rule.origin, found, "rules that do not contradict each other"))
    elif a in fixed and fixed[a] == fixed.get(b):
        found = f"{a} and {b} apart, both fixed at {fixed[a]}"
        flaws.append(Flaw(rule.origin, found, "parts whose fixed sites differ"))


def _check_group(
    group: list[str],
    bound: _Places,
    fixed: Mapping[str, str],
    allowed: Mapping[str, frozenset[str]],
    flaws: list[Flaw],
) -> None:
    """A group at one place needs one fixed site at most, and a site all may go to."""
    places = [(name, fixed[name]) for name in group if name in fixed]
    for name, site in places[1:]:
        first, first_site = places[0]
        if site != first_site:
            chain = bound.chain(first, name) or []
            found = f"{first} and {name} at one place, fixed at {first_site} and {site}"
            if len(chain) > 1:
                found += " (bound by " + " and ".join(place(r.origin) for r in chain) + ")"
            flaws.append(Flaw(chain[-1].origin, found, "parts whose fixed sites agree"))
            return
    known = [allowed[name] for name in group if allowed.get(name)]
    if len(known) == len(group) and not frozenset.intersection(*known):
        chain = bound.chain(group[0], group[-1]) or []
        found = f"{', '.join(group)} at one place, but no site is allowed for all of them"
        flaws.append(Flaw(chain[-1].origin, found, "parts that share an allowed site"))
