"""Reading the published tables that lie beside the package as CSV, each file at most once."""

from __future__ import annotations

import csv
from functools import cache
from importlib import resources


@cache
def read_table(name: str) -> tuple[dict[str, str], ...]:
    """Rows of `optimizer/data/NAME` as dictionaries of text, in file order."""
    text = (resources.files("optimizer") / "data" / name).read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))
