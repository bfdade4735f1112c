"""Answers as JSON: SI with the unit in every key, full precision, the same bytes every time.

Documents
---------
Every document starts with "schema", its kind and version: "limbtrim.ranking/1" (`place`),
"limbtrim.infeasible/1" (`place` when nothing fits), "limbtrim.assessment/1" (`weigh`),
"limbtrim.study/1" (`check`), "limbtrim.models/1" (`models`), "limbtrim.written/1" (`new`;
`report`, `build` and `export` add "limits_broken" by "plan" and "prototype", and "warnings"),
"limbtrim.line/1" (`line`), "limbtrim.why/1" (`why`, see `optimizer.views.why_json`). A key may be
added within a version; one that goes or changes its meaning makes a new version. The JSON Schema
of the first three is `optimizer/data/schema_ranking.json`.

ranking
    "study": what was solved (name, wearer, task, energy models, weights, pose);
    "layouts": best first, see below; "asked_for": how many were wanted; "exhausted": whether no
    further layout exists (if false and there are fewer than asked for, the search was stopped);
    "swing_dynamics": of the best layout, null if not worked out, see below; "counterweight": null
    unless one was allowed, else "pays", "mass_kg", "score_with", "score_without" (null: nothing
    fits without), "proven"; "size": counts of the program; "warnings"; "cautions".
layout
    "rank"; "score"; "feasible"; "differs_from_best" in words;
    "proof": "status" (optimal, time_limit, interrupted, given), "bound" (proven lower bound on the
    score), "gap" (relative), "branch_nodes"; for "given" bound and gap are null;
    "penalty": "metabolic_w", "metabolic_pct" of "walking_w" (the wearer's own net walking power),
    "leg_w", "trunk_w", "assist_w" (mean positive assist power that would pay it back);
    "swing_inertia": "added_pct" (hip, both legs summed, of one bare leg) and "joints", one entry
    per side and joint; "mass": "worn_kg", "off_body_kg", "by_segment_kg", "holders_kg" by site;
    "discomfort"; "balance": where the load lies, forward, up, to the right ("trunk_*": of the
    trunk's load from the hips' middle, "shift_*": of the body's centre of mass), "belt_kg",
    "donning_steps"; "ballast" by site; "parts" vest first; "lines" with "route",
    site to site; "limits"; "warnings".
    "air" (null: no chamber is filled) is what walking takes in air, pump and battery; flows are
    ANR; "joint_crossings" counts lines across each joint; "line_notes" are sentences.
part
    "distance_m" is sagittal, from the hip's axis; "swing_inertia_kg_m2" is added about the hip.
line
    "length_m" is the cut length with joint slack and service slack, "margin_m" what is left to
    "max_length_m" (null: no limit); "physics" holds further figures, the unit in their names.
assessment
    "study", "layout" as above, "assumed": what the given layout left open, in words.
swing_dynamics
    "legs": per side the peaks of net moment and power and the positive work of each joint in one
    swing, bare and what the load adds; "clearance": gap under the foot in mid-swing with each part
    on shank or foot.
infeasible
    "unplaceable": parts that no allowed site takes; "obstacles": limits that clash, with what is in
    "unit" written ("value") and at least needed, all else as written ("needed_value", null: no
    amount is enough; "least_change" in words; "enough" false: other clashes remain); "parts" it is
    about; "smallest": no fewer limits clash; "whole" false: only limits any one of which is enough
    to change; "further" clashes; "complete" false: cut short by hand.
limit
    "soft": overstepping costs comfort points and breaks nothing. "value", "limit" and "slack"
    are in "unit", as the study's author reads them (g, mm, cm3); "slack" below 0 is a broken
    limit. "written_in" tells the file, row and column.

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
from optimizer.assess.dynamics import SwingReport
from optimizer.assess.result import Assessment, Infeasible, Proof, Ranking
from optimizer.study.model import Study
from optimizer.views.cautions import BASIS, CAUTIONS, all_warnings
from optimizer.views.json_records import (
    Document,
    layout_record,
    obstacle_record,
    origin_record,
    ranked_record,
    study_record,
)
from optimizer.views.wear import counterweight_document, swing_document

RANKING = "limbtrim.ranking/1"
INFEASIBLE = "limbtrim.infeasible/1"
ASSESSMENT = "limbtrim.assessment/1"
STUDY = "limbtrim.study/1"
MODELS = "limbtrim.models/1"
WRITTEN = "limbtrim.written/1"


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


def ranking_document(
    study: Study,
    ranking: Ranking,
    asked_for: int | None = None,
    swing: SwingReport | None = None,
) -> Document:
    """The answer of `place`; `asked_for` is how many layouts were wanted, `swing` the best's."""
    ballast = ranking.counterweight
    best = ranking.layouts[0] if ranking.layouts else None
    return {
        **head(RANKING),
        "study": study_record(study),
        "asked_for": len(ranking.layouts) if asked_for is None else asked_for,
        "exhausted": ranking.exhausted,
        "layouts": [ranked_record(ranked, best) for ranked in ranking.layouts],
        "swing_dynamics": None if swing is None else swing_document(swing),
        "counterweight": None if ballast is None else counterweight_document(ballast),
        "size": dict(ranking.size),
        "warnings": all_warnings(
            study.warnings,
            ranking.warnings,
            *(ranked.assessment.warnings for ranked in ranking.layouts),
        ),
        "cautions": [*CAUTIONS, *BASIS],
    }


def assessment_document(
    study: Study,
    assessment: Assessment,
    assumed: Sequence[str] = (),
    swing: SwingReport | None = None,
) -> Document:
    """The answer of `weigh`; `assumed` is what the given layout left open."""
    given = Proof("given", assessment.score, float("nan"), float("nan"), 0.0, 0)
    return {
        **head(ASSESSMENT),
        "study": study_record(study),
        "assumed": list(assumed),
        "layout": layout_record(assessment, given),
        "swing_dynamics": None if swing is None else swing_document(swing),
        "warnings": all_warnings(study.warnings, assessment.warnings),
        "cautions": [*CAUTIONS, *BASIS],
    }


def infeasible_document(study: Study, found: Infeasible) -> Document:
    """The answer of `place` when nothing fits."""
    return {
        **head(INFEASIBLE),
        "study": study_record(study),
        "unplaceable": list(found.unplaceable),
        "obstacles": [obstacle_record(o) for o in found.obstacles],
        "parts": list(found.parts),
        "smallest": found.smallest,
        "whole": found.whole,
        "further": [
            {
                "obstacles": [obstacle_record(o) for o in clash.obstacles],
                "parts": list(clash.parts),
                "smallest": clash.smallest,
                "whole": clash.whole,
            }
            for clash in found.further
        ],
        "complete": found.complete,
        "warnings": all_warnings(study.warnings, found.warnings),
        "cautions": [*CAUTIONS],
    }


def study_document(study: Study) -> Document:
    """The answer of `check` to a study that is in order."""
    return {
        **head(STUDY),
        "study": study_record(study),
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
            {"kind": m.kind, "subject": m.subject, "written_in": origin_record(m.origin)}
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
