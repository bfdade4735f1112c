"""Options and arguments of every command; each calls its module and shows the answer."""

from math import isnan
from pathlib import Path
from typing import Annotated

import typer

from optimizer._version import __version__
from optimizer.cli import CAUTION, EXIT_CODES
from optimizer.commands._run import answer
from optimizer.views.console import LEAST_WIDTH, make_consoles

app = typer.Typer(
    name="limbtrim",
    help="Decide where the parts of a worn device go: the layouts of least metabolic penalty and "
    "swing-leg inertia, ranked, with proof that none is better.",
    epilog=f"{EXIT_CODES}\n\n{CAUTION}",
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)


def _number(value: float | None) -> float | None:
    if value is not None and isnan(value):
        raise typer.BadParameter("not a number")
    return value


Study = Annotated[str, typer.Argument(metavar="STUDY", help="Study file (TOML).")]
MaybeStudy = Annotated[
    str | None,
    typer.Argument(metavar="STUDY", help="Study file (TOML); without one, the demo."),
]
Json = Annotated[
    str | None,
    typer.Option(
        "--json",
        metavar="FILE|-",
        help="Write the answer as JSON (SI, documented schema) to FILE beside the tables, or to "
        "stdout (-) instead of them.",
    ),
]
Settings = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        metavar="PATH=VALUE",
        help="What if: put VALUE in place of what the study says, or PATH*=FACTOR to scale it, "
        "e.g. parts.pump.mass_g=650. May be repeated.",
    ),
]
Width = Annotated[
    int | None,
    typer.Option(
        "--width",
        min=LEAST_WIDTH,
        max=1000,
        metavar="COLUMNS",
        help="Width of the tables; else COLUMNS of the environment, the terminal's, or 80.",
    ),
]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="No progress on stderr.")]


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"limbtrim {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool,
        typer.Option("--version", "-V", is_eager=True, callback=_version, help="Print version."),
    ] = False,
) -> None:
    pass


@app.command("check", short_help="Say what is wrong with a study, all at once.")
def _check(
    study: Study, settings: Settings = None, json_to: Json = None, width: Width = None
) -> None:
    """Read a study with all its tables and say what is wrong, all at once."""
    from optimizer.commands.check import check

    consoles = make_consoles(width)
    raise typer.Exit(answer(consoles, json_to, lambda: check(study, settings or ())))


@app.command("place", short_help="Find, rank and prove the best layouts.")
def _place(
    study: MaybeStudy = None,
    *,
    top: Annotated[
        int | None,
        typer.Option(
            "--top",
            min=1,
            max=1000,
            metavar="K",
            help="How many layouts to rank; else the study's.",
        ),
    ] = None,
    gap: Annotated[
        float | None,
        typer.Option(
            "--gap",
            min=0.0,
            callback=_number,
            metavar="SHARE",
            help="Relative gap at which to be content, e.g. 0.01; 0 proves the best.",
        ),
    ] = None,
    time_limit: Annotated[
        float | None,
        typer.Option(
            "--time-limit",
            min=0.0,
            callback=_number,
            metavar="SECONDS",
            help="Stop after this long with the best so far and its gap (Ctrl-C does the same).",
        ),
    ] = None,
    settings: Settings = None,
    json_to: Json = None,
    quiet: Quiet = False,
    width: Width = None,
) -> None:
    """Find the best layouts of a study, rank them, and show the best part by part."""
    from optimizer.commands.place import place

    consoles = make_consoles(width)
    raise typer.Exit(
        answer(
            consoles,
            json_to,
            lambda: place(
                consoles,
                study,
                top=top,
                gap=gap,
                time_limit_s=time_limit,
                settings=settings or (),
                quiet=quiet,
            ),
        )
    )


@app.command("weigh", short_help="Assess a given or as-built layout.")
def _weigh(
    study: Study,
    *,
    layout: Annotated[
        str,
        typer.Option(
            "--layout",
            metavar="FILE",
            help="The layout: JSON of `place` or `weigh`, or a CSV with the columns part, site, "
            "and where wanted model and measured_mass_g.",
        ),
    ],
    lines: Annotated[
        str | None,
        typer.Option(
            "--lines",
            metavar="FILE",
            help="CSV with the columns line, and where known option, route (nodes separated by "
            "blanks or >) and measured_length_mm. What is not said is assumed: the shortest route.",
        ),
    ] = None,
    rank: Annotated[
        int,
        typer.Option("--rank", min=1, metavar="N", help="Which layout of a JSON of `place`."),
    ] = 1,
    settings: Settings = None,
    json_to: Json = None,
    width: Width = None,
) -> None:
    """Say what a given or as-built layout costs and whether it keeps the limits."""
    from optimizer.commands.weigh import weigh

    consoles = make_consoles(width)
    raise typer.Exit(
        answer(
            consoles,
            json_to,
            lambda: weigh(
                consoles, study, layout, lines_path=lines, rank=rank, settings=settings or ()
            ),
        )
    )


@app.command("models", short_help="List tables and energy models with sources.")
def _models(json_to: Json = None, width: Width = None) -> None:
    """List energy models, body tables and terrains with their sources and ranges."""
    from optimizer.commands.models import models

    consoles = make_consoles(width)
    raise typer.Exit(answer(consoles, json_to, models))


@app.command("new", short_help="Write a commented study to start from.")
def _new(
    name: Annotated[str, typer.Argument(metavar="NAME", help="Name of the study.")],
    folder: Annotated[
        Path,
        typer.Option("--in", metavar="FOLDER", help="Folder to write it in."),
    ] = Path(),
    json_to: Json = None,
    width: Width = None,
) -> None:
    """Write a commented study to start from, ready to be checked and placed."""
    from optimizer.commands.new import new

    consoles = make_consoles(width)
    raise typer.Exit(answer(consoles, json_to, lambda: new(name, folder)))
