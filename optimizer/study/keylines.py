"""On which line of a TOML file each key stands: the parser does not tell, so the text is scanned.

Used only to say where something was written; a key the scan misses is told by its table's line.
"""

from __future__ import annotations

import re

_TABLE = re.compile(r"\s*(\[\[?)\s*([^\[\]]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"""\s*((?:[\w-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[\w-]+|"[^"]*"|'[^']*'))*)\s*=""")
_PIECE = re.compile(r""""([^"]*)"|'([^']*)'|([\w-]+)""")


def key_lines(text: str) -> dict[str, int]:
    """Dotted key -> line, counted from 1. Items of lists of tables count from 1: "rules.2.kind"."""
    lines: dict[str, int] = {}
    table = ""
    counts: dict[str, int] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        if len(line) > 1000:
            continue
        header = _TABLE.match(line)
        if header:
            table = _dotted(header.group(2))
            if header.group(1) == "[[":
                counts[table] = counts.get(table, 0) + 1
                lines.setdefault(table, number)
                table = f"{table}.{counts[table]}"
            lines.setdefault(table, number)
            continue
        key = _KEY.match(line)
        if key:
            path = _dotted(key.group(1))
            lines.setdefault(f"{table}.{path}" if table else path, number)
    return lines


def _dotted(key: str) -> str:
    return ".".join(a or b or c for a, b, c in _PIECE.findall(key))
