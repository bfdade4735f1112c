"""How far a ranking may be trusted, in tables and as a document.

Document "limbtrim.trust/1"
---------------------------
"layouts" by share of wins: "name", "rank" by the study's own figures (null: not among its first),
"win_share" with "win_se" (Monte Carlo standard error), "near_share" (within 1 % of the best),
"regret" in score points ("mean" and "worst" over the draws, against the best of the layouts
compared; "worst_exact" over the draws solved, against the best of all), "fits" (share of bodies),
"differs_from_best", "parts" (unit, model, site), "score" for the study's own figures. "draws": how
many were evaluated, void (no layout fits), solved. "missing": see
`optimizer.trust.result.Missing`. "stability", "duel", "least_worst_regret" (null: not asked for),
"spread": everything drawn from, "bodies", "complete".
"""

from __future__ import annotations

from math import isfinite

from rich.console import Console, Group, RenderableType
from rich.text import Text

from optimizer.study.model import Study
from optimizer.trust.result import NEAR, Duel, LeastWorst, Trust, Trusted
from optimizer.trust.spread import Z95, Spread, Uncertain
from optimizer.views.cautions import BASIS, CAUTIONS, cautions_view, warnings_view
from optimizer.views.differences import differences, differences_in_short
from optimizer.views.header import solved_line
from optimizer.views.json import Document, head
from optimizer.views.json_records import study_record
from optimizer.views.quantity import column, number
from optimizer.views.table import Bar, Cell, Column, is_wide, section, table
from optimizer.views.words import Words, bullets, counted, listing

TRUST = "limbtrim.trust/1"
#: Layouts listed in the table, at most.
LISTED = 6


def percent(share: float, decimals: int = 1) -> str:
    """0.234 -> "23.4"."""
    return number(100.0 * share, decimals)


def trust_page(study: Study, found: Trust, console: Console) -> Group:
    """The answer of `trust`."""
    blocks: list[RenderableType | None] = [
        solved_line(study),
        Text(""),
        _wins(found, console),
        _least_worst(found),
        _duel(found.duel),
        _spread(found),
        warnings_view(found.warnings),
        cautions_view(),
    ]
    return Group(*(block for block in blocks if block is not None))


def _listed(found: Trust) -> list[Trusted]:
    """Winners, the study's best and the least regretted, then the others, as far as listed."""
    worth = [x for x in found.layouts if x.win_share > 0.0][:LISTED]
    least = None if found.least_worst is None else found.least_worst.name
    return worth + [x for x in found.layouts if (x.rank == 1 or x.name == least) and x not in worth]


def _wins(found: Trust, console: Console) -> Group:
    rows: list[list[Cell] | None] = []
    shown = _listed(found)
    best = next((x for x in found.layouts if x.rank == 1), None)
    means = column([x.mean_regret for x in shown], 3, 5)
    worsts = column([x.worst_regret for x in shown], 2, 4)
    wide = is_wide(console)
    columns = [Column("layout"), Column("wins", "%"), Column("+-", "%")]
    if wide:
        columns.append(Column("", words=True, least=Bar.LONGEST))
    columns += [
        Column("near", "%"),
        Column("regret", "mean"),
        Column("regret", "worst"),
        Column("rank", "in study"),
        Column("differs from the study's best by", words=True),
    ]
    for i, x in enumerate(shown):
        row: list[Cell] = [x.name, percent(x.win_share), percent(1.96 * x.win_se)]
        if wide:
            row.append(Bar(x.win_share))
        row += [
            percent(x.near_share, 0),
            means[i],
            worsts[i],
            "-" if x.rank is None else str(x.rank),
            _against(best, x),
        ]
        rows.append(row)
    rest = len(found.layouts) - len(shown)
    lines = [
        Words(
            f"Share of {found.draws - found.void} draws in which a layout is best; layouts "
            "that are best together split the draw, so the study's best may win less often than "
            "it stays best. +- is the "
            f"95 % Monte Carlo error; near: within {percent(NEAR, 0)} % of the best. Regret is "
            "score points above the best layout of the draw."
        )
    ]
    if rest:
        lines.append(
            Words(f"{counted(rest, 'further layout')} compared, seldom or never best.", "quiet")
        )
    lines += [Words(text, style) for text, style in _honest(found)]
    return section("How often each layout is best", table(columns, rows), Text(""), *lines)


def _against(best: Trusted | None, other: Trusted) -> Group:
    if best is None or other is best or best.assessment is None or other.assessment is None:
        fits = "-" if other is best else "does not fit the study's own wearer"
        return Group(Words(fits, "quiet"))
    found = differences_in_short(best.assessment.layout, other.assessment.layout)
    return Group(*(Words(phrase, hang=2) for phrase in found or ["the pairing of like parts"]))


def _honest(found: Trust) -> list[tuple[str, str]]:
    """What the list rests on, and what it cannot tell."""
    lines = []
    miss = found.missing
    if not found.complete:
        lines.append(
            (
                f"Stopped by hand: {found.solved} of {found.asked} draws were solved.",
                "tight",
            )
        )
    lines.append(
        (
            f"Compared: the study's own best and the best of {found.solved} draws solved exactly. "
            f"Of {miss.tested} draws kept back to test that, {miss.misses} had another winner: "
            f"with 95 % confidence, layouts missing then win at most {percent(miss.at_most, 0)} % "
            "of draws.",
            "" if miss.at_most <= 0.15 else "tight",
        )
    )
    if found.left_out:
        lines.append((f"{counted(found.left_out, 'rare winner')} not compared.", "tight"))
    if found.unsolvable:
        lines.append((f"{counted(found.unsolvable, 'draw')} solved had no layout.", "tight"))
    if found.void:
        lines.append((f"{counted(found.void, 'draw')} fit no layout and are left out.", "tight"))
    s = found.stability
    if s is not None:
        lines.append(
            (
                f"The study's best stays best in {percent(s.first, 0)} % of draws and among the "
                f"three best in {percent(s.top3, 0)} %; the order of the layouts keeps a Kendall "
                f"tau of {number(s.tau, 2)} with the study's (in one draw of twenty below "
                f"{number(s.tau_low, 2)}).",
                "",
            )
        )
    return lines


def _least_worst(found: Trust) -> Group | None:
    worst = found.least_worst
    if worst is None:
        return None
    title = "Least worst regret"
    if worst.plan is None:
        text = "No single layout fits every body drawn, so there is none."
        return section(title, Words(text, "tight"))
    proof = "proven" if worst.proven else f"not proven, at least {number(worst.bound, 3)}"
    lines = [
        Words(
            f"{worst.name} loses at most {number(worst.regret, 3)} score points against the best "
            f"of each of the {worst.over} draws solved exactly ({proof}).",
            "good" if worst.proven else "tight",
        )
    ]
    if isfinite(worst.nominal_regret):
        lines.append(Words(f"The study's best loses up to {number(worst.nominal_regret, 3)}."))
    return section(title, *lines)


def _duel(duel: Duel | None) -> Group | None:
    if duel is None:
        return None
    rows: list[list[Cell] | None] = [
        [
            Words(d.name, hang=2),
            percent(d.share, 0),
            percent(d.low, 0),
            percent(d.high, 0),
            Words(f"{d.low_label}; {d.high_label}", hang=2),
        ]
        for d in duel.deciders
    ]
    columns = (
        Column("uncertain number", words=True, least=22),
        Column("decides", "%"),
        Column(f"{duel.a} wins", "%, first"),
        Column(f"{duel.a} wins", "%, then"),
        Column("where", words=True),
    )
    return section(
        f"What decides between {duel.a} and {duel.b}",
        table(columns, rows),
        Text(""),
        Words(
            f"{duel.a} is the better one in {percent(duel.a_wins, 0)} % of draws; their "
            f"difference is {number(duel.gap, 3)} +- {number(duel.gap_sd, 3)} score points "
            "(standard deviation). Decides: the share of its variance that a number explains by "
            f"itself. {duel.a} wins: in the number's lowest and highest quarter, or under the "
            "model least and most in its favour."
        ),
    )


def spread_words(u: Uncertain) -> str:
    """ "cost of mass on the foot: a factor of 2 either way (95 %)"."""
    if u.sd == 0.0:
        return f"{u.title}: taken as certain"
    if u.lognormal:
        from math import exp

        return f"{u.title}: a factor of {number(exp(Z95 * u.sd), 2)} either way (95 %)"
    return f"{u.title}: +-{number(u.sd, 2)} W/kg (standard deviation)"


def _mix_words(family: str, weights: tuple[tuple[str, float], ...]) -> str:
    total = sum(w for _, w in weights)
    shares = [f"{name} {percent(w / total, 0)} %" for name, w in weights if w > 0.0]
    return f"{family} model: {listing(shares)}"


def _spread(found: Trust) -> Group:
    from optimizer.trust.draws import uncertain_of

    spread: Spread = found.spread
    lines = [_mix_words("leg", spread.leg_weights), _mix_words("trunk", spread.trunk_weights)]
    lines += [spread_words(u) for u in uncertain_of(spread)]
    if any(u.group for u in uncertain_of(spread)):
        lines.append(
            "numbers of one study are correlated, "
            f"{number(spread.correlation, 2)} between their logarithms (a judgement)"
        )
    if spread.walking:
        lines.append("the wearer's net walking power, by the spread of the walking model")
    if spread.part_tolerance:
        share = percent(spread.part_tolerance, 0)
        lines.append(f"each part weighs within {share} % of what is written, evenly")
    if spread.ranges.any:
        lines.append(f"{counted(len(found.bodies), 'body', 'bodies')} and speeds within the ranges")
    return section("Drawn from", *bullets(lines))


def trust_document(study: Study, found: Trust) -> Document:
    """The answer of `trust` as a document."""
    best = next((x for x in found.layouts if x.rank == 1), None)
    return {
        **head(TRUST),
        "study": study_record(study),
        "complete": found.complete,
        "draws": {
            "evaluated": found.draws,
            "void": found.void,
            "solved": found.solved,
            "asked_to_solve": found.asked,
            "without_layout": found.unsolvable,
        },
        "layouts": [_record(x, best) for x in found.layouts],
        "left_out": found.left_out,
        "missing": {
            "tested": found.missing.tested,
            "misses": found.missing.misses,
            "at_most_95pct": found.missing.at_most,
        },
        "stability": None
        if found.stability is None
        else {
            "kendall_tau": found.stability.tau,
            "kendall_tau_5pct": found.stability.tau_low,
            "best_stays_best": found.stability.first,
            "best_in_top_3": found.stability.top3,
        },
        "duel": _duel_record(found.duel),
        "least_worst_regret": _least_record(found.least_worst),
        "spread": _spread_record(found.spread),
        "bodies": [{"stature_m": h, "mass_kg": m, "speed_m_s": v} for h, m, v in found.bodies],
        "warnings": list(found.warnings),
        "cautions": [*CAUTIONS, *BASIS],
    }


def _record(x: Trusted, best: Trusted | None) -> Document:
    at = x.assessment
    differs: list[str] = []
    if best is not None and best.assessment is not None and at is not None:
        differs = list(differences(best.assessment.layout, at.layout))
    return {
        "name": x.name,
        "rank": x.rank,
        "win_share": x.win_share,
        "win_se": x.win_se,
        "near_share": x.near_share,
        "regret": {"mean": x.mean_regret, "worst": x.worst_regret, "worst_exact": x.exact_worst},
        "fits": x.fits,
        "score": None if at is None else at.score,
        "differs_from_best": differs,
        "parts": None
        if at is None
        else [{"unit": p.unit, "model": p.model, "site": p.site} for p in at.layout.placements],
        "lines": None
        if at is None
        else [
            {"line": r.line, "option": r.option, "route": list(r.nodes)} for r in at.layout.routings
        ],
    }


def _duel_record(duel: Duel | None) -> Document | None:
    if duel is None:
        return None
    return {
        "a": duel.a,
        "b": duel.b,
        "a_wins": duel.a_wins,
        "gap": duel.gap,
        "gap_sd": duel.gap_sd,
        "deciders": [
            {
                "name": d.name,
                "first_order_index": d.share,
                "a_wins_low": d.low,
                "a_wins_high": d.high,
                "low": d.low_label,
                "high": d.high_label,
            }
            for d in duel.deciders
        ],
    }


def _least_record(worst: LeastWorst | None) -> Document | None:
    if worst is None:
        return None
    return {
        "name": worst.name,
        "regret": worst.regret,
        "bound": worst.bound,
        "proven": worst.proven,
        "status": worst.status,
        "over_draws": worst.over,
        "regret_of_study_best": worst.nominal_regret,
    }


def _spread_record(spread: Spread) -> Document:
    return {
        "coefficients": [
            {
                "name": u.name,
                "title": u.title,
                "family": u.family,
                "models": list(u.models),
                "distribution": "lognormal" if u.lognormal else "normal",
                "sd": u.sd,
                "group": u.group,
                "source": u.source,
                "provenance": u.provenance,
            }
            for u in spread.uncertain
        ],
        "leg_weights": dict(spread.leg_weights),
        "trunk_weights": dict(spread.trunk_weights),
        "correlation": spread.correlation,
        "part_tolerance": spread.part_tolerance,
        "walking": spread.walking,
    }
