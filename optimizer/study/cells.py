"""What one cell of a table, or one value of the study file, may hold: markers for the schemas.

A schema annotates each field with one of these; pydantic calls them and collects what they
refuse. Each refusal says what was found and what is expected, in words, and carries the nearest
valid value where there is one.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import isnan
from typing import Any

from pydantic import BaseModel, GetCoreSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from optimizer.study.numerals import advice, is_number, is_spreadsheet_error
from optimizer.study.words import choice_of, nearest, quoted

#: Kind of every refusal raised here; its context holds "found", "expected", "nearest".
REFUSED = "refused"

#: Nothing a designer measures in g, mm or cm3 is larger; keeps later arithmetic finite.
LARGEST = 1e9
#: Smaller than anything worn, larger than what vanishes when converted to SI.
SMALLEST_POSITIVE = 1e-9

LONGEST_NAME = 60
_NAME = re.compile(r"[^\W_][\w.+/-]*")
_LABEL = re.compile(r"[^\W_](?:[\w.+/-]| (?! ))*(?<! )")


def is_name(word: str) -> bool:
    """Whether `word` may be a name that other cells refer to."""
    return len(word) <= LONGEST_NAME and _NAME.fullmatch(word) is not None


def refusal(found: str, expected: str, near: str | None = None) -> PydanticCustomError:
    """The error a marker raises; braces are not interpreted."""
    context: dict[str, Any] = {"found": found, "expected": expected, "nearest": near}
    return PydanticCustomError(REFUSED, "found {found}, expected {expected}", context)


class Marker:
    """Base of the markers: pydantic calls `check` on the raw value and keeps what it returns."""

    def check(self, value: object) -> object:
        """Return the value as the program uses it, or raise a refusal."""
        raise NotImplementedError

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """Replace pydantic's own rules for the annotated type by `check`."""
        return core_schema.no_info_plain_validator_function(self.check)


@dataclass(frozen=True)
class Number(Marker):
    """A number in a cell of a table, in `unit` as its column's name says.

    `above` is exclusive, `least` and `most` inclusive. With `optional` an empty cell gives
    `blank`, otherwise it is refused.
    """

    unit: str = ""
    above: float | None = None
    least: float | None = None
    most: float | None = None
    whole: bool = False
    optional: bool = False
    blank: float | None = None

    @property
    def expectation(self) -> str:
        """What is expected, in words: "a number greater than 0, in g"."""
        text = "a whole number" if self.whole else "a number"
        if self.least is not None and self.least == self.most:
            text = f"the number {self.least:g}"
        elif self.least is not None and self.most is not None:
            text += f" from {self.least:g} to {self.most:g}"
        elif self.above is not None and self.most is not None:
            text += f" greater than {self.above:g} and at most {self.most:g}"
        elif self.least is not None:
            text += f" not below {self.least:g}"
        elif self.above is not None:
            text += f" greater than {self.above:g}"
        elif self.most is not None:
            text += f" of at most {self.most:g}"
        return text + (f", in {self.unit}" if self.unit else "")

    def check(self, value: object) -> float | None:
        """A finite number within the bounds; an int if `whole`."""
        if isinstance(value, str):
            text = value.strip()
            if not text:
                if self.optional:
                    return self.blank
                raise refusal("an empty cell", self.expectation)
            if not is_number(text):
                raise self._not_a_number(text)
            return self.bounded(float(text), quoted(text))
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise refusal(quoted(value), self.expectation)
        return self.bounded(value, quoted(value))

    def bounded(self, number: float, found: str) -> float:
        """`number` if it is finite and within the bounds."""
        if isinstance(number, float) and isnan(number):
            raise refusal(found, self.expectation)
        if abs(number) > LARGEST:
            raise refusal(found, f"{self.expectation} (no larger than {LARGEST:g})")
        inside = (
            (self.above is None or number > self.above)
            and (self.least is None or number >= self.least)
            and (self.most is None or number <= self.most)
        )
        if not inside or (self.whole and number != int(number)):
            raise refusal(found, self.expectation)
        if 0.0 < abs(number) < SMALLEST_POSITIVE:
            raise refusal(found, f"{self.expectation} (0 or at least {SMALLEST_POSITIVE:g})")
        return int(number) if self.whole else float(number)

    def _not_a_number(self, text: str) -> PydanticCustomError:
        expected, near = advice(text, self.expectation, self.unit, self.optional)
        return refusal(quoted(text), expected, near)


@dataclass(frozen=True)
class Quantity(Number):
    """A number of the study file: written bare, never as text."""

    infinite: bool = False

    def check(self, value: object) -> float | None:
        """A finite number (or +inf, if `infinite`) within the bounds."""
        if isinstance(value, str):
            text = value.strip()
            if is_number(text):
                raise refusal(quoted(value), f"{self.expectation}, without quotation marks")
            raise self._not_a_number(text) if text else refusal(quoted(value), self.expectation)
        if self.infinite and value == float("inf"):
            return float("inf")
        return super().check(value)


@dataclass(frozen=True)
class Text(Marker):
    """Free text; blank allowed if `optional`."""

    what: str = "text"
    optional: bool = False

    def check(self, value: object) -> str:
        """The text without blanks around it."""
        if not isinstance(value, str):
            raise refusal(quoted(value), f"{self.what}, in quotation marks")
        if not value.strip() and not self.optional:
            raise refusal("an empty text" if value else "nothing", self.what)
        return value.strip()


@dataclass(frozen=True)
class Name(Marker):
    """A name other rows may refer to: letters, digits and _ - + . / without blanks.

    With `spaces` single blanks inside are allowed, for designations nothing refers to in a list.
    An empty cell gives `blank`, or is refused if that is None.
    """

    what: str = "a name"
    spaces: bool = False
    blank: str | None = None

    def check(self, value: object) -> str:
        """The name without blanks around it."""
        if not isinstance(value, str):
            raise refusal(quoted(value), f"{self.what}, in quotation marks")
        text = value.strip()
        if not text:
            if self.blank is not None:
                return self.blank
            raise refusal("an empty cell", self.what)
        if len(text) > LONGEST_NAME:
            raise refusal(quoted(text), f"{self.what} of at most {LONGEST_NAME} characters")
        if is_spreadsheet_error(text):
            raise refusal(quoted(text), f"{self.what}; this is a spreadsheet's error value")
        if not (_LABEL if self.spaces else _NAME).fullmatch(text):
            better = "_".join(re.findall(r"[\w.+/-]+", text)).lstrip("_.+/-")
            blanks = ", single blanks" if self.spaces else ""
            raise refusal(
                quoted(text),
                f"{self.what} of letters, digits, _ - + . /{blanks}, a letter or digit first"
                + ("" if self.spaces or " " not in text else ", without blanks"),
                better if better and _NAME.fullmatch(better) else None,
            )
        return text


@dataclass(frozen=True)
class Names(Marker):
    """A list of names in one cell, separated by blanks; blank for none."""

    what: str = "names"

    def check(self, value: object) -> tuple[str, ...]:
        """The names, each once, in the order written."""
        if not isinstance(value, str):
            raise refusal(quoted(value), f"{self.what}, in quotation marks")
        words = value.split()
        for word in words:
            if not is_name(word):
                better = " ".join(re.findall(r"[^\W_][\w.+/-]*", value))
                raise refusal(
                    quoted(word),
                    f"{self.what} separated by blanks, of letters, digits, _ - + . /",
                    better or None,
                )
        return tuple(dict.fromkeys(words))


@dataclass(frozen=True)
class Choice(Marker):
    """One of a few words, capitals or not. An empty cell gives `blank`, or is refused if None."""

    options: tuple[str, ...]
    blank: str | None = None
    aliases: tuple[tuple[str, str], ...] = ()

    def check(self, value: object) -> str:
        """The word as listed in `options`."""
        expected = choice_of(self.options)
        if not isinstance(value, str):
            raise refusal(quoted(value), expected)
        word = value.strip().casefold()
        if not word and self.blank is not None:
            return self.blank
        word = dict(self.aliases).get(word, word)
        if word in self.options:
            return word
        found = quoted(value.strip()) if value.strip() else "an empty cell"
        raise refusal(found, expected, nearest(word, self.options))


@dataclass(frozen=True)
class Flag(Marker):
    """true or false."""

    def check(self, value: object) -> bool:
        """The truth value."""
        if not isinstance(value, bool):
            word = value.strip().casefold() if isinstance(value, str) else ""
            near = {"yes": "true", "true": "true", "no": "false", "false": "false"}.get(word)
            raise refusal(quoted(value), "true or false, without quotation marks", near)
        return value


@dataclass(frozen=True)
class TextList(Marker):
    """A list of texts of the study file; exactly `length` of them unless that is None."""

    what: str
    length: int | None = None

    def check(self, value: object) -> tuple[str, ...]:
        """The texts without blanks around them."""
        if (
            not isinstance(value, list)
            or not all(isinstance(item, str) and item.strip() for item in value)
            or (self.length is not None and len(value) != self.length)
        ):
            found = quoted(value)
            if isinstance(value, list):
                shown = [quoted(item) for item in value[:4]] + ["..."] * (len(value) > 4)
                found = f"[{', '.join(shown)}]"
            raise refusal(found, self.what)
        return tuple(item.strip() for item in value)


@dataclass(frozen=True)
class PairList(Marker):
    """A list of pairs of texts of the study file."""

    what: str

    def check(self, value: object) -> tuple[tuple[str, str], ...]:
        """The pairs."""
        if not isinstance(value, list):
            raise refusal(quoted(value), self.what)
        pair = TextList(self.what, 2)
        return tuple((p[0], p[1]) for p in map(pair.check, value))


def expectation(schema: type[BaseModel], key: str) -> str:
    """What the value of a key is expected to be, in words."""
    for name, field in schema.model_fields.items():
        if key in (name, field.alias):
            for marker in field.metadata:
                expectation = getattr(marker, "expectation", None) or getattr(marker, "what", None)
                if expectation:
                    return str(expectation)
                options = getattr(marker, "options", None)
                if options:
                    return " or ".join(f'"{option}"' for option in options)
    return "a value"
