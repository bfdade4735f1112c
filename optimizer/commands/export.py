"""`limbtrim export`: any answer as a table for a spreadsheet, a README or a paper."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Group

from optimizer.commands._beside import Beside, require_beside
from optimizer.commands._plan import Planned, Request, planned
from optimizer.commands._run import OK, Answer, check_choices, read_study
from optimizer.errors import Flaw, InputError, Origin
from optimizer.views.console import Consoles

if TYPE_CHECKING:
    import pandas as pd

    from optimizer.assess.result import Assessment

#: Tables of one layout, found or given.
ABOUT_ONE = ("parts", "lines", "limits", "segments")
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
    from optimizer.views.export import FORMATS

    check_choices(("--table", table, TABLES), ("--format", form, tuple(FORMATS)))
    require_beside(_beside(request, table, sweep, low, high))
    with writing("--out", out):
        made = _made(consoles, request, table, sweep, low, high)
    return made if isinstance(made, Answer) else _written(*made, table, form, out, digits)


def _beside(
    request: Request, table: str, sweep: str | None, low: float | None, high: float | None
) -> list[Beside]:
    """What each option needs that says nothing of some tables."""
    of_layout = f"--table {' or '.join(ABOUT_ONE)}"
    options = [
        Beside(option, given, of_layout, table in ABOUT_ONE)
        for option, given in (("--layout", request.layout_path), ("--rank", request.rank))
    ]
    options += [
        Beside(option, given, "--table sweep", table == "sweep")
        for option, given in (("--sweep", sweep), ("--from", low), ("--to", high))
    ]
    if table == "sweep":
        options.append(Beside("--table", "sweep", "--sweep PATH", sweep is not None))
    return [*options, request.lines_beside()]


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
        assert sweep is not None
        return _swept(consoles, request, sweep, low, high)
    found = planned(consoles, request, studys_top=table == "ranking")
    if isinstance(found, Answer):
        return found
    return _frame(found, table, request), found.setting.study.name, found.plan


def _swept(
    consoles: Consoles, request: Request, path: str, low: float | None, high: float | None
) -> tuple[pd.DataFrame, str, None] | Answer:
    """Where the best layout changes; what `sweep` would say where nothing fits anywhere."""
    from optimizer.commands._turned import swept, swept_code, turned
    from optimizer.report.frames import sweep_frame
    from optimizer.report.sweep_curve import curve_of
    from optimizer.views.sweep import sweep_document, sweep_page

    study = read_study(request.study_path, request.settings)
    found = swept(
        turned(request.study_path, [path], low, high, request.settings), request.time_limit_s
    )
    code = swept_code(found)
    if code != OK:
        return Answer(
            lambda: sweep_document(study, found),
            lambda: sweep_page(study, found, consoles.out),
            code,
        )
    return sweep_frame(curve_of(found)), path, None


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


def _frame(found: Planned, table: str, request: Request) -> pd.DataFrame:
    from optimizer.assess.result import Infeasible
    from optimizer.report.frames import front_frame, segments_frame, trust_frame
    from optimizer.views import frames

    # a layout was found or given: what is asked of the study's other layouts has an answer too
    if table == "ranking":
        assert found.ranking is not None
        return frames.ranking_frame(found.ranking)
    if table == "front":
        from optimizer.solve.front import front

        trade_off = front(found.setting, time_limit_s=request.time_limit_s)
        assert not isinstance(trade_off, Infeasible)
        return front_frame(trade_off)
    if table == "trust":
        from optimizer.trust.trust import trust

        trusted = trust(found.setting.study)
        assert not isinstance(trusted, Infeasible)
        return trust_frame(trusted)
    made = {
        "parts": frames.parts_frame,
        "lines": frames.lines_frame,
        "limits": frames.limits_frame,
        "segments": segments_frame,
    }
    return made[table](found.plan)
