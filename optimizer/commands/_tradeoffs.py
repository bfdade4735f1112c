"""Options and arguments of the commands on trade-offs; imported to be added to the application."""

from typing import Annotated

import typer

from optimizer.commands._app import Json, Quiet, Settings, Study, Width, _number, app
from optimizer.commands._run import answer
from optimizer.views.console import make_consoles

TimeLimit = Annotated[
    float | None,
    typer.Option(
        "--time-limit",
        min=0.0,
        callback=_number,
        metavar="SECONDS",
        help="Stop after this long with what is known by then (Ctrl-C does the same).",
    ),
]
Paths = Annotated[
    list[str],
    typer.Argument(
        metavar="PATH...",
        help="What to turn, as for --set: parts.NAME.mass_g, weights.swing_inertia, "
        "task.speed_m_s, limits.device_mass_g. A path that ends in * is scaled by a factor, e.g. "
        "'parts.ankle_*.mass_g*'; several are turned together.",
    ),
]
From = Annotated[
    float | None,
    typer.Option(
        "--from", callback=_number, metavar="VALUE", help="Where to begin; else a fifth of now."
    ),
]
To = Annotated[
    float | None,
    typer.Option(
        "--to", callback=_number, metavar="VALUE", help="Where to end; else three times now."
    ),
]


@app.command("front", short_help="Every trade-off that nothing beats, proven complete.")
def _front(
    study: Study,
    *,
    goals: Annotated[
        str | None,
        typer.Option(
            "--goals",
            metavar="A,B",
            help="The two goals traded against each other; else metabolic,swing_inertia.",
        ),
    ] = None,
    third: Annotated[
        str | None,
        typer.Option(
            "--third",
            metavar="GOAL",
            help="A third one: comfort, response, device_mass, price or sites_in_use.",
        ),
    ] = None,
    time_limit: TimeLimit = None,
    settings: Settings = None,
    json_to: Json = None,
    quiet: Quiet = False,
    width: Width = None,
) -> None:
    """List every layout that no other beats in both goals, and the weights at which each wins."""
    from optimizer.commands.front import front

    consoles = make_consoles(width)
    names = [name.strip() for name in goals.split(",")] if goals else []
    raise typer.Exit(
        answer(
            consoles,
            json_to,
            lambda: front(
                consoles,
                study,
                goals=names,
                third=third,
                time_limit_s=time_limit,
                settings=settings or (),
                quiet=quiet,
            ),
        )
    )


@app.command("sweep", short_help="Where along a number the best layout changes.")
def _sweep(
    study: Study,
    paths: Paths,
    *,
    low: From = None,
    high: To = None,
    method: Annotated[
        str | None,
        typer.Option(
            "--method",
            metavar="exact|bisection",
            help="Insist on one; else the exact one where it can be.",
        ),
    ] = None,
    time_limit: TimeLimit = None,
    settings: Settings = None,
    json_to: Json = None,
    quiet: Quiet = False,
    width: Width = None,
) -> None:
    """Find every value of a number at which the best layout changes, and what changes there."""
    from optimizer.commands.sweep import sweep

    consoles = make_consoles(width)
    raise typer.Exit(
        answer(
            consoles,
            json_to,
            lambda: sweep(
                consoles,
                study,
                paths,
                low=low,
                high=high,
                method=method,
                time_limit_s=time_limit,
                settings=settings or (),
                quiet=quiet,
            ),
        )
    )


@app.command("target", short_help="How light, how near, how much: a question backwards.")
def _target(
    study: Study,
    paths: Paths,
    *,
    low: From = None,
    high: To = None,
    figure: Annotated[
        str | None,
        typer.Option(
            "--figure",
            metavar="NAME",
            help="What is to meet a bound: metabolic_pct, metabolic_w, assist_w, "
            "swing_inertia_pct, worn_g, legs_g, trunk_g, score, discomfort, sites_in_use, price, "
            "power_w, walking_time_h, response_ms.",
        ),
    ] = None,
    at_most: Annotated[
        float | None, typer.Option("--at-most", callback=_number, metavar="VALUE", help="Bound.")
    ] = None,
    at_least: Annotated[
        float | None, typer.Option("--at-least", callback=_number, metavar="VALUE", help="Bound.")
    ] = None,
    part: Annotated[
        str | None,
        typer.Option("--part", metavar="PART", help="Instead of a figure: this part is to sit ..."),
    ] = None,
    where: Annotated[
        str | None,
        typer.Option(
            "--at",
            metavar="PLACE",
            help="... here: a site, a pattern, a segment (trunk, thigh, shank.right) or #tag.",
        ),
    ] = None,
    time_limit: TimeLimit = None,
    settings: Settings = None,
    json_to: Json = None,
    quiet: Quiet = False,
    width: Width = None,
) -> None:
    """Say at which values of a number the best layout meets a bound, or moves to a place."""
    from optimizer.commands.target import target

    consoles = make_consoles(width)
    raise typer.Exit(
        answer(
            consoles,
            json_to,
            lambda: target(
                consoles,
                study,
                paths,
                low=low,
                high=high,
                figure=figure,
                at_most=at_most,
                at_least=at_least,
                part=part,
                where=where,
                time_limit_s=time_limit,
                settings=settings or (),
                quiet=quiet,
            ),
        )
    )


@app.command("whatif", short_help="Scenarios side by side with the study as written.")
def _whatif(
    study: Study,
    *,
    settings: Annotated[
        list[str] | None,
        typer.Option(
            "--set",
            metavar="PATH=VALUE",
            help="A scenario made here, e.g. parts.pump.mass_g=650 or parts.pump.mass_g*=0.8; all "
            "--set together are one. Without it and without --scenario: all that the study has.",
        ),
    ] = None,
    names: Annotated[
        list[str] | None,
        typer.Option(
            "--scenario", metavar="NAME", help="One of the study's scenarios. May be repeated."
        ),
    ] = None,
    time_limit: TimeLimit = None,
    json_to: Json = None,
    quiet: Quiet = False,
    width: Width = None,
) -> None:
    """Show what scenarios would move, what that saves, and which limits then bind."""
    from optimizer.commands.whatif import whatif

    consoles = make_consoles(width)
    raise typer.Exit(
        answer(
            consoles,
            json_to,
            lambda: whatif(
                consoles,
                study,
                names=names or (),
                settings=settings or (),
                time_limit_s=time_limit,
                quiet=quiet,
            ),
        )
    )


@app.command("compare", short_help="Two layouts, garments or studies, differences first.")
def _compare(
    study: Study,
    other: Annotated[
        str | None,
        typer.Argument(metavar="[STUDY]", help="The second study; else the first one's again."),
    ] = None,
    *,
    layout_a: Annotated[
        str | None,
        typer.Option(
            "--layout-a",
            metavar="FILE",
            help="The first layout (JSON of `place` or `weigh`, or a CSV); else the best one.",
        ),
    ] = None,
    layout_b: Annotated[
        str | None, typer.Option("--layout-b", metavar="FILE", help="The second layout.")
    ] = None,
    rank_a: Annotated[
        int | None,
        typer.Option("--rank-a", min=1, metavar="N", help="Rank in it; else 1."),
    ] = None,
    rank_b: Annotated[
        int | None,
        typer.Option("--rank-b", min=1, metavar="N", help="Rank in it; else 1."),
    ] = None,
    set_a: Annotated[
        list[str] | None,
        typer.Option("--set-a", metavar="PATH=VALUE", help="--set for the first study."),
    ] = None,
    set_b: Annotated[
        list[str] | None,
        typer.Option(
            "--set-b",
            metavar="PATH=VALUE",
            help="--set for the second, e.g. files.sites=other_garment.csv.",
        ),
    ] = None,
    time_limit: TimeLimit = None,
    json_to: Json = None,
    quiet: Quiet = False,
    width: Width = None,
) -> None:
    """Put two layouts, garments or studies side by side, what differs first."""
    from optimizer.commands.compare import compare

    consoles = make_consoles(width)
    raise typer.Exit(
        answer(
            consoles,
            json_to,
            lambda: compare(
                consoles,
                study,
                other,
                layouts=(layout_a, layout_b),
                ranks=(rank_a, rank_b),
                settings=(set_a or (), set_b or ()),
                time_limit_s=time_limit,
                quiet=quiet,
            ),
        )
    )
