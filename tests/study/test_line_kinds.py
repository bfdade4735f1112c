"""A new kind of line, or of what is asked of one, is known wherever it is told of."""

from __future__ import annotations

import json
from importlib import resources

import pytest

from optimizer.assess.figures import JUDGED
from optimizer.report.style import STROKES
from optimizer.solve.limit_words import LINE_WORDS
from optimizer.study.lines import LINES
from optimizer.study.model import LINE_KINDS
from optimizer.study.physics_flaws import BUDGETS
from optimizer.study.relax import LINE_BUDGETS, LINE_LIMITS

FILES = resources.files("optimizer")


def test_the_schema_allows_every_kind_of_line() -> None:
    schema = json.loads((FILES / "data" / "schema_ranking.json").read_text("utf-8"))
    assert set(schema["$defs"]["line"]["properties"]["kind"]["enum"]) == set(LINE_KINDS)


def test_every_kind_of_line_has_a_stroke_of_its_own() -> None:
    assert set(STROKES) == set(LINE_KINDS)
    assert len({(stroke.width, stroke.dashes) for stroke in STROKES.values()}) == len(STROKES)


@pytest.mark.parametrize("kind", LINE_KINDS)
def test_the_template_and_the_documentation_name_every_kind(kind: str) -> None:
    comment = (FILES / "study" / "template_files" / "lines.csv").read_text("utf-8")
    assert kind in comment.partition("slack_mm:")[0]
    rows = (FILES / "docs" / "files.md").read_text("utf-8").partition("## Lines table")[2]
    (row,) = [row for row in rows.splitlines() if row.startswith("| `kind`")]
    assert kind in row


def test_what_is_asked_of_lines_is_checked_judged_loosened_and_told() -> None:
    judged = {budget.kind: budget.column for budget in JUDGED}
    assert {kind: budget[1] for kind, budget in LINE_BUDGETS.items()} == judged
    assert set(BUDGETS) == set(judged.values()) <= set(LINES.columns)
    assert set(LINE_WORDS) == set(LINE_LIMITS), "an infeasible study could not say why"
    assert {kind for _, kinds, _ in BUDGETS.values() for kind in kinds} <= set(LINE_KINDS)
