"""Matplotlib is an extra: asked for where it is used, with the command that installs it."""

from __future__ import annotations

from importlib.util import find_spec

from optimizer.errors import Flaw, InputError, Origin

INSTALL = "pip install 'limbtrim[report]'"


def require_matplotlib() -> None:
    """Say how to install matplotlib where it is missing.

    Raises
    ------
    InputError
        One flaw, naming the command.
    """
    if find_spec("matplotlib") is None:
        raise InputError(
            [
                Flaw(
                    Origin("limbtrim report"),
                    "no matplotlib, which draws the figures",
                    f"the extra `report`: {INSTALL}",
                )
            ]
        )
