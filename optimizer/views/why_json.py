"""Why the best layout is as it is, as a document.

Document "limbtrim.why/1"
-------------------------
"share": by how much limits were loosened. "layout": the best, as in `place`. "parts", vest first:
"units" (copies at one site), "part", "model", "site", "allowed_sites" (how many it is written for),
"score" (what it costs there by itself), "next_best" (null: none, see "only", or not settled) and
"others": "sites", "gain" (score points the part by itself would save there), "barred" (limits
that forbid it) or "alternative". "limits", most worth first: "value" and "loosened" in "unit"
(null: the limit has no amount and was dropped) and "alternative". An alternative tells what it
costs above the best ("score", "metabolic_w", "metabolic_pct", "swing_inertia_pct"; negative:
saves), whether that is "proven", and "differs" from the best in words. "worthless": limits proven
to be worth nothing at that share; "unsettled": limits not settled in time; "complete".
"""

from __future__ import annotations

from collections.abc import Sequence

from optimizer.assess.result import Obstacle
from optimizer.assess.why import Alternative, WhyReport
from optimizer.study.model import Study
from optimizer.views.cautions import CAUTIONS, all_warnings
from optimizer.views.differences import differences
from optimizer.views.json import Document, head
from optimizer.views.json_records import layout_record, origin_record, study_record

WHY = "limbtrim.why/1"


def why_document(study: Study, found: WhyReport) -> Document:
    """The answer of `why` as a document."""
    return {
        **head(WHY),
        "study": study_record(study),
        "asked_for": found.part,
        "share": found.share,
        "layout": layout_record(found.best, found.proof),
        "parts": [
            {
                "units": list(p.units),
                "part": p.part,
                "model": p.model,
                "site": p.site,
                "allowed_sites": p.allowed,
                "score": p.score,
                "next_best": _alternative(found, p.next_best),
                "only": _obstacles(p.only),
                "others": [
                    {
                        "sites": list(o.sites),
                        "gain": o.gain,
                        "barred": _obstacles(o.barred),
                        "alternative": _alternative(found, o.alternative),
                    }
                    for o in p.others
                ],
                "settled": p.settled,
            }
            for p in found.parts
        ],
        "limits": [
            {
                "kind": limit.kind,
                "subject": limit.subject,
                "text": limit.text,
                "value": limit.value,
                "loosened": limit.loosened,
                "unit": limit.unit,
                "written_in": origin_record(limit.origin),
                "alternative": _alternative(found, limit.alternative),
            }
            for limit in found.limits
        ],
        "worthless": found.worthless,
        "unsettled": found.unsettled,
        "complete": found.complete,
        "warnings": all_warnings(study.warnings, found.warnings),
        "cautions": [*CAUTIONS],
    }


def _alternative(found: WhyReport, other: Alternative | None) -> Document | None:
    if other is None:
        return None
    return {
        "score": other.score,
        "metabolic_w": other.metabolic_w,
        "metabolic_pct": other.metabolic_pct,
        "swing_inertia_pct": other.swing_inertia_pct,
        "proven": other.proven,
        "differs": list(differences(found.best.layout, other.assessment.layout)),
        "sites": {p.unit: p.site for p in other.assessment.layout.placements},
    }


def _obstacles(obstacles: Sequence[Obstacle]) -> list[Document]:
    return [
        {
            "text": o.text,
            "kind": o.kind,
            "subject": o.subject,
            "value": o.value,
            "unit": o.unit,
            "written_in": origin_record(o.origin),
        }
        for o in obstacles
    ]
