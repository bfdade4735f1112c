"""The tables a maker fills in, prefilled with the plan; `limbtrim weigh` reads them back."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from optimizer.assess.result import Assessment
from optimizer.views.quantity import cut_mm, number


def measured_parts(plan: Assessment) -> str:
    """Parts with their sites and planned masses, `measured_mass_g` left empty."""
    model_of = {p.unit: p.model for p in plan.layout.placements}
    return _table(
        ("unit", "model", "site", "planned_mass_g", "measured_mass_g"),
        ((p.unit, model_of[p.unit], p.site, number(p.mass_kg * 1e3, 1), "") for p in plan.parts),
    )


def measured_lines(plan: Assessment) -> str:
    """Lines with their routes and planned lengths, `measured_length_mm` left empty."""
    return _table(
        ("line", "option", "route", "planned_length_mm", "measured_length_mm"),
        ((n.line, n.option, " > ".join(n.nodes), str(cut_mm(n.length_m)), "") for n in plan.lines),
    )


def _table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(head)
    writer.writerows(rows)
    return text.getvalue()
