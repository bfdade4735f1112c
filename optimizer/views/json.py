"""Answers as JSON: SI with the unit in every key, full precision, the same bytes every time.

Documents
---------
Every document starts with "schema", its kind and version: "limbtrim.ranking/1" (`place`),
"limbtrim.infeasible/1" (`place` when nothing fits), "limbtrim.assessment/1" (`weigh`),
"limbtrim.study/1" (`check`), "limbtrim.models/1" (`models`), "limbtrim.written/1" (`new`). A key
may be added within a version; one that goes or changes its meaning makes a new version. The JSON
Schema of the first three is `optimizer/data/schema_ranking.json`.

ranking
    "study": what was solved (name, wearer, task, energy models, weights, pose);
    "layouts": best first, see below; "asked_for": how many were wanted; "exhausted": whether no
    further layout exists (if false and there are fewer than asked for, the search was stopped);
    "size": counts of the program; "warnings"; "cautions".
layout
    "rank"; "score"; "feasible"; "differs_from_best" in words;
    "proof": "status" (optimal, time_limit, interrupted, given), "bound" (proven lower bound on the
    score), "gap" (relative), "branch_nodes"; for "given" bound and gap are null;
    "penalty": "metabolic_w", "metabolic_pct" of "walking_w" (the wearer's own net walking power),
    "leg_w", "trunk_w", "assist_w" (mean positive assist power that would pay it back);
    "swing_inertia": "added_pct" (hip, both legs summed, of one bare leg) and "joints", one entry
    per side and joint; "mass": "worn_kg", "off_body_kg", "by_segment_kg", "holders_kg" by site;
    "discomfort"; "parts" vest first; "lines" with "route", site to site; "limits"; "warnings".
part
    "distance_m" is sagittal, from the hip's axis; "swing_inertia_kg_m2" is added about the hip.
line
    "length_m" is the cut length with joint slack and service slack, "margin_m" what is left to
    "max_length_m" (null: no limit); "physics" holds further figures, the unit in their names.
assessment
    "study", "layout" as above, "assumed": what the given layout left open, in words.
limit
    "value", "limit" and "slack" are in "unit", as the study's author reads them (g, mm, cm3);
    "slack" below 0 is a broken limit. "written_in" tells the file, row and column.

No time of day and no run time appears, so the same input, seed and version give the same bytes
(a search cut short by a time limit or by hand may of course stop elsewhere). Numbers that do not
exist are null. The layouts of a ranking or an assessment can be read back by `limbtrim weigh`.
"""

from __future__ import annotations

import json
import numbers
from collections.abc import Mapping, Sequence
from math import isfinite
from typing import Any

import numpy as np

from optimizer._version import __version__
from optimizer.assess.result import (
    Assessment,
    Infeasible,
    LimitReport,
    LineReport,
    PartReport,
    Proof,
    RankedLayout,
    Ranking,
)
from optimizer.errors import Origin
from optimizer.study.model import Study
from optimizer.views.cautions import BASIS, CAUTIONS
from optimizer.views.differences import differences

RANKING = "limbtrim.ranking/1"
INFEASIBLE = "limbtrim.infeasible/1"
ASSESSMENT = "limbtrim.assessment/1"
STUDY = "limbtrim.study/1"
MODELS = "limbtrim.models/1"
WRITTEN = "limbtrim.written/1"

Document = dict[str, Any]


def encode(document: Mapping[str, Any]) -> str:
    """The document as text, keys in the order given, ending in a newline."""
    text = json.dumps(_plain(document), indent=2, ensure_ascii=False, allow_nan=False) + "\n"
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:  # a file name that is no text: only escapes can hold it
        text = json.dumps(_plain(document), indent=2, allow_nan=False) + "\n"
    return text


def _plain(value: Any) -> Any:
    """Plain JSON values: floats as they are, nothing that is not finite, no negative zero."""
    if value is None or isinstance(value, bool | str):
        return value
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if isinstance(value, np.bool_):
        return bool(value)
    if isinstance(value, numbers.Integral):
        return int(value)
    if isinstance(value, numbers.Real):
        number = float(value)
        return number + 0.0 if isfinite(number) else None
    raise TypeError(f"{type(value).__name__} has no place in a document")


def ranking_document(study: Study, ranking: Ranking, asked_for: int | None = None) -> Document:
    """The answer of `place`; `asked_for` is how many layouts were wanted."""
    best = ranking.layouts[0] if ranking.layouts else None
    return {
        **head(RANKING),
        "study": _study(study),
        "asked_for": len(ranking.layouts) if asked_for is None else asked_for,
        "exhausted": ranking.exhausted,
        "layouts": [_ranked(ranked, best) for ranked in ranking.layouts],
        "size": dict(ranking.size),
        "warnings": list(dict.fromkeys((*study.warnings, *ranking.warnings))),
        "cautions": [*CAUTIONS, *BASIS],
    }


def assessment_document(
    study: Study, assessment: Assessment, assumed: Sequence[str] = ()
) -> Document:
    """The answer of `weigh`; `assumed` is what the given layout left open."""
    given = Proof("given", assessment.score, float("nan"), float("nan"), 0.0, 0)
    return {
        **head(ASSESSMENT),
        "study": _study(study),
        "assumed": list(assumed),
        "layout": _layout(assessment, given),
        "warnings": list(study.warnings),
        "cautions": [*CAUTIONS, *BASIS],
    }


def infeasible_document(study: Study, found: Infeasible) -> Document:
    """The answer of `place` when nothing fits."""
    return {
        **head(INFEASIBLE),
        "study": _study(study),
        "unplaceable": list(found.unplaceable),
        "obstacles": [
            {
                "text": o.text,
                "kind": o.kind,
                "subject": o.subject,
                "written_in": _origin(o.origin),
            }
            for o in found.obstacles
        ],
        "warnings": list(dict.fromkeys((*study.warnings, *found.warnings))),
        "cautions": [*CAUTIONS],
    }


def study_document(study: Study) -> Document:
    """The answer of `check` to a study that is in order."""
    return {
        **head(STUDY),
        "study": _study(study),
        "parts": [
            {"part": p.name, "count": p.count, "models": [m.name for m in p.models]}
            for p in study.parts
        ],
        "sites": [{"site": s.name, "segment": s.segment, "side": s.side} for s in study.sites],
        "lines": [
            {
                "line": n.name,
                "kind": n.kind,
                "part_a": n.part_a,
                "part_b": n.part_b,
                "options": [o.name for o in n.options],
            }
            for n in study.lines
        ],
        "limits": [
            {"kind": m.kind, "subject": m.subject, "written_in": _origin(m.origin)}
            for m in study.limits
        ],
        "files": dict(study.files),
        "warnings": list(study.warnings),
    }


def written_document(files: Sequence[str]) -> Document:
    """The answer of `new`: the files written, the study first."""
    return {**head(WRITTEN), "files": list(files)}


def head(schema: str) -> Document:
    """What every document starts with."""
    return {"schema": schema, "generator": {"name": "limbtrim", "version": __version__}}


def _origin(origin: Origin) -> Document:
    return {"file": origin.file, "row": origin.row, "column": origin.column}


def _study(study: Study) -> Document:
    wearer, task, weights = study.wearer, study.task, study.weights
    return {
        "name": study.name,
        "title": study.title,
        "invented": study.invented,
        "wearer": {
            "sex": wearer.sex,
            "stature_m": wearer.stature_m,
            "mass_kg": wearer.mass_kg,
            "affected_side": wearer.affected_side,
            "inertia_table": wearer.inertia_table,
            "length_table": wearer.length_table,
            "measured_si": dict(sorted(wearer.measured.items())),
        },
        "task": {
            "speed_m_s": task.speed_m_s,
            "grade_pct": task.grade_percent,
            "terrain": task.terrain,
        },
        "energy": {
            "leg": study.energy.leg,
            "trunk": study.energy.trunk,
            "walking": study.energy.walking,
        },
        "weights": {
            "metabolic": weights.metabolic,
            "swing_inertia": weights.swing_inertia,
            "comfort": weights.comfort,
        },
        "inertia_pose": study.inertia_pose,
    }


def _ranked(ranked: RankedLayout, best: RankedLayout | None) -> Document:
    changes: list[str] = []
    if best is not None and best is not ranked:
        changes += differences(best.assessment.layout, ranked.assessment.layout)
    return {
        "rank": ranked.rank,
        "differs_from_best": changes,
        **_layout(ranked.assessment, ranked.proof),
    }


def _layout(found: Assessment, proof: Proof) -> Document:
    measured_mass = {p.unit: p.measured_mass_kg for p in found.layout.placements}
    measured_length = {r.line: r.measured_length_m for r in found.layout.routings}
    return {
        "score": found.score,
        "feasible": found.feasible,
        "proof": {
            "status": proof.status,
            "bound": proof.bound,
            "gap": proof.gap,
            "branch_nodes": proof.branch_nodes,
        },
        "penalty": {
            "metabolic_w": found.metabolic_w,
            "metabolic_pct": found.metabolic_pct,
            "leg_w": found.leg_w,
            "trunk_w": found.trunk_w,
            "walking_w": found.walking_w,
            "assist_w": found.assist_w,
        },
        "swing_inertia": {
            "added_pct": found.swing_inertia_pct,
            "joints": [
                {
                    "joint": s.joint,
                    "side": s.side,
                    "bare_kg_m2": s.bare_kg_m2,
                    "added_kg_m2": s.added_kg_m2,
                    "added_pct": s.added_pct,
                }
                for s in found.swing_inertia
            ],
        },
        "mass": {
            "worn_kg": found.total_mass_kg,
            "off_body_kg": found.off_body_mass_kg,
            "by_segment_kg": dict(found.mass_kg),
            "holders_kg": dict(found.holder_mass_kg),
        },
        "discomfort": found.discomfort,
        "parts": [_part(p, measured_mass.get(p.unit)) for p in found.parts],
        "lines": [_line(n, measured_length.get(n.line)) for n in found.lines],
        "limits": [_limit(m) for m in found.limits],
        "warnings": list(found.warnings),
    }


def _part(part: PartReport, measured_kg: float | None) -> Document:
    return {
        "unit": part.unit,
        "part": part.part,
        "model": part.model,
        "site": part.site,
        "segment": part.segment,
        "side": part.side,
        "mass_kg": part.mass_kg,
        "measured_mass_kg": measured_kg,
        "distance_m": part.distance_m,
        "metabolic_w": part.metabolic_w,
        "metabolic_pct": part.metabolic_pct,
        "swing_inertia_kg_m2": part.swing_inertia_kg_m2,
        "score": part.score,
    }


def _line(line: LineReport, measured_m: float | None) -> Document:
    longest = line.max_length_m
    return {
        "line": line.line,
        "kind": line.kind,
        "option": line.option,
        "size": line.size,
        "unit_a": line.unit_a,
        "unit_b": line.unit_b,
        "site_a": line.site_a,
        "site_b": line.site_b,
        "route": list(line.nodes),
        "length_m": line.length_m,
        "measured_length_m": measured_m,
        "slack_m": line.slack_m,
        "max_length_m": longest,
        "margin_m": None if longest is None else longest - line.length_m,
        "bend_rad": line.bend_rad,
        "joints": list(line.joints),
        "mass_kg": line.mass_kg,
        "metabolic_w": line.metabolic_w,
        "swing_inertia_kg_m2": line.swing_inertia_kg_m2,
        "physics": dict(line.physics),
        "cautions": list(line.cautions),
    }


def _limit(limit: LimitReport) -> Document:
    return {
        "kind": limit.kind,
        "subject": limit.subject,
        "label": limit.label,
        "value": limit.value,
        "limit": limit.limit,
        "slack": limit.slack,
        "unit": limit.unit,
        "binding": limit.binding,
        "written_in": _origin(limit.origin),
    }
