"""The study file's tables and keys, and what each may hold."""

from __future__ import annotations

from math import inf
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field

from optimizer.study.cells import Choice, Flag, Name, PairList, Quantity, Text, TextList

FORMAT = 1

#: Segments that may carry the mass of an added arc.
CARRIERS = (
    "off_body",
    "trunk",
    *(f"{segment}.{side}" for segment in ("thigh", "shank", "foot") for side in ("left", "right")),
)


class Section(BaseModel):
    """Base of the section schemas: unknown keys are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Head(Section):
    """Keys above the first table."""

    format: Annotated[int, Quantity(least=FORMAT, most=FORMAT, whole=True)]
    title: Annotated[str, Text(optional=True)] = ""
    invented: Annotated[bool, Flag()] = False


class Files(Section):
    """Where the tables lie, relative to the study file."""

    parts: Annotated[str, Text("the path of a parts table")]
    sites: Annotated[str, Text("the path of a sites table")]
    lines: Annotated[str, Text("the path of a lines table", optional=True)] = ""


class WearerSection(Section):
    """Who wears the device. `measured` is checked against the body's own list."""

    sex: Annotated[str, Choice(("female", "male"))]
    stature_mm: Annotated[float, Quantity("mm", least=1000, most=2500)]
    mass_kg: Annotated[float, Quantity("kg", least=20, most=300)]
    inertia_table: Annotated[str, Name("an inertia table's name")] = "deleva1996"
    length_table: Annotated[str | None, Name("a length table's name")] = None
    affected_side: Annotated[str, Choice(("left", "right", "both", "none"))] = "none"
    measured: dict[str, Any] = Field(default_factory=dict)


class TaskSection(Section):
    """How the wearer walks."""

    speed_m_s: Annotated[float, Quantity("m/s", above=0, most=3)] = 1.25
    grade_pct: Annotated[float, Quantity("%", least=-60, most=60)] = 0.0
    terrain: Annotated[str, Name("a terrain's name", spaces=True)] = "treadmill"


class ModelName(Name):
    """The name of a published model, or "file:" and the path of one's own."""

    def check(self, value: object) -> str:
        """The name, or the path with its mark, without blanks around it."""
        if isinstance(value, str) and value.strip().startswith("file:"):
            return value.strip()
        return super().check(value)


class EnergySection(Section):
    """Which published models, or models of one's own (`file:`), tell the metabolic cost."""

    leg: Annotated[str, ModelName("a leg model's name")] = "segment_curve"
    trunk: Annotated[str, ModelName("a trunk model's name")] = "browning_waist"
    walking: Annotated[str, Name("a walking model's name")] = "looney2019"


class WeightsSection(Section):
    """What the score adds up."""

    metabolic: Annotated[float, Quantity(least=0, most=1e6)] = 1.0
    swing_inertia: Annotated[float, Quantity(least=0, most=1e6)] = 0.1
    comfort: Annotated[float, Quantity(least=0, most=1e6)] = 0.0


class InertiaSection(Section):
    """The pose at which swing-leg inertia is told."""

    pose: Annotated[str, Choice(("straight", "swing"))] = "straight"


class RuleSection(Section):
    """One rule about two parts."""

    kind: Annotated[str, Choice(("same_place", "apart"))]
    parts: Annotated[tuple[str, ...], TextList("a list of two parts' names", 2)]
    distance_mm: Annotated[float, Quantity("mm", least=0, most=5000)] = 0.0


class AddedArcSection(Section):
    """One arc added to the routing graph."""

    tail: Annotated[str, Name("an anchor's name"), Field(alias="from")]
    head: Annotated[str, Name("an anchor's name"), Field(alias="to")]
    length_mm: Annotated[float | None, Quantity("mm", above=0, most=1e5)] = None
    slack_mm: Annotated[float, Quantity("mm", least=0, most=1e4)] = 0.0
    bend_deg: Annotated[float, Quantity("degrees", least=0, most=3600)] = 0.0
    carried_by: Annotated[str | None, Choice(CARRIERS)] = None


class RoutesSection(Section):
    """What the study changes about the routing graph; `add` is checked arc by arc."""

    joint_range: Annotated[str, Choice(("gait", "sit"))] = "gait"
    forbid: Annotated[
        tuple[tuple[str, str], ...], PairList("a list of pairs of anchors' names")
    ] = ()
    forbid_anchors: Annotated[tuple[str, ...], TextList("a list of anchors' names")] = ()
    keep_out: Annotated[bool, Flag()] = False
    add: Any = None


class CounterweightSection(Section):
    """Plain ballast on the sound leg; `side` None for the leg that is not affected."""

    allowed: Annotated[bool, Flag()] = False
    side: Annotated[str | None, Choice(("left", "right"))] = None
    max_mass_g: Annotated[float | None, Quantity("g", above=0)] = None
    density_g_cm3: Annotated[float | None, Quantity("g/cm3", above=0, most=25)] = None


class SolveSection(Section):
    """How to solve."""

    gap: Annotated[float, Quantity(least=0, most=1)] = 0.0
    time_limit_s: Annotated[float, Quantity("s", above=0, infinite=True)] = inf
    top: Annotated[int, Quantity(least=1, most=10000, whole=True)] = 5
    seed: Annotated[int, Quantity(least=0, most=2**31 - 1, whole=True)] = 0
    threads: Annotated[int, Quantity(least=1, most=1024, whole=True)] = 1


class ScenarioSection(Section):
    """One what-if; `set` is read by `optimizer.study.scenarios`."""

    name: Annotated[str, Name("a scenario's name", spaces=True)]
    set: Any = None


#: Table of the study file -> its schema; `limits`, `rules` and `scenarios` are made elsewhere.
SECTIONS: dict[str, type[Section]] = {
    "files": Files,
    "wearer": WearerSection,
    "task": TaskSection,
    "energy": EnergySection,
    "weights": WeightsSection,
    "inertia": InertiaSection,
    "routes": RoutesSection,
    "counterweight": CounterweightSection,
    "solve": SolveSection,
}
#: What stands at the top level of a study file.
TOP_LEVEL: tuple[str, ...] = (*Head.model_fields, *SECTIONS, "limits", "rules", "scenarios")


def keys(schema: type[BaseModel]) -> list[str]:
    """The keys of a schema as written in the file."""
    return [field.alias or name for name, field in schema.model_fields.items()]
