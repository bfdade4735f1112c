"""The families of the benchmark: feasible by their hidden layout, the same from the same seed."""

from __future__ import annotations

import subprocess
import sys
from math import inf
from pathlib import Path

import pytest
from families import FAMILIES, Family, make
from speed.child import broken_rule, worst_overstep
from speed.instance import Instance

from optimizer.assess.assessment import assess
from optimizer.problem.presolve import Switches, reduce
from optimizer.solve.layouts import layout_of
from optimizer.solve.program import Program
from optimizer.study.model import Study

SMALL = [name for name in FAMILIES if name.startswith("8x24_")]
MIDDLE = [name for name in FAMILIES if name.startswith(("24x48_", "64x96_"))]


@pytest.mark.parametrize("name", SMALL + MIDDLE)
def test_hidden_layout_keeps_to_every_limit(name: str) -> None:
    instance = Instance.of(name, 7)
    problem = instance.problem()
    hidden = instance.hidden_solution(problem)
    # the assessment's road, from the study itself, and the arrays
    found = assess(instance.setting, layout_of(instance.setting, problem, hidden))
    assert found.feasible
    assert found.score == pytest.approx(hidden.score, rel=1e-9)
    assert worst_overstep(problem, hidden) == 0.0
    assert broken_rule(problem, hidden) == ""


@pytest.mark.parametrize("name", SMALL)
def test_reference_program_takes_the_hidden_layout(name: str) -> None:
    """With every column but the hidden choices' shut, the program still has an answer."""
    instance = Instance.of(name, 3)
    problem = instance.problem()
    hidden = instance.hidden_solution(problem)
    switches = Switches(arc_consistency=False, search=False, order_copies=False)
    program = Program(reduce(problem, switches), switches=switches)
    for c, column in program.formulation.columns.x.items():
        if c not in hidden.chosen:
            program.live.set_col_bounds(column, 0.0, 0.0)
    outcome, solution = program.solve()
    assert outcome.status == "optimal"
    assert solution is not None
    assert solution.chosen == hidden.chosen
    assert solution.score <= hidden.score + 1e-9


@pytest.mark.parametrize("name", SMALL)
def test_same_seed_gives_the_same_study_another_seed_another(name: str) -> None:
    first, again, other = (make(FAMILIES[name], seed) for seed in (5, 5, 6))
    assert first == again
    assert first[0].parts != other[0].parts


CHILD = """
import sys
sys.path.insert(0, sys.argv[1])
from families import FAMILIES, make
study, hidden = make(FAMILIES["8x24_identical"], 5)
print([(s.name, s.volume_m3, s.max_mass_kg, sorted(s.offers)) for s in study.sites])
print([(m.mass_kg, m.size_m, m.sites, sorted(m.needs)) for p in study.parts for m in p.models])
print(study.lines, study.limits, study.rules, hidden)
"""


def test_a_study_does_not_hang_on_the_order_of_sets() -> None:
    folder = Path(__file__).resolve().parents[2]
    told = {
        subprocess.run(
            [sys.executable, "-c", CHILD, str(folder / "studies" / "benchmarks")],
            env={"PYTHONHASHSEED": seed, "PYTHONPATH": str(folder)},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    }
    assert len(told) == 1


def _largest(study: Study) -> float:
    return max((o.max_length_m for n in study.lines for o in n.options), default=0.0)


@pytest.mark.parametrize("name", MIDDLE)
def test_a_family_is_what_its_name_says(name: str) -> None:
    family: Family = FAMILIES[name]
    study, hidden = make(family, 1)
    assert len(hidden) == sum(part.count for part in study.parts) == family.parts
    assert len(study.sites) == family.sites
    sides = {site.side for site in study.sites if site.segment != "trunk"}
    assert len(sides) == family.legs
    units = len(study.parts)
    assert len(study.lines) < units or family.lines_per_part > 1.0
    assert len(study.lines) >= units or family.lines_per_part <= 1.0 or family.copies
    assert any(part.count > 1 for part in study.parts) == (family.copies > 0)
    assert _largest(study) == inf or family.line_slack < inf
    several = sum(len(part.models) > 1 for part in study.parts) / units
    assert (several > 0.5) == (family.alternatives > 0.5)
    curved = Instance.of(name, 1).problem().objective.curve is not None
    assert curved == (family.trunk == "pandolf")
