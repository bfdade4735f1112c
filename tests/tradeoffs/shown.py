"""What a view shows, as plain text."""

from __future__ import annotations

from io import StringIO

from rich.console import RenderableType

from optimizer.views.console import make_console, show


def shown(view: RenderableType, width: int = 80) -> str:
    """The view as it is printed where the output is no terminal."""
    out = StringIO()
    show(make_console(out, width, {}), view)
    return out.getvalue()
