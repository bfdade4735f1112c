"""What `why` and a clash look like, at the widths people have."""

from __future__ import annotations

import io
import json
from functools import cache

import pytest

from optimizer.assess.result import Infeasible
from optimizer.cli import main
from optimizer.commands.why import why as command
from optimizer.problem.limits import LIMITS, _elsewhere
from optimizer.setting import build_setting
from optimizer.solve.conflicts import Oracle
from optimizer.solve.gates import OPENED
from optimizer.solve.least_change import least_change
from optimizer.solve.place import place
from optimizer.solve.why import why
from optimizer.study.load import bundled, load_study
from optimizer.study.relax import SOFT, with_value
from optimizer.views.console import Consoles, make_console, show
from optimizer.views.json import encode, infeasible_document
from optimizer.views.page import infeasible_page
from optimizer.views.why import why_page
from optimizer.views.why_json import why_document
from tests.why.impossible import has_layout

pytestmark = pytest.mark.xdist_group("why views")

AIR = bundled("studies") / "air_ankle.toml"
#: Changes to the demo that leave it without any layout.
SPOILT = {
    "device_mass": {"limits.device_mass_g": "1500"},
    "line": {"lines.fill_tube.max_length_mm": "100"},
    "thickness": {"parts.power_pack.thickness_mm": "120"},
}


@cache
def study():
    return load_study(AIR)


@cache
def report(part):
    found = why(study(), part)
    assert found is not None and not isinstance(found, Infeasible)
    return found


@cache
def clash(name):
    found = place(load_study(AIR, SPOILT[name]), top=1)
    assert isinstance(found, Infeasible)
    return found


def shown(page, width):
    stream = io.StringIO()
    console = make_console(stream, width)
    show(console, page(console))
    return stream.getvalue()


@pytest.mark.parametrize("width", [80, 120])
@pytest.mark.parametrize("part", [None, "fill_valve_right"])
def test_why_fits_the_width_and_cuts_nothing(width, part):
    text = shown(lambda console: why_page(study(), report(part), console), width)
    assert max(map(len, text.splitlines())) <= width
    assert "\N{HORIZONTAL ELLIPSIS}" not in text
    assert "proven best" in text


@pytest.mark.parametrize("width", [80, 120])
@pytest.mark.parametrize("name", SPOILT)
def test_a_clash_fits_the_width_and_says_what_would_mend_it(width, name):
    text = shown(lambda console: infeasible_page(study(), clash(name)), width)
    assert max(map(len, text.splitlines())) <= width
    assert "meets every limit" in text
    assert "-> " in text and ("enough" in text or "settle" in text)


def test_why_tells_every_part_and_its_next_best_site():
    text = " ".join(shown(lambda console: why_page(study(), report(None), console), 200).split())
    for told in report(None).parts:
        assert all(unit in text for unit in told.units)
        if told.next_best is not None:
            assert f"{told.next_best.score:.4f}" in text
    for limit in report(None).limits:
        assert limit.text in text and limit.origin.file.rsplit("/", 1)[-1] in text
    assert f"{report(None).worthless} limits are worth nothing" in text


def test_why_as_a_document_holds_it_all_and_is_valid_json():
    document = json.loads(encode(why_document(study(), report(None))))
    assert document["schema"] == "limbtrim.why/1" and document["complete"]
    assert len(document["parts"]) == len(report(None).parts)
    for told, part in zip(document["parts"], report(None).parts, strict=True):
        assert told["site"] == part.site
        if part.next_best is not None:
            assert told["next_best"]["score"] == pytest.approx(part.next_best.score)
            assert told["next_best"]["proven"] and told["next_best"]["differs"]
    assert document["worthless"] == report(None).worthless


def test_a_clash_as_a_document_tells_the_least_change_in_the_designer_s_unit():
    document = json.loads(encode(infeasible_document(study(), clash("device_mass"))))
    (obstacle,) = document["obstacles"]
    assert (obstacle["value"], obstacle["unit"]) == (1500.0, "g")
    assert obstacle["needed_value"] > 1500.0 and obstacle["enough"]
    assert obstacle["written_in"]["file"] and document["smallest"]


def test_a_part_too_thick_for_every_site_is_told_in_one_line():
    found = clash("thickness")
    assert found.unplaceable == ("power_pack",) and found.parts == ("power_pack",)
    grouped = [o for o in found.obstacles if o.also]
    assert grouped and "thick" in grouped[0].text and "the roomiest" in grouped[0].text


def test_the_least_change_told_for_the_demo_is_enough_and_a_hundredth_less_is_not():
    (obstacle,) = clash("device_mass").obstacles
    for value, fits in ((obstacle.needed_value + 1, True), (obstacle.needed_value * 0.99, False)):
        changed = load_study(AIR, {"limits.device_mass_g": f"{value:.3f}"})
        assert has_layout(changed) is fits


@pytest.mark.parametrize(
    ("path", "value", "kind"),
    [
        ("lines.node_feed.max_drop_pct", "0.2", "voltage_drop"),
        ("lines.fill_tube.response_ms", "60", "fill_time"),
        ("lines.supply_tube.max_drop_kpa", "0.5", "pressure_drop"),
    ],
)
def test_a_budget_s_least_change_is_told_in_its_own_unit(path, value, kind):
    tight = load_study(AIR, {path: value})
    oracle = Oracle(build_setting(tight))
    assert not oracle.fits(oracle.all)
    (number,) = (
        m for m, limit in enumerate(oracle.limits)
        if (limit.kind, limit.subject) == (kind, path.split(".")[1])
    )  # fmt: skip
    change = least_change(oracle, number)
    assert change is not None and change.typed is not None and change.value is not None
    for amount, fits in ((change.typed, True), (change.value * 0.99, False)):
        changed = with_value(tight, oracle.limits[number], amount, change.options)
        assert has_layout(changed) is fits


def test_the_command_answers_with_exit_codes(tmp_path):
    with pytest.raises(SystemExit):
        main(["new", "mine", "--in", str(tmp_path)])
    mine = str(tmp_path / "mine.toml")
    streams = io.StringIO(), io.StringIO()
    consoles = Consoles(make_console(streams[0], 80), make_console(streams[1], 80))
    found = command(consoles, mine, "pump", quiet=True)
    assert found.code == 0 and found.document["asked_for"] == "pump"
    nothing = command(consoles, mine, settings=["parts.pump.mass_g=9000"], quiet=True)
    assert nothing.code == 3 and nothing.document["schema"] == "limbtrim.infeasible/1"
    stopped = command(consoles, mine, time_limit_s=0.0, quiet=True)
    assert stopped.code == 4


def test_every_kind_of_limit_is_a_row_or_a_gate_or_costs_comfort_only():
    # a new kind that rules choices out has to be told to `optimizer.solve.gates`
    without_rows = {kind for kind, maker in LIMITS.items() if maker is _elsewhere}
    assert without_rows <= OPENED | SOFT
