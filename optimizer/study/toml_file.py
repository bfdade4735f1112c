"""The study file as written: its keys, and where each stands."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field
from typing import Any

from optimizer.errors import Flaw, Origin
from optimizer.study.keylines import key_lines
from optimizer.study.words import quoted

_AT_LINE = re.compile(r"\s*\(at line (\d+), column \d+\)")


@dataclass
class TomlFile:
    """Parsed keys, with the line of each and where overridden ones came from."""

    file: str
    keys: dict[str, Any]
    lines: dict[str, int]
    overridden: dict[str, Origin] = field(default_factory=dict)

    def locate(self, path: str) -> Origin:
        """Where the dotted key `path` was written, or else the table that holds it."""
        pieces = path.split(".")
        for length in range(len(pieces), 0, -1):
            head = ".".join(pieces[:length])
            if head in self.overridden:
                return self.overridden[head]
            if head in self.lines:
                return Origin(self.file, self.lines[head], path)
        return Origin(self.file, None, path)


def parse_toml(text: str, file: str, flaws: list[Flaw]) -> TomlFile | None:
    """The file's keys, or None with a flaw that names the line the syntax breaks on."""
    try:
        keys = tomllib.loads(text)
    except RecursionError:
        flaws.append(Flaw(Origin(file), "lists or tables nested too deeply", "a study file"))
        return None
    except ValueError as error:  # a TOMLDecodeError, or a whole number of absurd length
        flaws.append(_syntax_flaw(text, file, str(error)))
        return None
    return TomlFile(file, keys, key_lines(text))


def _syntax_flaw(text: str, file: str, reason: str) -> Flaw:
    match = _AT_LINE.search(reason)
    lines = text.split("\n")
    number = int(match.group(1)) if match else (len(lines) if text else None)
    what = _AT_LINE.sub("", reason).replace(" (at end of document)", " at the end of the file")
    if number is None:
        return Flaw(Origin(file), "an empty file", "a study file (TOML)")
    line = lines[number - 1].strip() if number <= len(lines) else ""
    hint = 'a line of TOML, such as key = 1.5 or key = "text"'
    if re.fullmatch(r"[^=\"']*=\s*[+-]?\d+,\d+\s*(#.*)?", line):
        hint = "a number with a decimal point"
    return Flaw(Origin(file, number), f"{quoted(line)} ({what})", hint)
