"""Flaws as text: every sentence with its place, grouped by file, counted."""

from __future__ import annotations

from rich.cells import cell_len

from optimizer.errors import Flaw, InputError, Origin
from optimizer.views.errors import error_text, flaw_text

MASS = Flaw(Origin("parts.csv", 7, "mass_g"), '"1,5"', "a number with a decimal point, such as 1.5")
SITE = Flaw(Origin("parts.csv", 9, "sites"), '"vest_bakc"', "a site of the garment", "vest_back")
KEY = Flaw(Origin("study.toml", 3, "wearer.sex"), '"man"', "female or male", "male")
SET = Flaw(Origin("--set", None, "wearer.mass_kg"), '"x"', "a number")


def test_one_flaw_is_one_sentence_with_its_place() -> None:
    assert flaw_text(MASS) == (
        'parts.csv row 7 column mass_g: found "1,5"; '
        "expected a number with a decimal point, such as 1.5."
    )
    assert flaw_text(KEY).startswith("study.toml row 3 key wearer.sex: ")
    assert flaw_text(KEY).endswith("Did you mean male?")
    assert flaw_text(SET) == '--set wearer.mass_kg: found "x"; expected a number.'
    assert flaw_text(Flaw(Origin(""), "a", "b")) == "found a; expected b."


def test_flaws_are_grouped_by_file_and_counted() -> None:
    assert error_text(InputError([MASS, KEY, SITE, SET])) == (
        "parts.csv:\n"
        '  row 7 column mass_g: found "1,5"; expected a number with a decimal point, such as 1.5.\n'
        '  row 9 column sites: found "vest_bakc"; expected a site of the garment. '
        "Did you mean vest_back?\n"
        "study.toml:\n"
        '  row 3 key wearer.sex: found "man"; expected female or male. Did you mean male?\n'
        "--set:\n"
        '  wearer.mass_kg: found "x"; expected a number.\n'
        "4 errors in 3 files."
    )
    assert error_text(InputError([MASS])).endswith("\n1 error.")
    assert error_text(InputError([MASS, SITE])).endswith("\n2 errors.")


def test_lines_fit_the_width_and_lose_nothing() -> None:
    error = InputError([MASS, SITE, KEY])
    for width in (40, 80, 120):
        text = error_text(error, width)
        assert all(cell_len(line) <= width for line in text.splitlines())
        assert "".join(text.split()) == "".join(error_text(error).split())


def test_nothing_a_terminal_would_obey_gets_through() -> None:
    text = flaw_text(Flaw(Origin("a\x1b[2J.csv", 1), "\x1b]0;x\x07", "b"))
    assert "\x1b" not in text and "\x07" not in text
