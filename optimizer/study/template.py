"""A small commented study to start from."""

from __future__ import annotations

import errno
from importlib import resources
from pathlib import Path

from optimizer._write import write_all_new
from optimizer.errors import Flaw, InputError, Origin
from optimizer.study.cells import Name
from optimizer.study.files import display
from optimizer.study.words import quoted

#: File of the template -> what follows the study's name in the file written.
_FILES = {
    "study.toml": ".toml",
    "parts.csv": "_parts.csv",
    "sites.csv": "_sites.csv",
    "lines.csv": "_lines.csv",
}


def new_study(name: str, folder: str | Path = ".") -> list[Path]:
    """Write a small commented study that can be placed as it is, and its three tables.

    Parameters
    ----------
    name : the study's name, with or without ".toml"; the files are NAME.toml, NAME_parts.csv,
        NAME_sites.csv and NAME_lines.csv
    folder : where to write them; made if it does not exist

    Returns the paths written, the study file first.

    Raises
    ------
    InputError
        If the name cannot be a file's name, a file of that name exists already (nothing is ever
        overwritten), or the folder cannot be written to. Either all files are written or none.
    """
    name, folder = name.removesuffix(".toml"), Path(folder)
    try:
        Name("a study's name").check(name)
        named = "/" not in name
    except ValueError:
        named = False
    if not named:
        expected = "a name of letters, digits, _ - +, such as my_ankle"
        raise InputError([Flaw(Origin(display(folder)), quoted(name), expected)])
    templates = resources.files("optimizer.study") / "template_files"
    texts = {
        folder / f"{name}{ending}": (templates / file).read_text("utf-8").replace("NAME", name)
        for file, ending in _FILES.items()
    }
    existing = [path for path in texts if path.exists() or path.is_symlink()]
    if existing:
        raise InputError([_exists(path) for path in existing])
    made = not folder.exists()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        write_all_new(texts)
    except OSError as error:
        if made and folder.is_dir() and not any(folder.iterdir()):
            folder.rmdir()
        if error.errno == errno.EEXIST or isinstance(error, FileExistsError):
            raise InputError([_exists(Path(error.filename or str(error)))]) from None
        reason = error.strerror or str(error)
        flaw = Flaw(Origin(display(folder)), reason, "a folder that can be written to")
        raise InputError([flaw]) from error
    return list(texts)


def _exists(path: Path) -> Flaw:
    return Flaw(Origin(display(path)), "a file of that name", "a new name: nothing is overwritten")
