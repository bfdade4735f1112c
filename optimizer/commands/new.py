"""`limbtrim new`: a commented study to start from."""

from __future__ import annotations

from pathlib import Path

from optimizer.commands._run import Answer


def new(name: str, folder: Path) -> Answer:
    """Write the template under a name; an existing file is never overwritten."""
    from optimizer.study.files import display
    from optimizer.study.template import new_study
    from optimizer.views.header import written_view
    from optimizer.views.json import written_document

    written = [display(path) for path in new_study(name, folder)]
    return Answer(lambda: written_document(written), lambda: written_view(written))
