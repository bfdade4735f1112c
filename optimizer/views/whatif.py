"""Scenarios side by side: what moves, what it saves, which limits then bind."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from optimizer.assess.result import LimitReport, Obstacle, Proof
from optimizer.solve.figures import FIGURES, price_of
from optimizer.solve.whatif import CaseResult, WhatIf, newly_binding
from optimizer.study.model import Study
from optimizer.views.cautions import BASIS, CAUTIONS, all_warnings, cautions_view, warnings_view
from optimizer.views.differences import differences, differences_in_short
from optimizer.views.header import solved_line
from optimizer.views.infeasible import obstacle_words
from optimizer.views.json import head
from optimizer.views.json_records import Document, layout_record, study_record
from optimizer.views.quantity import column, distinct_column, number
from optimizer.views.table import Cell, Column, is_wide, section, table
from optimizer.views.words import Words, bullets, listing

WHATIF = "limbtrim.whatif/1"


def whatif_page(study: Study, found: WhatIf, console: Console) -> Group:
    """The answer of `whatif`."""
    blocks: list[RenderableType | None] = [
        solved_line(study),
        Text(""),
        side_by_side(found, console),
        *(case_view(found, result) for result in found.results[1:]),
        warnings_view(study.warnings, _warnings(found)),
        cautions_view(),
    ]
    return Group(*(block for block in blocks if block is not None))


def _warnings(found: WhatIf) -> list[str]:
    """What is to be said of any scenario, of those that nothing fits in too."""
    layouts = (r.best.warnings for r in found.results if r.best is not None)
    clashes = (r.infeasible.warnings for r in found.results if r.infeasible is not None)
    return all_warnings(*layouts, *clashes)


def side_by_side(found: WhatIf, console: Console) -> Group:
    """One row for the study as written and each scenario."""
    results, base = found.results, found.base.best
    best = [r.best for r in results]
    columns = [Column("", words=True), Column("score"), Column("against", "as written")]
    cells: list[list[str]] = [
        _distinct([a.score if a else None for a in best]),
        column([a.score - base.score if a and base else None for a in best], 3, 4),
    ]
    columns += [Column("penalty", "W"), Column("walking", "%"), Column("swing", "added %")]
    cells += [
        column([a.metabolic_w if a else None for a in best], 2, 4),
        column([a.metabolic_pct if a else None for a in best], 2, 4),
        column([a.swing_inertia_pct if a else None for a in best], 2, 4),
    ]
    columns += [Column("worn", "g")]
    cells += [column([a.total_mass_kg * 1e3 if a else None for a in best], 0, 0)]
    if is_wide(console):
        columns += [Column("assist", "W"), Column("price")]
        cells += [
            column([a.assist_w if a else None for a in best], 2, 4),
            [_price(r) for r in results],
        ]
    columns += [Column("saved by", "moving")]
    cells += [column([r.saved_by_moving for r in results], 3, 4)]
    rows: list[list[Cell] | None] = [
        [Words(r.case.name, hang=2), *(values[i] for values in cells)]
        for i, r in enumerate(results)
    ]
    rows.insert(1, None)
    told = [
        Words(
            "Against as written: how much lower (-) or higher the score gets. Saved by moving: "
            "what the new layout scores below the layout that is best as written, kept under the "
            "scenario; - where that is not allowed there.",
            "quiet",
        )
    ]
    if all(r.proven for r in results if r.best is not None):
        told.insert(0, Words("Every layout here is proven best in its scenario.", "good"))
    else:
        told.insert(0, Words("Not every layout here is proven best: the search was cut.", "tight"))
    if found.left_out:
        text = f"Stopped before {listing([repr(name) for name in found.left_out])}."
        told.insert(0, Words(text, "tight"))
    return section("What if", table(columns, rows), Text(""), *told)


def _distinct(values: list[float | None]) -> list[str]:
    real = distinct_column([v for v in values if v is not None], 3, 6)
    found = iter(real)
    return ["-" if v is None else next(found) for v in values]


def _price(result: CaseResult) -> str:
    if result.best is None:
        return "-"
    price = price_of(result.case.study, result.best)
    return f"{price:g}" if price else "-"


def case_view(found: WhatIf, result: CaseResult) -> Group:
    """One scenario in words."""
    base = found.base.best
    lines: list[str] = [f"set: {listing(list(result.case.settings))}"]
    if result.best is None:
        if result.infeasible is not None:
            lines.append("no layout meets every limit; this cannot hold:")
            clash = [_obstacle(obstacle) for obstacle in result.infeasible.obstacles]
            more = bullets(clash) or [Words("many limits together; `limbtrim place` says more")]
            return section(result.case.name, *bullets(lines), Padding(Group(*more), (0, 0, 0, 2)))
        else:
            lines.append("stopped before any layout was found")
        return section(result.case.name, *bullets(lines))
    if base is None:
        lines.append("as written nothing meets every limit, so there is nothing to compare with")
        return section(result.case.name, *bullets(lines))
    moved = differences_in_short(base.layout, result.best.layout)
    lines.append("changes:" if moved else "nothing moves")
    further = _savings(found, result)
    binding = newly_binding(base, result.best)
    freed = newly_binding(result.best, base)
    further.append(f"now binding: {listing(_labels(binding)) or 'no limit that did not before'}")
    if freed:
        further.append(f"no longer binding: {listing(_labels(freed))}")
    further += _purchases(found, result)
    changes = Padding(Group(*bullets(moved)), (0, 0, 0, 2))
    return section(
        result.case.name, *bullets(lines), *([changes] if moved else []), *bullets(further)
    )


def _obstacle(obstacle: Obstacle) -> str:
    """A limit that nothing can meet, and what would mend it."""
    mend = f" -> {obstacle.least_change_text}" if obstacle.least_change_text else ""
    return f"{obstacle_words(obstacle)}{mend}"


def _purchases(found: WhatIf, result: CaseResult) -> list[str]:
    """What the parts cost, where other models are bought than as written."""
    assert found.base.best is not None and result.best is not None
    before = price_of(found.base.case.study, found.base.best)
    after = price_of(result.case.study, result.best)
    return [f"all parts cost {after:g} instead of {before:g}"] if before != after else []


def _labels(limits: Sequence[LimitReport]) -> list[str]:
    return list(dict.fromkeys(limit.label for limit in limits))


def _savings(found: WhatIf, result: CaseResult) -> list[str]:
    base, best, kept = found.base.best, result.best, result.kept
    assert base is not None and best is not None
    watts = best.metabolic_w - base.metabolic_w
    inertia = best.swing_inertia_pct - base.swing_inertia_pct
    lines = [f"{_change(watts, inertia)} against as written"]
    if kept is None:
        lines.append("the layout that is best as written cannot be made here")
    elif not kept.feasible:
        broken = dict.fromkeys(limit.label for limit in kept.limits if not limit.met)
        lines.append(f"left where they are the parts would break: {listing(list(broken))}")
    elif result.saved_by_moving:
        watts = best.metabolic_w - kept.metabolic_w
        inertia = best.swing_inertia_pct - kept.swing_inertia_pct
        lines.append(
            f"moving saves {number(result.saved_by_moving, 4)} of the score "
            f"({_change(watts, inertia)} against leaving them in place)"
        )
    return lines


def _change(watts: float, inertia_pct: float) -> str:
    """How penalty and swing inertia change: "0.12 W less and the same swing inertia"."""
    told = []
    for value, unit, name in (
        (watts, "W", "penalty"),
        (inertia_pct, "% of swing inertia", "swing inertia"),
    ):
        size = number(abs(value), 2)
        more = "more" if value > 0 else "less"
        told.append(f"the same {name}" if size == "0.00" else f"{size} {unit} {more}")
    return listing(told)


def whatif_document(study: Study, found: WhatIf) -> Document:
    """The answer of `whatif` as JSON: "scenarios", the study as written first.

    Of each: "name", "set", its own "study", "layout" (null if nothing fits), "proven",
    "differs_from_as_written", "kept" (what the layout that is best as written scores there, and
    whether it is allowed), "saved_by_moving", "now_binding", "no_longer_binding".
    """
    return {
        **head(WHATIF),
        "study": study_record(study),
        "complete": found.complete,
        "scenarios": [_case(found, result) for result in found.results],
        "warnings": all_warnings(study.warnings, _warnings(found)),
        "cautions": [*CAUTIONS, *BASIS],
    }


def _case(found: WhatIf, result: CaseResult) -> Document:
    base, best, kept = found.base.best, result.best, result.kept
    moved = () if base is None or best is None else differences(base.layout, best.layout)
    obstacles = () if result.infeasible is None else result.infeasible.obstacles
    proof = None
    if best is not None:
        status = "optimal" if result.proven else "interrupted"
        proof = Proof(status, best.score, float("nan"), float("nan"), 0.0, 0)
    return {
        "name": result.case.name,
        "set": list(result.case.settings),
        "study": study_record(result.case.study),
        "proven": result.proven,
        "layout": None if best is None or proof is None else layout_record(best, proof),
        "obstacles": [obstacle.text for obstacle in obstacles],
        "price": None if best is None else FIGURES["price"].told(result.case.study, best),
        "differs_from_as_written": list(moved),
        "kept": None if kept is None else {"score": kept.score, "feasible": kept.feasible},
        "saved_by_moving": result.saved_by_moving,
        "now_binding": _labels(newly_binding(base, best)),
        "no_longer_binding": _labels(newly_binding(best, base)),
    }
