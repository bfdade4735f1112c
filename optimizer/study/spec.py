"""Everything the study file itself says, table by table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from optimizer.errors import Flaw
from optimizer.study.catalog import Catalog
from optimizer.study.document import (
    CounterweightSection,
    EnergySection,
    InertiaSection,
    RoutesSection,
    SolveSection,
    TaskSection,
    WearerSection,
    WeightsSection,
)
from optimizer.study.downstream import measured_in_si
from optimizer.study.limits import make_limits
from optimizer.study.model import (
    Counterweight,
    EnergySpec,
    LimitSpec,
    PairRule,
    RoutesSpec,
    Scenario,
    SolveSpec,
    Task,
    WearerSpec,
    Weights,
)
from optimizer.study.rules import check_rules, make_rules
from optimizer.study.scenarios import make_scenarios
from optimizer.study.sections import (
    check_table,
    make_counterweight,
    make_energy,
    make_routes,
    make_solve,
    make_task,
    make_wearer,
    make_weights,
)
from optimizer.study.toml_file import TomlFile
from optimizer.study.words import quoted


@dataclass
class Spec:
    """What the study file holds, as far as sound."""

    wearer: WearerSpec | None
    task: Task | None
    energy: EnergySpec | None
    weights: Weights | None
    routes: RoutesSpec | None
    solve: SolveSpec | None
    limits: tuple[LimitSpec, ...]
    counterweight: Counterweight | None
    rules: tuple[PairRule, ...]
    pose: Literal["straight", "swing"]
    scenarios: tuple[Scenario, ...] = ()


def make_spec(written: TomlFile, catalog: Catalog, flaws: list[Flaw]) -> Spec:
    """The study file's tables of the sound keys, rules checked against the catalog."""
    wearer = check_table(written, "wearer", WearerSection, flaws)
    task = check_table(written, "task", TaskSection, flaws)
    energy = check_table(written, "energy", EnergySection, flaws)
    weights = check_table(written, "weights", WeightsSection, flaws)
    inertia = check_table(written, "inertia", InertiaSection, flaws)
    limits = written.keys.get("limits", {})
    if not isinstance(limits, Mapping):
        flaws.append(Flaw(written.locate("limits"), quoted(limits), "a table [limits]"))
        limits = {}
    sex = wearer.sex if wearer else "male"
    made_limits = make_limits(limits, written.locate, flaws, sex)
    extra = check_table(written, "counterweight", CounterweightSection, flaws)
    counterweight = make_counterweight(written, extra, wearer, flaws) if extra else None
    rules = make_rules(written, catalog.counts, flaws)
    allowed = {
        part.name: frozenset(name for model in part.models for name in model.sites)
        for part in catalog.parts
    }
    check_rules(rules, catalog.fixed, allowed, flaws)
    routes = check_table(written, "routes", RoutesSection, flaws)
    solve = check_table(written, "solve", SolveSection, flaws)
    return Spec(
        wearer=make_wearer(written, wearer, measured_in_si(written, wearer, flaws))
        if wearer
        else None,
        task=make_task(written, task) if task else None,
        energy=make_energy(written, energy) if energy else None,
        weights=make_weights(written, weights, flaws) if weights else None,
        routes=make_routes(written, routes, flaws) if routes else None,
        solve=make_solve(solve) if solve else None,
        limits=made_limits,
        counterweight=counterweight,
        rules=rules,
        pose="swing" if inertia and inertia.pose == "swing" else "straight",
        scenarios=make_scenarios(written, flaws),
    )
