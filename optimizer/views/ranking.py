"""The ranked list and what was proven of it."""

from __future__ import annotations

from collections.abc import Sequence
from math import isclose

from rich.console import Console, Group
from rich.text import Text

from optimizer.assess.result import Assessment, Proof, RankedLayout, Ranking
from optimizer.views.differences import differences_in_short
from optimizer.views.quantity import column, distinct_column, number, small_percent
from optimizer.views.table import Cell, Column, is_wide, section, table
from optimizer.views.words import Words, counted, listing

PROVEN_GAP = 1e-9


def ranking_view(ranking: Ranking, console: Console, asked_for: int | None = None) -> Group:
    """The ranked table with the proof in words under it."""
    layouts = ranking.layouts
    return section(
        f"Best {counted(len(layouts), 'layout')}" if len(layouts) != 1 else "Best layout",
        _table(layouts, is_wide(console)),
        Text(""),
        *(Words(line, style) for line, style in proof_lines(ranking, asked_for)),
    )


def _table(layouts: tuple[RankedLayout, ...], wide: bool) -> Group:
    found = [ranked.assessment for ranked in layouts]
    columns = [Column("rank"), Column("score"), Column("penalty", "W"), Column("walking", "%")]
    cells: list[list[str]] = [
        [str(ranked.rank) for ranked in layouts],
        distinct_column([a.score for a in found], 3, 7),
        column([a.metabolic_w for a in found], 2, 4),
        column([a.metabolic_pct for a in found], 2, 4),
    ]
    columns += [Column("swing", "added %"), Column("worn", "g")]
    cells += [
        column([a.swing_inertia_pct for a in found], 2, 4),
        [number(a.total_mass_kg * 1e3, 0) for a in found],
    ]
    if wide:
        columns += [Column("above best", "score")]
        cells += [["-", *column([a.score - found[0].score for a in found[1:]], 4, 7)]]
    columns += [Column("proof", words=True)] if wide else []
    columns += [Column("differs from rank 1 by", words=True)]
    rows: list[list[Cell]] = []
    for i, ranked in enumerate(layouts):
        row: list[Cell] = [values[i] for values in cells]
        if wide:
            row.append(Words(short_proof(ranked.proof), _proof_style(ranked.proof)))
        row.append(_differences(layouts[0], ranked))
        rows.append(row)
    return Group(table(columns, rows))


def _differences(best: RankedLayout, ranked: RankedLayout) -> Group:
    if ranked is best:
        return Group(Words("-", "quiet"))
    found = differences_in_short(best.assessment.layout, ranked.assessment.layout)
    return Group(*(Words(phrase, hang=2) for phrase in found or ["the pairing of like parts"]))


def short_proof(proof: Proof) -> str:
    """The proof in a word or two, for a column."""
    if proof.status == "optimal":
        return "proven" if proof.gap <= PROVEN_GAP else f"within {small_percent(proof.gap)}"
    if proof.status == "given":
        return "given"
    stop = {"time_limit": "time limit", "interrupted": "interrupted"}.get(
        proof.status, proof.status
    )
    return f"{stop}, {small_percent(proof.gap)} open"


def _proof_style(proof: Proof) -> str:
    return "good" if proof.status == "optimal" and proof.gap <= PROVEN_GAP else "tight"


def proof_words(proof: Proof, among: str = "nothing") -> str:
    """What is known of a layout's rank, as a clause."""
    at_most = f"at most {small_percent(proof.gap)} better possible"
    if proof.status == "optimal":
        if proof.gap <= PROVEN_GAP:
            return f"proven best: {among} scores lower, gap 0"
        return f"best to the gap asked for: {at_most} (bound {number(proof.bound, 4)})"
    if proof.status == "time_limit":
        return f"stopped at the time limit, not proven: {at_most} (bound {number(proof.bound, 4)})"
    if proof.status == "interrupted":
        return f"stopped by hand, not proven: {at_most} (bound {number(proof.bound, 4)})"
    if proof.status == "given":
        return "given, not searched for: nothing is proven of it"
    return f"{proof.status}: {at_most}"


def standing_words(ranking: Ranking | None, chosen: Assessment, proof: Proof) -> str:
    """Which layout this is and what is known of it, as a sentence; no ranking: it was given."""
    rank = [] if ranking is None else [r.rank for r in ranking.layouts if r.assessment is chosen]
    if not rank:
        return f"This layout was {proof_words(proof)}."
    among = "nothing" if rank[0] == 1 else "nothing left"
    return f"This layout is rank {rank[0]}, {proof_words(proof, among)}."


def proof_lines(ranking: Ranking, asked_for: int | None = None) -> list[tuple[str, str]]:
    """The proof of the whole list, each line with the style that underlines what it says."""
    layouts = ranking.layouts
    if not layouts:
        return []
    lines = [(f"Rank 1 is {proof_words(layouts[0].proof)}.", _proof_style(layouts[0].proof))]
    rest = layouts[1:]
    proven = [r for r in rest if short_proof(r.proof) == "proven"]
    if rest and len(proven) == len(rest):
        last = layouts[-1].rank
        joint = "and" if len(rest) == 2 else "to"
        ranks = "Rank 2 is" if len(rest) == 1 else f"Ranks 2 {joint} {last} are"
        order = "" if len(rest) == 1 else ", in this order"
        lines.append((f"{ranks} proven next best{order}.", "good"))
    else:
        lines += [
            (f"Rank {r.rank} is {proof_words(r.proof, 'nothing left')}.", _proof_style(r.proof))
            for r in rest
        ]
    lines += [
        (f"Ranks {listing([str(rank) for rank in ranks])} score the same.", "quiet")
        for ranks in ties(layouts)
    ]
    if not ranking.exhausted and asked_for is not None and len(layouts) < asked_for:
        text = f"The search was stopped with {len(layouts)} of the {asked_for} layouts asked for"
        lines.append((f"{text}; there may be others between and beyond these.", "tight"))
    if ranking.exhausted:
        lines.append((f"No layout besides {_these(len(layouts))} meets every limit.", "quiet"))
    return lines


def ties(layouts: Sequence[RankedLayout]) -> list[list[int]]:
    """Ranks of layouts that score the same (to 1e-9 of the score), next to one another."""
    groups: list[list[RankedLayout]] = []
    for ranked in layouts:
        score = ranked.assessment.score
        if groups and isclose(groups[-1][-1].assessment.score, score, rel_tol=1e-9, abs_tol=1e-9):
            groups[-1].append(ranked)
        else:
            groups.append([ranked])
    return [[ranked.rank for ranked in group] for group in groups if len(group) > 1]


def effort_words(ranking: Ranking) -> str:
    """What the search took; for stderr, as it differs from run to run."""
    size = ranking.size
    text = f"searched {number(ranking.seconds, 2)} s"
    if {"choices", "choices_after_presolve"} <= size.keys():
        text += f": {size['choices_after_presolve']} of {size['choices']} choices left"
    if {"rows", "columns"} <= size.keys():
        text += f", {size['rows']} rows x {size['columns']} columns"
    return text


def _these(n: int) -> str:
    return "this one" if n == 1 else f"these {n}"
