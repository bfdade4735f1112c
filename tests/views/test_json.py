from __future__ import annotations

import json
from dataclasses import replace
from importlib import resources

import jsonschema
import numpy as np
import pytest
import view_samples as samples

from optimizer.assess.result import Proof
from optimizer.views.json import (
    assessment_document,
    encode,
    infeasible_document,
    ranking_document,
    study_document,
)

STUDY = samples.study()
SCHEMA = json.loads((resources.files("optimizer") / "data" / "schema_ranking.json").read_text())
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)
DOCUMENTS = {
    "limbtrim.ranking/1": ranking_document(STUDY, samples.ranking()),
    "limbtrim.assessment/1": assessment_document(STUDY, samples.assessment(), ("said",)),
    "limbtrim.infeasible/1": infeasible_document(STUDY, samples.infeasible()),
}


def test_the_schema_is_itself_valid():
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("name", DOCUMENTS)
def test_documents_name_their_schema_and_follow_it(name):
    document = json.loads(encode(DOCUMENTS[name]))
    assert next(iter(document)) == "schema" and document["schema"] == name
    VALIDATOR.validate(document)


@pytest.mark.parametrize(
    "spoil",
    [lambda d: d["layouts"][0].pop("proof"),
     lambda d: d["layouts"][0]["parts"][0].update(mass_kg="612 g"),
     lambda d: d["layouts"][0]["proof"].update(status="fine"),
     lambda d: d.pop("cautions"),
     lambda d: d.update(schema="limbtrim.ranking/2")],
)  # fmt: skip
def test_the_schema_refuses_what_is_not_as_documented(spoil):
    document = json.loads(encode(DOCUMENTS["limbtrim.ranking/1"]))
    spoil(document)
    assert not VALIDATOR.is_valid(document)


@pytest.mark.parametrize("name", DOCUMENTS)
def test_the_schema_knows_every_key(name):
    """A key the program writes and the schema does not describe is an oversight."""
    closed = json.loads(json.dumps(SCHEMA))
    for definition in _objects(closed["$defs"]):
        if "properties" in definition:
            definition["additionalProperties"] = False
    for key in ("layout", "ranked"):  # one is part of the other
        closed["$defs"][key].pop("additionalProperties", None)
    closed["$defs"]["ranked"]["allOf"][1].pop("additionalProperties", None)
    jsonschema.Draft202012Validator(closed).validate(json.loads(encode(DOCUMENTS[name])))


def _objects(node):
    if isinstance(node, dict):
        yield node
        for value in node.values():
            yield from _objects(value)
    elif isinstance(node, list):
        for value in node:
            yield from _objects(value)


def test_numbers_come_back_exactly():
    ranking = samples.ranking()
    read = json.loads(encode(ranking_document(STUDY, ranking)))
    for ranked, layout in zip(ranking.layouts, read["layouts"], strict=True):
        found = ranked.assessment
        assert layout["score"] == found.score
        assert layout["penalty"]["metabolic_w"] == found.metabolic_w
        assert layout["mass"]["by_segment_kg"] == dict(found.mass_kg)
        assert [p["swing_inertia_kg_m2"] for p in layout["parts"]] == [
            p.swing_inertia_kg_m2 for p in found.parts
        ]
        assert [n["length_m"] for n in layout["lines"]] == [n.length_m for n in found.lines]
        assert [m["slack"] for m in layout["limits"]] == [m.slack for m in found.limits]


def test_a_layout_holds_all_that_was_promised():
    layout = json.loads(encode(DOCUMENTS["limbtrim.ranking/1"]))["layouts"][1]
    assert {p["unit"]: (p["site"], p["model"]) for p in layout["parts"]}["vent_valve"] == (
        "shank_left_front",
        "vq110",
    )
    main = layout["lines"][0]
    assert main["route"][0] == "vest_back_high" and main["margin_m"] == pytest.approx(0.159)
    assert {(s["joint"], s["side"]) for s in layout["swing_inertia"]["joints"]} == {
        (joint, side) for joint in ("hip", "knee", "ankle") for side in ("left", "right")
    }
    assert layout["differs_from_best"] == ["vent_valve: shank_left_outer -> shank_left_front"]
    assert layout["proof"] == {
        "status": "optimal", "bound": layout["proof"]["bound"], "gap": 0.0, "branch_nodes": 41,
    }  # fmt: skip


def test_the_same_answer_gives_the_same_bytes_however_long_it_took():
    ranking = samples.ranking()
    slower = replace(
        ranking,
        seconds=99.0,
        layouts=tuple(replace(r, proof=replace(r.proof, seconds=7.0)) for r in ranking.layouts),
    )
    once = encode(ranking_document(STUDY, ranking))
    assert once == encode(ranking_document(STUDY, slower))
    assert once.endswith("}\n") and "99.0" not in once


def test_what_is_not_a_number_becomes_null_and_zero_has_no_sign():
    ranked = samples.ranking().layouts[0]
    unknown = replace(
        ranked,
        proof=Proof("time_limit", 1.0, float("-inf"), float("inf"), 1.0, 0),
        assessment=replace(ranked.assessment, leg_w=-0.0, discomfort=float("nan")),
    )
    text = encode(ranking_document(STUDY, replace(samples.ranking(), layouts=(unknown,))))
    layout = json.loads(text)["layouts"][0]
    assert layout["proof"]["bound"] is None and layout["proof"]["gap"] is None
    assert layout["discomfort"] is None and "-0.0" not in text
    assert "NaN" not in text and "Infinity" not in text


def test_numbers_of_numpy_are_numbers_and_anything_else_is_refused():
    assert json.loads(encode({"a": np.float64(0.1), "b": np.int64(3), "c": np.bool_(True)})) == {
        "a": 0.1,
        "b": 3,
        "c": True,
    }
    with pytest.raises(TypeError, match="no place"):
        encode({"a": object()})


def test_names_of_any_script_survive():
    ranking = samples.renamed(samples.ranking(), {"battery": "Akku_größe_袋"})
    text = encode(ranking_document(STUDY, ranking))
    assert "Akku_größe_袋" in text
    text.encode("utf-8")
    assert json.loads(encode({"file": "bad\udce9name"}))["file"] == "bad\udce9name"
    encode({"file": "bad\udce9name"}).encode("utf-8")


def test_a_checked_study_is_told_with_its_names():
    document = json.loads(encode(study_document(STUDY)))
    assert document["schema"] == "limbtrim.study/1"
    assert {"part": "imu_thigh", "count": 2, "models": ["imu_thigh"]} in document["parts"]
    assert document["study"]["task"] == {
        "speed_m_s": 1.25, "grade_pct": 0.0, "terrain": "treadmill",
    }  # fmt: skip
