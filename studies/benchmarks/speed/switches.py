"""Switches by name, whichever there are."""

from __future__ import annotations

from dataclasses import fields

from optimizer.problem.presolve import Switches


def names() -> tuple[str, ...]:
    """Every switch that is on or off."""
    default = Switches()
    return tuple(f.name for f in fields(Switches) if isinstance(getattr(default, f.name), bool))


def all_off() -> Switches:
    """Every speed-up off."""
    return without(*names())


def without(*off: str) -> Switches:
    """The default switches but for those named, which are turned over."""
    default = Switches()
    return Switches(**{name: not getattr(default, name) for name in off})
