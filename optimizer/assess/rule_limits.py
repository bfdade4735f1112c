"""Rules between two parts: a place to share, a distance to keep."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

import numpy as np

from optimizer.assess.lookup import Lookup
from optimizer.assess.report import report
from optimizer.assess.result import LimitReport
from optimizer.setting import Setting
from optimizer.study.model import Site

#: Pairs of units at their places that are remembered at most, over all rules.
_MOST = 8192


class RuleLimits:
    """Rules of a setting; layouts that put a pair of units alike share its reports."""

    def __init__(self, setting: Setting) -> None:
        self._setting = setting
        self._of = lru_cache(_MOST)(self._work_out)

    def __call__(self, at: Mapping[str, Site]) -> list[LimitReport]:
        """Of all pairs of units that a rule is about; `at` is the site of each unit."""
        copies: dict[str, list[str]] = {}
        for unit in at:
            copies.setdefault(unit.split("#")[0], []).append(unit)
        return [
            self._of(number, a, b, at[a].name, at[b].name)
            for number, rule in enumerate(self._setting.study.rules)
            for a in copies.get(rule.part_a, ())
            for b in copies.get(rule.part_b, ())
            if a != b
        ]

    def _work_out(self, number: int, a: str, b: str, site_a: str, site_b: str) -> LimitReport:
        rule, same = self._setting.study.rules[number], site_a == site_b
        if rule.kind == "same_place":
            label = f"{a} and {b} share a place"
            value = 0.0 if same else 1.0
            return report("same_place", a, label, value, 0.0, "places", 1.0, rule.origin)
        sites, wearer = self._setting.once(Lookup).sites, self._setting.wearer
        here, there = wearer.position(sites[site_a]), wearer.position(sites[site_b])
        gap = float(np.linalg.norm(here - there))
        broken = same or gap < rule.distance_m
        if broken:
            short = (max(rule.distance_m, 1e-3) if same else rule.distance_m) - gap
        else:
            short = min(0.0, rule.distance_m - gap)
        label = f"{a} and {b} stay apart"
        return report("apart", a, label, short, 0.0, "mm short", 1e3, rule.origin)
