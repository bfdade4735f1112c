"""The study to start from: sound, placeable, self-explaining, and nothing is overwritten."""

from __future__ import annotations

import os
import re
import stat
from pathlib import Path

import pytest

from optimizer._write import write_all_new, write_whole
from optimizer.assess.result import Ranking
from optimizer.errors import InputError
from optimizer.solve.place import place
from optimizer.study.load import load_study
from optimizer.study.template import new_study


def test_template_is_sound_and_can_be_placed(tmp_path: Path) -> None:
    paths = new_study("my_ankle", tmp_path)
    assert [p.name for p in paths] == [
        "my_ankle.toml",
        "my_ankle_parts.csv",
        "my_ankle_sites.csv",
        "my_ankle_lines.csv",
    ]
    study = load_study(paths[0])
    assert (study.name, study.invented, study.warnings) == ("my_ankle", True, ())
    found = place(study, top=1)
    assert isinstance(found, Ranking)
    (best,) = found.layouts
    assert best.proof.status == "optimal"
    assert best.assessment.feasible
    assert "NAME" not in "".join(p.read_text() for p in paths)


def test_every_example_in_a_comment_can_be_switched_on(tmp_path: Path) -> None:
    path = new_study("x", tmp_path)[0]
    text = path.read_text()
    live = re.sub(r"(?m)^# (?=\w+ = |\[)", "", text)
    assert len(re.findall(r"(?m)^#", text)) - len(re.findall(r"(?m)^#", live)) >= 7
    path.write_text(live)
    study = load_study(path)
    assert study.wearer.measured
    assert study.routes.forbid


@pytest.mark.parametrize("existing", ["a.toml", "a_sites.csv"])
def test_nothing_is_overwritten_and_nothing_else_written(tmp_path: Path, existing: str) -> None:
    (tmp_path / existing).write_text("mine")
    with pytest.raises(InputError) as caught:
        new_study("a", tmp_path)
    (flaw,) = caught.value.flaws
    assert flaw.origin.file.endswith(existing)
    assert [p.name for p in tmp_path.iterdir()] == [existing]
    assert (tmp_path / existing).read_text() == "mine"


@pytest.mark.parametrize("name", ["", "a/b", "../a", "a b", ".hidden", "a\0b", "-x", "x" * 100])
def test_name_that_cannot_be_a_study_s(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError):
        new_study(name, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_folder_is_made_and_toml_may_be_said(tmp_path: Path) -> None:
    paths = new_study("a.toml", tmp_path / "deep" / "er")
    assert paths[0] == tmp_path / "deep" / "er" / "a.toml"
    with pytest.raises(InputError):
        new_study("b", paths[0])  # a file where a folder should be


def test_a_failure_half_way_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real, calls = os.replace, []

    def failing(source: object, target: object) -> None:
        calls.append(target)
        if len(calls) == 3:
            raise OSError(28, "No space left on device")
        real(source, target)  # type: ignore[arg-type]

    monkeypatch.setattr(os, "replace", failing)
    with pytest.raises(InputError) as caught:
        new_study("a", tmp_path)
    assert "No space left" in caught.value.flaws[0].found
    assert list(tmp_path.iterdir()) == []


def test_write_whole_replaces_and_keeps_the_mode(tmp_path: Path) -> None:
    path = tmp_path / "out.json"
    write_whole(path, "one\n")
    assert stat.S_IMODE(path.stat().st_mode) & 0o444  # readable like any new file
    path.chmod(0o640)
    write_whole(path, "größer\n")
    assert path.read_bytes() == "größer\n".encode()
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert [p.name for p in tmp_path.iterdir()] == ["out.json"]


def test_write_whole_follows_a_link_and_writes_through_a_device(tmp_path: Path) -> None:
    target, link = tmp_path / "target", tmp_path / "link"
    target.write_text("old")
    link.symlink_to(target)
    write_whole(link, "new")
    assert link.is_symlink() and target.read_text() == "new"
    write_whole(os.devnull, "gone")
    with pytest.raises(FileNotFoundError):
        write_whole(tmp_path / "nowhere" / "x", "text")


def test_write_all_new_takes_back_what_it_wrote(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        write_all_new({tmp_path / "a": "1", tmp_path / "no" / "b": "2"})
    assert list(tmp_path.iterdir()) == []
