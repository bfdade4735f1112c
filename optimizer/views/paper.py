"""What is said once files for the workshop or for a paper were written."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Group

from optimizer.assess.result import Assessment
from optimizer.views.cautions import all_warnings, cautions_view, warnings_view
from optimizer.views.json import written_document
from optimizer.views.json_records import Document
from optimizer.views.table import section
from optimizer.views.words import Words, bullets, counted


def written_page(
    files: Sequence[str], plan: Assessment | None, built: Assessment | None = None
) -> Group:
    """The files, limits that the layout in them or the prototype breaks, warnings, cautions."""
    said = []
    if broken := broken_limits(plan):
        said.append(f"{counted(len(broken), 'limit')} BROKEN, do not build: {'; '.join(broken)}")
    if broken := broken_limits(built):
        said.append(
            f"{counted(len(broken), 'limit')} BROKEN by the prototype, do not wear it: "
            f"{'; '.join(broken)}"
        )
    parts = [
        section("Written", *bullets(files)),
        section("Limits", *(Words(text, "bad") for text in said)) if said else None,
        warnings_view(*(found.warnings for found in (plan, built) if found is not None)),
        cautions_view(),
    ]
    return Group(*(part for part in parts if part is not None))


def written_paper(
    files: Sequence[str], plan: Assessment | None, built: Assessment | None = None
) -> Document:
    """The same as a document; "prototype" is null where none was weighed."""
    return {
        **written_document(files),
        "limits_broken": {
            "plan": None if plan is None else broken_limits(plan),
            "prototype": None if built is None else broken_limits(built),
        },
        "warnings": all_warnings(*(found.warnings for found in (plan, built) if found)),
    }


def broken_limits(found: Assessment | None) -> list[str]:
    """Labels of the limits that a layout breaks."""
    return [] if found is None else [limit.label for limit in found.limits if not limit.met]
