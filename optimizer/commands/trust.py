"""`limbtrim trust`: how often each layout is best when the uncertain numbers move."""

from __future__ import annotations

from collections.abc import Sequence

from optimizer.commands._run import INFEASIBLE, Answer, read_study
from optimizer.views.console import Consoles


def trust(
    consoles: Consoles,
    study_path: str,
    *,
    draws: int | None = None,
    scenarios: int | None = None,
    top: int | None = None,
    seed: int | None = None,
    own_models: bool = False,
    leg_weights: Sequence[str] = (),
    trunk_weights: Sequence[str] = (),
    part_tolerance_pct: float | None = None,
    stature_mm: str | None = None,
    mass_kg: str | None = None,
    speed_m_s: str | None = None,
    bodies: int | None = None,
    regret: bool = True,
    workers: int | None = None,
    results_file: str | None = None,
    settings: Sequence[str] = (),
    quiet: bool = False,
) -> Answer:
    """Draw, solve, compare."""
    from optimizer.assess.result import Infeasible
    from optimizer.trust.spread import PART_TOLERANCE, Ranges, make_spread
    from optimizer.trust.trust import DRAWS, SCENARIOS, TOP
    from optimizer.trust.trust import trust as work
    from optimizer.views.json import infeasible_document
    from optimizer.views.page import infeasible_page
    from optimizer.views.runs import RunLine, duration
    from optimizer.views.trust import trust_document, trust_page

    study = read_study(study_path, settings)
    ranges = Ranges(
        _range(stature_mm, "--stature", 1e-3),
        _range(mass_kg, "--mass", 1.0),
        _range(speed_m_s, "--speed", 1.0),
        *(() if bodies is None else (bodies,)),
    )
    spread = make_spread(
        study.energy,
        leg=_weights(leg_weights, "--leg") or None,
        trunk=_weights(trunk_weights, "--trunk") or None,
        mixed=not own_models,
        part_tolerance=PART_TOLERANCE if part_tolerance_pct is None else part_tolerance_pct / 100.0,
        ranges=ranges,
    )
    with RunLine(consoles.err, quiet=quiet) as progress:
        found = work(
            study,
            spread,
            draws=DRAWS if draws is None else draws,
            scenarios=SCENARIOS if scenarios is None else scenarios,
            top=TOP if top is None else top,
            seed=seed,
            regret=regret,
            workers=workers,
            results_file=results_file,
            on_progress=progress,
        )
    if isinstance(found, Infeasible):
        return Answer(
            lambda: infeasible_document(study, found),
            lambda: infeasible_page(study, found),
            INFEASIBLE,
        )
    if not quiet:
        consoles.err.print(f"limbtrim: took {duration(found.seconds)}")
    return Answer(
        lambda: trust_document(study, found), lambda: trust_page(study, found, consoles.out)
    )


def _range(text: str | None, option: str, scale: float) -> tuple[float, float] | None:
    """ "1600:1850" as two numbers."""
    from optimizer.errors import Flaw, InputError, Origin
    from optimizer.study.numerals import is_number
    from optimizer.study.words import quoted

    if text is None:
        return None
    pieces = text.split(":")
    if len(pieces) != 2 or not all(is_number(p) for p in pieces):
        expected = "two numbers joined by a colon, such as 60:90"
        raise InputError([Flaw(Origin(option), quoted(text), expected)])
    return float(pieces[0]) * scale, float(pieces[1]) * scale


def _weights(texts: Sequence[str], option: str) -> dict[str, float]:
    """ "pandolf=1" as a model's weight."""
    from optimizer.errors import Flaw, InputError, Origin
    from optimizer.study.numerals import is_number
    from optimizer.study.words import quoted

    found = {}
    for text in texts:
        name, sign, value = text.rpartition("=")
        if not sign:
            name, value = text, "1"
        if not is_number(value) or not float(value) >= 0.0:
            expected = "MODEL=WEIGHT, such as radius_squared=0.5"
            raise InputError([Flaw(Origin(option), quoted(text), expected)])
        found[name] = float(value)
    return found
