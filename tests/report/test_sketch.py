"""The body in characters and the bars beside the numbers, at any width, without colour."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
from rich.cells import cell_len

from optimizer.body.wearer import build_wearer
from optimizer.report.outline import height_range
from optimizer.report.places import loads
from optimizer.views.bars import segment_bars
from optimizer.views.console import make_console, show
from optimizer.views.sketch import LEAST_WIDTH, ROWS, letter, panel, sketch_view


def shown(results, width: int, plan=None) -> str:
    console = make_console(io.StringIO(), width, {})
    view = sketch_view(results.setting, plan or results.plan, console)
    if view is None:
        return ""
    show(console, view)
    return console.file.getvalue()


@pytest.mark.parametrize("width", [LEAST_WIDTH, 80, 100, 160])
def test_the_sketch_fits_and_names_every_place_in_use_and_part(results, width):
    text = shown(results, width)
    assert max(cell_len(line) for line in text.splitlines()) <= width
    for part in results.plan.parts:
        assert part.unit in text and part.site in text
    assert "\x1b" not in text


def test_too_narrow_a_terminal_gets_none(results):
    assert shown(results, LEAST_WIDTH - 1) == ""


@pytest.mark.parametrize("view", ["front", "right"])
def test_letters_stand_at_the_height_of_their_places(results, view):
    held = loads(results.setting, results.plan)
    made = panel(results.setting, held, view)
    low, high = height_range(results.setting.wearer)
    assert len(made.lines) == ROWS and len({len(line) for line in made.lines}) == 1
    assert [m[0] for m in made.marks] == [letter(load) for load in held]
    for load, (mark, row, column) in zip(held, made.marks, strict=True):
        height = high - (row + 0.5) * (high - low) / ROWS
        assert abs(height - load.position[1]) <= 0.5 * (high - low) / ROWS + 1e-9
        assert made.lines[row][column] == mark


def test_from_the_front_right_is_on_the_left(results):
    held = loads(results.setting, results.plan)
    made = panel(results.setting, held, "front")
    at = {load.site.name: m[2] for load, m in zip(held, made.marks, strict=True)}
    assert at["shank_right_ankle"] < at["vest_back"]


def test_an_empty_body_is_its_own_mirror_image(results):
    made = panel(results.setting, (), "front")
    swap = str.maketrans("/\\", "\\/")
    columns = max(len(line.rstrip()) for line in made.lines)
    left = min(len(line) - len(line.lstrip()) for line in made.lines if line.strip())
    for line in made.lines:
        body = line[left:columns]
        assert body == body[::-1].translate(swap)


def test_places_on_one_spot_get_letters_beside_each_other(results):
    held = loads(results.setting, results.plan)
    twin = tuple(replace(load, position=held[0].position, number=i)
                 for i, load in enumerate((held[0],) * 5, start=1))  # fmt: skip
    made = panel(results.setting, twin, "front")
    assert len({(row, column) for _, row, column in made.marks}) == 5


@pytest.mark.parametrize(
    ("sex", "stature_m", "mass_kg"), [("female", 1.2, 25.0), ("male", 2.1, 160.0)]
)
def test_any_wearer_can_be_drawn(results, sex, stature_m, mass_kg):
    spec = replace(results.setting.wearer.spec, sex=sex, stature_m=stature_m, mass_kg=mass_kg)
    other = replace(results.setting, wearer=build_wearer(spec))
    for view in ("front", "right", "left"):
        made = panel(other, (), view)
        assert sum(line.count("|") for line in made.lines) > 20


def test_bars_go_with_the_numbers_and_ascii_terminals_get_signs(results):
    console = make_console(io.StringIO(), 80, {})
    show(console, segment_bars(results.plan))
    text = console.file.getvalue()
    assert max(map(cell_len, text.splitlines())) <= 80
    trunk = next(line for line in text.splitlines() if line.startswith("vest"))
    foot = next(line for line in text.splitlines() if line.startswith("right foot"))
    assert trunk.count("█") > foot.count("█")
    masses = [f"{v * 1e3:.0f}" for v in results.plan.mass_kg.values() if v]
    assert all(m in text for m in masses)


def test_place_shows_sketch_and_bars_at_80_columns(run, solved):
    code, out, _ = run("place", str(solved.path), "--top", "1", "-q")
    assert code == 0 and "Where it sits" in out and "What each segment carries" in out
    assert max(map(cell_len, out.splitlines())) <= 80
