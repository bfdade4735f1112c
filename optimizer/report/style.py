"""One look for all figures, and the same bytes every time.

Colours are those of Okabe and Ito (2008), told apart by the colour-blind; every kind is also told
by width, dash, hatch or place, so that nothing is lost in grey.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO
from typing import TYPE_CHECKING, Any, cast

from optimizer.views.words import clean

if TYPE_CHECKING:
    from matplotlib.figure import Figure

INK = "#22262b"
QUIET = "#6d7278"
FAINT = "#c9c6be"
BODY = "#e9e5dc"
PART = "#123f5c"
PART_LIGHT = "#6f91a6"
ACCENT = "#d55e00"
GOOD = "#009e73"
MM_PER_INCH = 25.4
#: Width that fits the text of an A4 and of a Letter page [mm].
PAGE_MM = 180.0
DPI = 200


@dataclass(frozen=True, slots=True)
class Stroke:
    """How a line of one kind is drawn; widths in points."""

    colour: str
    width: float
    dashes: tuple[float, ...] | None
    words: str


STROKES: dict[str, Stroke] = {
    "hose": Stroke("#009e73", 4.6, None, "hose"),
    "air_tube": Stroke("#56b4e9", 3.2, None, "air tube"),
    "pull_cable": Stroke("#e69f00", 1.9, (5, 1.5), "pull-cable"),
    "wire": Stroke("#111111", 0.8, (2.2, 1.0), "wire"),
}
_SETTINGS: dict[str, Any] = {
    "font.family": "DejaVu Sans",
    "font.size": 7.5,
    "text.color": INK,
    "text.parse_math": False,
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.titlelocation": "left",
    "axes.titlesize": 8.5,
    "axes.titleweight": "bold",
    "xtick.color": QUIET,
    "ytick.color": QUIET,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "hatch.linewidth": 0.6,
    "svg.hashsalt": "limbtrim",
    "svg.fonttype": "path",
    "path.simplify": False,
    "figure.facecolor": "white",
    "savefig.facecolor": "white",
}


@contextmanager
def look() -> Iterator[None]:
    """Within: matplotlib's own defaults and ours, whatever the user's configuration says."""
    import logging
    import warnings

    import matplotlib

    loud = logging.getLogger("matplotlib").level
    with warnings.catch_warnings(), matplotlib.rc_context():
        # a name in a script the font lacks is drawn as boxes; the tables beside carry it whole
        warnings.filterwarnings("ignore", message=".*[Gg]lyph.*missing")
        logging.getLogger("matplotlib").setLevel(logging.ERROR)
        try:
            matplotlib.rcdefaults()
            matplotlib.rcParams.update(cast(Any, _SETTINGS))
            yield
        finally:
            logging.getLogger("matplotlib").setLevel(loud)


def new_figure(width_mm: float, height_mm: float) -> Figure:
    """An empty figure of a size in mm."""
    from matplotlib.figure import Figure

    return Figure(figsize=(width_mm / MM_PER_INCH, height_mm / MM_PER_INCH))


def mark(*names: str) -> str:
    """An element's id in the SVG: its kind and name, without blanks or quotes."""
    return ":".join(re.sub(r"[^\w.#-]", "_", clean(name)) for name in names)


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawn figure: what it shows in words (for those who cannot see it), SVG and PNG."""

    name: str
    title: str
    words: str
    svg: str
    png: bytes


def picture(name: str, title: str, words: str, figure: Figure) -> Picture:
    """The figure as SVG and PNG without dates or versions, so that bytes repeat."""
    svg, png = BytesIO(), BytesIO()
    figure.savefig(svg, format="svg", metadata={"Date": None, "Creator": None})
    figure.savefig(png, format="png", dpi=DPI, metadata={"Software": None})
    return Picture(name, title, words, svg.getvalue().decode(), png.getvalue())
