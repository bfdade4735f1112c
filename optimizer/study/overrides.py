"""What-ifs as text: "path=value" sets a value, "path*=factor" scales a number."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from optimizer.errors import Flaw, InputError, Origin
from optimizer.study.numerals import advice, is_number
from optimizer.study.words import quoted

#: The file that flaws of overrides name as their origin.
OVERRIDE_FILE = "--set"

_FORM = "path=value or path*=factor, such as parts.NAME.mass_g=120 or parts.NAME.mass_g*=0.8"


@dataclass(frozen=True, slots=True)
class Scale:
    """In place of a value: multiply the number that is written there by `factor`."""

    factor: float


@dataclass(frozen=True, slots=True)
class Override:
    """One value to set or scale, by its dotted path; `origin` is blamed for what is wrong."""

    path: str
    value: object
    origin: Origin


def parse_override(text: str) -> tuple[str, object]:
    """Split "path=value" or "path*=factor" into the path and the text or `Scale`.

    Raises
    ------
    InputError
        If there is no "=", no path, or the factor is not a positive number.
    """
    path, sign, value = text.partition("=")
    path, value = path.strip(), value.strip()
    scaled = path.endswith("*")
    path = path.removesuffix("*").rstrip()
    if not sign or not path:
        raise InputError([Flaw(Origin(OVERRIDE_FILE), quoted(text), _FORM)])
    if not scaled:
        return path, value
    origin = Origin(OVERRIDE_FILE, None, path)
    if not is_number(value):
        expected, near = advice(value or " ", "a factor greater than 0", "", optional=False)
        raise InputError([Flaw(origin, quoted(value), expected, near)])
    factor = float(value)
    if not 0.0 < factor <= 1e9:
        raise InputError([Flaw(origin, quoted(value), "a factor greater than 0")])
    return path, Scale(factor)


def parse_overrides(texts: Iterable[str]) -> dict[str, object]:
    """Several overrides by path, in the order given.

    Raises
    ------
    InputError
        With every flaw; a path given twice is one.
    """
    overrides, flaws = read_overrides(texts)
    if flaws:
        raise InputError(flaws)
    return overrides


def read_overrides(texts: Iterable[str]) -> tuple[dict[str, object], list[Flaw]]:
    """The same, as far as they can be read, with what is wrong with the others."""
    flaws: list[Flaw] = []
    overrides: dict[str, object] = {}
    for text in texts:
        try:
            path, value = parse_override(text)
        except InputError as error:
            flaws += error.flaws
            continue
        if path in overrides:
            origin = Origin(OVERRIDE_FILE, None, path)
            flaws.append(Flaw(origin, "the path twice", "each path once"))
        overrides[path] = value
    return overrides, flaws


def as_list(overrides: Mapping[str, object] | None, source: str) -> list[Override]:
    """Overrides with their origin: `source` as the file, the path as the column."""
    return [
        Override(path, value, Origin(source, None, path))
        for path, value in (overrides or {}).items()
    ]


def scaled(number: float, factor: float) -> float:
    """`number` times `factor`, without the digits that binary arithmetic adds."""
    return float(f"{number * factor:.15g}")
