"""Further answers as pandas frames, beside those of `optimizer.views.frames`. SI."""

from __future__ import annotations

from typing import TYPE_CHECKING

from optimizer.assess.result import Assessment
from optimizer.solve.sweep_dial import UNITS
from optimizer.views.bars import segment_rows

if TYPE_CHECKING:
    import pandas as pd

    from optimizer.report.tradeoff_charts import SweepCurve
    from optimizer.solve.front import Front
    from optimizer.trust.result import Trust


#: Unit -> how a column's name ends; others, as counts and factors, are not told there.
_ENDS = {**{unit: end for end, unit in UNITS.items()}, "points": "_points"}


def with_unit(name: str, unit: str) -> str:
    """A column's name with its unit as units are written in names: "low_m_s", "metabolic_pct"."""
    return name + _ENDS.get(unit, "")


def segments_frame(assessment: Assessment) -> pd.DataFrame:
    """One row per loaded segment, vest first: mass_kg, metabolic_w."""
    import pandas as pd

    rows = segment_rows(assessment)
    return pd.DataFrame(
        {"mass_kg": [r.mass_kg for r in rows], "metabolic_w": [r.metabolic_w for r in rows]},
        index=pd.Index([r.name for r in rows], name="segment"),
    )


def front_frame(front: Front) -> pd.DataFrame:
    """One row per point, numbered from 1: a column per goal, score, worn_kg, supported, chosen.

    A goal's column has its unit in its name, "metabolic_pct".
    """
    import pandas as pd

    columns: dict[str, list[object]] = {
        with_unit(goal.name, goal.unit): [point.values[i] for point in front.points]
        for i, goal in enumerate(front.goals)
    }
    columns["score"] = [point.assessment.score for point in front.points]
    columns["worn_kg"] = [point.assessment.total_mass_kg for point in front.points]
    columns["supported"] = [point.supported for point in front.points]
    columns["chosen"] = [i == front.picked for i in range(len(front.points))]
    index = pd.Index(range(1, len(front.points) + 1), name="point")
    return pd.DataFrame(columns, index=index)


def sweep_frame(curve: SweepCurve) -> pd.DataFrame:
    """One row per stretch: low and high of the number, score there (NaN: nothing fits), changes.

    The number is in the unit it is written in, which is in the columns' names: "low_g"; a factor
    has none. A stretch in which nothing fits names no layout.
    """
    import pandas as pd

    nothing = float("nan")
    return pd.DataFrame(
        {
            with_unit("low", curve.unit): [p.low for p in curve.pieces],
            with_unit("high", curve.unit): [p.high for p in curve.pieces],
            "score_low": [p.points[0][1] if p.points else nothing for p in curve.pieces],
            "score_high": [p.points[-1][1] if p.points else nothing for p in curve.pieces],
            "changes": ["; ".join(p.changes) for p in curve.pieces],
        },
        index=pd.Index([p.name if p.points else "" for p in curve.pieces], name="layout"),
    )


def trust_frame(found: Trust) -> pd.DataFrame:
    """One row per layout, the likeliest winner first: shares, regrets, rank by the study.

    `rank` is a whole number, missing for a layout that is not among the study's own best.
    """
    import pandas as pd

    names = ("rank", "win_share", "win_se", "mean_regret", "worst_regret", "exact_worst", "fits")
    # as objects: pandas would make whole numbers with one missing into fractions
    return pd.DataFrame(
        {
            name: pd.Series([getattr(t, name) for t in found.layouts], dtype=object).array
            if name == "rank"
            else [getattr(t, name) for t in found.layouts]
            for name in names
        },
        index=pd.Index([t.name for t in found.layouts], name="layout"),
    )
