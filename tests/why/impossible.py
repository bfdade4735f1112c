"""Random small studies in which nothing fits, and the truth about parts of their limits."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import count
from math import inf, prod

from optimizer.problem.build import build_problem
from optimizer.problem.presolve import reduce
from optimizer.setting import Setting, build_setting
from optimizer.solve.program import Program
from optimizer.study.model import LimitSpec, Study
from optimizer.study.relax import StudyLimit, study_limits, without
from tests.instances import HERE, random_study
from tests.lazily import Lazily
from tests.solve.oracle import Enumeration

#: Studies with more ways to place their parts take long to enumerate.
MOST_WAYS = 2000


def fits(setting: Setting, study: Study) -> bool:
    """Whether a study of the same wearer, garment and routes has a layout, by enumeration."""
    return len(Enumeration(replace(setting, study=study)).scores) > 0


def fits_with_only(setting: Setting, kept: Iterable[StudyLimit]) -> bool:
    """Whether a layout meets some of the study's limits, the others taken away."""
    kept = set(kept)
    gone = [limit for limit in study_limits(setting.study) if limit not in kept]
    return fits(setting, without(setting.study, gone))


def has_layout(study: Study) -> bool:
    """Whether a study has a layout, by the program with flows, without asking why not."""
    reduced = reduce(build_problem(build_setting(study)))
    return not reduced.emptied and Program(reduced).solve(gap=inf)[1] is not None


def _impossible() -> Iterator[Setting]:
    for seed in count():
        study = tightened(random_study(seed), seed)
        setting = build_setting(study)
        ways = prod(len({s for m in p.models for s in m.sites}) ** p.count for p in study.parts)
        if ways <= MOST_WAYS and not fits(setting, study) and fits_with_only(setting, ()):
            yield setting


#: Random studies that no layout fits, though one did without limits. Origins are numbered, so that
#: no two limits are equal.
IMPOSSIBLE = Lazily(_impossible())


def tightened(study: Study, seed: int) -> Study:
    """The study with its limits, or its sites, or its lines' lengths, held tighter."""
    share = 0.55 + 0.1 * (seed % 4)
    if seed % 3 == 0:
        limits = (
            *(replace(spec, value=spec.value * share) for spec in study.limits),
            LimitSpec("segment_mass", "trunk", 0.25, HERE),
        )
        return replace(study, limits=limits)
    if seed % 3 == 1:
        sites = tuple(
            replace(
                site,
                volume_m3=min(site.volume_m3, 5e-4) * share,
                max_mass_kg=min(site.max_mass_kg, 0.5) * share,
            )
            for site in study.sites
        )
        return replace(study, sites=sites)
    lines = tuple(
        replace(
            line,
            options=tuple(
                replace(option, max_length_m=min(option.max_length_m, 1.2) * 0.5 * share)
                for option in line.options
            ),
        )
        for line in study.lines
    )
    return replace(study, lines=lines)
