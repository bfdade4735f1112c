"""Two layouts or studies side by side, differences first."""

from __future__ import annotations

from collections.abc import Callable

from rich.console import Console, Group, RenderableType
from rich.text import Text

from optimizer.assess.result import Assessment, Proof
from optimizer.solve.compare import Comparison, Side
from optimizer.solve.figures import FIGURES
from optimizer.solve.whatif import newly_binding
from optimizer.views.cautions import BASIS, CAUTIONS, all_warnings, cautions_view, warnings_view
from optimizer.views.differences import differences, differences_in_short
from optimizer.views.header import title_words
from optimizer.views.infeasible import obstacle_words
from optimizer.views.json import head
from optimizer.views.json_records import Document, layout_record, study_record
from optimizer.views.quantity import distinct_column, number
from optimizer.views.table import Cell, Column, section, table
from optimizer.views.words import Words, bullets, counted, listing, segment_words

COMPARISON = "limbtrim.comparison/1"
#: Differences of the input listed before they are only counted.
LISTED = 40


def comparison_page(found: Comparison, console: Console) -> Group:
    """The answer of `compare`: what differs first, then the figures, then what is the same."""
    blocks: list[RenderableType | None] = [
        Words(f"a: {_side_words(found.a)}", hang=3),
        Words(f"b: {_side_words(found.b)}", hang=3),
        Text(""),
        layouts_view(found),
        figures_view(found),
        limits_view(found),
        crossed_view(found),
        inputs_view(found),
        warnings_view(_warnings(found.a), _warnings(found.b)),
        cautions_view(),
    ]
    return Group(*(block for block in blocks if block is not None))


def _warnings(side: Side) -> list[str]:
    """What is to be said of one side, whether it has a layout or not."""
    layout = () if side.assessment is None else side.assessment.warnings
    clash = () if side.infeasible is None else side.infeasible.warnings
    return all_warnings(side.study.warnings, layout, clash)


def _side_words(side: Side) -> str:
    how = {
        "optimal": "its best layout, proven",
        "given": "a given layout",
        "infeasible": "nothing meets every limit",
        "stopped": "stopped before any layout was found",
    }.get(side.proof, f"its best layout so far ({side.proof})")
    return f"{side.label}: {title_words(side.study)}, {how}"


def layouts_view(found: Comparison) -> Group:
    """What to change in a to get b."""
    a, b = found.a.assessment, found.b.assessment
    sides = ((found.a, "a"), (found.b, "b"))
    if a is None or b is None:
        return section(
            "Layouts",
            Words("One of the two has no layout to compare.", "tight"),
            *bullets([text for side, name in sides for text in _missing(side, name)]),
        )
    moved = differences_in_short(a.layout, b.layout)
    only = _only(a, b)
    if not moved and not only:
        return section("Layouts", Words("The layouts are the same."))
    return section("From a to b", *bullets([*only, *moved]))


def _missing(side: Side, name: str) -> list[str]:
    """Why a side has no layout."""
    if side.infeasible is None:
        return []
    obstacles = side.infeasible.obstacles
    mends = [f" -> {o.least_change_text}" if o.least_change_text else "" for o in obstacles]
    return [
        f"in {name} this cannot hold: {obstacle_words(o)}{mend}"
        for o, mend in zip(obstacles, mends, strict=True)
    ]


def _only(a: Assessment, b: Assessment) -> list[str]:
    parts = [dict.fromkeys(p.part for p in found.parts) for found in (a, b)]
    told = [f"only in a: {listing([p for p in parts[0] if p not in parts[1]])}"]
    told += [f"only in b: {listing([p for p in parts[1] if p not in parts[0]])}"]
    return [text for text in told if not text.endswith(": ")]


def figures_view(found: Comparison) -> Group | None:
    """Figures side by side, those that differ first."""
    a, b = found.a, found.b
    if a.assessment is None or b.assessment is None:
        return None
    rows: list[list[Cell] | None] = []
    same: list[list[Cell] | None] = []
    for name, unit, one, two in figure_rows(a, b):
        if one is None or two is None:
            differs, told, more = True, [number(one, 2), number(two, 2)], "-"
        else:
            differs = abs(one - two) > 1e-9 * max(1.0, abs(one), abs(two))
            told = distinct_column([one, two], 2, 6)
            decimals = len(told[0].partition(".")[2])
            more = f"{'+' if two > one else '-'}{number(abs(two - one), decimals)}"
        row: list[Cell] = [Words(name, hang=2), *told, more if differs else "same"]
        row += [Words(unit)]
        (rows if differs else same).append(row)
    if rows and same:
        rows.append(None)
    columns = (
        Column("", words=True),
        Column("a"),
        Column("b"),
        Column("b - a"),
        Column("", words=True),
    )
    return section("Figures", table(columns, rows + same))


def figure_rows(a: Side, b: Side) -> list[tuple[str, str, float | None, float | None]]:
    """Name, unit and both values of every figure, and of every segment's mass.

    A value is None where that study says nothing of the figure; what is nothing in both is left
    out.
    """
    one, two = a.assessment, b.assessment
    assert one is not None and two is not None
    skipped = {"legs_g", "trunk_g"}
    rows = [
        (f.title, f.unit, f.told(a.study, one), f.told(b.study, two))
        for f in FIGURES.values()
        if f.name not in skipped
    ]
    grams: Callable[[Assessment, str], float] = lambda found, key: found.mass_kg[key] * 1e3  # noqa: E731
    rows += [
        (f"mass on the {segment_words(*key.split('.'))}", "g", grams(one, key), grams(two, key))
        for key in one.mass_kg
    ]
    return [
        row for row in rows if any(row[2:]) and all(v is None or abs(v) < 1e300 for v in row[2:])
    ]


def limits_view(found: Comparison) -> Group | None:
    """Limits that bind one of the two only."""
    a, b = found.a.assessment, found.b.assessment
    if a is None or b is None:
        return None
    lines = [
        f"binds only {name}: {limit.label} ({number(limit.value, 2)} of "
        f"{number(limit.limit, 2)} {limit.unit})"
        for name, limits in (("b", newly_binding(a, b)), ("a", newly_binding(b, a)))
        for limit in limits
    ]
    return section("Limits", *bullets(lines)) if lines else None


def crossed_view(found: Comparison) -> Group | None:
    """Each layout in the other's study."""
    if found.a.study is found.b.study or not found.inputs:
        return None
    lines = []
    for mine, theirs, there, own in (
        ("a", "b", found.a_in_b, found.b.assessment),
        ("b", "a", found.b_in_a, found.a.assessment),
    ):
        if (found.a if mine == "a" else found.b).assessment is None:
            continue
        if there is None:
            lines.append(f"{mine}'s layout cannot be made with {theirs}'s parts, sites and lines")
        elif not there.feasible:
            broken = dict.fromkeys(limit.label for limit in there.limits if not limit.met)
            lines.append(f"{mine}'s layout in {theirs} would break: {listing(list(broken))}")
        elif own is not None:
            lines.append(
                f"{mine}'s layout in {theirs} scores {number(there.score, 3)}, {theirs}'s own "
                f"{number(own.score, 3)}"
            )
    return section("Each layout under the other's terms", *bullets(lines)) if lines else None


def inputs_view(found: Comparison) -> Group:
    """What the two studies say differently."""
    if not found.inputs:
        return section("Input", Words("Both studies say the same."))
    rows: list[list[Cell] | None] = [
        [Words(d.path, hang=2), Words(d.a, hang=2), Words(d.b, hang=2)]
        for d in found.inputs_in_short[:LISTED]
    ]
    columns = (Column("path", words=True), Column("a", words=True), Column("b", words=True))
    rest = len(found.inputs_in_short) - LISTED
    more = [Words(f"{rest} further ones are not shown; --json has them all.")] if rest > 0 else []
    title = f"Input: {counted(len(found.inputs_in_short), 'difference')}"
    return section(title, table(columns, rows), *more)


def comparison_document(found: Comparison) -> Document:
    """The answer of `compare` as JSON: "a", "b", what "differs" in layout, figures and input."""
    a, b = found.a.assessment, found.b.assessment
    both = a is not None and b is not None
    return {
        **head(COMPARISON),
        "a": _side(found.a),
        "b": _side(found.b),
        "layout_differences": list(differences(a.layout, b.layout)) if a and b else None,
        "figures": [
            {"figure": name, "unit": unit, "a": one, "b": two}
            for name, unit, one, two in (figure_rows(found.a, found.b) if both else [])
        ],
        "binds_only_a": [m.label for m in newly_binding(b, a)] if both else None,
        "binds_only_b": [m.label for m in newly_binding(a, b)] if both else None,
        "a_in_b": _crossed(found.a_in_b),
        "b_in_a": _crossed(found.b_in_a),
        "input_differences": [{"path": d.path, "a": d.a, "b": d.b} for d in found.inputs],
        "warnings": all_warnings(_warnings(found.a), _warnings(found.b)),
        "cautions": [*CAUTIONS, *BASIS],
    }


def _side(side: Side) -> Document:
    found = side.assessment
    layout = None
    if found is not None:
        proof = Proof(side.proof, found.score, float("nan"), float("nan"), 0.0, 0)
        layout = layout_record(found, proof)
    return {
        "label": side.label,
        "study": study_record(side.study),
        "proof": side.proof,
        "layout": layout,
    }


def _crossed(found: Assessment | None) -> Document | None:
    if found is None:
        return None
    return {"score": found.score, "feasible": found.feasible}
