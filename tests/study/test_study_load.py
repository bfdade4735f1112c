"""Sound studies: what a designer wrote arrives in SI, with names resolved."""

from __future__ import annotations

import subprocess
import sys
from math import inf, radians
from pathlib import Path

import pytest
from study_files import StudyFiles

from optimizer.errors import InputError, Origin
from optimizer.study.load import bundled, demo_path, load_study
from optimizer.study.model import LimitSpec


def test_parts_arrive_in_si(files: StudyFiles) -> None:
    pump = files.load().parts[0]
    (model,) = pump.models
    assert (pump.name, pump.count, model.name) == ("pump", 1, "standard")
    assert (model.mass_kg, model.volume_m3, model.size_m) == (0.45, 0.00024, (0.11, 0.06, 0.045))
    assert (model.needs, model.power_w, model.price) == (frozenset({"cool"}), 20.0, None)
    assert model.origin == Origin(str(files.folder / "parts.csv"), 2, None)
    assert model.extra == {"notes": "loud"}


def test_rows_of_one_name_are_models(files: StudyFiles) -> None:
    controller = files.load().parts[1]
    assert [m.name for m in controller.models] == ["slow", "fast"]
    assert [m.price for m in controller.models] == [40.0, 80.5]
    assert controller.models[0].sites == ("vest_back", "vest_low")
    assert controller.models[1].sites == ("vest_back", "vest_chest", "vest_low")


def test_site_lists_names_patterns_tags_and_exclusions(files: StudyFiles) -> None:
    def sites(cell: str) -> tuple[str, ...]:
        files.cell("parts.csv", 6, "sites", cell)
        return files.load().parts[3].models[0].sites

    everywhere = ("vest_back", "vest_chest", "vest_low", "shank_right", "foot_left")
    assert sites("*") == everywhere
    assert sites("#vest") == everywhere[:3]
    assert sites("#vest !vest_chest") == ("vest_back", "vest_low")
    assert sites("!#vest") == ("shank_right", "foot_left")
    assert sites("!vest_* *") == ("shank_right", "foot_left")
    assert sites("foot_left vest_back") == ("vest_back", "foot_left")
    assert sites("*_right #sho?") == ("shank_right", "foot_left")


def test_fixed_site_is_the_only_one(files: StudyFiles) -> None:
    assert files.load().parts[2].models[0].sites == ("shank_right",)


def test_sites_arrive_in_si(files: StudyFiles) -> None:
    site = files.load().sites[0]
    assert (site.along, site.front_m, site.outside_m) == (0.45, -0.14, 0.0)
    assert (site.volume_m3, site.max_mass_kg, site.max_thickness_m) == (0.0006, 1.2, 0.06)
    assert (site.holder_mass_kg, site.contact_m2, site.comfort) == (0.05, 0.022, 8.0)
    assert (site.offers, site.tags) == (frozenset({"dry", "cool"}), frozenset({"vest"}))
    assert site.anchor is None


def test_empty_cells_of_a_site_mean_no_limit(files: StudyFiles) -> None:
    site = files.load().sites[2]
    assert (site.volume_m3, site.max_mass_kg, site.max_thickness_m) == (inf, inf, inf)
    assert (site.holder_mass_kg, site.contact_m2, site.comfort) == (0.0, None, None)
    assert site.side == "centre"


def test_lines_arrive_in_si_with_their_options(files: StudyFiles) -> None:
    supply, signal = files.load().lines
    assert (supply.kind, supply.part_a, supply.part_b) == ("air_tube", "pump", "valve")
    assert supply.slack_m == 0.05
    thin, wide = supply.options
    assert (thin.name, thin.size, thin.bore_m) == ("thin", "4x2.5", 0.0025)
    assert (thin.mass_kg_per_m, thin.end_mass_kg, thin.max_length_m) == (0.0092, 0.004, 0.9)
    assert wide.max_length_m == inf
    assert signal.options[0].name == "AWG 28"  # named after its size
    assert signal.options[0].bore_m is None


def test_study_file_arrives_in_si(files: StudyFiles) -> None:
    files.texts["study.toml"] += """
[wearer.measured]
thigh_length_mm = 420
shank_mass_kg = 3.2
[weights]
comfort = 0.5
[inertia]
pose = "swing"
[routes]
joint_range = "sit"
forbid = [["waist_back", "hip_back"]]
[[routes.add]]
from = "waist_back"
to = "bench"
length_mm = 2500
slack_mm = 100
bend_deg = 90
carried_by = "off_body"
[solve]
gap = 0.01
time_limit_s = 60
top = 3
"""
    study = files.load()
    assert (study.name, study.title, study.invented) == ("study", "bench pump", True)
    assert (study.wearer.sex, study.wearer.stature_m, study.wearer.mass_kg) == ("male", 1.75, 75.0)
    assert study.wearer.measured == {"thigh_length_m": 0.42, "shank_mass_kg": 3.2}
    assert (study.task.speed_m_s, study.weights.comfort) == (1.25, 0.5)
    assert study.inertia_pose == "swing"
    file = str(files.folder / "study.toml")
    assert study.limits == (
        LimitSpec("device_mass", "", 3.0, Origin(file, 19, "limits.device_mass_g")),
        LimitSpec("segment_mass", "foot", 0.4, Origin(file, 22, "limits.segment_mass_g.foot")),
    )
    (rule,) = study.rules
    assert (rule.kind, rule.part_a, rule.part_b) == ("apart", "pump", "controller")
    assert rule.distance_m == 0.05
    assert rule.origin == Origin(file, 24, "rules.1")
    assert study.routes.forbid == (("waist_back", "hip_back"),)
    (arc,) = study.routes.add
    assert (arc.tail, arc.head, arc.length_m, arc.slack_m) == ("waist_back", "bench", 2.5, 0.1)
    assert arc.bend_rad == radians(90)
    assert (study.solve.gap, study.solve.time_limit_s, study.solve.top) == (0.01, 60.0, 3)


def test_units_survive_the_round_trip_exactly(files: StudyFiles) -> None:
    """A decimal in g or mm is the same decimal in kg or m: no digits appear from nowhere."""
    for grams in ("0.1", "0.3", "1.1", "7", "123.4", "999.9"):
        files.cell("parts.csv", 2, "mass_g", grams).cell("parts.csv", 2, "volume_cm3", grams)
        model = files.load().parts[0].models[0]
        assert model.mass_kg == float(grams) / 1000
        assert f"{model.mass_kg * 1000:g}" == grams
        assert f"{model.volume_m3 * 1e6:g}" == grams


def test_extra_columns_are_kept_and_ignored(files: StudyFiles) -> None:
    header, *rows = str(files.texts["parts.csv"]).splitlines()
    files.texts["parts.csv"] = "\n".join([header + ",Colour code", *(r + ",RAL 5" for r in rows)])
    study = files.load()
    assert study.parts[0].models[0].extra == {"notes": "loud", "Colour code": "RAL 5"}


def test_study_without_lines_or_optional_tables(files: StudyFiles) -> None:
    files.texts["study.toml"] = """\
format = 1
[files]
parts = "parts.csv"
sites = "sites.csv"
[wearer]
sex = "Female"
stature_mm = 1620
mass_kg = 60
"""
    study = files.load()
    assert (study.lines, study.limits, study.rules) == ((), (), ())
    assert (study.title, study.invented, study.wearer.sex) == ("study", False, "female")
    assert study.energy.leg == "segment_curve"


def test_limit_switched_off_is_no_limit(files: StudyFiles) -> None:
    files.put("study.toml", "device_mass_g = 3000", "device_mass_g = false")
    assert [limit.kind for limit in files.load().limits] == ["segment_mass"]


def test_files_are_found_beside_the_study(
    files: StudyFiles, monkeypatch: pytest.MonkeyPatch
) -> None:
    files.write()
    monkeypatch.chdir(files.folder.parent)
    study = load_study(Path(files.folder.name) / "study.toml")
    assert study.files["parts"] == f"{files.folder.name}/parts.csv"
    assert study.parts[0].origin.file == f"{files.folder.name}/parts.csv"


@pytest.mark.parametrize("path", sorted(bundled("studies").glob("*.toml")), ids=lambda p: p.name)
def test_every_bundled_study_is_sound(path: Path) -> None:
    study = load_study(path)
    assert study.invented
    assert study.parts and study.sites


def test_demo_is_one_of_the_bundled_studies() -> None:
    assert demo_path().is_file()
    assert demo_path().parent == bundled("studies")


def test_bundle_inside_the_package_goes_before_the_source_tree(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import optimizer._bundle as bundle

    package = tmp_path / "optimizer"
    (tmp_path / "studies").mkdir()
    package.mkdir()
    monkeypatch.setattr(bundle, "__file__", str(package / "_bundle.py"))
    assert bundle.bundled("studies") == tmp_path / "studies"
    (package / "bundle" / "studies").mkdir(parents=True)
    assert bundle.bundled("studies") == package / "bundle" / "studies"
    with pytest.raises(FileNotFoundError, match="catalogs"):
        bundle.bundled("catalogs")


def test_reading_a_study_needs_neither_solver_nor_plots(files: StudyFiles) -> None:
    """Speed rests on it: those imports alone would take longer than everything else."""
    code = (
        "import sys; from optimizer.study.load import load_study; load_study(sys.argv[1]);"
        "heavy = {'pyomo', 'scipy', 'pandas', 'matplotlib', 'highspy', 'rich', 'typer'};"
        "sys.exit(' '.join(heavy & set(sys.modules)) or 0)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(files.write())],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr


def test_missing_study_is_an_input_error(tmp_path: Path) -> None:
    (tmp_path / "ankle.toml").write_text("format = 1\n")
    with pytest.raises(InputError) as caught:
        load_study(tmp_path / "ancle.toml")
    (flaw,) = caught.value.flaws
    assert flaw.nearest == "ankle.toml"
