"""The bundled studies and catalogs: sound, marked invented, and hard enough to be worth solving."""

from __future__ import annotations

import csv
from functools import cache
from math import inf, pi
from pathlib import Path

import pytest

from optimizer.setting import Setting, build_setting
from optimizer.study.load import bundled, demo_path, load_study
from optimizer.study.model import Study

NAMES = ("air_ankle", "air_ankle_bench", "cable_hip_ankle", "knee_motor")
CATALOGS = sorted(Path(bundled("catalogs")).glob("*.csv"))


@cache
def _study(name: str) -> Study:
    return load_study(Path(bundled("studies")) / f"{name}.toml")


@cache
def _setting(name: str) -> Setting:
    return build_setting(_study(name))


@cache
def _rows(path: Path) -> tuple[dict[str, str], ...]:
    lines = [x for x in path.read_text(encoding="utf-8").splitlines() if not x.startswith("#")]
    return tuple(csv.DictReader(lines))


def _line_rows() -> list[dict[str, str]]:
    return [row for path in CATALOGS if path.stem.endswith("_lines") for row in _rows(path)]


@cache
def _published(quantity: str) -> dict[str, float]:
    path = Path(__file__).parent / "data" / "check_catalog_lines.csv"
    with path.open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    return {r["item"]: float(r["value"]) for r in rows if r["quantity"] == quantity}


def test_every_study_file_is_covered_here() -> None:
    found = {path.stem for path in Path(bundled("studies")).glob("*.toml")}
    assert found == set(NAMES)


def test_the_demo_is_the_air_ankle() -> None:
    assert Path(demo_path()).stem == "air_ankle"


@pytest.mark.parametrize("name", NAMES)
def test_study_loads_without_warning_and_says_it_is_invented(name: str) -> None:
    study = _study(name)
    assert study.warnings == ()
    assert study.invented


@pytest.mark.parametrize("path", CATALOGS, ids=lambda p: p.stem)
def test_table_says_it_is_invented_in_its_first_row(path: Path) -> None:
    assert path.read_text(encoding="utf-8").startswith("# invented")


def test_every_table_serves_a_study() -> None:
    used = {Path(file).name for name in NAMES for file in _study(name).files.values()}
    assert {path.name for path in CATALOGS} <= used


@pytest.mark.parametrize("name", NAMES)
def test_device_has_the_size_of_a_real_one(name: str) -> None:
    study = _study(name)
    assert 12 <= sum(part.count for part in study.parts) <= 26
    assert 12 <= len(study.lines) <= 26
    assert 26 <= len(study.sites) <= 40


def test_there_is_one_device_for_each_way_of_driving_a_joint() -> None:
    kinds = {name: {line.kind for line in _study(name).lines} for name in NAMES}
    assert "air_tube" in kinds["air_ankle"] and "air_tube" in kinds["air_ankle_bench"]
    assert "pull_cable" in kinds["cable_hip_ankle"]
    assert kinds["knee_motor"] == {"wire"}


@pytest.mark.parametrize("name", NAMES)
def test_every_part_is_reached_from_every_other_along_lines(name: str) -> None:
    study = _study(name)
    names = [part.name for part in study.parts]
    seen = {names[0]}
    for _ in names:
        for line in study.lines:
            ends = {line.part_a, line.part_b}
            if ends & seen:
                seen |= ends
    assert seen == set(names)


def test_two_garments_and_both_legs_are_there() -> None:
    garments = {name: Path(_study(name).files["sites"]).name for name in NAMES}
    assert garments["air_ankle"] == garments["cable_hip_ankle"] != garments["knee_motor"]
    for name in ("cable_hip_ankle", "knee_motor"):
        parts = {part.name for part in _study(name).parts}
        left = {p for p in parts if p.endswith("_left")}
        assert left and {p.replace("_left", "_right") for p in left} <= parts


@pytest.mark.parametrize("name", NAMES)
def test_no_site_lies_inside_the_thigh_or_behind_the_knee(name: str) -> None:
    for site in _study(name).sites:
        if site.segment in ("thigh", "shank", "foot"):
            assert site.outside_m >= 0.0, site.name
        behind = site.front_m < -0.02
        assert not (behind and site.segment == "thigh"), site.name
        assert not (behind and site.segment == "shank" and site.along < 0.25), site.name


@pytest.mark.parametrize("name", NAMES)
def test_left_and_right_sites_mirror_each_other(name: str) -> None:
    sites = {site.name: site for site in _study(name).sites}
    for site in sites.values():
        if site.side == "left":
            twin = sites[site.name.replace("left", "right")]
            assert (twin.along, twin.front_m, twin.outside_m) == (
                site.along,
                site.front_m,
                site.outside_m,
            )
            assert (twin.volume_m3, twin.max_mass_kg, twin.offers) == (
                site.volume_m3,
                site.max_mass_kg,
                site.offers,
            )


@pytest.mark.parametrize("name", ["air_ankle", "cable_hip_ankle", "knee_motor"])
def test_no_single_pocket_holds_what_may_go_on_the_trunk(name: str) -> None:
    study = _study(name)
    trunk = {site.name for site in study.sites if site.segment == "trunk"}
    volume = sum(
        min(model.volume_m3 for model in part.models) * part.count
        for part in study.parts
        if all(trunk & set(model.sites) for model in part.models)
    )
    assert volume > max(site.volume_m3 for site in study.sites if site.name in trunk)


def _segments_in_reach(line_name: str, model: int, option: int | None = None) -> set[str]:
    """Segments where a valve model of the air ankle's may sit, so far as its tube goes."""
    study, setting = _study("air_ankle"), _setting("air_ankle")
    index = {site.name: i for i, site in enumerate(study.sites)}
    shortest = setting.graph.shortest_lengths()[:, index["shank_right_ankle"]]
    line = next(line for line in study.lines if line.name == line_name)
    reach = max(
        limit.max_length_m
        for limit in setting.line_limits[line_name]
        if model in (limit.model_a, limit.model_b) and option in (None, limit.option)
    )
    valve = line.part_a if line_name == "fill_tube" else line.part_b
    part = next(part for part in study.parts if part.name == valve)
    return {
        study.sites[index[site]].segment
        for site in part.models[model].sites
        if shortest[index[site]] + line.slack_m <= reach
    }


def test_which_valve_may_sit_where_is_a_matter_of_its_tube_and_its_flow() -> None:
    light, strong, narrow = 0, 1, 0
    for line_name in ("fill_tube", "vent_tube"):
        assert "trunk" not in _segments_in_reach(line_name, light)
        assert "trunk" in _segments_in_reach(line_name, strong)
    assert _segments_in_reach("fill_tube", light) == {"shank"}, "beside the cylinder"
    assert "shank" in _segments_in_reach("vent_tube", light)
    assert "trunk" not in _segments_in_reach("fill_tube", strong, narrow)


def test_tubes_weigh_what_their_size_says() -> None:
    published = _published("mass_per_metre")
    rows = [row for row in _line_rows() if row["kind"] == "air_tube"]
    assert rows
    for row in rows:
        assert float(row["mass_g_per_m"]) == pytest.approx(
            published[f"tube {row['size']}"], rel=0.01
        )
        outer, bore = (float(x) for x in row["size"].split("x"))
        assert float(row["bore_mm"]) == bore
        assert float(row["mass_g_per_m"]) == pytest.approx(
            1.20 * pi / 4 * (outer**2 - bore**2), rel=0.01
        )


def test_wires_weigh_more_than_their_copper_but_not_four_times_as_much() -> None:
    copper = _published("conductor_mass")
    rows = [row for row in _line_rows() if row["kind"] == "wire"]
    assert rows
    for row in rows:
        cores = int(row["option"].split()[0])
        bare = cores * copper[row["size"]]
        assert bare < float(row["mass_g_per_m"]) < 4 * bare, row["name"]


@pytest.mark.parametrize("name", NAMES)
def test_longest_wires_lose_just_the_voltage_allowed_by_published_resistances(name: str) -> None:
    ohm_per_km = _published("resistance")
    limits = _setting(name).line_limits
    checked = 0
    for line in _study(name).lines:
        for limit in limits[line.name]:
            option = line.options[limit.option]
            p = option.physics
            if line.kind != "wire" or p.max_drop_share is None:
                continue
            assert p.peak_current_a is not None and p.voltage_v is not None
            warm = 1.0786 * ohm_per_km[option.size]  # 40 degC: 1 + 0.00393 x 20
            drop_v = p.peak_current_a * 2 * limit.max_length_m * warm / 1000
            allowed_v = p.max_drop_share * p.voltage_v
            typed = option.max_length_m < inf
            assert drop_v <= allowed_v * 1.0001 if typed else drop_v == pytest.approx(allowed_v)
            checked += 1
    assert checked > 5


@pytest.mark.parametrize("name", NAMES)
def test_some_lines_have_typed_limits_and_some_have_none(name: str) -> None:
    lengths = [option.max_length_m for line in _study(name).lines for option in line.options]
    assert any(length < inf for length in lengths)
    assert any(length == inf for length in lengths)


def test_the_umbilical_carries_no_weight_on_the_wearer() -> None:
    study, graph = _study("air_ankle_bench"), _setting("air_ankle_bench").graph
    bench = graph.nodes.index("bench")
    waist = graph.nodes.index("waist_back")
    arcs = [
        i
        for i, ends in enumerate(zip(graph.tail, graph.head, strict=True))
        if set(ends) == {bench, waist}
    ]
    assert len(arcs) == 1
    assert {key[0] for key in graph.half_keys[arcs[0]]} == {"off_body"}
    assert any(site.segment == "off_body" for site in study.sites)


@pytest.mark.parametrize("name", NAMES)
def test_best_layout_is_proven_and_meets_every_limit(name: str) -> None:
    from optimizer.assess.result import Ranking
    from optimizer.solve.place import place

    answer = place(_setting(name), top=1)
    assert isinstance(answer, Ranking)
    best = answer.layouts[0]
    assert best.proof.status == "optimal"
    assert best.assessment.feasible
    if name == "air_ankle":
        # common practice, no source: a worn foot unit about 0.6 kg, a vest pack about 1.9 kg
        mass = best.assessment.mass_kg
        assert mass["shank.right"] + mass["foot.right"] == pytest.approx(0.6, abs=0.15)
        assert mass["trunk"] == pytest.approx(1.9, abs=0.3)
