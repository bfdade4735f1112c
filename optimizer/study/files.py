"""Reading a text file somebody wrote, or saying in one sentence why it cannot be read."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path

from optimizer.errors import Flaw, Origin
from optimizer.study.words import nearest, quoted

#: No table a person edits is larger; a larger one is something else given by mistake.
LARGEST_FILE_BYTES = 64 * 1024 * 1024

_MARKS = {
    b"\xff\xfe": "UTF-16 text",
    b"\xfe\xff": "UTF-16 text",
    b"PK\x03\x04": "a zip archive or spreadsheet workbook",
    b"\xd0\xcf\x11\xe0": "a spreadsheet workbook of the old kind",
    b"%PDF": "a PDF document",
}


#: Files that the answer is going to be written to, by the option that names each.
_TO_WRITE: ContextVar[dict[str, str]] = ContextVar("_TO_WRITE", default={})  # noqa: B039


@contextmanager
def writing(option: str, path: str | Path | None) -> Iterator[None]:
    """While this lasts, reading `path` is a flaw of `option`: an answer never replaces an input.

    It is said when the file is read, before anything is solved or written.
    """
    if path is None or str(path) == "-":
        yield
        return
    before = _TO_WRITE.set({**_TO_WRITE.get(), os.path.realpath(path): option})
    try:
        yield
    finally:
        _TO_WRITE.reset(before)


def display(path: str | Path) -> str:
    """The path as printed: as given, with ".." resolved and forward slashes."""
    return Path(os.path.normpath(path)).as_posix()


def read_text(path: Path, wanted: Origin, what: str, flaws: list[Flaw]) -> str | None:
    """The file's text (UTF-8, a byte-order mark dropped), or None with a flaw noted.

    Parameters
    ----------
    wanted : where the file is asked for, blamed if it cannot be opened
    what : what is expected, such as "a parts table (CSV)"
    """
    shown = display(path)
    try:
        # Pipes and devices are refused: reading one could block for ever.
        if not path.is_file():
            flaws.append(_not_a_file(path, wanted, what))
            return None
        if path.stat().st_size > LARGEST_FILE_BYTES:
            flaws.append(Flaw(wanted, f"{quoted(shown)}, larger than 64 MB", what))
            return None
        option = _TO_WRITE.get().get(os.path.realpath(path))
        if option is not None:
            found = f"{quoted(shown)}, which is read: {what}"
            flaws.append(Flaw(Origin(option), found, "a file that is not an input"))
        data = path.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        flaws.append(Flaw(wanted, f"{quoted(shown)}, unreadable: {reason}", what))
        return None
    return _decode(data, shown, flaws)


def _not_a_file(path: Path, wanted: Origin, what: str) -> Flaw:
    shown = display(path)
    if path.is_dir():
        return Flaw(wanted, f"{quoted(shown)}, a folder", what)
    if path.exists():
        return Flaw(wanted, f"{quoted(shown)}, not a regular file", what)
    folder = path.parent
    if not folder.is_dir():
        return Flaw(wanted, f"{quoted(shown)}, in a folder that does not exist", what)
    names = [entry.name for entry in os.scandir(folder) if entry.is_file()]
    return Flaw(wanted, f"{quoted(shown)}, which does not exist", what, nearest(path.name, names))


def _decode(data: bytes, shown: str, flaws: list[Flaw]) -> str | None:
    for mark, kind in _MARKS.items():
        if data.startswith(mark):
            flaws.append(Flaw(Origin(shown), kind, "UTF-8 text"))
            return None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        start = error.start + (3 if data.startswith(b"\xef\xbb\xbf") else 0)
        row = data.count(b"\n", 0, start) + 1
        found = f"byte 0x{data[start]:02x} (byte {start + 1} of the file), not UTF-8"
        flaws.append(Flaw(Origin(shown, row), found, "UTF-8 text; save the file again as UTF-8"))
        return None
    if "\0" in text:
        row = text.count("\n", 0, text.index("\0")) + 1
        flaws.append(Flaw(Origin(shown, row), "a zero byte", "UTF-8 text"))
        return None
    return text
