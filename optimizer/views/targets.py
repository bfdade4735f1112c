"""The answer to a question put the other way round."""

from __future__ import annotations

from rich.console import Console, Group, RenderableType
from rich.text import Text

from optimizer.solve.targets import Met, TargetAnswer
from optimizer.study.model import Study
from optimizer.views.alternatives import alternatives_view
from optimizer.views.cautions import BASIS, CAUTIONS, all_warnings, cautions_view, warnings_view
from optimizer.views.header import solved_line
from optimizer.views.json import head
from optimizer.views.json_records import Document, study_record
from optimizer.views.layout import layout_view
from optimizer.views.quantity import number
from optimizer.views.sweep import (
    proven_record,
    sweep_record,
    sweep_view,
    sweep_warnings,
    turned_words,
)
from optimizer.views.table import section
from optimizer.views.words import Words, listing

TARGET = "limbtrim.target/1"


def target_page(study: Study, answer: TargetAnswer, console: Console) -> Group:
    """The answer of `target`: in a sentence, with the layout, and the sweep it rests on."""
    blocks: list[RenderableType | None] = [
        solved_line(study),
        Text(""),
        section("Answer", *answer_lines(answer)),
        *_layout(study, answer, console),
        sweep_view(answer.sweep, console),
        warnings_view(study.warnings, _warnings(answer)),
        cautions_view(),
    ]
    return Group(*(block for block in blocks if block is not None))


def _warnings(answer: TargetAnswer) -> list[str]:
    """What is to be said of the sweep and of the layouts at the ends of the answer."""
    ends = (end.warnings for met in answer.met for end in (met.at_low, met.at_high))
    return all_warnings(sweep_warnings(answer.sweep), *ends)


def wish_words(answer: TargetAnswer) -> str:
    """What was wanted."""
    wish = answer.wish
    if wish.figure is None:
        return f"{wish.part} sits at {wish.where}"
    unit = f" {wish.figure.unit}".rstrip()
    if wish.at_most is not None:
        return f"{wish.figure.title} at most {wish.at_most:g}{unit}"
    return f"{wish.figure.title} at least {wish.at_least or 0.0:g}{unit}"


def answer_lines(answer: TargetAnswer) -> list[Words]:
    """The answer in sentences."""
    sweep = answer.sweep
    unit = {"": "", "x": " times what is written"}.get(sweep.dial.unit, f" {sweep.dial.unit}")
    wanted = wish_words(answer)
    whole = (sweep.low, sweep.high)
    if not answer.met:
        text = f"{_capital(answer, wanted)}: at no value from {whole[0]:g} to {whole[1]:g}{unit}."
        return [Words(text, "bad"), *_nearest(answer, unit), *_unfinished(answer)]
    spans = [_span(met, whole, unit) for met in answer.met]
    lines = [Words(f"{_capital(answer, wanted)}: {listing(spans)}.", "head")]
    lines += [Words(text) for met in answer.met for text in _ends(answer, met, unit)]
    lines += [Words(text) for met in answer.met for text in _beyond(answer, met)]
    if answer.verified:
        lines.append(Words("Every end was solved anew and confirmed.", "good"))
    else:
        lines.append(Words("Solving an end anew did NOT confirm it.", "bad"))
    return [*lines, *_unfinished(answer)]


def _capital(answer: TargetAnswer, wanted: str) -> str:
    """The wish as the start of a sentence; a part's name stays as it is written."""
    if answer.wish.figure is None:
        return wanted
    return f"{wanted[0].upper()}{wanted[1:]}"


def _nearest(answer: TargetAnswer, unit: str) -> list[Words]:
    """How near the best layouts come to a bound that none of them meets."""
    if all(piece.layout is None for piece in answer.sweep.pieces):
        hint = "`limbtrim place` with one of these values under --set says why."
        return [Words(f"No layout meets every limit at any of them; {hint}")]
    if answer.nearest is None or answer.wish.figure is None:
        return []
    at, value = answer.nearest
    figure = answer.wish.figure
    text = f"Nearest: {figure.title} {value:.5g} {figure.unit}".rstrip()
    return [Words(f"{text} at {at:.6g}{unit}.")]


def _beyond(answer: TargetAnswer, met: Met) -> list[str]:
    """Where a part sits beyond the ends of a stretch, and because of what."""
    wish, pieces = answer.wish, answer.sweep.pieces
    if wish.figure is not None:
        return []
    told = []
    for beyond, inside, word in (
        (met.pieces[0] - 1, met.pieces[0], "Below"),
        (met.pieces[-1] + 1, met.pieces[-1], "Above"),
    ):
        if not 0 <= beyond < len(pieces):
            continue
        reasons = pieces[inside].begun_by if word == "Below" else pieces[inside].ended_by
        names = listing(list(dict.fromkeys(limit.label for limit in reasons)))
        because = f", because of {names}" if names else ", as that then scores less"
        there = pieces[beyond].at_low
        if there is None:
            told.append(f"{word} that nothing meets every limit{because if names else ''}.")
            continue
        sites = listing(list(dict.fromkeys(p.site for p in there.parts if p.part == wish.part)))
        told.append(f"{word} that {wish.part} sits at {sites}{because}.")
    return told


def _unfinished(answer: TargetAnswer) -> list[Words]:
    if answer.sweep.complete:
        return []
    return [Words("The sweep was stopped: beyond its last piece nothing is known.", "tight")]


def _span(met: Met, whole: tuple[float, float], unit: str) -> str:
    low, high = (f"{v:.6g}{unit}" for v in (met.low, met.high))
    if (met.low, met.high) == whole:
        return f"all the way from {met.low:.6g} to {high}"
    if met.low == whole[0]:
        return f"up to {high}"
    if met.high == whole[1]:
        return f"from {low} on"
    return f"from {met.low:.6g} to {high}"


def _ends(answer: TargetAnswer, met: Met, unit: str) -> list[str]:
    sweep = answer.sweep
    told = []
    for value, found in ((met.low, met.at_low), (met.high, met.at_high)):
        if value in (sweep.low, sweep.high) and met.low != met.high:
            continue
        told.append(
            f"At {value:.6g}{unit} the best layout costs {number(found.metabolic_w, 2)} W "
            f"({number(found.metabolic_pct, 2)} % of walking power), swing inertia + "
            f"{number(found.swing_inertia_pct, 2)} %, {number(found.total_mass_kg * 1e3, 0)} g "
            f"worn; {number(found.assist_w, 2)} W of mean positive assist power pays it back."
        )
    return told


def _layout(study: Study, answer: TargetAnswer, console: Console) -> list[Group]:
    """The layout at the end of the answer that is not an end of the range."""
    if not answer.met:
        return []
    met = answer.met[-1]
    at_high = met.high != answer.sweep.high
    value, found = (met.high, met.at_high) if at_high else (met.low, met.at_low)
    there = answer.sweep.dial.setting_at(value).study
    title = f"The layout at {turned_words(answer.sweep).split(',')[0]} {value:.6g}"
    models = alternatives_view(there, found)
    return [layout_view(there, found, console, title), *([models] if models else [])]


def stopped_page(study: Study) -> Group:
    """What `target` says when it was stopped before its answer was confirmed."""
    text = "Stopped before the answer was found and confirmed: nothing is said of it."
    return Group(solved_line(study), Text(""), Words(text, "bad"))


def stopped_document(study: Study) -> Document:
    """The same as JSON: no stretch, nothing verified, no sweep."""
    return {
        **head(TARGET),
        "study": study_record(study),
        "wish": None,
        "met": [],
        "verified": False,
        "sweep": None,
    }


def target_document(study: Study, answer: TargetAnswer) -> Document:
    """The answer of `target` as JSON.

    "wish"; "met" stretches, each with the layouts at its ends and the checks of both; "nearest"
    (null where something is met, or a part's place was wanted): the value of the number at which a
    figure comes nearest to its bound, and the figure there; "verified"; the "sweep".
    """
    wish = answer.wish
    return {
        **head(TARGET),
        "study": study_record(study),
        "wish": {
            "figure": None if wish.figure is None else wish.figure.name,
            "unit": None if wish.figure is None else wish.figure.unit,
            "at_most": wish.at_most,
            "at_least": wish.at_least,
            "part": wish.part,
            "where": wish.where,
        },
        "met": [
            {
                "low": met.low,
                "high": met.high,
                "pieces": [number_ + 1 for number_ in met.pieces],
                "at_low": proven_record(met.at_low),
                "at_high": proven_record(met.at_high),
                "checked": [
                    {
                        "value": check.value,
                        "confirmed": check.met,
                        "score": None if check.assessment is None else check.assessment.score,
                    }
                    for check in met.checked
                ],
            }
            for met in answer.met
        ],
        "nearest": None
        if answer.nearest is None
        else {"value": answer.nearest[0], "figure": answer.nearest[1]},
        "verified": answer.verified,
        "sweep": sweep_record(answer.sweep),
        "warnings": all_warnings(study.warnings, _warnings(answer)),
        "cautions": [*CAUTIONS, *BASIS],
    }
