from __future__ import annotations

import io
import json

import pytest
from rich.cells import cell_len

from optimizer.commands.models import models
from optimizer.energy import catalogue
from optimizer.views.console import make_console, show
from optimizer.views.json import encode


@pytest.fixture(scope="module")
def answer():
    return models()


def shown(answer, width: int) -> str:
    console = make_console(io.StringIO(), width, {})
    show(console, answer.view())
    return console.file.getvalue()


@pytest.mark.parametrize("width", [80, 120])
def test_every_model_is_told_with_equation_range_spread_and_source(answer, width):
    text = shown(answer, width)
    assert max(map(cell_len, text.splitlines())) <= width
    words = " ".join(text.split())
    for card in catalogue():
        assert f"{card.name}{' (default)' if card.default else ''}: {card.title}" in words
        for told in (card.equation, str(card.validity), card.spread.text):
            assert " ".join(told.split()) in words
        for citation in card.source.split("; ["):
            assert " ".join(citation.split("] ")[-1].split()) in words


def test_every_family_has_exactly_one_default(answer):
    document = json.loads(encode(answer.document))
    for family in ("leg", "trunk", "walking"):
        assert sum(e["default"] for e in document["energy"] if e["family"] == family) == 1
    assert all(sum(t["default"] for t in tables) == 1 for tables in document["body"].values())


def test_each_reference_is_printed_once_and_every_mark_leads_to_one(answer):
    text = shown(answer, 120)
    sources = text[text.index("\nSources\n") :]
    marks = {e["sources"][i].split()[0] for e in answer.document["energy"]
             for i in range(len(e["sources"]))}  # fmt: skip
    assert all(sources.count(f"\n{mark} ") == 1 for mark in marks)


def test_unlimited_ranges_are_null_not_infinite(answer):
    text = encode(answer.document)
    assert "Infinity" not in text
    acsm = next(e for e in json.loads(text)["energy"] if e["name"] == "acsm")
    assert acsm["validity"]["grade_pct"] == [0.0, None]
    assert acsm["validity"]["trunk_kg"] is None


def test_body_tables_and_terrains_are_listed(answer):
    text = shown(answer, 80)
    for name in ("deleva1996 (default)", "winter_dempster", "drillis_contini1966", "loose_sand"):
        assert name in text
