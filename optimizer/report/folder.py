"""Writing a report's files whole or not at all, and never over values somebody measured."""

from __future__ import annotations

import os
import secrets
import shutil
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from optimizer.errors import Flaw, InputError, Origin

Files = Mapping[str, str | bytes]


def write_folder(folder: Path, files: Files, *, filled: tuple[str, ...], page: str) -> None:
    """Write `files` into `folder`, which is new, empty or holds an earlier report.

    Everything is written to a new folder beside it, which then takes the name. Of an earlier
    report (known by its `page`) all is replaced, but a file of `filled` that holds something else
    than would be written now, or a file no report makes, stops it.

    Raises
    ------
    InputError
        If the folder holds what would be lost, or cannot be written.
    """
    target = Path(os.path.realpath(folder))
    _refuse(target, files, filled, page, shown=str(folder))
    fresh = target.with_name(f".{target.name[:64]}.{secrets.token_hex(6)}.part")
    old = target.with_name(f".{target.name[:64]}.{secrets.token_hex(6)}.old")
    try:
        fresh.mkdir()
        for name, content in files.items():
            path = fresh / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
        if target.exists():
            os.replace(target, old)
            try:
                os.replace(fresh, target)
            except OSError:
                os.replace(old, target)
                raise
            shutil.rmtree(old, ignore_errors=True)
        else:
            os.replace(fresh, target)
    except OSError as error:
        shutil.rmtree(fresh, ignore_errors=True)
        reason = error.strerror or str(error)
        found = f"{folder}, which cannot be written: {reason}"
        raise InputError([Flaw(Origin("--out"), found, "a folder you may make")]) from error
    except BaseException:
        shutil.rmtree(fresh, ignore_errors=True)
        raise


def _refuse(target: Path, files: Files, filled: tuple[str, ...], page: str, shown: str) -> None:
    if not target.exists():
        return
    if not target.is_dir():
        raise InputError([Flaw(Origin("--out"), f"{shown}, which is a file", "a folder")])
    present = sorted(p.relative_to(target).as_posix() for p in target.rglob("*") if p.is_file())
    if not present:
        return
    if page not in present:
        found = f"{shown}, which holds other files than a report's"
        raise InputError([Flaw(Origin("--out"), found, "a new or empty folder, or a report's")])
    known = (*files, page, *filled)
    flaws = []
    for name in present:
        path = target / name
        if name in filled:
            if path.read_bytes() != _bytes(files.get(name, "")):
                found = f"{name}, which is there already and differs"
                expected = "no values that would be lost: another folder, or move them away"
                flaws.append(Flaw(Origin(shown), found, expected))
        elif name not in known and not name.startswith("figures/"):
            found = f"{name}, which no report makes"
            flaws.append(Flaw(Origin(shown), found, "a folder with nothing but a report"))
    if flaws:
        raise InputError(flaws)


def write_beside(files: Mapping[Path, str], filled: tuple[Path, ...]) -> None:
    """Write a sheet and its tables to fill in, all or none.

    Raises
    ------
    InputError
        If a table to fill in exists with other content, or something cannot be written.
    """
    from optimizer._write import write_whole

    flaws = [
        Flaw(Origin("--out"), f"{path}, which is there already and differs",
             "no values that would be lost: another name, or move it away")
        for path in filled
        if path.exists() and path.read_bytes() != files[path].encode("utf-8")
    ]  # fmt: skip
    if flaws:
        raise InputError(flaws)
    new = [path for path in files if not path.exists()]
    try:
        for path, text in files.items():
            write_whole(path, text)
    except BaseException as error:
        for path in new:
            with suppress(OSError):
                path.unlink()
        if isinstance(error, OSError):
            reason = error.strerror or str(error)
            found = f"{path}, which cannot be written: {reason}"
            flaw = Flaw(Origin("--out"), found, "a file in a folder you may write")
            raise InputError([flaw]) from error
        raise


def _bytes(content: str | bytes) -> bytes:
    return content if isinstance(content, bytes) else content.encode("utf-8")
