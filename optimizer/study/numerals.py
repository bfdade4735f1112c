"""Why a text is not a number: one sentence for each way people write one."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping

from optimizer.study.words import quoted

#: A longer text is no number, and matching it could be slow.
LONGEST = 60

PLAIN = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_DECIMAL_COMMA = re.compile(r"([+-]?\d*),(\d+)", re.ASCII)
_GROUPED = re.compile(
    r"[+-]?(\d{1,3}(,\d{3})+(\.\d+)?|\d{1,3}(\.\d{3})+,\d+|\d{1,3}(\.\d{3}){2,}"
    r"|\d{1,3}([ '’_\u00a0\u2009\u202f]\d{3})+([.,]\d+)?|\d+(_\d+)+)",
    re.ASCII,
)
_WITH_UNIT = re.compile(r"([+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?)\s*([^\d\s.,+-]\D*[23]?)")
_MINUS_LIKE = "−–—"
_NO_NUMBER = {"nan", "na", "n/a", "none", "null", "nil", "-", "--", "?", "tbd", "x"}
_ENDLESS = {"inf", "infinity", "∞", "unlimited", "no limit"}
#: What a spreadsheet shows for a formula that failed.
_FAILED = frozenset(
    ("#div/0!", "#value!", "#ref!", "#name?", "#num!", "#n/a", "#null!", "#spill!", "#calc!")
)
_FAILED_BEGINS = tuple(error.rstrip("/0!?") for error in _FAILED)
#: Ways people write the units of the columns.
_SPELLINGS: Mapping[str, set[str]] = {
    "g": {"g", "gr", "gram", "grams", "gramm"},
    "cm3": {"cm3", "cm^3", "cm³", "ccm", "cc", "ml"},
    "cm2": {"cm2", "cm^2", "cm²"},
    "mm": {"mm", "millimetre", "millimetres", "millimeter", "millimeters"},
    "g/m": {"g/m"},
    "%": {"%", "pct", "percent", "per cent"},
    "W": {"w", "watt", "watts"},
    "kg": {"kg", "kilo", "kilogram", "kilograms"},
    "m/s": {"m/s"},
    "degrees": {"deg", "degree", "degrees", "°"},
    "s": {"s", "sec", "second", "seconds"},
}

#: What is expected instead, and the valid text nearest to it if there is one.
Advice = tuple[str, str | None]


def is_number(text: str) -> bool:
    """Whether `text` is a plain ASCII numeral with a decimal point, such as -1.5e3."""
    return len(text) <= LONGEST and PLAIN.fullmatch(text) is not None


def is_spreadsheet_error(text: str) -> bool:
    """Whether `text` is what a spreadsheet shows for a formula that failed, such as #REF!."""
    return text.strip().casefold() in _FAILED


def advice(text: str, expectation: str, unit: str, optional: bool) -> Advice:
    """What to write instead of `text`, which is not a plain numeral.

    `expectation` says what number is wanted, `unit` the unit it is in ("" for none), `optional`
    whether the cell may be left empty.
    """
    or_empty = expectation + (", or an empty cell" if optional else "")
    if len(text) <= LONGEST:
        for diagnose in _DIAGNOSES:
            found = diagnose(text, expectation, unit)
            if found is not None:
                return found
    return or_empty, None


def _spreadsheet(text: str, expectation: str, unit: str) -> Advice | None:
    if text.casefold().startswith(_FAILED_BEGINS):
        return f"{expectation}; this is a spreadsheet's error value", None
    if text.startswith("="):
        return f"{expectation}; a formula's result, not the formula", None
    return None


def _minus(text: str, expectation: str, unit: str) -> Advice | None:
    if text[0] in _MINUS_LIKE and PLAIN.fullmatch(text[1:]):
        return f"{expectation}, with the plain minus sign -", f"-{text[1:]}"
    return None


def _decimal_comma(text: str, expectation: str, unit: str) -> Advice | None:
    match = _DECIMAL_COMMA.fullmatch(text)
    if not match:
        return None
    whole, decimals = match.groups()
    point = f"{whole if whole.lstrip('+-') else whole + '0'}.{decimals}"
    if len(decimals) == 3 and re.fullmatch(r"[+-]?[1-9]\d{0,2}", whole):
        return (
            f"a number without a comma: {whole}{decimals} if the comma separates thousands, "
            f"{point} if it separates decimals",
            None,
        )
    return f"a number with a decimal point, such as {point}", None


def _grouped(text: str, expectation: str, unit: str) -> Advice | None:
    if _GROUPED.fullmatch(text):
        return f"a number without thousands separators, such as {_ungrouped(text)}", None
    return None


def _ungrouped(text: str) -> str:
    digits = re.sub(r"[^\d.,+-]", "", text)
    comma, point = digits.rfind(","), digits.rfind(".")
    if comma > point >= 0:  # 1.200,5
        return digits.replace(".", "").replace(",", ".")
    if digits.count(".") > 1:  # 1.200.300
        return digits.replace(".", "")
    if comma >= 0 and re.search(r"[^\d.,+-]", text):  # 1 200,5
        return digits.replace(",", ".")
    return digits.replace(",", "")  # 1,200,300.5


def _with_unit(text: str, expectation: str, unit: str) -> Advice | None:
    match = _WITH_UNIT.fullmatch(text)
    if not match:
        return None
    number, typed = match.group(1).replace(",", "."), match.group(2)
    if not unit:
        return f"a bare number without {quoted(typed)}", None
    if typed.casefold() in _SPELLINGS.get(unit, {unit}):
        return f"a bare number, such as {number} (its unit, {unit}, is in the name)", None
    return f"a bare number in {unit}, without {quoted(typed)}", None


_DIAGNOSES: tuple[Callable[[str, str, str], Advice | None], ...] = (
    _spreadsheet,
    _minus,
    _decimal_comma,
    _grouped,
    _with_unit,
)
