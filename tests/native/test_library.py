"""The compiled parts are of these sources or not used, and may be missing."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from optimizer.cli import version_text
from optimizer.native import library as loading
from optimizer.native import sources
from tests.native import NEEDS_COMPILED

COMPILER = pytest.mark.skipif(
    not any(map(shutil.which, ("cc", "gcc", "clang"))), reason="there is no C compiler"
)


@COMPILER
def test_where_there_is_a_compiler_there_are_compiled_parts() -> None:
    """Else the whole suite would test the road on arrays only and nobody would notice."""
    assert loading() is not None


@COMPILER
def test_a_library_of_other_sources_is_not_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = tmp_path / sources.LIBRARY
    assert sources.compiled(made) == ""
    found = sys.modules["optimizer.native.library"]
    monkeypatch.setattr(found, "HERE", tmp_path)
    fresh = found.library.__wrapped__
    assert fresh() is not None
    monkeypatch.setattr(found, "digest", lambda: "of other sources")
    assert fresh() is None


def test_without_a_compiler_it_is_told_why(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.delenv("CC", raising=False)
    assert sources.compiled(tmp_path / sources.LIBRARY) == "no C compiler found"
    assert not (tmp_path / sources.LIBRARY).exists()


@COMPILER
def test_a_compiler_that_fails_is_told_in_a_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sources, "_FLAGS", ("-no-such-flag",))
    told = sources.compiled(tmp_path / sources.LIBRARY)
    assert "failed: " in told and "\n" not in told


@pytest.mark.skipif(os.name != "posix", reason="a compiler written as a shell script")
@COMPILER
def test_after_a_compiler_that_fails_the_next_is_tried(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    broken = tmp_path / "broken_cc"
    broken.write_text("#!/bin/sh\necho no headers here >&2\nexit 1\n")
    broken.chmod(0o755)
    monkeypatch.setenv("CC", str(broken))
    made = tmp_path / sources.LIBRARY
    assert sources.compiled(made) == ""
    assert made.is_file()
    made.unlink()
    monkeypatch.setattr(sources, "_FLAGS", ("-no-such-flag",))
    assert sources.compiled(made) == f"{broken} failed: no headers here"
    assert not made.exists()


def test_line_ends_do_not_tell_versions_apart(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for path in [*sources.HERE.glob("*.c"), *sources.HERE.glob("*.h")]:
        (tmp_path / path.name).write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    here = sources.digest()
    monkeypatch.setattr(sources, "HERE", tmp_path)
    assert sources.digest() == here


@NEEDS_COMPILED
def test_the_environment_turns_them_off_and_the_version_says_so() -> None:
    code = "from optimizer.native import library; print(library())"
    code += "; from optimizer.cli import version_text; print(version_text())"
    off = subprocess.run(
        [sys.executable, "-c", code],
        env={"LIMBTRIM_COMPILED": "0", "PATH": ""},
        cwd=Path(__file__).resolve().parents[2],
        capture_output=True,
        text=True,
        check=True,
    )
    none, _, told = off.stdout.splitlines()
    assert none == "None"
    assert told == "compiled parts: not used, turned off by LIMBTRIM_COMPILED"
    assert version_text().endswith("compiled parts: used")


@COMPILER
def test_the_version_says_that_they_are_missing_broken_or_of_other_sources(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = sys.modules["optimizer.native.library"]
    monkeypatch.setattr(found, "HERE", tmp_path)
    assert "not used, none were made" in version_text()
    made = tmp_path / sources.LIBRARY
    made.write_bytes(b"no library")
    assert "not used, they cannot be loaded" in version_text()
    made.unlink()
    assert sources.compiled(made) == ""
    monkeypatch.setattr(found, "digest", lambda: "of other sources")
    assert "not used, made of other sources" in version_text()
