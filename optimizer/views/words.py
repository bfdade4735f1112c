"""Names and sentences: made safe for a terminal, wrapped where a reader would break them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from rich.cells import cell_len, chop_cells
from rich.console import Console, ConsoleOptions, RenderResult
from rich.measure import Measurement
from rich.text import Text

#: A word's pieces: each ends after a joint such as "_" or "." so that no joint starts a line.
_PIECES = re.compile(r"[^_\-./:#,]*(?:->|[_\-./:#,])*")


def clean(text: str) -> str:
    """`text` with what a terminal would obey instead of show replaced by a question-mark sign.

    Names come from files other people wrote; an escape sequence in one must not reach the
    terminal.
    """
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)


def segment_words(segment: str, side: str = "centre") -> str:
    """A body segment as people say it: "left thigh", "vest (trunk)", "off the body"."""
    if segment == "trunk":
        return "vest (trunk)"
    if segment == "off_body":
        return "off the body"
    return f"{side} {segment}" if side in ("left", "right") else segment


def listing(items: Sequence[str], last: str = "and") -> str:
    """ "a", "a and b", "a, b and c"."""
    if len(items) <= 1:
        return "".join(items)
    return f"{', '.join(items[:-1])} {last} {items[-1]}"


def counted(n: int, singular: str, plural: str | None = None) -> str:
    """ "1 part", "3 parts"."""
    return f"{n} {singular if n == 1 else plural or singular + 's'}"


def wrap(text: str, width: int, hang: int = 0, indent: int = 0) -> list[str]:
    """Lines of at most `width` cells: broken at spaces, else after "_ - . / :", else anywhere.

    The first line is indented by `indent`, the others by `hang`; too little room, and none is.
    Nothing is dropped but the spaces a line breaks at, so a name is never cut short.
    """
    width = max(1, width)
    if width <= 3 * max(hang, indent):
        hang = indent = 0
    lines: list[str] = []
    line = ""

    def room() -> int:
        return width - (hang if lines else indent)

    for word in _units_of(text):
        joined = f"{line} {word}" if line else word
        if cell_len(joined) <= room():
            line = joined
            continue
        if line and (cell_len(word) <= width - hang or room() - cell_len(line) < 8):
            lines.append(line)
            line = ""
        if line:
            line += " "
        for piece in filter(None, _PIECES.findall(word)):
            if cell_len(line) + cell_len(piece) > room() and line.strip():
                lines.append(line.rstrip())
                line = ""
            rest = piece
            while cell_len(rest) > room():
                head = chop_cells(rest, room())[0]
                lines.append(head)
                rest = rest[len(head) :]
            line += rest
    if line or not lines:
        lines.append(line)
    return [" " * indent + lines[0], *(" " * hang + rest for rest in lines[1:])]


def _units_of(text: str) -> list[str]:
    """Words to keep on one line: an arrow stays with what it points at."""
    kept: list[str] = []
    for word in text.split():
        if kept and kept[-1] in ("->", ">"):
            kept[-1] += f" {word}"
        else:
            kept.append(word)
    return kept


class Words:
    """A cell that wraps between words, and inside long names after a joint, never truncating."""

    def __init__(self, text: str, style: str = "", *, hang: int = 0, indent: int = 0) -> None:
        self.text = clean(text)
        self.style = style
        self.hang = hang
        self.indent = indent

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield one line of text per wrapped line, later lines indented by `hang`."""
        for line in wrap(self.text, options.max_width, self.hang, self.indent):
            yield Text(line, style=self.style, no_wrap=True, overflow="ignore", end="\n")

    def __rich_measure__(self, console: Console, options: ConsoleOptions) -> Measurement:
        """At best the whole text on one line; at least its longest unbreakable piece."""
        pieces = [p for word in self.text.split(" ") for p in _PIECES.findall(word)]
        longest = max((cell_len(p) for p in pieces), default=0)
        edge = max(self.hang, self.indent)
        most = max(1, cell_len(self.text)) + self.indent
        return Measurement(min(most, max(1, longest) + edge), most).clamp(None, options.max_width)


def bullets(items: Iterable[str], style: str = "") -> list[Words]:
    """Each item as a hanging paragraph with a dash before it."""
    return [Words(f"- {item}", style, hang=2) for item in items]
