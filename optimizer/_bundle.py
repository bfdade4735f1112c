"""Where the catalogs and studies that come with the package lie.

In a source tree (and an editable install) they are `catalogs/` and `studies/` beside the package;
in an installed wheel they are inside it, in `optimizer/bundle/`.
"""

from __future__ import annotations

from pathlib import Path
from typing import Literal

DEMO = "air_ankle.toml"


def bundled(kind: Literal["catalogs", "studies"]) -> Path:
    """The folder of the catalogs or of the studies that come with the package.

    Raises
    ------
    FileNotFoundError
        If the installation lacks it.
    """
    package = Path(__file__).resolve().parent
    for folder in (package / "bundle" / kind, package.parent / kind):
        if folder.is_dir():
            return folder
    raise FileNotFoundError(f"this installation lacks its {kind} folder")


def demo_path() -> Path:
    """The study solved when none is named.

    Raises
    ------
    FileNotFoundError
        If the installation lacks the studies folder.
    """
    return bundled("studies") / DEMO
