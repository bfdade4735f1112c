"""One number of a study that can be turned, and the study at each of its values."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from optimizer.errors import Flaw, InputError, Origin
from optimizer.setting import Setting, build_setting
from optimizer.study.model import Study

#: Ending of a path's last key -> the unit of its values, longest first.
UNITS = {
    "_g_per_m": "g/m",
    "_m_s": "m/s",
    "_cm3": "cm3",
    "_cm2": "cm2",
    "_kpa": "kPa",
    "_mm": "mm",
    "_ms": "ms",
    "_kg": "kg",
    "_pct": "%",
    "_deg": "deg",
    "_wh": "Wh",
    "_g": "g",
    "_w": "W",
    "_h": "h",
    "_s": "s",
    "_v": "V",
    "_a": "A",
    "_n": "N",
}
#: Settings kept in memory per dial.
KEPT = 64


@dataclass
class Dial:
    """A number, or several turned together, from low to high.

    `label` names it; `unit` is that of its values, "x" for a factor; `whole` if it can only be a
    whole number; `now` is its value in the study as written, None if unknown. `paths` are the
    dotted paths it stands for, empty for a dial made by hand.
    """

    label: str
    unit: str
    study_at: Callable[[float], Study]
    now: float | None = None
    whole: bool = False
    paths: tuple[str, ...] = ()
    _settings: OrderedDict[float, Setting] = field(default_factory=OrderedDict, repr=False)

    def setting_at(self, value: float) -> Setting:
        """The setting of the study at a value of the number."""
        known = self._settings.get(value)
        if known is None:
            known = build_setting(self.study_at(value))
            self._settings[value] = known
            if len(self._settings) > KEPT:
                self._settings.popitem(last=False)
        return known


def unit_of(path: str) -> str:
    """The unit a dotted path's key is written in, "" for a bare number."""
    key = path.rpartition(".")[2]
    if path.startswith("limits."):
        key = path.split(".")[1]
    return next((unit for ending, unit in UNITS.items() if key.endswith(ending)), "")


def dial(
    study_file: str | Path,
    paths: str | Sequence[str],
    overrides: Mapping[str, object] | None = None,
) -> Dial:
    """A dial on one or several dotted paths of a study file.

    A path that ends in "*" is scaled: the dial is then the factor on what is written there, and
    so must be all others. `overrides` hold throughout.

    Raises
    ------
    InputError
        If plain and scaled paths are mixed, none is given, or a path is also overridden.
    """
    from optimizer.study.load import load_study
    from optimizer.study.overrides import Scale
    from optimizer.study.written import written_number

    given = (paths,) if isinstance(paths, str) else tuple(paths)
    fixed = dict(overrides or {})
    scaled = {path.endswith("*") for path in given}
    names = tuple(path.removesuffix("*").rstrip() for path in given)
    flaws = []
    if not given:
        flaws.append(Flaw(Origin("path"), "no path", "the path of a number"))
    if len(scaled) > 1:
        expected = "all paths ending in * (scaled together) or none"
        flaws.append(Flaw(Origin("path"), " ".join(given), expected))
    flaws += [
        Flaw(Origin("path"), f"{name} both turned and set", "it to be turned only")
        for name in names
        if name in fixed
    ]
    if flaws:
        raise InputError(flaws)
    as_factor = scaled == {True}

    def study_at(value: float) -> Study:
        number: object = Scale(value) if as_factor else _plain(value)
        return load_study(
            study_file, {**fixed, **dict.fromkeys(names, number)}, overrides_from="turned number"
        )

    if as_factor:
        return Dial(" ".join(given), "x", study_at, 1.0, paths=names)
    written = {written_number(study_file, name, fixed) for name in names}
    now = written.pop() if len(written) == 1 else None
    return Dial(" ".join(names), unit_of(names[0]), study_at, now, paths=names)


def _plain(value: float) -> float | int:
    """Whole numbers without a decimal point, as somebody would type them."""
    return int(value) if float(value).is_integer() and abs(value) < 1e15 else float(value)
