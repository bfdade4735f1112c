"""What-ifs written in the study file: `[[scenarios]]` with a `name` and what it `set`s.

    [[scenarios]]
    name = "lighter ankle unit"
    set = { "parts.ankle_*.mass_g*" = 0.8, "wearer.mass_kg" = 58 }

A path is one that `--set` takes; one that ends in "*" scales the number written there. Paths need
no quotation marks where TOML needs none: `parts.pump.mass_g = 120` under `[scenarios.set]` is read
as the same path.
"""

from __future__ import annotations

from collections.abc import Mapping

from optimizer.errors import Flaw, Origin
from optimizer.study.document import ScenarioSection
from optimizer.study.model import Scenario
from optimizer.study.overrides import Scale
from optimizer.study.sections import check_section, list_of_tables
from optimizer.study.toml_file import TomlFile
from optimizer.study.words import quoted


def make_scenarios(study: TomlFile, flaws: list[Flaw]) -> tuple[Scenario, ...]:
    """The scenarios of a study; what their paths point to is checked when they are loaded."""
    found: list[Scenario] = []
    seen: dict[str, int] = {}
    items = list_of_tables(study, "scenarios", study.keys.get("scenarios"), flaws)
    for number, item in enumerate(items, start=1):
        path = f"scenarios.{number}"
        section = check_section(study, path, ScenarioSection, item, flaws)
        if section is None:
            continue
        origin = study.locate(f"{path}.name")
        if section.name in seen:
            expected = f"a name that differs from scenario {seen[section.name]}'s"
            flaws.append(Flaw(origin, f"{quoted(section.name)} again", expected))
        seen.setdefault(section.name, number)
        where = study.locate(f"{path}.set")
        if not isinstance(section.set, Mapping) or not section.set:
            expected = 'a table of paths and values, such as { "parts.pump.mass_g" = 120 }'
            given = "no key set" if section.set is None else quoted(section.set)
            flaws.append(Flaw(where, given, expected))
            continue
        settings: dict[str, object] = {}
        for key, value in flattened(section.set).items():
            _put(settings, key, value, where, flaws)
        found.append(Scenario(section.name, settings, study.locate(path)))
    return tuple(found)


def flattened(table: Mapping[str, object], before: str = "") -> dict[str, object]:
    """Nested tables as dotted paths."""
    flat: dict[str, object] = {}
    for key, value in table.items():
        path = f"{before}.{key}" if before else str(key)
        if isinstance(value, Mapping):
            flat |= flattened(value, path)
        else:
            flat[path] = value
    return flat


def _put(
    settings: dict[str, object], key: str, value: object, where: Origin, flaws: list[Flaw]
) -> None:
    path = key.removesuffix("*").rstrip()
    if path in settings:
        flaws.append(Flaw(where, f"{quoted(path)} twice", "each path once"))
    if not key.endswith("*"):
        settings[path] = value
        return
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if not number or not 0.0 < float(str(value)) <= 1e9:
        flaws.append(Flaw(where, f"{key} = {quoted(value)}", "a factor greater than 0"))
        return
    settings[path] = Scale(float(str(value)))


def settings_words(settings: Mapping[str, object]) -> tuple[str, ...]:
    """What is set, as one would type it: "parts.pump.mass_g=120", "parts.pump.mass_g*=0.8"."""
    return tuple(
        f"{path}*={value.factor:g}" if isinstance(value, Scale) else f"{path}={_typed(value)}"
        for path, value in settings.items()
    )


def _typed(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_typed, value))}]"
    return f"{value:g}" if isinstance(value, float) else str(value)
