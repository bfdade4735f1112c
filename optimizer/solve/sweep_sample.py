"""The program at single values of a turned number, and whether two of them are alike."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from optimizer.problem.arrays import Array, IntArray, Problem
from optimizer.problem.build import build_problem
from optimizer.problem.presolve import Reduced, Switches, reduce, route_of
from optimizer.setting import Setting
from optimizer.solve.formulation import Formulation, RowKey, formulate
from optimizer.solve.highs import Matrix
from optimizer.solve.program import compile_matrix
from optimizer.solve.sweep_dial import Dial

#: How often the distance to the other sample is halved before giving up.
HALVINGS = 10
#: Loads at which curves are compared [kg].
LOADS = (0.5, 2.0, 7.0)


class NotSteadyError(Exception):
    """Why a sweep over a range cannot be exact, in words: "it ..."."""


@dataclass(frozen=True)
class Sample:
    """The program at one value of the number."""

    value: float
    setting: Setting
    problem: Problem
    reduced: Reduced
    formulation: Formulation
    matrix: Matrix

    @cached_property
    def columns(self) -> list[tuple[object, ...]]:
        """What each column means, by names, comparable between samples."""
        p = self.problem
        keys: list[tuple[object, ...]] = []
        for kind, subject in self.formulation.names:
            if kind == "x":
                keys.append((kind, *p.named(int(subject))))  # type: ignore[call-overload]
            elif kind == "u":
                keys.append((kind, p.site_names[int(subject)]))  # type: ignore[call-overload]
            else:
                keys.append((kind, subject))
        return keys

    @cached_property
    def rows(self) -> list[RowKey]:
        """The name of every row."""
        return [(row.group, row.subject) for row in self.formulation.rows]

    def row(self, r: int) -> tuple[IntArray, Array]:
        """Columns and coefficients of a row."""
        first, last = self.matrix.start[r], self.matrix.start[r + 1]
        return self.matrix.index[first:last].astype(np.int64), self.matrix.value[first:last]


def sample(dial: Dial, value: float) -> Sample | None:
    """The program at a value; None if some part has no place left before solving."""
    setting = dial.setting_at(value)
    problem = build_problem(setting)
    reduced = reduce(problem)
    if reduced.emptied:
        return None
    formulation = formulate(reduced, problem.objective, Switches())
    matrix = compile_matrix(formulation, problem.objective)
    return Sample(value, setting, problem, reduced, formulation, matrix)


def alike(a: Sample, b: Sample) -> bool:
    """Whether columns and rows mean the same and stand in the same order."""
    return (
        a.columns == b.columns
        and a.rows == b.rows
        and np.array_equal(a.matrix.start, b.matrix.start)
        and np.array_equal(a.matrix.index, b.matrix.index)
    )


def two_samples(dial: Dial, low: float, high: float) -> tuple[Sample, Sample]:
    """Two samples that are alike, with all places any value in between has, far apart.

    Where capacities rule out places towards one end, both are taken nearer to the other end;
    the rows of those capacities then rule them out in the program.

    Raises
    ------
    NotSteadyError
        If there are no such two.
    """
    ends = sample(dial, low), sample(dial, high)
    for base, other in (ends, ends[::-1]):
        if base is None:
            continue
        if other is not None:
            same_barred(base, other)
            if alike(base, other):
                return base, other
            if not _more_choices(base, other):
                continue
        far = high if base.value == low else low
        for halvings in range(1, HALVINGS):
            nearer = sample(dial, base.value + (far - base.value) * 0.5**halvings)
            if nearer is not None and alike(base, nearer):
                same_barred(base, nearer)
                return base, nearer
    placed = [None if s is None else {key for key in s.columns if key[0] == "x"} for s in ends]
    if placed[0] == placed[1]:
        raise NotSteadyError("it changes the ways that lines run")
    raise NotSteadyError("it changes what may go where, other than by mass or volume")


def _more_choices(base: Sample, other: Sample) -> bool:
    """Whether one has strictly more places, and otherwise the same number of lines' cases."""
    placed = [{key for key in s.columns if key[0] == "x"} for s in (base, other)]
    return placed[1] < placed[0]


def same_barred(a: Sample, b: Sample) -> None:
    """Require that places ruled out at one sample only are so by a capacity, a row as well."""
    capacities = {cap.kind for s in (a, b) for cap in s.problem.caps}

    def barred(s: Sample) -> set[tuple[int, int, int]]:
        return {(e.slot, e.model, e.site) for e in s.problem.exclusions if e.kind not in capacities}

    if barred(a) != barred(b):
        raise NotSteadyError("it changes what may go where, other than by mass or volume")


def same_routes(a: Sample, b: Sample) -> None:
    """Require that every line takes the same way between any two places still open to it."""
    p, q = a.problem, b.problem
    if len(p.arc_tail) != len(q.arc_tail) or len(p.lines) != len(q.lines):
        raise NotSteadyError("it changes the ways that lines can run")
    for line, again in zip(p.lines, q.lines, strict=True):
        sites_a, sites_b = (
            np.unique(p.choice_site[(p.choice_slot == slot) & a.reduced.open]).tolist()
            for slot in (line.slot_a, line.slot_b)
        )
        for case, same in zip(line.cases, again.cases, strict=True):
            for s in sites_a:
                for t in sites_b:
                    here = route_of(p, line, case, s, t)
                    there = route_of(q, again, same, s, t)
                    if (here and here.arcs) != (there and there.arcs):
                        raise NotSteadyError("it changes the ways that lines run")


def same_curve(a: Sample, b: Sample) -> None:
    """Require that the trunk's cost is curved in the same way, if at all."""
    one, two = a.problem.objective.curve, b.problem.objective.curve
    if one is None and two is None:
        return
    if (
        one is None
        or two is None
        or any(abs(one(load) - two(load)) > 1e-9 * max(1.0, abs(one(load))) for load in LOADS)
    ):
        raise NotSteadyError("it changes the energy model of the trunk")
