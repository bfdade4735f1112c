"""Options and arguments of every command; each calls its module and shows the answer."""

from math import isnan
from pathlib import Path
from typing import Annotated

import typer

from optimizer.cli import CAUTION, EXIT_CODES, version_text
from optimizer.commands._run import answer
from optimizer.views.console import LEAST_WIDTH, make_consoles

app = typer.Typer(
    name="limbtrim",
    help="Decide where the parts of a worn device go: the layouts of least metabolic penalty and "
    "swing-leg inertia, ranked, with proof that none is better.",
    epilog=f"{EXIT_CODES}\n\n{CAUTION}",
    add_completion=True,
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

Workers = Annotated[
    int | None,
    typer.Option(
        "--workers", min=1, max=1024, metavar="N", help="Processes to work with; else all cores."
    ),
]
Results = Annotated[
    str | None,
    typer.Option(
        "--results",
        metavar="FILE",
        help="Keep results there as they come; a run that was stopped goes on from them.",
    ),
]


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(version_text())
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


@app.command("line", short_help="One line's response against its length.")
def _line(
    study: Study,
    line: Annotated[str, typer.Argument(metavar="LINE", help="Name of a line of the study.")],
    *,
    lengths: Annotated[
        list[float] | None,
        typer.Option(
            "--length",
            callback=lambda values: [_number(v) for v in values or ()],
            metavar="MM",
            help="A length to work it out at; may be repeated. Else a row of round lengths.",
        ),
    ] = None,
    settings: Settings = None,
    json_to: Json = None,
    width: Width = None,
) -> None:
    """Show what one line does against its length, for each bore and model, its limits marked."""
    from optimizer.commands.line import line as respond

    consoles = make_consoles(width)
    raise typer.Exit(
        answer(
            consoles,
            json_to,
            lambda: respond(
                consoles, study, line, lengths_mm=lengths or (), settings=settings or ()
            ),
        )
    )


@app.command("trust", short_help="How often each layout is best when numbers move.")
def _trust(
    study: Study,
    *,
    draws: Annotated[
        int | None,
        typer.Option("--draws", min=10, max=1_000_000, metavar="N", help="Draws; else 2000."),
    ] = None,
    scenarios: Annotated[
        int | None,
        typer.Option(
            "--solve", min=2, max=100_000, metavar="N", help="Draws solved exactly; else 60."
        ),
    ] = None,
    top: Annotated[
        int | None,
        typer.Option(
            "--top", min=1, max=50, metavar="K", help="The study's own best compared; else 10."
        ),
    ] = None,
    seed: Annotated[
        int | None, typer.Option("--seed", min=0, metavar="N", help="Seed; else the study's.")
    ] = None,
    own_models: Annotated[
        bool,
        typer.Option("--own-models", help="Keep to the study's energy models; else a mixture."),
    ] = False,
    leg: Annotated[
        list[str] | None,
        typer.Option("--leg", metavar="MODEL=WEIGHT", help="Mix of leg models. May be repeated."),
    ] = None,
    trunk: Annotated[
        list[str] | None,
        typer.Option(
            "--trunk", metavar="MODEL=WEIGHT", help="Mix of trunk models. May be repeated."
        ),
    ] = None,
    part_mass: Annotated[
        float | None,
        typer.Option(
            "--part-mass",
            min=0.0,
            max=99.0,
            callback=_number,
            metavar="PERCENT",
            help="Tolerance of each part's mass; else 5.",
        ),
    ] = None,
    stature: Annotated[
        str | None, typer.Option("--stature", metavar="MM:MM", help="Range of statures.")
    ] = None,
    mass: Annotated[
        str | None, typer.Option("--mass", metavar="KG:KG", help="Range of body masses.")
    ] = None,
    speed: Annotated[
        str | None, typer.Option("--speed", metavar="M/S:M/S", help="Range of walking speeds.")
    ] = None,
    bodies: Annotated[
        int | None,
        typer.Option(
            "--bodies",
            min=1,
            max=1000,
            metavar="N",
            help="Bodies and speeds that stand for the ranges; else 8.",
        ),
    ] = None,
    no_regret: Annotated[
        bool, typer.Option("--no-regret", help="Do not solve for the least worst regret.")
    ] = False,
    workers: Workers = None,
    results: Results = None,
    settings: Settings = None,
    json_to: Json = None,
    quiet: Quiet = False,
    width: Width = None,
) -> None:
    """Say how often each layout is best, and which is least regretted, as numbers move."""
    from optimizer.commands.trust import trust

    consoles = make_consoles(width)
    raise typer.Exit(
        answer(
            consoles,
            json_to,
            lambda: trust(
                consoles,
                study,
                draws=draws,
                scenarios=scenarios,
                top=top,
                seed=seed,
                own_models=own_models,
                leg_weights=leg or (),
                trunk_weights=trunk or (),
                part_tolerance_pct=part_mass,
                stature_mm=stature,
                mass_kg=mass,
                speed_m_s=speed,
                bodies=bodies,
                regret=not no_regret,
                workers=workers,
                results_file=results,
                settings=settings or (),
                quiet=quiet,
            ),
        )
    )


@app.command("crowd", short_help="One garment for many bodies.")
def _crowd(
    study: Study,
    *,
    wearers: Annotated[
        str | None,
        typer.Option(
            "--wearers",
            metavar="FILE",
            help="CSV with the columns name, sex, stature_mm, mass_kg, and where wanted size and "
            "measurements such as thigh_length_mm; else 5th to 95th percentile women and men.",
        ),
    ] = None,
    workers: Workers = None,
    results: Results = None,
    settings: Settings = None,
    json_to: Json = None,
    quiet: Quiet = False,
    width: Width = None,
) -> None:
    """Find the best layout for each body and the one best for all, with cut lengths."""
    from optimizer.commands.crowd import crowd

    consoles = make_consoles(width)
    raise typer.Exit(
        answer(
            consoles,
            json_to,
            lambda: crowd(
                consoles,
                study,
                wearers=wearers,
                workers=workers,
                results_file=results,
                settings=settings or (),
                quiet=quiet,
            ),
        )
    )


@app.command("learn", short_help="An energy model from your own treadmill trials.")
def _learn(
    trials: Annotated[
        str,
        typer.Argument(
            metavar="TRIALS",
            help="CSV with the columns subject, body_mass_kg, speed_m_s, thigh_kg, shank_kg, "
            "foot_kg, trunk_kg (added in all, both legs together) and metabolic_w.",
        ),
    ],
    *,
    write: Annotated[
        str | None,
        typer.Option(
            "--write", metavar="FILE", help="Write the energy model, for `[energy] leg` of a study."
        ),
    ] = None,
    title: Annotated[
        str | None, typer.Option("--title", metavar="TEXT", help="Title of the model.")
    ] = None,
    form: Annotated[
        str,
        typer.Option(
            "--form",
            metavar="FORM",
            help="How the legs' slopes are read: a curve through them, or flat in a segment.",
        ),
    ] = "segment_curve",
    noise: Annotated[
        float | None,
        typer.Option(
            "--noise",
            min=1e-6,
            callback=_number,
            metavar="W/KG",
            help="Known standard deviation of a trial; else learned too.",
        ),
    ] = None,
    json_to: Json = None,
    width: Width = None,
) -> None:
    """Update the published costs of worn mass with your own trials."""
    from optimizer.commands.learn import learn

    consoles = make_consoles(width)
    raise typer.Exit(
        answer(
            consoles,
            json_to,
            lambda: learn(trials, write_to=write, title=title, form=form, noise_w_per_kg=noise),
        )
    )


@app.command("why", short_help="Why each part sits where it does; what limits cost.")
def _why(
    study: Study,
    part: Annotated[
        str | None,
        typer.Argument(metavar="PART", help="One part, to look at each of its sites; else all."),
    ] = None,
    *,
    time_limit: Annotated[
        float | None,
        typer.Option(
            "--time-limit",
            min=0.0,
            callback=_number,
            metavar="SECONDS",
            help="Stop after this long with what is known by then (Ctrl-C does the same).",
        ),
    ] = None,
    settings: Settings = None,
    json_to: Json = None,
    quiet: Quiet = False,
    width: Width = None,
) -> None:
    """Say what each part's next-best site would cost, what forbids better ones, and what
    loosening each limit is worth."""
    from optimizer.commands.why import why

    consoles = make_consoles(width)
    raise typer.Exit(
        answer(
            consoles,
            json_to,
            lambda: why(
                consoles,
                study,
                part,
                time_limit_s=time_limit,
                settings=settings or (),
                quiet=quiet,
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
