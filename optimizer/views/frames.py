"""The same answers as pandas frames, for notebooks. SI, the unit in every column's name."""

from __future__ import annotations

from typing import TYPE_CHECKING

from optimizer.assess.result import Assessment, Ranking
from optimizer.views.differences import differences
from optimizer.views.limits import broken

if TYPE_CHECKING:
    import pandas as pd


def ranking_frame(ranking: Ranking) -> pd.DataFrame:
    """One row per layout, indexed by rank.

    Columns: score, metabolic_w, metabolic_pct, swing_inertia_pct, worn_kg, feasible, status,
    bound, gap, differs_from_best (in words).
    """
    import pandas as pd

    columns = ["score", "metabolic_w", "metabolic_pct", "swing_inertia_pct", "worn_kg",
               "feasible", "status", "bound", "gap", "differs_from_best"]  # fmt: skip
    rows = []
    for ranked in ranking.layouts:
        a, best = ranked.assessment, ranking.layouts[0].assessment
        words = "" if a is best else "; ".join(differences(best.layout, a.layout))
        rows.append(
            (a.score, a.metabolic_w, a.metabolic_pct, a.swing_inertia_pct, a.total_mass_kg,
             a.feasible, ranked.proof.status, ranked.proof.bound, ranked.proof.gap, words)
        )  # fmt: skip
    index = pd.Index([r.rank for r in ranking.layouts], name="rank", dtype="int64")
    return pd.DataFrame(rows, columns=columns, index=index)


def parts_frame(assessment: Assessment) -> pd.DataFrame:
    """One row per placed part, vest first and foot last, indexed by unit.

    Columns as `PartReport`: part, model, site, segment, side, mass_kg, distance_m, metabolic_w,
    metabolic_pct, swing_inertia_kg_m2, score.
    """
    import pandas as pd

    columns = ["part", "model", "site", "segment", "side", "mass_kg", "distance_m",
               "metabolic_w", "metabolic_pct", "swing_inertia_kg_m2", "score"]  # fmt: skip
    rows = [tuple(getattr(p, name) for name in columns) for p in assessment.parts]
    return pd.DataFrame(
        rows, columns=columns, index=pd.Index([p.unit for p in assessment.parts], name="unit")
    )


def lines_frame(assessment: Assessment) -> pd.DataFrame:
    """One row per line, indexed by its name.

    Columns: kind, option, size, unit_a, unit_b, site_a, site_b, route (" > " between nodes),
    length_m, max_length_m and margin_m (NaN: no limit), slack_m, bend_rad, mass_kg, metabolic_w,
    swing_inertia_kg_m2, and one per figure in `physics`.
    """
    import pandas as pd

    rows = []
    for line in assessment.lines:
        longest = float("nan") if line.max_length_m is None else line.max_length_m
        rows.append(
            {
                "kind": line.kind,
                "option": line.option,
                "size": line.size,
                "unit_a": line.unit_a,
                "unit_b": line.unit_b,
                "site_a": line.site_a,
                "site_b": line.site_b,
                "route": " > ".join(line.nodes),
                "length_m": line.length_m,
                "max_length_m": longest,
                "margin_m": longest - line.length_m,
                "slack_m": line.slack_m,
                "bend_rad": line.bend_rad,
                "mass_kg": line.mass_kg,
                "metabolic_w": line.metabolic_w,
                "swing_inertia_kg_m2": line.swing_inertia_kg_m2,
                **line.physics,
            }
        )
    return pd.DataFrame(rows, index=pd.Index([n.line for n in assessment.lines], name="line"))


def limits_frame(assessment: Assessment) -> pd.DataFrame:
    """One row per limit; value, limit and slack are in `unit`.

    Columns: kind, subject, label, value, limit, slack, unit, binding, met, file, row, column.
    """
    import pandas as pd

    columns = ["kind", "subject", "label", "value", "limit", "slack", "unit", "binding", "met",
               "file", "row", "column"]  # fmt: skip
    rows = [
        (m.kind, m.subject, m.label, m.value, m.limit, m.slack, m.unit, m.binding, not broken(m),
         m.origin.file, m.origin.row, m.origin.column)
        for m in assessment.limits
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=columns)
