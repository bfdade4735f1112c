"""Why each part sits where it sits: its next-best site, and what forbids the better ones."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from math import ceil, inf

from optimizer.assess.result import Obstacle
from optimizer.assess.why import OtherSites, PartWhy
from optimizer.problem.arrays import Array, Problem
from optimizer.solve.conflicts import Oracle, find_clash
from optimizer.solve.demands import SiteDemand
from optimizer.solve.limit_words import amount, limit_text, unit_of
from optimizer.solve.program import TRUNK_LOAD
from optimizer.solve.questions import EQUAL, Answer, Questions
from optimizer.study.relax import LINE_LIMITS

#: Rounds of the search for the limits that clash where a part cannot go.
_ROUNDS = 6
_OR_MORE = " or more"


@dataclass(frozen=True)
class Spot:
    """A part's copies at one site of the best layout."""

    part: str
    site: int
    slots: tuple[int, ...]
    """The slots there."""
    all_slots: tuple[int, ...]
    """All slots of the part."""


def spots(questions: Questions) -> list[Spot]:
    """Where the parts sit in the best layout, copies at one site together."""
    problem, solution = questions.problem, questions.solution
    assert solution is not None
    own: dict[str, list[int]] = {}
    for p, slot in enumerate(problem.slots):
        own.setdefault(slot.part, []).append(p)
    found = []
    for part, slots in own.items():
        at: dict[int, list[int]] = {}
        for p in slots:
            at.setdefault(int(problem.choice_site[solution.chosen[p]]), []).append(p)
        found += [Spot(part, s, tuple(here), tuple(slots)) for s, here in at.items()]
    return found


def _nearer(one: Obstacle, other: Obstacle) -> Obstacle:
    """Of a line too short from two sites, the case that comes nearer, "or more"."""
    near = min(one, other, key=lambda o: o.needed_value or 0.0)
    return replace(near, text=near.text.removesuffix(_OR_MORE) + _OR_MORE)


class PartReasons:
    """Works out the reasons of one part after the other."""

    def __init__(self, questions: Questions):
        self.questions = questions
        self._oracle: Oracle | None = None
        self._costs: tuple[Problem, Array] | None = None

    @property
    def oracle(self) -> Oracle:
        """The program with all limits to be lifted, made when first asked for."""
        if self._oracle is None:
            self._oracle = Oracle(self.questions.setting)
        return self._oracle

    def why(self, spot: Spot, *, every_site: bool) -> PartWhy:
        """The reasons of one spot; `every_site` looks at each allowed site on its own."""
        q = self.questions
        assert q.solution is not None
        problem = q.problem
        chosen = q.solution.chosen[spot.slots[0]]
        cost_here = self.cost(spot, spot.site, int(problem.choice_model[chosen]))
        allowed = self.allowed(spot)
        elsewhere = q.ask([self._less_at(spot, spot.site)]) if len(allowed) > 1 else None
        next_best = None
        if elsewhere is not None and elsewhere.solution is not None:
            next_best = q.alternative(elsewhere)
        only: tuple[Obstacle, ...] = ()
        if elsewhere is not None and elsewhere.solution is None and elsewhere.settled:
            only = self._clash([self._less_at(spot, spot.site)])
        gains = {s: cost_here - self.cheapest(spot, s) for s in allowed if s != spot.site}
        wanted = [s for s, gain in gains.items() if every_site or gain > EQUAL]
        others = tuple(self._others(spot, wanted, gains, elsewhere, apart=every_site))
        return PartWhy(
            tuple(problem.slots[p].unit for p in spot.slots),
            spot.part,
            problem.slots[spot.slots[0]].models[int(problem.choice_model[chosen])],
            problem.site_names[spot.site],
            len(allowed),
            cost_here,
            next_best,
            only,
            others,
            elsewhere is None or elsewhere.settled,
        )

    # -- what a part costs by itself -------------------------------------------------------

    def allowed(self, spot: Spot) -> list[int]:
        """Sites the designer wrote the part for, in the garment's order."""
        part = next(p for p in self.questions.setting.study.parts if p.name == spot.part)
        names = {name for model in part.models for name in model.sites}
        return [s for s, name in enumerate(self.questions.problem.site_names) if name in names]

    def cost(self, spot: Spot, site: int, model: int) -> float:
        """Score points of a model of the part at a site, without lines and holder."""
        problem, costs = self._choice_costs()
        here = problem.choices_of(spot.slots[0])
        match = here[(problem.choice_site[here] == site) & (problem.choice_model[here] == model)]
        return float(costs[match[0]]) if match.size else inf

    def cheapest(self, spot: Spot, site: int) -> float:
        """Score points of the model that costs least at a site; inf at a closed one."""
        problem, costs = self._choice_costs()
        here = problem.choices_of(spot.slots[0])
        here = here[problem.choice_site[here] == site]
        return float(costs[here].min()) if here.size else inf

    def _choice_costs(self) -> tuple[Problem, Array]:
        if self._costs is None:
            problem, q = self.oracle.easing.problem, self.questions
            objective = q.objective
            assert q.solution is not None
            weights = objective.linear.copy()
            if objective.curve_slope is not None:
                load = float(q.solution.quantities[TRUNK_LOAD])
                weights[TRUNK_LOAD] += objective.curve_weight * objective.curve_slope(load)
            self._costs = problem, problem.choice_q @ weights
        return self._costs

    # -- sites it is not at ----------------------------------------------------------------

    def _others(
        self,
        spot: Spot,
        sites: Sequence[int],
        gains: dict[int, float],
        elsewhere: Answer | None,
        *,
        apart: bool,
    ) -> Iterator[OtherSites]:
        names = self.questions.problem.site_names
        possible: list[int] = []
        told: dict[tuple[str, ...], tuple[list[int], tuple[Obstacle, ...]]] = {}
        for s in sites:
            barred = self.barred(spot, s)
            if not barred:
                possible.append(s)
            elif apart or any(o.kind not in LINE_LIMITS for o in barred):
                told[names[s], ""] = ([s], barred)
            else:
                # sites that the same lines do not reach are told together, by the nearest
                key = tuple(f"{o.kind} {o.subject}" for o in barred)
                known, nearest = told.get(key, ([], barred))
                if known:
                    barred = tuple(map(_nearer, nearest, barred))
                told[key] = ([*known, s], barred)
        groups = [[s] for s in possible] if apart else [possible] if possible else []
        for group in groups:
            gain = max(gains[s] for s in group)
            answer = self._at_one_of(spot, group, elsewhere)
            sites_named = tuple(names[s] for s in group)
            if answer.solution is not None:
                yield OtherSites(sites_named, gain, alternative=self.questions.alternative(answer))
            elif answer.settled:
                clash = self._clash([self._more_at(spot, group), self._less_at(spot, spot.site)])
                yield OtherSites(sites_named, gain, clash)
            else:
                yield OtherSites(sites_named, gain)
        for own, reasons in told.values():
            yield OtherSites(tuple(names[s] for s in own), max(gains[s] for s in own), reasons)

    def _at_one_of(self, spot: Spot, sites: Sequence[int], elsewhere: Answer | None) -> Answer:
        """The best layout with one more copy at one of the sites."""
        if elsewhere is not None and elsewhere.solution is not None and elsewhere.settled:
            # the next-best layout is the best elsewhere: if it is at one of them, it is theirs
            before, after = (
                sum(
                    int(self.questions.problem.choice_site[solution.chosen[p]]) in sites
                    for p in spot.all_slots
                )
                for solution in (self.questions.solution, elsewhere.solution)
                if solution is not None
            )
            if after > before:
                return elsewhere
        return self.questions.ask([self._more_at(spot, sites), self._less_at(spot, spot.site)])

    def barred(self, spot: Spot, site: int) -> tuple[Obstacle, ...]:
        """The limits that keep the part out of a site by themselves; () if none does."""
        oracle, setting = self.oracle, self.questions.setting
        problem = oracle.easing.problem
        slot = spot.slots[0]
        reasons: dict[int, None] = {}
        reachable = False
        for c in problem.choices_of(slot):
            barred = oracle.bars(int(c)) if problem.choice_site[c] == site else None
            if barred is not None:
                reachable = reachable or not barred
                reasons.update(dict.fromkeys(sorted(barred)))
        if not reasons and not reachable:
            name = problem.site_names[site]
            own = next(each for each in setting.study.sites if each.name == name)
            return (Obstacle(f"{name} is closed, or no route leads there", own.origin, "closed"),)
        if reachable:
            return tuple(self._short_lines(spot, site))
        return tuple(self._obstacle(m) for m in reasons)

    def _obstacle(self, m: int, text: str = "") -> Obstacle:
        setting, limit = self.questions.setting, self.oracle.limits[m]
        return Obstacle(
            text or limit_text(setting, limit),
            limit.origin,
            limit.kind,
            limit.subject,
            limit.shown(),
            None,
            unit_of(setting, limit),
        )

    def _short_lines(self, spot: Spot, site: int) -> Iterator[Obstacle]:
        """Line limits that leave no place within reach of the site to the part at the other end."""
        oracle = self.oracle
        problem = oracle.easing.problem
        slot = spot.slots[0]
        for number, line in enumerate(problem.lines):
            if slot not in (line.slot_a, line.slot_b):
                continue
            mine, theirs = ("end_a", "end_b") if slot == line.slot_a else ("end_b", "end_a")
            far = line.slot_b if slot == line.slot_a else line.slot_a
            open_far = self._open_sites(far)
            links = [
                link
                for link in oracle.program.links[number]
                if getattr(link, mine)[0] == site and getattr(link, theirs)[0] in open_far
            ]
            if not links or any(not link.needs for link in links):
                continue
            # those of the link that would need least
            nearest = min(links, key=lambda link: max(share for _, share in link.needs))
            length = amount(ceil((nearest.route.length_m + line.slack_m) * 1e3), "mm")
            where = problem.slots[far].unit
            for m, _ in nearest.needs:
                text = limit_text(self.questions.setting, oracle.limits[m])
                told = self._obstacle(m, f"{text}; from there to {where} it is {length}")
                yield replace(told, needed_value=nearest.route.length_m + line.slack_m)

    def _open_sites(self, slot: int) -> set[int]:
        """Sites at which no limit rules a slot out by itself."""
        problem = self.oracle.easing.problem
        return {
            int(problem.choice_site[c])
            for c in problem.choices_of(slot)
            if self.oracle.bars(int(c)) == frozenset()
        }

    def _clash(self, demands: Sequence[SiteDemand]) -> tuple[Obstacle, ...]:
        """A small set of limits that no layout meets under demands on where a part sits."""
        with self.oracle.demanding(demands):
            clash = find_clash(self.oracle, rounds=_ROUNDS)
        return () if clash is None else tuple(self._obstacle(m) for m in clash.limits)

    # -- demands ---------------------------------------------------------------------------

    def _less_at(self, spot: Spot, site: int) -> SiteDemand:
        """One copy fewer at a site than the best layout has there."""
        return SiteDemand(frozenset(spot.all_slots), frozenset((site,)), 0.0, len(spot.slots) - 1.0)

    def _more_at(self, spot: Spot, sites: Iterable[int]) -> SiteDemand:
        """One copy more at some sites together than the best layout has there."""
        q, wanted = self.questions, frozenset(sites)
        assert q.solution is not None
        places = [int(q.problem.choice_site[q.solution.chosen[p]]) for p in spot.all_slots]
        now = sum(site in wanted for site in places)
        return SiteDemand(frozenset(spot.all_slots), wanted, now + 1.0, inf)
