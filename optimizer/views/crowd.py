"""One garment for many bodies, in tables and as a document.

Document "limbtrim.crowd/1": "wearers" with their own best ("own": layout, score, proven), their
score in the common layouts ("mean", "worst"; null: does not fit) and in the study's own best
("study"), "regret" and what is amiss; "common": the layouts of least mean and least worst score
with value, bound and proof; "layouts" by name; "cut_lengths" per line and size.
"""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console, Group, RenderableType
from rich.text import Text

from optimizer.assess.result import Layout
from optimizer.crowd.result import Common, Crowd, Served, ShortLine
from optimizer.study.model import Study
from optimizer.views.cautions import BASIS, CAUTIONS, all_warnings, cautions_view, warnings_view
from optimizer.views.differences import differences_in_short
from optimizer.views.header import solved_line
from optimizer.views.json import Document, head
from optimizer.views.json_records import study_record
from optimizer.views.quantity import cut_mm, number
from optimizer.views.table import Cell, Column, section, table
from optimizer.views.words import Words, bullets, counted, listing

CROWD = "limbtrim.crowd/1"
#: Wearers listed one by one, at most; of a larger crowd those served worst.
LISTED = 20
#: Regret as a share of the own best's score from which a wearer counts as served badly.
BADLY = 0.05


def crowd_page(study: Study, found: Crowd, console: Console) -> Group:
    """The answer of `crowd`."""
    blocks: list[RenderableType | None] = [
        solved_line(study),
        Text(""),
        _common(found),
        _wearers(found),
        _layouts(found),
        _short(found),
        _cuts(found),
        warnings_view(found.warnings, _percentile_note(found)),
        cautions_view(),
    ]
    return Group(*(block for block in blocks if block is not None))


def _percentile_note(found: Crowd) -> tuple[str, ...]:
    if any(
        w.person.spec.origin.file.endswith("ansur_percentile_wearers.csv") for w in found.wearers
    ):
        return (
            "the supplied bodies have every dimension at one percentile of ANSUR II (soldiers, "
            "2012); no one person has, so they are corners to serve, not people",
        )
    return ()


def _common(found: Crowd) -> Group:
    lines = []
    for common, what in ((found.mean, "mean"), (found.worst, "worst")):
        if common is not None:
            lines.append(Words(_common_words(common, what), "good" if common.proven else "tight"))
    n = len(found.wearers)
    if not found.complete:
        text = "Stopped by hand: not every wearer's own best is known, and no common layout."
        lines.append(Words(text, "tight"))
    elif found.mean is None:
        lines.append(Words("No layout was found that fits anybody.", "bad"))
    elif not found.everyone:
        out = [w.person.name for w in found.wearers if w.mean_score is None]
        lines.append(
            Words(
                f"No one layout fits all {n}. This one leaves out {listing(out)}; it serves most "
                "of the layouts tried, which is not proven to be the most there is.",
                "tight",
            )
        )
    return section("One layout for all", *lines)


def _common_words(common: Common, what: str) -> str:
    proof = "proven" if common.proven else f"not proven, at least {number(common.bound, 3)}"
    kind = "least mean score" if what == "mean" else "least worst score"
    return (
        f"{common.name} has the {kind} over {counted(common.served, 'wearer')}: "
        f"{number(common.value, 3)} ({proof})."
    )


def _wearers(found: Crowd) -> Group:
    listed = list(found.wearers)
    note = ""
    if len(listed) > LISTED:
        listed = sorted(listed, key=lambda w: -(w.regret if w.regret is not None else 1e9))[:LISTED]
        note = f"the {LISTED} of {len(found.wearers)} who lose most"
    rows: list[list[Cell] | None] = [
        [
            Words(w.person.name),
            number(w.person.spec.stature_m * 1e3, 0),
            number(w.person.spec.mass_kg, 0),
            w.own_layout or "-",
            number(w.own_score, 3),
            number(w.mean_score, 3),
            number(None if w.regret is None else max(w.regret, 0.0), 3),
            number(w.study_score, 3),
            Words(_verdict(w)),
        ]
        for w in listed
    ]
    columns = (
        Column("wearer", words=True),
        Column("tall", "mm"),
        Column("mass", "kg"),
        Column("own", "best"),
        Column("own", "score"),
        Column("common", "score"),
        Column("loses", "points"),
        Column("study's", "best"),
        Column("served", words=True),
    )
    return section("Each wearer", table(columns, rows), note=note)


def _verdict(w: Served) -> str:
    if w.own_score is None:
        return "by no layout"
    if w.mean_score is None:
        return "not by the common one" if w.common_short or w.amiss else "-"
    return "badly" if (w.regret or 0.0) > BADLY * abs(w.own_score) else "well"


def _layouts(found: Crowd) -> Group | None:
    base_name = found.mean.name if found.mean is not None else next(iter(found.layouts), None)
    if base_name is None or len(found.layouts) < 2:
        return None
    base = found.layouts[base_name]
    rows: list[list[Cell] | None] = []
    for name, layout in found.layouts.items():
        wearers = [w.person.name for w in found.wearers if w.own_layout == name]
        phrases = differences_in_short(base, _comparable(base, layout)) if name != base_name else ()
        rows.append(
            [
                name,
                Words(_few(wearers)),
                Group(*(Words(p, hang=2) for p in phrases or ["-"])),
            ]
        )
    columns = (
        Column("layout"),
        Column("best of all for", words=True),
        Column(f"differs from {base_name} by", words=True),
    )
    return section("Layouts", table(columns, rows))


def _comparable(base: Layout, layout: Layout) -> Layout:
    """A layout without routes compares by its places alone."""
    return layout if layout.routings else Layout(layout.placements, base.routings)


def _few(names: Sequence[str], most: int = 4) -> str:
    if len(names) <= most:
        return listing(names) or "-"
    return f"{', '.join(names[:most])} and {len(names) - most} more"


def short_words(lines: Sequence[ShortLine]) -> str:
    """ "fill_tube needs 1213 mm, at most 1212"."""
    return "; ".join(
        f"{s.line} needs {number(s.need_m * 1e3, 0)} mm, at most {number(s.longest_m * 1e3, 0)}"
        for s in lines
    )


def _short(found: Crowd) -> Group | None:
    said = []
    for w in found.wearers:
        if w.own_score is None and found.complete:
            said.append(f"{w.person.name}: no layout at all meets every limit on this body")
        if w.study_score is None and (w.study_short or w.study_amiss):
            why = short_words(w.study_short) or "; ".join(w.study_amiss)
            said.append(f"{w.person.name}, in the layout best for the study's own wearer: {why}")
        if w.mean_score is None and found.mean is not None and (w.common_short or w.amiss):
            why = short_words(w.common_short) or "; ".join(w.amiss)
            said.append(f"{w.person.name}, in {found.mean.name}: {why}")
    return section("Who does not fit, and why", *bullets(said)) if said else None


def _cuts(found: Crowd) -> Group | None:
    if not found.cuts or found.mean is None:
        return None
    cut_sizes = {cut.size for cut in found.cuts}
    sizes = [s for s in dict.fromkeys(w.person.size for w in found.wearers) if s in cut_sizes]
    rows: list[list[Cell] | None] = []
    for line in dict.fromkeys(cut.line for cut in found.cuts):
        each = {cut.size: cut for cut in found.cuts if cut.line == line}
        option = next(iter(each.values())).option
        rows.append(
            [
                Words(line),
                Words(option),
                *(str(cut_mm(each[s].cut_m)) if s in each else "-" for s in sizes),
            ]
        )
    columns = (
        Column("line", words=True),
        Column("option", words=True),
        *(Column(size, "mm") for size in sizes),
    )
    return section(
        "Cut lengths by size",
        table(columns, rows),
        Text(""),
        Words(
            f"For {found.mean.name}: the longest that a wearer of the size needs, joint slack and "
            "service slack included; on the others of the size the rest is spare."
        ),
        *_who_wears(found, sizes),
    )


def _who_wears(found: Crowd, sizes: Sequence[str]) -> list[Words]:
    """Which wearers a size was cut for, a line each; nothing if there is one size for all."""
    if len(sizes) < 2:
        return []
    wearers = {
        size: [
            w.person.name
            for w in found.wearers
            if w.person.size == size and w.mean_score is not None
        ]
        for size in sizes
    }
    return [Words(f"{size}: {_few(names)}", hang=2) for size, names in wearers.items()]


def crowd_document(study: Study, found: Crowd) -> Document:
    """The answer of `crowd` as a document."""
    return {
        **head(CROWD),
        "study": study_record(study),
        "complete": found.complete,
        "everyone": found.everyone,
        "common": {
            "mean": _common_record(found.mean),
            "worst": _common_record(found.worst),
        },
        "wearers": [_served_record(w) for w in found.wearers],
        "layouts": {
            name: {
                "parts": [
                    {"unit": p.unit, "model": p.model, "site": p.site} for p in layout.placements
                ],
                "lines": [{"line": r.line, "option": r.option} for r in layout.routings],
            }
            for name, layout in found.layouts.items()
        },
        "cut_lengths": [
            {
                "line": c.line,
                "option": c.option,
                "size": c.size,
                "wearers": c.wearers,
                "cut_m": c.cut_m,
                "shortest_m": c.shortest_m,
            }
            for c in found.cuts
        ],
        "warnings": all_warnings(found.warnings, _percentile_note(found)),
        "cautions": [*CAUTIONS, *BASIS],
    }


def _common_record(common: Common | None) -> Document | None:
    if common is None:
        return None
    return {
        "layout": common.name,
        "value": common.value,
        "bound": common.bound,
        "proven": common.proven,
        "served": common.served,
    }


def _short_record(lines: Sequence[ShortLine]) -> list[Document]:
    return [{"line": s.line, "need_m": s.need_m, "longest_m": s.longest_m} for s in lines]


def _served_record(w: Served) -> Document:
    return {
        "name": w.person.name,
        "size": w.person.size,
        "sex": w.person.spec.sex,
        "stature_m": w.person.spec.stature_m,
        "mass_kg": w.person.spec.mass_kg,
        "own": {"layout": w.own_layout, "score": w.own_score, "proven": w.own_proven},
        "mean_score": w.mean_score,
        "worst_score": w.worst_score,
        "regret": w.regret,
        "study_score": w.study_score,
        "study_lines_too_short": _short_record(w.study_short),
        "study_amiss": list(w.study_amiss),
        "common_lines_too_short": _short_record(w.common_short),
        "common_amiss": list(w.amiss),
        "warnings": list(w.warnings),
    }
