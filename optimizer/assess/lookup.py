"""A study's parts, sites and lines by their names, made once per setting."""

from __future__ import annotations

from optimizer.setting import Setting
from optimizer.study.model import Line, LineOption, Part, PartModel, Site


class Lookup:
    """What an assessment looks up by name; of equal names the first counts, as in the tables."""

    def __init__(self, setting: Setting) -> None:
        study = setting.study
        self.sites: dict[str, Site] = {site.name: site for site in study.sites}
        self.site_order: dict[str, int] = {site.name: i for i, site in enumerate(study.sites)}
        self.parts: dict[str, Part] = {part.name: part for part in study.parts}
        self.lines: dict[str, Line] = {line.name: line for line in study.lines}
        self._models: dict[tuple[str, str], PartModel] = {}
        for part in study.parts:
            for model in part.models:
                self._models.setdefault((part.name, model.name), model)
        self._options: dict[tuple[str, str], LineOption] = {}
        for line in study.lines:
            for option in line.options:
                self._options.setdefault((line.name, option.name), option)

    def model(self, part: str, model: str) -> PartModel:
        """A model of a part."""
        return self._models[part, model]

    def line(self, name: str) -> Line:
        """The line that a copy such as "supply#2" is one of."""
        return self.lines[name.split("#", maxsplit=1)[0]]

    def option(self, line: str, option: str) -> LineOption:
        """An option of the line that a copy is one of."""
        return self._options[line.split("#", maxsplit=1)[0], option]
