"""What may be wanted of the best layout: a figure within a bound, or a part at a place."""

from __future__ import annotations

from dataclasses import dataclass
from fnmatch import fnmatchcase
from math import isfinite

from optimizer.assess.result import Assessment
from optimizer.errors import Flaw, InputError, Origin
from optimizer.solve.figures import Figure, figure_of
from optimizer.study.model import Study
from optimizer.study.words import nearest


@dataclass(frozen=True, slots=True)
class Wish:
    """What is wanted of the best layout: a figure at most or at least a value, or a part's place.

    `where` is a site's name or pattern, a segment ("trunk", "thigh", "thigh.left"), or "#" with
    a site's tag.
    """

    figure: Figure | None = None
    at_most: float | None = None
    at_least: float | None = None
    part: str | None = None
    where: str | None = None

    def excess(self, study: Study, found: Assessment) -> float:
        """By how much a figure misses what is wanted; not above 0 where it is met."""
        assert self.figure is not None
        value = self.figure.value(study, found)
        if self.at_most is not None:
            return value - self.at_most
        assert self.at_least is not None
        return self.at_least - value


def parts_at(study: Study, found: Assessment, part: str, where: str) -> bool:
    """Whether every copy of a part sits where it is wanted."""
    tags = {site.name: site.tags for site in study.sites}
    units = [p for p in found.parts if p.part == part]

    def here(site: str, segment: str, side: str) -> bool:
        if where.startswith("#"):
            return where[1:] in tags.get(site, frozenset())
        return where in (segment, f"{segment}.{side}") or fnmatchcase(site, where)

    return bool(units) and all(here(p.site, p.segment, p.side) for p in units)


def require_known(study: Study, wish: Wish) -> None:
    """Raise InputError if a wish names nothing that the study tells of, or has not one bound."""
    flaws = []
    if wish.figure is None:
        names = [part.name for part in study.parts]
        if wish.part not in names:
            expected = "a part of the study"
            near = nearest(wish.part or "", names)
            flaws.append(Flaw(Origin("part"), repr(wish.part), expected, near))
        segments = {site.segment for site in study.sites}
        sides = {f"{site.segment}.{site.side}" for site in study.sites}
        tags = {f"#{tag}" for site in study.sites for tag in site.tags}
        sites = [site.name for site in study.sites]
        where = wish.where or ""
        if where not in segments | sides | tags and not any(fnmatchcase(s, where) for s in sites):
            expected = "a site, a pattern of sites, a segment or #tag of the study"
            near = nearest(where, (*sites, *sorted(segments), *sorted(tags)))
            flaws.append(Flaw(Origin("at"), repr(where), expected, near))
    elif not wish.figure.known(study):
        found = f"{wish.figure.name!r}, of which the study says nothing"
        flaws.append(Flaw(Origin("figure"), found, f"a study {wish.figure.lacking}"))
    if wish.figure is not None and (wish.at_most is None) == (wish.at_least is None):
        flaws.append(Flaw(Origin("target"), "no bound, or two", "at most or at least a value"))
    if flaws:
        raise InputError(flaws)


def wish_of(
    figure: str | None = None,
    at_most: float | None = None,
    at_least: float | None = None,
    part: str | None = None,
    where: str | None = None,
) -> Wish:
    """A wish from what somebody typed; a figure in the unit it is shown in.

    Raises
    ------
    InputError
        If it names neither a figure with one bound nor a part with a place, or a bound is endless.
    """
    if (figure is None) == (part is None or where is None):
        expected = "a figure with a bound, or a part with a place"
        raise InputError([Flaw(Origin("target"), "no target, or two", expected)])
    bounds = {"--at-most": at_most, "--at-least": at_least}
    flaws = [
        Flaw(Origin(option), f"{bound:g}", "a finite number")
        for option, bound in bounds.items()
        if bound is not None and not isfinite(bound)
    ]
    if flaws:
        raise InputError(flaws)
    if figure is None:
        return Wish(part=part, where=where)
    return Wish(figure_of(figure), at_most, at_least)
