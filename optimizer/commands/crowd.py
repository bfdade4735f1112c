"""`limbtrim crowd`: one garment for many bodies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from optimizer.commands._run import INFEASIBLE, OK, Answer, read_study
from optimizer.views.console import Consoles


def crowd(
    consoles: Consoles,
    study_path: str,
    *,
    wearers: str | None = None,
    workers: int | None = None,
    results_file: str | None = None,
    settings: Sequence[str] = (),
    quiet: bool = False,
) -> Answer:
    """The best layout for each body and the one for all."""
    from optimizer.crowd.crowd import crowd as work
    from optimizer.crowd.wearers import read_wearers
    from optimizer.views.crowd import crowd_document, crowd_page
    from optimizer.views.runs import RunLine, duration

    study = read_study(study_path, settings)
    ignored: list[str] = []
    people = read_wearers(wearers, study.wearer, ignored)
    with RunLine(consoles.err, quiet=quiet) as progress:
        found = work(
            study, people, workers=workers, results_file=results_file, on_progress=progress
        )
    found = replace(found, warnings=(*ignored, *found.warnings))
    if not quiet:
        consoles.err.print(f"limbtrim: took {duration(found.seconds)}")
    nobody = found.complete and found.mean is None
    return Answer(
        lambda: crowd_document(study, found),
        lambda: crowd_page(study, found, consoles.out),
        INFEASIBLE if nobody else OK,
    )
