"""Saying what was found and which valid name lies nearest."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from difflib import SequenceMatcher, get_close_matches

from optimizer.errors import Flaw, Origin

_LONGEST = 60
_CLOSE_ENOUGH = 0.6
#: Among few names a worse match is still most likely what was meant: "man" for "male".
_FEW, _CLOSE_AMONG_FEW = 12, 0.5
#: Comparing very long garbage with every name would cost seconds and help nobody.
_LONGEST_COMPARED = 200


def quoted(value: object) -> str:
    """A value as somebody typed it: text in quotes, cut to a readable length, nothing hidden."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        shown = "".join(_visible(c) for c in value[: _LONGEST + 1])
        return f'"{shortened(shown)}"'
    if isinstance(value, Mapping):
        return "a table of keys"
    if isinstance(value, (list, tuple)):
        return "a list"
    try:
        return shortened(str(value))
    except ValueError:  # Python writes no whole number of more than some thousand digits
        return "a number of thousands of digits"


def shortened(text: str) -> str:
    """`text`, its end replaced by "..." if it is longer than a line should carry."""
    return text if len(text) <= _LONGEST else text[: _LONGEST - 3] + "..."


def _visible(char: str) -> str:
    if char == '"':
        return '\\"'
    return char if char.isprintable() else char.encode("unicode_escape").decode("ascii")


def nearest(word: str, candidates: Iterable[str]) -> str | None:
    """The candidate most like `word`, or None if none is close.

    The order of the pieces between "_" and "." does not count: "right_shank" is near
    "shank_right".
    """
    word = word.strip()[:_LONGEST_COMPARED]
    names = list(dict.fromkeys(candidates))
    folded: dict[str, str] = {}
    for name in names:
        folded.setdefault(name.casefold(), name)
    if not word or not names:
        return None
    key = word.casefold()
    if key in folded:
        return folded[key]
    sorted_key = _sorted_pieces(key)
    for fold, name in folded.items():
        if _sorted_pieces(fold) == sorted_key:
            return name
    cutoff = _CLOSE_AMONG_FEW if len(names) <= _FEW else _CLOSE_ENOUGH
    close = get_close_matches(key, folded, n=1, cutoff=cutoff)
    if close:
        return folded[close[0]]
    # A name cut short or written too long: "pump" for "pump_vest".
    parts = [f for f in folded if len(key) >= 3 and (f.startswith(key) or key.startswith(f))]
    if parts:
        return folded[max(parts, key=lambda f: SequenceMatcher(None, key, f).ratio())]
    return None


def _sorted_pieces(text: str) -> list[str]:
    for joint in "-. ":
        text = text.replace(joint, "_")
    return sorted(text.split("_"))


def choice_of(options: Iterable[str]) -> str:
    """ "a", "a or b", "a, b or c"."""
    items = list(options)
    if len(items) <= 1:
        return "".join(items)
    return f"{', '.join(items[:-1])} or {items[-1]}"


def place(origin: Origin) -> str:
    """Where a value was written, in words: "parts.csv row 7 column mass_g"."""
    return " ".join(filter(None, (origin.file, within(origin))))


def within(origin: Origin) -> str:
    """Where inside its file: "row 7 column mass_g", "row 12 key wearer.mass_kg"."""
    pieces = [] if origin.row is None else [f"row {origin.row}"]
    if origin.column and origin.file.startswith("--"):
        pieces.append(origin.column)
    elif origin.column:
        pieces.append(f"{'key' if origin.file.endswith('.toml') else 'column'} {origin.column}")
    return " ".join(pieces)


def unknown(origin: Origin, word: str, what: str, candidates: Iterable[str]) -> Flaw:
    """The flaw of a name that nothing answers to, with the nearest and, if few, all names."""
    names = list(candidates)
    if not names:
        expected = f"{what} (there is none)"
    elif len(names) <= _FEW:
        expected = f"{what}: {choice_of(names)}"
    else:
        expected = f"{what} ({len(names)} to choose from)"
    return Flaw(origin, quoted(word), expected, nearest(word, names))
