"""Writing files whole or not at all."""

from __future__ import annotations

import os
import secrets
import shutil
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path


def write_whole(path: str | Path, text: str) -> None:
    """Write `text` to `path` as UTF-8 so that a reader sees the old file or the new, never half.

    The text goes to a new file in the same folder, which then takes the name. A link is followed
    and its target replaced; something that is not a regular file (a terminal, a pipe) is written
    to directly.

    Raises
    ------
    OSError
        If the folder is missing or not writable, or the disk is full; `path` is then unchanged.
    """
    target = Path(os.path.realpath(path))
    if target.exists() and not target.is_file():
        target.write_text(text, encoding="utf-8", newline="")
        return
    # Opened rather than made by `tempfile`, so that the file gets the usual permissions.
    partial = target.with_name(f".{target.name[:64]}.{secrets.token_hex(6)}.part")
    handle = os.open(partial, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as stream:
            stream.write(text)
        if target.exists():
            shutil.copymode(target, partial)
        os.replace(partial, target)
    except BaseException:
        with suppress(OSError):
            partial.unlink()
        raise


def write_all_new(texts: Mapping[Path, str]) -> None:
    """Write several new files, all of them or none.

    Raises
    ------
    FileExistsError
        If one of them exists already; nothing is then written.
    OSError
        If one cannot be written; those written before it are removed again.
    """
    for path in texts:
        if path.exists() or path.is_symlink():
            raise FileExistsError(str(path))
    written: list[Path] = []
    try:
        for path, text in texts.items():
            write_whole(path, text)
            written.append(path)
    except BaseException:
        for path in written:
            with suppress(OSError):
                path.unlink()
        raise
