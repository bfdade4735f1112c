"""`limbtrim line`: one line's response against its length, for each bore and model."""

from __future__ import annotations

from collections.abc import Sequence

from optimizer.commands._run import Answer, read_study
from optimizer.views.console import Consoles


def line(
    consoles: Consoles,
    study_path: str,
    name: str,
    *,
    lengths_mm: Sequence[float] = (),
    settings: Sequence[str] = (),
) -> Answer:
    """What a line would do at a row of lengths, and how long each way of making it may be."""
    from optimizer.assess.line_response import line_response
    from optimizer.setting import build_setting
    from optimizer.views.line import response_document, response_page

    setting = build_setting(read_study(study_path, settings))
    found = line_response(setting, name, tuple(mm / 1e3 for mm in lengths_mm))
    return Answer(
        lambda: response_document(setting.study, found),
        lambda: response_page(setting.study, found, consoles.out),
    )
