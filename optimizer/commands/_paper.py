"""Options of the commands that write for the workshop and for papers: report, build, export."""

from collections.abc import Collection
from pathlib import Path
from typing import Annotated, Any

import typer

from optimizer.commands._app import Json, Quiet, Settings, Study, Width, _number, app
from optimizer.commands._plan import Request
from optimizer.commands._run import answer
from optimizer.commands.export import TABLES
from optimizer.views.console import make_consoles
from optimizer.views.export import DIGITS, FORMATS


def _one_of(option: str, choices: Collection[str], what: str) -> Any:
    """An option that takes one of a few words."""
    return typer.Option(
        option,
        metavar="|".join(choices),
        autocompletion=lambda: list(choices),
        help=what,
    )


GivenLayout = Annotated[
    str | None,
    typer.Option(
        "--layout",
        metavar="FILE",
        help="A layout as `weigh` takes it (JSON of `place`, CSV); without one, the best is found.",
    ),
]
GivenLines = Annotated[
    str | None,
    typer.Option("--lines", metavar="FILE", help="CSV of lines that belongs to --layout."),
]
Rank = Annotated[
    int | None,
    typer.Option(
        "--rank", min=1, max=1000, metavar="N", help="Which of the ranked layouts; else the best."
    ),
]
Measured = Annotated[
    str | None,
    typer.Option(
        "--measured",
        metavar="FILE",
        help="The filled-in table of weighed parts: the prototype, compared with the plan.",
    ),
]
MeasuredLines = Annotated[
    str | None,
    typer.Option("--measured-lines", metavar="FILE", help="The filled-in table of lines."),
]
TimeLimit = Annotated[
    float | None,
    typer.Option(
        "--time-limit", min=0.0, callback=_number, metavar="SECONDS",
        help="Stop each search after this long with the best so far.",
    ),
]  # fmt: skip
Swept = Annotated[
    str | None,
    typer.Option(
        "--sweep", metavar="PATH",
        help="A number to vary, e.g. parts.pump.mass_g: where the best layout changes.",
    ),
]  # fmt: skip
Low = Annotated[
    float | None,
    typer.Option("--from", callback=_number, metavar="LOW", help="Else a fifth of the written."),
]
High = Annotated[
    float | None,
    typer.Option("--to", callback=_number, metavar="HIGH", help="Else three times it."),
]


@app.command("report", short_help="Pictures and one page for screen and paper.")
def _report(
    study: Study,
    *,
    out: Annotated[
        Path, typer.Option("--out", metavar="FOLDER", help="A new folder, or an earlier report's.")
    ],
    layout: GivenLayout = None,
    lines: GivenLines = None,
    rank: Rank = None,
    top: Annotated[
        int, typer.Option("--top", min=1, max=1000, metavar="K", help="How many layouts to rank.")
    ] = 3,
    front: Annotated[
        bool, typer.Option("--front/--no-front", help="With the complete trade-off, or without.")
    ] = True,
    sweep: Swept = None,
    low: Low = None,
    high: High = None,
    trust: Annotated[
        bool, typer.Option("--trust", help="With how often each layout is best (takes longer).")
    ] = False,
    solved_draws: Annotated[
        int | None,
        typer.Option(
            "--solve", min=2, max=100000, metavar="N", help="With --trust: draws solved exactly."
        ),
    ] = None,
    measured: Measured = None,
    measured_lines: MeasuredLines = None,
    time_limit: TimeLimit = None,
    settings: Settings = None,
    json_to: Json = None,
    quiet: Quiet = False,
    width: Width = None,
) -> None:
    """Write a page that needs no network, its figures as SVG and PNG, and the build sheet."""
    from optimizer.commands.report import Extras, report

    consoles = make_consoles(width)
    request = Request(study, layout, lines, rank, top, time_limit, settings or (), quiet)
    extras = Extras(front, sweep, low, high, trust, measured, measured_lines, solved_draws)
    raise typer.Exit(answer(consoles, json_to, lambda: report(consoles, request, out, extras)))


@app.command("build", short_help="The build sheet and tables for measured values.")
def _build(
    study: Study,
    *,
    out: Annotated[
        Path, typer.Option("--out", metavar="FILE", help="The sheet, ending in .html or .md.")
    ],
    layout: GivenLayout = None,
    lines: GivenLines = None,
    rank: Rank = None,
    measured: Measured = None,
    measured_lines: MeasuredLines = None,
    time_limit: TimeLimit = None,
    settings: Settings = None,
    json_to: Json = None,
    quiet: Quiet = False,
    width: Width = None,
) -> None:
    """Write what goes into which pocket, the cut list, masses to check and the dressing order."""
    from optimizer.commands.build import build

    consoles = make_consoles(width)
    request = Request(study, layout, lines, rank, None, time_limit, settings or (), quiet)
    raise typer.Exit(
        answer(consoles, json_to, lambda: build(consoles, request, out, measured, measured_lines))
    )


@app.command("export", short_help="Any answer as CSV, Markdown or LaTeX.")
def _export(
    study: Study,
    *,
    table: Annotated[str, _one_of("--table", TABLES, "Which table.")],
    form: Annotated[str, _one_of("--format", FORMATS, "Which format.")] = "csv",
    out: Annotated[
        str, typer.Option("--out", metavar="FILE|-", help="Where to; - is stdout.")
    ] = "-",
    digits: Annotated[
        int,
        typer.Option(
            "--digits",
            min=1,
            max=17,
            metavar="N",
            help="Significant digits in md and tex; csv has all.",
        ),
    ] = DIGITS,
    layout: GivenLayout = None,
    lines: GivenLines = None,
    rank: Rank = None,
    top: Annotated[
        int | None,
        typer.Option("--top", min=1, max=1000, metavar="K", help="How many layouts to rank."),
    ] = None,
    sweep: Swept = None,
    low: Low = None,
    high: High = None,
    time_limit: TimeLimit = None,
    settings: Settings = None,
    quiet: Quiet = False,
    width: Width = None,
) -> None:
    """Write one table of an answer, SI, the unit in every column's name."""
    from optimizer.commands.export import export

    consoles = make_consoles(width)
    request = Request(study, layout, lines, rank, top, time_limit, settings or (), quiet)
    raise typer.Exit(
        answer(
            consoles,
            None,
            lambda: export(
                consoles, request, table, form, out, digits=digits, sweep=sweep,
                low=low, high=high,
            ),
        )
    )  # fmt: skip
