"""What is said once files for the workshop or for a paper were written."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Group

from optimizer.assess.result import Assessment
from optimizer.views.cautions import cautions_view
from optimizer.views.table import section
from optimizer.views.words import Words, bullets, counted


def written_page(files: Sequence[str], plan: Assessment | None) -> Group:
    """The files, whether the layout in them breaks a limit, and the cautions."""
    parts = [section("Written", *bullets(files))]
    broken = () if plan is None else tuple(m.label for m in plan.limits if not m.met)
    if broken:
        said = f"{counted(len(broken), 'limit')} BROKEN, do not build: {'; '.join(broken)}"
        parts.append(section("Limits", Words(said, "bad")))
    return Group(*parts, cautions_view())
