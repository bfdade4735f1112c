"""What must be said beside every number somebody could act on."""

from __future__ import annotations

from collections.abc import Iterable

from rich.console import Group

from optimizer.views.table import section
from optimizer.views.words import bullets

CAUTIONS: tuple[str, ...] = (
    "Costs are population averages from small treadmill studies whose coefficients agree only "
    "to a factor of about 2: good for comparing layouts, not a prediction for one person and "
    "not a prescription.",
    "Test a layout on the bench first, unworn, before anyone walks with it.",
    "Local codes, medical-device rules, and licensed orthotists and clinicians decide what may "
    "be worn, by whom and for how long.",
)

#: What is said beside one line by itself, where nothing is costed but tubes may be cut.
LINE_CAUTIONS: tuple[str, ...] = (
    "What a line does is worked out, not measured: times of air tubes to about 10 % below 4 mm "
    "bore. Measure the first one before more are cut.",
    *CAUTIONS[1:],
)

BASIS: tuple[str, ...] = (
    "Leg costs are published per kg of total added mass; a load on one leg is counted at the "
    "same cost per kg, as no evidence was found for another.",
)


def cautions_view(cautions: tuple[str, ...] = (*CAUTIONS, *BASIS)) -> Group:
    """The cautions as a section."""
    return section("Before anyone acts on this", *bullets(cautions))


def all_warnings(*sources: Iterable[str]) -> list[str]:
    """All warnings, each once, in the order given: what a page says its document says too."""
    return list(dict.fromkeys(text for source in sources for text in source))


def warnings_view(*sources: Iterable[str]) -> Group | None:
    """The same as a section; None when there are none."""
    unique = all_warnings(*sources)
    return section("Warnings", *bullets(unique)) if unique else None
