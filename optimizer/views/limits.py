"""The limits a layout comes nearest to, and what it would have to lose to meet a broken one."""

from __future__ import annotations

from collections.abc import Sequence
from math import inf, isfinite
from pathlib import PurePath

from rich.console import Console, Group

from optimizer.assess.result import Assessment, LimitReport
from optimizer.views.quantity import shown
from optimizer.views.table import Cell, Column, is_wide, section, table
from optimizer.views.words import Words, counted

SHOWN = 8


def broken(limit: LimitReport) -> bool:
    """Whether a limit is not met, as `Assessment.feasible` judges it."""
    return not limit.met


def tightness(limit: LimitReport) -> float:
    """Slack as a share of the limit, by which limits of different units are put in order."""
    if not isfinite(limit.limit):
        return inf
    return limit.slack / abs(limit.limit) if limit.limit else limit.slack


def tightest(limits: Sequence[LimitReport], n: int = SHOWN) -> list[LimitReport]:
    """Every broken or binding limit, then the tightest others, at least `n` in all.

    A rule that is merely kept (nothing allowed, nothing found) has no slack to tell of.
    """
    telling = [m for m in limits if broken(m) or not kept_rule(m)]
    ordered = sorted(
        telling, key=lambda m: (not broken(m), not m.binding, tightness(m), m.kind, m.subject)
    )
    must = sum(1 for m in ordered if broken(m) or m.binding)
    return ordered[: max(n, must)]


def kept_rule(limit: LimitReport) -> bool:
    """Whether this is a yes-or-no rule (none allowed) that is kept."""
    return limit.limit == 0.0 and not broken(limit)


def standing(limit: LimitReport) -> tuple[str, str]:
    """How a limit stands, in a word, with the style that underlines it."""
    if broken(limit):
        return "BROKEN", "bad"
    if limit.soft and limit.slack < 0.0:
        return "costs comfort", "tight"
    return ("binding", "tight") if limit.binding else ("", "")


def limits_view(assessment: Assessment, console: Console, n: int = SHOWN) -> Group:
    """The tightest limits with their slack; binding and broken ones are marked in words."""
    limits = assessment.limits
    if not limits:
        return section("Limits", Words("No limit applies to this layout."))
    wide = is_wide(console)
    chosen = tightest(limits, n)
    columns = [
        Column("what", words=True),
        Column("is at"),
        Column("limit"),
        Column("slack"),
        Column("unit", words=True),
        Column("stands", words=True),
    ]
    columns += [Column("written in", words=True)] if wide else []
    rows: list[list[Cell] | None] = []
    for limit in chosen:
        word, style = standing(limit)
        values, unit = shown((limit.value, limit.limit, limit.slack), limit.unit)
        row: list[Cell] = [
            Words(limit.label or f"{limit.kind} {limit.subject}", hang=2),
            *values,
            Words(unit),
            Words(word, style),
        ]
        if wide:
            row.append(Words(origin_words(limit), "quiet"))
        rows.append(row)
    n_broken = sum(map(broken, limits))
    verdict = (
        f"{counted(n_broken, 'limit')} of {len(limits)} BROKEN: this layout may not be built so."
        if n_broken
        else f"All {len(limits)} limits are met."
    )
    rest = len(limits) - len(chosen)
    more = f" {rest} looser ones are not shown; --json has them all." if rest else ""
    return section(
        "Limits, tightest first",
        table(columns, rows),
        Words(verdict + more, "bad" if n_broken else "quiet"),
    )


def origin_words(limit: LimitReport) -> str:
    """Where a limit was written: the file's name, row, column."""
    origin = limit.origin
    where = [PurePath(origin.file).name] if origin.file else []
    where += [f"row {origin.row}"] if origin.row is not None else []
    where += [origin.column] if origin.column else []
    return " ".join(where) or "-"
