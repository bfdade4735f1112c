"""The pieces documents are made of, key by key; `optimizer.views.json` says what they mean."""

from __future__ import annotations

from pathlib import PurePath
from typing import Any

from optimizer.assess.result import (
    Assessment,
    LimitReport,
    LineReport,
    Obstacle,
    PartReport,
    Proof,
    RankedLayout,
)
from optimizer.errors import Origin
from optimizer.study.model import Study
from optimizer.views.differences import differences
from optimizer.views.line_physics import air_document
from optimizer.views.wear import balance_document

Document = dict[str, Any]


def origin_record(origin: Origin) -> Document:
    """Where a value was written."""
    # the name alone: where the files lie differs between machines, the answer must not
    return {"file": PurePath(origin.file).name, "row": origin.row, "column": origin.column}


def obstacle_record(obstacle: Obstacle) -> Document:
    """One limit of a clash, with the least change that would mend it."""
    return {
        "text": obstacle.text,
        "kind": obstacle.kind,
        "subject": obstacle.subject,
        "written_in": origin_record(obstacle.origin),
        "value": obstacle.value,
        "needed_value": obstacle.needed_value,
        "unit": obstacle.unit,
        "least_change": obstacle.least_change_text,
        "enough": obstacle.enough,
        "also_written_in": [origin_record(origin) for origin in obstacle.also],
    }


def study_record(study: Study) -> Document:
    """What was asked: wearer, task, models, weights."""
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


def ranked_record(ranked: RankedLayout, best: RankedLayout | None) -> Document:
    """A layout with its rank and how it differs from the best."""
    changes: list[str] = []
    if best is not None and best is not ranked:
        changes += differences(best.assessment.layout, ranked.assessment.layout)
    return {
        "rank": ranked.rank,
        "differs_from_best": changes,
        **layout_record(ranked.assessment, ranked.proof),
    }


def layout_record(found: Assessment, proof: Proof) -> Document:
    """Everything true of one layout."""
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
        "balance": None if found.balance is None else balance_document(found.balance),
        "ballast": [{"site": b.site, "mass_kg": b.mass_kg} for b in found.layout.ballast],
        "air": None if found.air is None else air_document(found.air),
        "joint_crossings": found.joint_crossings,
        "line_notes": list(found.line_notes),
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
        "soft": limit.soft,
        "written_in": origin_record(limit.origin),
    }
