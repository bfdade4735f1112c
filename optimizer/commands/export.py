"""`limbtrim export`: any answer as a table for a spreadsheet, a README or a paper."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Group

from optimizer.commands._plan import Planned, Request, planned
from optimizer.commands._run import OK, Answer
from optimizer.errors import Flaw, InputError, Origin
from optimizer.views.console import Consoles

if TYPE_CHECKING:
    import pandas as pd

    from optimizer.assess.result import Assessment

TABLES = ("parts", "lines", "limits", "ranking", "segments", "front", "sweep", "trust")


def export(
    consoles: Consoles,
    request: Request,
    table: str,
    form: str,
    out: str,
    *,
    digits: int,
    sweep: str | None = None,
    low: float | None = None,
    high: float | None = None,
) -> Answer:
    """Write one table to a file, or to stdout (-)."""
    from optimizer.study.files import writing

    with writing("--out", out):
        made = _made(consoles, request, table, sweep, low, high)
    return made if isinstance(made, Answer) else _written(*made, table, form, out, digits)


def _made(
    consoles: Consoles,
    request: Request,
    table: str,
    sweep: str | None,
    low: float | None,
    high: float | None,
) -> tuple[pd.DataFrame, str, Assessment | None] | Answer:
    """The table, what it is about, and the layout in it; or what is said where there is none."""
    if table == "sweep":
        if sweep is None:
            flaw = Flaw(Origin("--table"), "sweep without a number", "--sweep PATH beside it")
            raise InputError([flaw])
        from optimizer.commands._turned import turned
        from optimizer.commands.report import swept
        from optimizer.report.frames import sweep_frame

        over = turned(request.study_path, [sweep], low, high, request.settings)
        curve = swept(over, request.time_limit_s)
        frame, name, plan = sweep_frame(curve), sweep, None
    else:
        found = planned(consoles, request)
        if isinstance(found, Answer):
            return found
        made = _frame(found, table, request)
        if made is None:
            flaw = Flaw(Origin("--table"), f"{table} of a layout that was given", "a solved study")
            raise InputError([flaw])
        frame, name, plan = made, found.setting.study.name, found.plan
    return frame, name, plan


def _written(
    frame: pd.DataFrame,
    name: str,
    plan: Assessment | None,
    table: str,
    form: str,
    out: str,
    digits: int,
) -> Answer:
    from optimizer._write import write_whole
    from optimizer.study.files import display
    from optimizer.views.cautions import CAUTIONS
    from optimizer.views.export import export as as_text
    from optimizer.views.paper import written_page, written_paper

    caption = f"{name}: {table}. {CAUTIONS[0]}" if form != "csv" else ""
    text = as_text(frame, form, digits, caption)
    if out == "-":
        sys.stdout.flush()
        sys.stdout.buffer.write(text.encode())
        sys.stdout.buffer.flush()
        return Answer(lambda: {}, Group, OK)
    try:
        write_whole(out, text)
    except OSError as error:
        found_words = f"{out}, which cannot be written: {error.strerror or error}"
        flaw = Flaw(Origin("--out"), found_words, "a file in a folder you may write")
        raise InputError([flaw]) from error
    names = [display(Path(out))]
    return Answer(lambda: written_paper(names, plan), lambda: written_page(names, plan), OK)


def _frame(found: Planned, table: str, request: Request) -> pd.DataFrame | None:
    from optimizer.assess.result import Infeasible
    from optimizer.report.frames import front_frame, segments_frame, trust_frame
    from optimizer.views import frames

    if table == "ranking":
        return None if found.ranking is None else frames.ranking_frame(found.ranking)
    if table == "front":
        from optimizer.solve.front import front

        front_found = front(found.setting, time_limit_s=request.time_limit_s)
        return None if isinstance(front_found, Infeasible) else front_frame(front_found)
    if table == "trust":
        from optimizer.trust.trust import trust

        trusted = trust(found.setting.study)
        return None if isinstance(trusted, Infeasible) else trust_frame(trusted)
    made = {
        "parts": frames.parts_frame,
        "lines": frames.lines_frame,
        "limits": frames.limits_frame,
        "segments": segments_frame,
    }
    return made[table](found.plan)
