"""Plain, self-contained HTML: escaped text, tables, figures put in as SVG, one stylesheet."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from html import escape

from optimizer.report.style import Picture
from optimizer.views.words import clean

SHORT_CAUTION = (
    "Population averages, not a prescription. Bench first. Local codes, medical-device rules and "
    "licensed orthotists and clinicians decide what may be worn."
)

_CSS = """
:root { --ink: #22262b; --quiet: #5d6268; --rule: #c9c6be; --sand: #f4f1ea; --mark: #d55e00; }
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 190mm; padding: 6mm; color: var(--ink); background: white;
  font: 10pt/1.42 "DejaVu Sans", Verdana, "Segoe UI", sans-serif; }
header { border-top: 3pt solid var(--ink); padding-top: 3mm; }
h1 { font-size: 17pt; margin: 0 0 1mm; line-height: 1.15; }
h2 { font-size: 12pt; margin: 9mm 0 2mm; padding-bottom: 1mm; border-bottom: .7pt solid var(--ink);
  break-after: avoid; }
h3 { font-size: 10pt; margin: 5mm 0 1mm; break-after: avoid; }
p { margin: 1mm 0 2mm; } ul, ol { margin: 1mm 0 2mm; padding-left: 5mm; }
.quiet { color: var(--quiet); font-size: 8.5pt; }
.caution { background: var(--sand); border-left: 3pt solid var(--mark); padding: 2mm 3mm;
  margin: 3mm 0; font-size: 8.5pt; break-inside: avoid; }
.caution ul { margin: 0; }
.figures { display: flex; flex-wrap: wrap; gap: 2mm 8mm; margin: 3mm 0; padding: 0; }
.figures div { min-width: 26mm; } .figures dt { color: var(--quiet); font-size: 8pt; }
.figures dd { margin: 0; font-size: 13pt; font-weight: bold; }
figure { margin: 2mm 0; break-inside: avoid; }
figure svg { width: 100%; height: auto; display: block; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; width: 100%; font-size: 8pt; line-height: 1.3; }
thead { display: table-header-group; } tr { break-inside: avoid; }
th { text-align: left; border-bottom: .7pt solid var(--ink); padding: .6mm 1.2mm;
  vertical-align: bottom; }
th .unit { font-weight: normal; color: var(--quiet); display: block; }
td { border-bottom: .4pt solid var(--rule); padding: .6mm 1.2mm; vertical-align: top;
  overflow-wrap: break-word; }
td.n, th.n { text-align: right; }
td.n { white-space: nowrap; }
td.blank { border: .5pt solid var(--quiet); min-width: 22mm; height: 6.5mm; }
.bad { color: var(--mark); font-weight: bold; }
.new-page { break-before: page; }
@page { margin: 14mm 14mm 17mm; @bottom-left { content: "CAUTION"; font: 6.5pt sans-serif; }
  @bottom-right { content: counter(page) " of " counter(pages); font: 6.5pt sans-serif; } }
@media print { body { max-width: none; padding: 0; font-size: 9pt; } .wide { overflow: visible; } }
@media (max-width: 600px) { body { padding: 3mm; } }
"""


def text(said: object) -> str:
    """Text as HTML; control codes in names are shown, not obeyed."""
    return escape(clean(str(said)))


def paragraph(said: str, style: str = "") -> str:
    """A paragraph."""
    return f"<p{_class(style)}>{text(said)}</p>\n"


def items(said: Iterable[str], ordered: bool = False) -> str:
    """A list; nothing where there is nothing to list."""
    rows = "".join(f"<li>{text(line)}</li>" for line in said)
    tag = "ol" if ordered else "ul"
    return f"<{tag}>{rows}</{tag}>\n" if rows else ""


def caution(said: Sequence[str] = (SHORT_CAUTION,)) -> str:
    """Cautions that cannot be overlooked."""
    body = text(said[0]) if len(said) == 1 else items(said)
    return f'<div class="caution"><strong>Caution.</strong> {body}</div>\n'


def table(columns: Sequence[tuple[str, str, bool]], rows: Iterable[Sequence[object]]) -> str:
    """A table; a column is (name, unit, whether it holds numbers). None makes a cell to fill in."""
    head = "".join(
        f'<th{_class("n" if numeric else "")} scope="col">{text(name)}'
        + (f'<span class="unit">{text(unit)}</span>' if unit else "")
        + "</th>"
        for name, unit, numeric in columns
    )
    body = "".join(
        "<tr>"
        + "".join(
            '<td class="blank"></td>'
            if cell is None
            else f"<td{_class('n' if numeric else '')}>{_breakable(cell)}</td>"
            for cell, (_, _, numeric) in zip(row, columns, strict=True)
        )
        + "</tr>\n"
        for row in rows
    )
    return (
        f'<div class="wide"><table><thead><tr>{head}</tr></thead>\n<tbody>{body}</tbody>'
        "</table></div>\n"
    )


def _breakable(cell: object) -> str:
    """A cell's text, long names allowed to break after an underscore."""
    return text(cell).replace("_", "_<wbr>")


def figure(shown: Picture) -> str:
    """A picture as inline SVG; its ids are made its own so that several fit one page."""
    svg = shown.svg[shown.svg.index("<svg") :]
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.DOTALL)
    prefix = f"{shown.name}."
    svg = re.sub(r'\bid="', f'id="{prefix}', svg)
    svg = re.sub(r'href="#', f'href="#{prefix}', svg)
    svg = svg.replace("url(#", f"url(#{prefix}")
    label = f'role="img" aria-label="{text(shown.title)}. {text(shown.words)}"'
    svg = svg.replace("<svg ", f"<svg {label} ", 1)
    return f"<figure>\n{svg}</figure>\n"


def section(title: str, *body: str, identity: str = "", new_page: bool = False) -> str:
    """A headed section."""
    name = f' id="{escape(identity)}"' if identity else ""
    return (
        f"<section{name}{_class('new-page' if new_page else '')}>\n<h2>{text(title)}</h2>\n"
        + "".join(body)
        + "</section>\n"
    )


def page(title: str, lead: str, *sections: str) -> str:
    """A whole page that needs nothing from outside."""
    css = _CSS.replace("CAUTION", SHORT_CAUTION)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<link rel="icon" href="data:,">\n'
        f"<title>{text(title)}</title>\n<style>{css}</style>\n</head>\n<body>\n"
        f"<header><h1>{text(title)}</h1>\n{lead}</header>\n<main>\n"
        + "".join(sections)
        + "</main>\n</body>\n</html>\n"
    )


def _class(name: str) -> str:
    return f' class="{name}"' if name else ""
