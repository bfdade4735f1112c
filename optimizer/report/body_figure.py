"""The body with the device on it, from the front and the side, at the wearer's own proportions.

Every site is a small square, every place in use a disc whose area is the mass put there, cut into
one wedge per part by its share; lines run straight from node to node of their routes. Elements
bear ids such as "front:part:pump" so that what is drawn can be compared with what was computed.
"""

from __future__ import annotations

from math import sqrt
from typing import TYPE_CHECKING

import numpy as np

from optimizer.assess.result import Assessment
from optimizer.report.outline import Array, View, height_range, is_far, outline, project
from optimizer.report.places import Load, in_view, loads, route_points, views_of
from optimizer.report.style import (
    BODY,
    FAINT,
    INK,
    PAGE_MM,
    PART,
    PART_LIGHT,
    QUIET,
    STROKES,
    Picture,
    look,
    mark,
    new_figure,
    picture,
)
from optimizer.setting import Setting
from optimizer.study.model import OFF_BODY, Site
from optimizer.views.quantity import grams, number
from optimizer.views.words import clean, wrap

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

#: Radius of the disc of 1 kg [m]; areas go with mass.
DISC_M = 0.062
_MARGIN_M = 0.04
_LABEL_MM = 38.0
_TALLEST_MM = 168.0
_LEGEND_MM = 15.0
_TURNS = ((1, 0), (-1, 0), (0.7, 0.7), (-0.7, 0.7), (0.7, -0.7), (-0.7, -0.7), (0, 1), (0, -1))
_VIEWS: dict[str, str] = {
    "front": "from the front",
    "right": "from the right",
    "left": "from the left",
}


def disc_radius_m(mass_kg: float) -> float:
    """Radius of a disc whose area goes with mass [m]."""
    return DISC_M * sqrt(mass_kg)


def body_picture(setting: Setting, assessment: Assessment) -> Picture:
    """The body with sites, parts and lines."""
    held = loads(setting, assessment)
    views = views_of(held)
    words = (
        "The wearer "
        + " and ".join(_VIEWS[v] for v in views)
        + ". "
        + "; ".join(
            f"{load.site.name}: {', '.join(name for name, _ in load.items)}" for load in held
        )
    )
    with look():
        return picture("body", "Where everything sits", words, _draw(setting, assessment, held))


def _draw(setting: Setting, assessment: Assessment, held: tuple[Load, ...]) -> Figure:
    views = views_of(held)
    low, high = height_range(setting.wearer)
    low, high = low - _MARGIN_M, high + _MARGIN_M
    spans = [_span(setting, held, view) for view in views]
    labels_mm = 2 * _LABEL_MM
    wide_m = sum(b - a for a, b in spans)
    mm_per_m = min(_TALLEST_MM / (high - low), (PAGE_MM - labels_mm) / wide_m)
    tall_mm = mm_per_m * (high - low)
    figure = new_figure(PAGE_MM, tall_mm + _LEGEND_MM + 6.0)
    whole_mm = tall_mm + _LEGEND_MM + 6.0
    spare = PAGE_MM - labels_mm - mm_per_m * wide_m
    left = _LABEL_MM + spare * 0.25
    for i, (view, (a, b)) in enumerate(zip(views, spans, strict=True)):
        wide = mm_per_m * (b - a)
        axes = figure.add_axes(
            (left / PAGE_MM, _LEGEND_MM / whole_mm, wide / PAGE_MM, tall_mm / whole_mm)
        )
        axes.set_xlim(a, b)
        axes.set_ylim(low, high)
        axes.set_axis_off()
        axes.set_gid(mark("view", view))
        _draw_view(axes, setting, assessment, held, view)
        axes.text((a + b) / 2, high + 0.005, _VIEWS[view], ha="center", va="bottom", weight="bold")
        if i == 0:
            _label_margins(axes, held, (low, high), mm_per_m)
        left += wide + (_LABEL_MM + spare * 0.5 if i == 0 else 0.0)
    _legend(figure, assessment, mm_per_m, whole_mm)
    return figure


def _span(setting: Setting, held: tuple[Load, ...], view: View) -> tuple[float, float]:
    """How far across the page a view reaches, body, sites and anchors [m]."""
    worn = [s for s in setting.study.sites if s.key != OFF_BODY]
    points = [shape.points for shape in outline(setting.wearer, view)]
    if worn:
        points.append(project(np.array([setting.wearer.position(s) for s in worn]), view))
    for load in held:
        middle = project(load.position, view)
        reach = disc_radius_m(load.mass_kg) * np.array([1.0, 0.0])
        points += [middle - reach, middle + reach]
    across = np.concatenate([p[:, 0] for p in points])
    return float(across.min()) - _MARGIN_M, float(across.max()) + _MARGIN_M


def _draw_view(
    axes: Axes, setting: Setting, assessment: Assessment, held: tuple[Load, ...], view: View
) -> None:
    for shape in outline(setting.wearer, view):
        axes.fill(*shape.points.T, color=BODY, lw=0, zorder=1, gid=mark(view, "body", shape.name))
    seen = [s for s in setting.study.sites if s.key != OFF_BODY and in_view(s, view)]
    for site in seen:
        across, up = project(setting.wearer.position(site), view)[0]
        axes.plot(
            [across], [up], "s", ms=3.2, mfc="white", mec=QUIET, mew=0.6, zorder=2,
            gid=mark(view, "site", site.name),
        )  # fmt: skip
    sides = {s.name: s for s in setting.study.sites}
    order = list(STROKES)
    for line in sorted(assessment.lines, key=lambda n: (order.index(n.kind), n.line)):
        ends = (sides[line.site_a], sides[line.site_b])
        points = route_points(setting, line)
        if len(points) and any(in_view(end, view) for end in ends) and _same_side(ends, view):
            stroke = STROKES[line.kind]
            style = "-" if stroke.dashes is None else (0, stroke.dashes)
            axes.plot(
                *project(points, view).T, color=stroke.colour, lw=stroke.width, ls=style,
                solid_capstyle="round", solid_joinstyle="round", zorder=3 + order.index(line.kind),
                gid=mark(view, "line", line.line),
            )  # fmt: skip
    shown = [load for load in held if in_view(load.site, view)]
    for load in shown:
        _draw_load(axes, load, view)
    if view != "front":
        _draw_numbers(axes, shown, view)


def _same_side(ends: tuple[Site, Site], view: View) -> bool:
    return all(in_view(end, view) or end.key == OFF_BODY for end in ends)


def _draw_load(axes: Axes, load: Load, view: View) -> None:
    from matplotlib.patches import Circle, Wedge

    across, up = (float(v) for v in project(load.position, view)[0])
    radius = disc_radius_m(load.mass_kg)
    turned = 90.0
    for i, (name, mass) in enumerate(load.items):
        sweep = 360.0 * mass / load.mass_kg
        axes.add_patch(
            Wedge(
                (across, up), radius, turned - sweep, turned, fc=PART_LIGHT if i % 2 else PART,
                ec="white", lw=0.35, zorder=10, gid=mark(view, "part", name), alpha=None,
            )
        )  # fmt: skip
        turned -= sweep
    if is_far(load.site, view):
        axes.add_patch(
            Circle(
                (across, up), radius + 0.006, fill=False, ec=INK, lw=0.7, ls=(0, (2, 1.4)),
                zorder=11,
            )
        )  # fmt: skip


def _draw_numbers(axes: Axes, shown: list[Load], view: View) -> None:
    """The numbers of the front's labels, each beside its disc where none is yet."""
    middles = [project(load.position, view)[0] for load in shown]
    taken: list[Array] = []
    for load, middle in zip(shown, middles, strict=True):
        away = disc_radius_m(load.mass_kg) + 0.022
        spots = [
            middle + away * ring * np.array(turn) for ring in (1.0, 1.6, 2.4) for turn in _TURNS
        ]

        def crowd(spot: Array, own: Array = middle) -> float:
            near = [*(t for t in taken), *(m for m in middles if m is not own)]
            return -min((float(np.hypot(*(spot - t))) for t in near), default=9.0)

        free = [s for s in spots if crowd(s) < -0.05]
        spot = free[0] if free else min(spots, key=crowd)
        taken.append(spot)
        axes.text(
            float(spot[0]), float(spot[1]), str(load.number), ha="center", va="center", size=5.6,
            zorder=12, weight="bold",
            bbox={"boxstyle": "circle,pad=0.15", "fc": "white", "ec": INK, "lw": 0.5},
        )  # fmt: skip


def _label_margins(
    axes: Axes, held: tuple[Load, ...], heights: tuple[float, float], mm_per_m: float
) -> None:
    """What each site holds, in the margins, a thin line leading to it."""
    low, high = heights
    a, b = axes.get_xlim()
    per_line = 2.35 / mm_per_m
    columns: dict[str, list[tuple[Load, list[str], float]]] = {"left": [], "right": []}
    for load in held:
        across = float(project(load.position, "front")[0, 0])
        names = ["left", "right"]
        if abs(across) < 0.02:
            names.sort(key=lambda n: sum(len(t) + 1 for _, t, _ in columns[n]))
            where = names[0]
        else:
            where = "left" if across < 0 else "right"
        text = _label(load)
        columns[where].append((load, text, (len(text) + 1.4) * per_line))
    for where, entries in columns.items():
        tops = _spread([float(e[0].position[1]) for e in entries], [e[2] for e in entries],
                       low, high)  # fmt: skip
        edge = a - 0.004 if where == "left" else b + 0.004
        side = "right" if where == "left" else "left"
        for (load, text, _), top in zip(entries, tops, strict=True):
            axes.text(
                edge, top, f"{load.number}  {clean(load.site.name)}", ha=side, va="top",
                size=6, weight="bold", clip_on=False,
            )  # fmt: skip
            axes.text(
                edge, top - 1.1 * per_line, "\n".join(text), ha=side, va="top", size=5.4,
                color=QUIET, clip_on=False, linespacing=1.1,
            )  # fmt: skip
            across, up = project(load.position, "front")[0]
            axes.plot(
                [edge, across], [top - 0.5 * per_line, up], color=INK, lw=0.4, zorder=9,
                clip_on=False,
            )  # fmt: skip


def _label(load: Load) -> list[str]:
    masses = grams([m for _, m in load.items])
    said = ", ".join(f"{clean(n)} {g}" for (n, _), g in zip(load.items, masses, strict=True))
    shown = f"{said} g"
    lines = wrap(shown, 34)
    most = 7
    if len(lines) > most:
        total = number(load.mass_kg * 1e3, 0)
        lines = [*lines[: most - 1], f"and more: {len(load.items)} in all, {total} g"]
    return lines


def _spread(wanted: list[float], tall: list[float], low: float, high: float) -> list[float]:
    """Tops of blocks near the wanted heights, top to bottom, none over another."""
    tops: list[float] = []
    ceiling = high
    for middle, size in zip(wanted, tall, strict=True):
        top = min(middle + size / 2, ceiling)
        tops.append(top)
        ceiling = top - size
    floor = low
    for i in range(len(tops) - 1, -1, -1):  # what slid below the sheet goes up again
        tops[i] = max(tops[i], floor + tall[i])
        floor = tops[i]
    return tops


def _legend(figure: Figure, assessment: Assessment, mm_per_m: float, whole_mm: float) -> None:
    axes = figure.add_axes((0.0, 0.0, 1.0, _LEGEND_MM / whole_mm))
    axes.set_xlim(0, PAGE_MM)
    axes.set_ylim(0, _LEGEND_MM)
    axes.set_axis_off()
    from matplotlib.patches import Circle

    x, y = 4.0, 10.0
    kinds = {line.kind for line in assessment.lines}
    for kind, stroke in STROKES.items():
        if kind in kinds:
            style = "-" if stroke.dashes is None else (0, stroke.dashes)
            axes.plot([x, x + 9], [y, y], color=stroke.colour, lw=stroke.width, ls=style)
            axes.text(x + 10.5, y, stroke.words, va="center", size=6.5)
            x += 30.0
    x, y = 4.0, 4.0
    axes.plot([x + 1], [y], "s", ms=3.2, mfc="white", mec=QUIET, mew=0.6)
    axes.text(x + 4, y, "a site", va="center", size=6.5)
    x += 20
    for mass in (0.1, 0.5):
        radius = disc_radius_m(mass) * mm_per_m
        axes.add_patch(Circle((x + radius, y), radius, fc=PART, ec=FAINT, lw=0.3))
        axes.text(x + 2 * radius + 1.5, y, f"{number(mass * 1e3, 0)} g", va="center", size=6.5)
        x += 2 * radius + 13
    axes.add_patch(Circle((x + 2, y), 2.0, fill=False, ec=INK, lw=0.7, ls=(0, (2, 1.4))))
    axes.text(
        x + 5.5, y, "on the far side of the body; wedges are the parts held there, by mass",
        va="center", size=6.5,
    )  # fmt: skip
